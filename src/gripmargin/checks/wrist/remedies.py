"""What to change so that the robot may carry gripper and part."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks import words
from gripmargin.checks.case import Case
from gripmargin.checks.hold.remedies import SLOWEST
from gripmargin.checks.wrist.limits import MOVING, NO_AXES, NO_COM, NO_INERTIA, NO_MASS, Limit, Wrist
from gripmargin.kernels.search import furthest
from gripmargin.results.findings import Remedy, Verdict, judge

STEP = 1e-4  # [m] over which the way to shift the part is found
FARTHEST = 0.5  # [m] a part is not gripped further off than that
HALVINGS = 9
STANDS: Final = ("moment", "inertia")  # what a shift of the part changes, and a change of speed does not

_WANTED: Final = {
    NO_MASS: "weigh the gripper and give gripper.mass",
    NO_COM: "give gripper.com",
    NO_INERTIA: "give gripper.inertia",
    NO_AXES: "give flange.wrist, or the program in joint values",
}


def worst_of(limits: list[Limit], target: float) -> Limit:
    """Return the limit that is kept least; what fails goes before what cannot be decided."""
    failing = [limit for limit in limits if judge(limit.low, limit.high, target) is Verdict.FAIL]
    return min(failing or limits, key=lambda limit: limit.high if failing else limit.low)


def remedies(wrist: Wrist, found: list[Limit], short: list[Limit], target: float) -> tuple[Remedy, ...]:
    """Return the changes that are enough for all rated values that are not kept, and the data that would decide.

    Args:
        wrist: The wrist.
        found: All rated values.
        short: Those that are not surely kept.
        target: Ratio wanted.
    """
    out = [*_better_data(wrist, short, target)]
    if any(limit.unknown or not math.isfinite(limit.most.max()) for limit in short):
        if not out or any(judge(limit.low, limit.high, target) is Verdict.FAIL for limit in short):
            least = worst_of(short, target)
            needed = f"{least.subject} above {_up(target * float(least.least.max())):.4g} {least.unit}"
            out.append(Remedy(action="robot", text=f"take a robot rated for: {needed}", figures={"factor": None}))
        return tuple(out)
    if all(limit.kind in MOVING for limit in short):
        out += _slowing(wrist, short, target)
    known = [limit for limit in found if limit.kind in STANDS and not limit.unknown]
    if all(limit.kind in STANDS for limit in short):
        out += [remedy for remedy in (_shift(wrist, known, short, target),) if remedy is not None]
    out += [remedy for remedy in (_lighter(wrist.case, short, target),) if remedy is not None]
    needed = ", ".join(f"{x.subject} {_up(target * float(x.most.max())):.4g} {x.unit}" for x in short)
    factor = _up(target / min(limit.low for limit in short))
    out.append(Remedy(action="robot", text=f"take a robot rated for: {needed}", figures={"factor": factor}))
    return tuple(out)


def _better_data(wrist: Wrist, short: list[Limit], target: float) -> Iterator[Remedy]:
    missing = dict.fromkeys(limit.unknown for limit in short if limit.unknown and limit.high >= target)
    if missing:
        yield Remedy(action="better data", text="; ".join(_WANTED[reason] for reason in missing))
    for limit in short:
        if limit.unknown or judge(limit.low, limit.high, target) is not Verdict.UNDECIDED:
            continue
        text = "give the program in joint values, which tell how the axes stand, and densely sampled"
        if limit.kind in MOVING and (wrist.by_joints or not limit.place):
            text = wrist.case.motion.better_data(limit.worst)
        yield Remedy(action="better data", text=text)
        return


def _slowing(wrist: Wrist, short: list[Limit], target: float) -> list[Remedy]:
    """Moves that have to slow down, which belong together; none where one of them is too much at standstill."""
    trajectory = wrist.case.job.trajectory
    over = np.zeros(trajectory.samples, dtype=bool)
    for limit in short:
        over |= ~(target * limit.most <= limit.rated)
    out = []
    labels = trajectory.moves
    for move in dict.fromkeys(trajectory.move_at(int(i)) for i in np.flatnonzero(over)):
        members = np.arange(trajectory.samples)
        if labels is not None:
            members = np.array([i for i, label in enumerate(labels) if label == move], dtype=np.intp)
        factor = min(_speed(wrist, limit, members, target) for limit in short)
        if factor < SLOWEST:
            return []
        subject = "the program" if move is None else f"move '{move}'"
        text = f"slow {subject} to {factor:.2f} of its speed (its time times {1 / factor:.2f})"
        out.append(Remedy(action="slow", text=text, figures={"move": move, "factor": factor}))
    return out


def _speed(wrist: Wrist, limit: Limit, members: NDArray[np.intp], target: float) -> float:
    """The speed factor at which some samples keep a limit, 0 where none does, rounded down to 1 %.

    With all rates scaled by k the load is gravity's part plus k^2 of the rest, and so are the errors of the rates
    and what lies between the samples.
    """
    rows = wrist.rows(limit.place)
    weight, motion = wrist.split(members)
    more = (limit.most - limit.asked)[members]

    def holds(factor: float) -> bool:
        square = factor * factor
        return bool((target * (rows.of(weight + square * motion, members) + square * more) <= limit.rated).all())

    if holds(1.0):
        return 1.0
    if not holds(0.0):
        return 0.0
    return math.floor(100.0 * furthest(holds, 0.0, 1.0, halvings=HALVINGS) + 1e-9) / 100.0


def _lighter(case: Case, short: list[Limit], target: float) -> Remedy | None:
    """Weights, moments and inertias go with the mass that stays where it is."""
    mass = (case.job.gripper.mass or 0.0) + case.job.part.mass
    allowed = math.floor(1e3 * mass * min(limit.low for limit in short) / target + 1e-9) / 1e3
    if not 0 < allowed < mass:
        return None
    same = "" if all(limit.kind == "payload" for limit in short) else ", with the same centre of mass and shape"
    text = f"make gripper and part together lighter by {mass - allowed:.3f} kg, to {allowed:.3f} kg{same}"
    return Remedy(action="lighten", text=text, figures={"mass": allowed, "less": mass - allowed})


def _shift(wrist: Wrist, known: list[Limit], short: list[Limit], target: float) -> Remedy | None:
    """The least shift of the part along the pads that is enough for every axis, along the steepest way."""
    part = wrist.case.job.part

    def ratio(shift: FloatArray, limits: list[Limit] = known) -> float:
        moved = replace(part, com=part.com + shift)
        return min(wrist.limit(x.kind, x.place, x.rated, moved).low for x in limits)

    slope = np.array([ratio(STEP * e, short) - ratio(-STEP * e, short) for e in np.eye(3)[:2]])
    size = float(np.hypot(*slope))
    if not size > 0:  # where the gripper alone is too much, for one
        return None
    along = np.array([*(slope / size), 0.0])
    far = next((d for d in np.geomspace(2e-3, FARTHEST, 9) if ratio(d * along) >= target), None)
    if far is None:
        return None
    least = furthest(lambda way: ratio(way * along) >= target, float(far), 0.0, halvings=HALVINGS)
    shift = np.sign(along) * np.ceil(np.abs(1e3 * least * along) - 1e-3) / 1e3
    reached = ratio(shift)
    if not reached >= target:
        return None
    dx, dy = (float(d) + 0.0 for d in shift[:2])
    text = (
        f"grip the part elsewhere, so that its centre of mass moves by x {1e3 * dx:+.0f} mm, y {1e3 * dy:+.0f} mm in "
        f"the tool frame: ratio {words.figure(reached)} (the grip margin changes with it)"
    )
    return Remedy(action="shift part", text=text, figures={"x": dx, "y": dy, "ratio": reached})


def _up(value: float) -> float:
    """A value rounded up to three figures."""
    if not 0 < value < math.inf:
        return value
    digits = 2 - math.floor(math.log10(value))
    return math.ceil(value * 10.0**digits - 1e-9) / 10.0**digits
