"""What to change so that the robot may carry gripper and part."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.advice import Change, Trials, ordered
from gripmargin.checks.case import Case
from gripmargin.checks.changes import shifted_pads
from gripmargin.checks.hold.remedies import SLOWEST
from gripmargin.checks.slowing import motion_at, slower_together
from gripmargin.checks.wrist import words as wrist_words
from gripmargin.checks.wrist.figures import Missing
from gripmargin.checks.wrist.limits import MOVING, Limit, Wrist
from gripmargin.checks.wrist.motion import Rows, split
from gripmargin.kernels.search import furthest
from gripmargin.results.findings import Remedy, Verdict, on_target, short_of
from gripmargin.workcell import Flange
from gripmargin.workcell.job import Job

STEP: Final = 1e-4  # [m] over which the way to shift the part is found
FARTHEST: Final = 0.5  # [m] a part is not gripped further off than that
HALVINGS: Final = 9
ONWARD: Final = (1.0, 1.01, 1.1)  # times the rated values that were found, until the check passes
RATED: Final = ("payload", "moment", "inertia", "peak_force", "peak_moment")  # what a wrist is rated for
STANDS: Final = ("moment", "inertia")  # what a shift of the part changes, and a change of speed does not


def worst_of(limits: list[Limit], target: float) -> Limit:
    """Return the limit that is kept least; what fails goes before what cannot be decided."""
    failing = [limit for limit in limits if limit.verdict(target) is Verdict.FAIL]
    return min(failing or limits, key=lambda limit: limit.high if failing else limit.low)


def remedies(wrist: Wrist, found: list[Limit], short: list[Limit], target: float, trials: Trials) -> tuple[Remedy, ...]:
    """Return the changes that are enough for all rated values that are not kept, and the data that would decide.

    Args:
        wrist: The wrist.
        found: All rated values.
        short: Those that are not surely kept.
        target: Ratio wanted.
        trials: Of the check.
    """
    out = [*_better_data(wrist, short, target)]
    if any(limit.missing is not None or not math.isfinite(limit.most.max()) for limit in short):
        if not out or any(limit.verdict(target) is Verdict.FAIL for limit in short):
            out.append(_robot_above(worst_of(short, target), target))
        return tuple(out)
    more: list[Remedy | None] = []
    if all(limit.kind in MOVING for limit in short):
        more += _slowing(wrist, short, target, trials)
    if all(limit.kind in STANDS for limit in short):
        known = [limit for limit in found if limit.kind in STANDS and limit.missing is None]
        more.append(trials.tried(_shift(wrist, known, short, target)))
    more += [trials.tried(_lighter(wrist, short, target)), trials.tried(_robot(wrist.case, short, target))]
    return *out, *ordered(more)


def _better_data(wrist: Wrist, short: list[Limit], target: float) -> Iterator[Remedy]:
    unsure = [limit for limit in short if limit.verdict(target) is not Verdict.FAIL]
    missing = dict.fromkeys(limit.missing for limit in unsure if limit.missing is not None)
    if missing:
        yield Remedy(action="better data", text=wrist_words.wanted(missing))
    for limit in unsure:
        if limit.missing is None:
            of_the_motion = limit.kind in MOVING and (wrist.by_joints or not limit.place)
            better = wrist.case.motion.better_data(limit.worst) if of_the_motion else wrist_words.JOINTS_AND_DENSE
            yield Remedy(action="better data", text=better)
            return


def _robot_above(limit: Limit, target: float) -> Remedy:
    """A robot for what is known of a demand."""
    needed = (limit.kind, limit.axis, _up(target * float(limit.least.max())))
    return Remedy(action="robot", text=wrist_words.robot([needed], at_least=True), figures={"factor": None})


def _robot(case: Case, short: list[Limit], target: float) -> Iterator[Change]:
    """A wrist whose rated values are all so many times as large."""
    needed = [(limit.kind, limit.axis, _up(target * float(limit.most.max()))) for limit in short]
    for onward in ONWARD:
        factor = _up(onward * target / min(limit.low for limit in short))
        yield Change(
            remedy=Remedy(action="robot", text=wrist_words.robot(needed), figures={"factor": factor}),
            job=lambda factor=factor: replace(case.job, flange=_rated(case.job.flange, factor)),  # type: ignore[misc]
        )


def _rated(flange: Flange | None, factor: float) -> Flange | None:
    if flange is None:
        return None
    given = {name: getattr(flange, name) for name in flange.keys if getattr(flange, name) is not None}
    return replace(flange, **{name: factor * value for name, value in given.items() if name in RATED})


def _slowing(wrist: Wrist, short: list[Limit], target: float, trials: Trials) -> list[Remedy]:
    """Moves that have to slow down, which belong together; none where one of them is too much at standstill."""
    carried = wrist.carried(wrist.case.job.part)
    if isinstance(carried, Missing):
        return []
    over = np.flatnonzero(np.any([short_of(limit.over(limit.most), target) for limit in short], axis=0))
    motions = {
        (motion.move, motion.start): motion
        for motion in (motion_at(wrist.case, int(i)) for i in _firsts(wrist.case, over))
    }
    factors = []
    for motion in motions.values():
        loads = split(wrist.case, carried, motion.samples, wrist.aboard)
        known = [(limit, rows) for limit in short if (rows := wrist.rows(limit.place)) is not None]
        factor = min(_speed(limit, rows, loads, motion.samples, target) for limit, rows in known)
        if factor < SLOWEST:
            return []
        factors.append((motion, factor))
    return slower_together(trials, factors)


def _firsts(case: Case, samples: NDArray[np.intp]) -> NDArray[np.intp]:
    """One sample of each move, or of each run where moves have no labels."""
    labels = case.job.trajectory.moves
    if labels is None:
        return samples[np.diff(samples, prepend=-2) > 1]
    return np.array(list({labels[i]: int(i) for i in samples}.values()), dtype=np.intp)


def _speed(
    limit: Limit, rows: Rows, loads: tuple[FloatArray, FloatArray], members: NDArray[np.intp], target: float
) -> float:
    """The speed factor at which some samples keep a limit, 0 where none does, rounded down to 1 %.

    With all rates scaled by k the load is gravity's part plus k^2 of the rest, and so are the errors of the rates
    and what lies between the samples.

    Args:
        limit: With the errors of what is asked.
        rows: What is made of a load.
        loads: By gravity and by the motion, shape (6, m) each.
        members: The samples, shape (m,).
        target: Ratio wanted.
    """
    weight, motion = loads
    more = (limit.most - limit.asked)[members]

    def holds(factor: float) -> bool:
        square = factor * factor
        return on_target(limit.over(rows.of(weight + square * motion, members) + square * more), target)

    if holds(1.0):
        return 1.0
    if not holds(0.0):
        return 0.0
    low = furthest(holds, 0.0, 1.0, halvings=HALVINGS)
    return math.floor(100.0 * low + 1e-9) / 100.0


def _lighter(wrist: Wrist, short: list[Limit], target: float) -> Iterator[Change]:
    """Weights, moments and inertias go with the mass that stays where it is; the part's own cannot be saved.

    What hangs on other stations where most is asked becomes lighter in the same measure.
    """
    case = wrist.case
    gripper, part, worst = case.job.gripper, case.job.part, worst_of(short, target).worst
    beside = [each.mass for each in case.job.aboard if each.hangs[worst]]
    mass = (gripper.mass or 0.0) + part.mass + sum(beside)
    most = math.floor(1e3 * mass * min(limit.low for limit in short) / target + 1e-9) / 1e3
    same_shape = any(limit.kind != "payload" for limit in short)

    def job(share: float) -> Job:
        lighter = replace(
            gripper,
            mass=None if gripper.mass is None else share * gripper.mass,
            inertia=None if gripper.inertia is None else share * gripper.inertia,
        )
        return replace(
            case.job,
            gripper=lighter,
            part=replace(part, mass=share * part.mass, inertia=share * part.inertia, components=()),
            aboard=tuple(replace(a, mass=share * a.mass, inertia=share * a.inertia) for a in case.job.aboard),
        )

    for allowed in (most, most - 1e-3):  # a gram less where it is just not enough
        if part.mass + sum(beside) <= allowed < mass:
            text = wrist_words.lighter(mass - allowed, allowed, same_shape=same_shape, several=bool(beside))
            remedy = Remedy(action="lighten", text=text, figures={"mass": allowed, "less": mass - allowed})
            yield Change(remedy=remedy, job=partial(job, allowed / mass))


def _shift(wrist: Wrist, known: list[Limit], short: list[Limit], target: float) -> Iterator[Change]:
    """The least shift of the part along the pads that is enough for every axis, along the steepest way."""
    part = wrist.case.job.part

    def ratio(shift: FloatArray, limits: list[Limit] = known) -> float:
        moved = replace(part, com=part.com + shift, components=())
        return min(wrist.limit(x.kind, x.place, x.rated, moved).low for x in limits)

    slope = np.array([ratio(STEP * e, short) - ratio(-STEP * e, short) for e in np.eye(3)[:2]])
    size = float(np.hypot(*slope))
    if not size > 0:  # where the gripper alone is too much, for one
        return
    along = np.array([*(slope / size), 0.0])

    def enough(distance: float) -> bool:
        return on_target(ratio(distance * along), target)

    far = next((d for d in np.geomspace(2e-3, FARTHEST, 9).tolist() if enough(d)), None)
    if far is None:
        return
    least = furthest(enough, far, 0.0, halvings=HALVINGS)
    shift = np.sign(along) * np.ceil(np.abs(1e3 * least * along) - 1e-3) / 1e3
    reached = ratio(shift)
    if on_target(reached, target):
        dx, dy = (float(d) + 0.0 for d in shift[:2])
        text = wrist_words.shift_part(dx, dy, reached)
        remedy = Remedy(action="shift part", text=text, figures={"x": dx, "y": dy, "ratio": reached})
        moved = replace(part, com=part.com + np.array([dx, dy, 0.0]), components=())
        process = shifted_pads(wrist.case.job, -dx, -dy).process
        yield Change(remedy=remedy, job=lambda: replace(wrist.case.job, part=moved, process=process))


def _up(value: float) -> float:
    """A value rounded up to three figures."""
    if not 0 < value < math.inf:
        return value
    digits = 2 - math.floor(math.log10(value))
    return math.ceil(value * 10.0**digits - 1e-9) / 10.0**digits
