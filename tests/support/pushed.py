"""A plate that is lowered straight and worked on: a job in which process forces are easy to work out by hand."""

import numpy as np

import gripmargin as gm

DOWN = np.diag([1.0, -1.0, -1.0])  # tool z points down, into the part
SIZE, PULL = 0.04, 1e5  # [m], [Pa]
AREA, SECOND = SIZE**2, SIZE**4 / 12.0


def lowered(*forces, t=None, damping=None, mass=0.2, turned=DOWN, moves=True, move=0.1, pad=None, **more):
    """A job: down for 0.8 s, at rest from there to 1.2 s (move "insert"), and on (move "after") to 1.6 s."""
    t = np.linspace(0.0, 1.6, 201) if t is None else t
    s = np.clip(t / 0.8, 0.0, 1.0)
    way = -move * (10 * s**3 - 15 * s**4 + 6 * s**5)
    labels = tuple("down" if x < 0.8 - 1e-9 else "insert" if x < 1.2 - 1e-9 else "after" for x in t)
    film = gm.PadMaterial(
        **{
            "pull_off_stress": PULL,
            "shear_strength": PULL,
            "normal_stiffness": 1e8,
            "shear_stiffness": 4e7,
            "damping_ratio": damping,
            **(pad or {}),
        }
    )
    return gm.Job(
        name="lowered",
        trajectory=gm.PoseTrajectory(
            t=t,
            position=np.column_stack([0 * t, 0 * t, way]),
            rotation=turned if np.ndim(turned) == 3 else np.broadcast_to(turned, (t.size, 3, 3)),
            moves=labels if moves else None,
        ),
        gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [SIZE, SIZE]),)),
        part=gm.Part(mass=mass, com=[0, 0, 0.002], inertia=[1e-4, 1e-4, 2e-4, 0, 0, 0], face="plane", rigid=True),
        process=forces,
        **more,
    )


def push(force=(0, 0, -20), at=(0, 0, 0), **more):
    """A force over the move "insert"; in tool axes z > 0 pulls the part off."""
    when = {} if "start" in more or "moves" in more else {"moves": ("insert",)}
    return gm.Process(**when, **({} if force is None else {"force": force}), at=at, **more)
