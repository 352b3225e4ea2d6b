"""A gripper with two sets of pads on a hub that turns: the finished part is taken out, a blank is put in its place."""

from dataclasses import replace

import numpy as np

import gripmargin as gm
from support.cycles import NEST
from support.handed import plate_job

STEP = 0.01  # [s]
RADIUS = 0.06  # [m] from the axis of the hub to the faces of the pads
MAGAZINE, CHUCK, OUT = (0.3, -0.4, 0.0), (0.0, 0.0, 0.0), (0.5, 0.3, 0.0)
QUARTER = np.pi / 2
A = gm.pose((0.0, 0.0, -RADIUS), (np.pi, 0.0, 0.0))  # looks down with the hub at 0
B = gm.pose((0.0, 0.0, 0.0), (0.0, QUARTER, 0.0)) @ A  # with the hub at -90 deg
STATIONS = {"A": A, "B": B}
BLANK_PHASES = (
    gm.Phase(kind="preload", part="blank", pick="magazine", moves=("take blank",), station="A"),
    gm.Phase(kind="carry", moves=("to chuck", "take done", "index"), station="A"),
    gm.Phase(kind="release", nest="chuck", moves=("put blank",), station="A"),
)
DONE_PHASES = (
    gm.Phase(kind="preload", part="done", pick="chuck", moves=("take done",), station="B"),
    gm.Phase(kind="carry", moves=("index", "put blank", "to outfeed"), station="B"),
    gm.Phase(kind="release", nest="out", moves=("put done",), station="B"),
)


def robot():
    """Three slides along x, y and z of the world, and the hub, which turns about y."""
    axes = [(1, 0, 0), (0, 1, 0), (0, 0, 1), (0, 1, 0)]
    return gm.chain_from_axes([np.eye(4)] * 4, axes, [False] * 3 + [True], np.eye(4))


def program(press=2e-4, index=0.8, deeper=0.0, by=None):
    """One exchange, each leg a quintic from rest to rest, with speeds and accelerations.

    Args:
        press: How deep each part is pressed [m].
        index: Time in which the hub turns over the chuck [s].
        deeper: By how much deeper the finished part is [m].
        by: Where the blank goes down on its way, and comes up again.
    """
    t, rows, moves = [np.zeros(1)], [], []
    at, now = np.array([0.3, -0.4, RADIUS + 0.2, 0.0]), 0.0
    rows.append(np.hstack([at, np.zeros(8)])[None])
    moves.append("take blank")

    def go(label, place, high, angle, time):
        nonlocal at, now
        end = np.array([place[0], place[1], place[2] + RADIUS + high, angle])
        count = round(time / STEP)
        s = np.arange(1, count + 1)[:, None] / count
        laws = (
            10 * s**3 - 15 * s**4 + 6 * s**5,
            (30 * s**2 - 60 * s**3 + 30 * s**4) / time,
            (60 * s - 180 * s**2 + 120 * s**3) / time**2,
        )
        rows.append(np.hstack([at + laws[0] * (end - at), laws[1] * (end - at), laws[2] * (end - at)]))
        t.append(now + STEP * np.arange(1, count + 1))
        moves.extend([label] * count)
        at, now = end, now + count * STEP

    def take(label, place, angle, depth):
        go(label, place, 0.02, angle, 0.8)
        go(label, place, -depth, angle, 0.5)
        go(label, place, -depth, angle, 0.2)
        go(label, place, 0.003, angle, 0.3)

    def put(label, place, angle):
        go(label, place, 0.003, angle, 0.8)
        go(label, place, -1e-4, angle, 0.3)
        go(label, place, 0.04, angle, 0.8)

    take("take blank", MAGAZINE, 0.0, press)
    go("to chuck", MAGAZINE, 0.25, 0.0, 0.8)
    for high in () if by is None else (0.25, 0.0, 0.25):
        go("to chuck", by, high, 0.0, 1.5)
    go("to chuck", CHUCK, 0.25, -QUARTER, 1.5)
    take("take done", CHUCK, -QUARTER, press + deeper)
    go("index", CHUCK, 0.25, -QUARTER, 0.8)
    go("index", CHUCK, 0.25, 0.0, index)
    put("put blank", CHUCK, 0.0)
    go("to outfeed", CHUCK, 0.25, 0.0, 0.8)
    go("to outfeed", OUT, 0.25, -QUARTER, 1.5)
    put("put done", OUT, -QUARTER)
    go("home", OUT, 0.25, -QUARTER, 0.8)
    every = np.concatenate(rows)
    q, qd, qdd = np.split(every, 3, axis=1)
    return gm.JointTrajectory(t=np.concatenate(t), q=q, qd=qd, qdd=qdd, moves=tuple(moves))


def gripper(**given):
    """Two pads on each side of a hub of 2 kg about its axis."""
    pads = plate_job().gripper.pads
    both = tuple(replace(pad, name=f"{name} {pad.name}", station=name) for name in STATIONS for pad in pads)
    known = {"mass": 2.0, "com": [0.0, 0.0, -0.01], "inertia": [4e-3, 3e-3, 5e-3, 0, 1e-4, 0]} | given
    frames = tuple(gm.Station(name=name, pose_in_tool=frame) for name, frame in STATIONS.items())
    return gm.Gripper(pads=both, stations=frames, **known)


def exchange(*, trajectory=None, phases=(*BLANK_PHASES, *DONE_PHASES), **fields):
    """The job of one exchange; fields are those of the job."""
    plate = plate_job(nest=NEST)
    blank, done = replace(plate.part, mass=0.3), replace(plate.part, mass=0.2, inertia=plate.part.inertia / 1.5)
    known = {
        "name": "exchange",
        "gripper": gripper(),
        "parts": {"blank": blank, "done": done},
        "picks": {name: gm.Pick(face=gm.pose(at)) for name, at in (("magazine", MAGAZINE), ("chuck", CHUCK))},
        "nests": {name: gm.Nest(face=gm.pose(at), **NEST) for name, at in (("chuck", CHUCK), ("out", OUT))},
        "trajectory": program() if trajectory is None else trajectory,
        "robot": robot(),
        "phases": phases,
    }
    return gm.Job(**(known | fields))


def alone(job, station):
    """What one station does as a job of its own, told without stations: its tool is the frame of the station."""
    part, pick, nest = {"A": ("blank", "magazine", "chuck"), "B": ("done", "chuck", "out")}[station]
    own = tuple(replace(pad, station=None) for pad in job.gripper.pads if pad.station == station)
    return gm.Job(
        name=job.name,
        gripper=gm.Gripper(pads=own),
        part=job.parts[part],
        pick=job.picks[pick],
        nest=job.nests[nest],
        trajectory=job.trajectory,
        robot=robot().mounted(tool=STATIONS[station]),
        phases=tuple(
            replace(phase, station=None, part=None, pick=None, nest=None)
            for phase in job.phases
            if phase.station == station
        ),
        stop=job.stop,
    )
