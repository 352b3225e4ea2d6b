"""Programs of several picks: cycles of straight legs by a quintic law, with the rates that go with it."""

from dataclasses import replace

import numpy as np

import gripmargin as gm
from support.handed import DOWN, plate_job

STEP = 0.005
HOME = (0.0, -0.2, 0.2)
LABELS = ("touch", "press", "off", "over", "seat", "leave", "home")
PHASES = (
    gm.Phase(kind="preload", moves=("touch", "press", "off")),
    gm.Phase(kind="carry", moves=("over",)),
    gm.Phase(kind="release", moves=("seat", "leave")),
)
NEST = {"hold_down": 200.0, "lateral_force": 50.0, "moment": 5.0}


def program(*cycles, start=HOME, labels=LABELS):
    """Cycles one after the other, each from rest to rest at home.

    Args:
        cycles: Each with where the part is taken and left, both shape (3,), and further figures by name: time of the
            way over [s], depth of the press [m], labels of its moves, where it ends, where it goes down on the way
            over.
        start: Where the first one begins.
    """
    t, rows, moves, at = [], [], [], np.array(start, dtype=float)
    now = 0.0

    def go(label, end, time):
        nonlocal at, now
        count = round(time / STEP)
        s = np.arange(1, count + 1) / count
        laws = (
            10 * s**3 - 15 * s**4 + 6 * s**5,
            (30 * s**2 - 60 * s**3 + 30 * s**4) / time,
            (60 * s - 180 * s**2 + 120 * s**3) / time**2,
        )
        way = np.asarray(end) - at
        rows.append(np.hstack([at + laws[0][:, None] * way, laws[1][:, None] * way, laws[2][:, None] * way]))
        t.append(now + STEP * np.arange(1, count + 1))
        moves.extend([label] * count)
        at, now = np.asarray(end, dtype=float), now + count * STEP

    rows.append(np.hstack([at, np.zeros(6)])[None])
    t.append(np.zeros(1))
    moves.append((cycles[0][2].get("labels", labels) if len(cycles[0]) > 2 else labels)[0])
    for pick, nest, *figures in cycles:
        more = figures[0] if figures else {}
        own = more.get("labels", labels)
        taken, left, over = np.array(pick, dtype=float), np.array(nest, dtype=float), more.get("over", 1.5)
        high = np.array([0.0, 0.0, 0.1])
        go(own[0], taken + 0.2 * high, 0.8)
        go(own[0], taken - [0, 0, more.get("press", 2e-4)], 0.5)
        go(own[1], at, 0.2)
        go(own[2], taken + 0.01 * high, 0.2)
        go(own[3], taken + high, 0.6)
        for down in more.get("by", ()):
            go(own[3], down + high, over)
            go(own[3], down, over)
            go(own[3], down + high, over)
        go(own[3], left + high, over)
        go(own[3], left + 0.03 * high, 0.8)
        go(own[4], left - [0, 0, 1e-4], 0.3)
        go(own[5], left + 0.4 * high, 0.8)
        go(own[6], more.get("home", HOME), 1.0)
        go(own[6], at, 0.1)
    rows = np.concatenate(rows)
    return gm.PoseTrajectory(
        t=np.concatenate(t),
        position=rows[:, :3],
        rotation=np.tile(DOWN, (len(rows), 1, 1)),
        velocity=np.pad(rows[:, 3:6], ((0, 0), (0, 3))),
        acceleration=np.pad(rows[:, 6:], ((0, 0), (0, 3))),
        moves=tuple(moves),
    )


def kit(*cycles, phases=PHASES, labels=LABELS, start=HOME, **fields):
    """The job of such a program; fields are those of the job."""
    job = plate_job(nest=NEST)
    return replace(job, trajectory=program(*cycles, start=start, labels=labels), phases=phases, **fields)
