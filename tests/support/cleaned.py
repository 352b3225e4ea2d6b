"""Tools whose pads are moved over a roller or a tacky sheet at the origin."""

import numpy as np

import gripmargin as gm

SIDE, R, K, DEPTH = 0.04, 0.025, 1.2e8, 0.2e-3
FILM = {"pull_off_stress": 75e3, "shear_strength": 65e3, "normal_stiffness": K, "shear_stiffness": 4e7}
SHEET = np.array([[-0.1, -0.1], [0.1, -0.1], [0.1, 0.1], [-0.1, 0.1]])
PART = gm.Part(mass=0.1, com=[0, 0, 0.01], inertia=[1e-5, 1e-5, 1e-5, 0, 0, 0], face="plane", rigid=True)
TACKY = {"tack": 20e3, "fixing_force": 5.0, "fixing_moment": 1.0}


def job(legs, cleaner, tilt=0.0, pads=None, seconds=0.5, **more):
    """A tool whose pads look down, on straight ways between places (x, y, height) over a cleaner at the origin.

    Each way takes as long. A tilt turns the tool about its x axis [rad].
    """
    places = np.array(legs, dtype=float)
    t = np.linspace(0.0, seconds * (len(places) - 1), 60 * (len(places) - 1) + 1)
    at = np.array([np.interp(t, seconds * np.arange(len(places)), axis) for axis in places.T]).T
    down = np.diag([1.0, -1.0, -1.0]) @ gm.pose((0, 0, 0), (tilt, 0, 0))[:3, :3]
    pads = pads or (gm.Pad.rectangle("pad", gm.PadMaterial(**FILM | more), [SIDE, SIDE]),)
    return gm.Job(
        name="cleans",
        trajectory=gm.PoseTrajectory(t=t, position=at, rotation=np.broadcast_to(down, (t.size, 3, 3))),
        part=PART,
        gripper=gm.Gripper(pads=pads),
        phases=(gm.Phase(kind="clean", start=0.0, end=float(t[-1])),),
        cleaners=(cleaner,),
    )


def roller(**more):
    given = {"radius": R, "length": 0.1, "rigid": True, "turns_freely": True, "least_pressure": 12e3} | TACKY
    return gm.Cleaner(**{"face": np.eye(4)} | given | more)


def sheet(**more):
    return gm.Cleaner(**{"face": np.eye(4), "outline": SHEET, "rigid": True, "least_pressure": 12e3} | TACKY | more)


def rolled(reach, cleaner=None, depth=DEPTH, **more):
    """From one side to the other, pressed in all the way but for the ways down and up."""
    legs = [(0, -reach, 0.01), (0, -reach, -depth), (0, reach, -depth), (0, reach, 0.01)]
    return job(legs, cleaner or roller(), **more)


def dabbed(*places, cleaner=None, depth=DEPTH, **more):
    legs = [leg for x, y in places for leg in ((x, y, 0.01), (x, y, -depth), (x, y, 0.01))]
    return job(legs, cleaner or sheet(), **more)
