"""A part taken from a tray, carried and left in a nest, by a program of poses made from a few figures."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial.transform import Rotation

import gripmargin as gm

DOWN = np.diag([1.0, -1.0, -1.0])
STEP = 0.01


@dataclass(frozen=True)
class Handed:
    """The figures of the program, and the job that they make.

    Attributes:
        press: Depth of the pads' centre below the face at the pick [m].
        tilt: Of the tool there, about its x axis [rad].
        dwell: Rest there [s].
        seat: Depth below the face of the nest [m].
        above: By how much the part is let go above its nest [m].
        kind: Of the release; None leaves straight.
        travel: Of it, [rad] or [m].
        hinge: About which point of the pads the tool tilts, tool frame [m].
        wait: Rest above the nest [s].
        job: With everything but the program.
    """

    job: gm.Job
    press: float = 2e-4
    tilt: float = 0.0
    dwell: float = 0.2
    seat: float = 1e-4
    above: float = 0.0
    kind: str | None = None
    travel: float = 0.0
    hinge: tuple[float, float] = (0.0, 0.0)

    def made(self, **changes) -> gm.Job:
        """The job with its program; changes are figures, or fields of the job."""
        figures = {name: value for name, value in changes.items() if name in self.__dataclass_fields__}
        changed = replace(self, **figures)
        fields = {name: value for name, value in changes.items() if name not in figures}
        trajectory = changed.program()
        phases = (
            gm.Phase(kind="preload", moves=("touch", "press", "off")),
            gm.Phase(kind="carry", moves=("carry",)),
            gm.Phase(
                kind="release",
                moves=("seat", "let go", "leave") if changed.kind else ("seat", "leave"),
                release=changed.kind,
            ),
        )
        return replace(changed.job, trajectory=trajectory, phases=phases, **fields)

    def program(self) -> gm.PoseTrajectory:
        leaned = DOWN @ Rotation.from_euler("x", self.tilt).as_matrix()
        rows: list[tuple[str, np.ndarray, np.ndarray]] = []

        def go(label, end, rotation, time):
            start = rows[-1][1] if rows else np.array([0.0, 0.0, 0.02])
            count = max(round(time / STEP), 1)
            s = np.arange(1, count + 1) / count
            law = 10 * s**3 - 15 * s**4 + 6 * s**5
            rows.extend((label, start + k * (np.asarray(end) - start), rotation) for k in law)

        go("touch", [0, 0, 0.02], leaned, STEP)
        go("touch", [0, 0, -self.press], leaned, 0.6)
        go("press", [0, 0, -self.press], leaned, self.dwell)
        go("off", [0, 0, 0.001], leaned, 0.3)
        go("carry", [0, 0, 0.1], DOWN, 1.0)
        go("carry", [0.3, 0, 0.1], DOWN, 1.5)
        go("carry", [0.3, 0, 0.003], DOWN, 1.0)
        low = np.array([0.3, 0.0, self.above - self.seat])
        go("seat", low, DOWN, 0.4)
        place, rotation = low, DOWN
        for k in np.arange(1, 41) / 40.0 if self.kind else ():
            place, rotation = self.letting_go(low, k * self.travel)
            rows.append(("let go", place, rotation))
        go("leave", place + np.array([0, 0, 0.04]), rotation, 0.8)
        return gm.PoseTrajectory(
            t=STEP * np.arange(len(rows)),
            position=np.stack([row[1] for row in rows]),
            rotation=np.stack([row[2] for row in rows]),
            moves=tuple(row[0] for row in rows),
        )

    def letting_go(self, low, travel):
        """Pose after a part of the release: a slide along the world's x, a turn about its z, a tilt about a hinge."""
        if self.kind == "shear":
            return low + np.array([travel, 0, 0]), DOWN
        if self.kind == "torsion":
            return low, Rotation.from_euler("z", travel).as_matrix() @ DOWN
        hinge = DOWN @ np.array([*self.hinge, 0.0])
        outward = hinge / np.linalg.norm(hinge)
        axis = np.cross(outward, [0.0, 0.0, 1.0])  # lifts what lies away from the hinge
        turn = Rotation.from_rotvec(travel * axis).as_matrix()
        if (turn @ -hinge)[2] < 0:
            turn = turn.T
        return low + hinge + turn @ -hinge, turn @ DOWN


def plate_job(
    *,
    size=0.03,
    apart=0.06,
    mass=0.3,
    strength=3e4,
    stiffness=1e8,
    nest=None,
    part=None,
    pads=2,
    break_away=0.0,
    **film,
):
    """A plate on one or two square pads, tray and nest under it; its program is that of `Handed`."""
    material = gm.PadMaterial(
        pull_off_stress=strength,
        shear_strength=strength,
        normal_stiffness=stiffness,
        shear_stiffness=0.4 * stiffness,
        **({"full_preload": 1e4} | film),
    )
    places = [-apart / 2, apart / 2] if pads == 2 else [0.0]
    outline = [[-0.1, -0.05], [0.1, -0.05], [0.1, 0.05], [-0.1, 0.05]]
    return gm.Job(
        name="plate",
        gripper=gm.Gripper(
            pads=tuple(
                gm.Pad.rectangle(f"pad {i}", material, [size, size], gm.pose((x, 0, 0))) for i, x in enumerate(places)
            )
        ),
        part=gm.Part(
            face="plane",
            rigid=True,
            mass=mass,
            com=[0, 0, 0.004],
            inertia=mass * np.array([1e-3, 3e-3, 4e-3, 0, 0, 0]),
            outline=outline,
            **(part or {}),
        ),
        trajectory=gm.PoseTrajectory(t=[0.0, 1.0], position=np.zeros((2, 3)), rotation=np.stack([DOWN, DOWN])),
        pick=gm.Pick(face=np.eye(4), break_away=break_away),
        nest=gm.Nest(face=gm.pose((0.3, 0.0, 0.0)), **({"lateral_force": 30.0, "moment": 3.0} | (nest or {}))),
        targets=gm.Targets(hold=1.5, swing=0.5),
    )
