"""What to change, by how much, so that a program reaches its target."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.errors import InputError
from gripmargin.base.poses import pose
from gripmargin.checks import words
from gripmargin.checks.case import Case, work_out
from gripmargin.checks.hold import words as hold_words
from gripmargin.checks.hold.use import COVERAGE, pad_use, rate_errors
from gripmargin.checks.use import Use, inverse
from gripmargin.kernels.search import furthest
from gripmargin.kernels.utilisation import largest_scale, peak_utilisation
from gripmargin.results.findings import Remedy, Verdict, judge, on_target
from gripmargin.workcell import Gripper
from gripmargin.workcell.job import Job

STRONGEST = 100.0  # factor on what the pads hold beyond which it is no remedy
SLOWEST = 0.05  # speed factor below which slowing is no remedy
WORTH_SHIFTING = 0.002  # [m] least shift of the pads that is worth naming
LARGEST_PADS = 3.0  # factor on length and width beyond which larger pads are no remedy


@dataclass(frozen=True, eq=False)
class Overall:
    """Remedies that do not depend on the move, worked out once for a check.

    Attributes:
        target: Margin wanted.
        undecided: Whether the check as a whole is undecided.
        remedies: Changes of the pads that are enough for the whole carry.
    """

    target: float
    undecided: bool
    remedies: tuple[Remedy, ...]

    @classmethod
    def of(cls, case: Case, use: Use, target: float, name: str) -> Overall:
        """Work them out for a check that falls short."""
        high = float(use.high.max())
        undecided = judge(float(inverse(use.most)), float(inverse(use.low.max())), target) is not Verdict.FAIL
        found = []
        if math.isfinite(high) and name not in ("one_pad_lost", "recorded"):
            found = [pad_shift(case, target), larger_pads(case, target)]
        if math.isfinite(high):
            found.append(stronger_pads(high, target))
        return cls(target, undecided, tuple(remedy for remedy in found if remedy is not None))


def for_piece(case: Case, use: Use, whole: Overall, piece: NDArray[np.intp], sample: int) -> list[Remedy]:
    """Return what would be enough for a stretch of the program.

    Args:
        case: The job.
        use: Utilisation of the pads.
        whole: Remedies for the whole carry.
        piece: The carried samples that fall short, indices into ``use``.
        sample: The worst of them, index into the program.
    """
    out = [Remedy(action="better data", text=case.motion.better_data(sample))] if whole.undecided else []
    if case.motion.doubts_at(sample):
        return out  # no speed settles what happens where nothing is known
    return [*out, _slowing(case, use, whole.target, piece, sample), *whole.remedies]


def speed_factor(case: Case, use: Use, members: NDArray[np.intp], target: float) -> float | None:
    """Return the speed factor for a stretch of samples at which its margin reaches the target.

    With all rates scaled by k the load is gravity's part plus k^2 of the rest, and so are the errors of
    estimated rates. Without such errors the factor is in closed form
    (`gripmargin.kernels.utilisation.largest_scale`), with them it is found by halving: utilisation is convex in
    k^2, so the factors that are slow enough form an interval. It is rounded down to 1 %.

    Args:
        case: The job.
        use: Utilisation of the pads.
        members: Samples that are slowed together, indices into the program.
        target: Margin wanted.

    Returns:
        The factor, below 1; None where no such factor helps.
    """
    still = case.standing[:, members]
    moving = case.load[:, members] - still
    if case.motion.error is None:
        square = largest_scale(use.grip.face, still, moving, 1.0 / target)
        if np.isnan(square).any():
            return None
        scale = min(float(square.min(initial=np.inf)), 1.0)
    else:
        noise, bias = rate_errors(case, use.grip.face, members)
        error = COVERAGE * noise + bias

        def holds(factor: float) -> bool:
            used = peak_utilisation(use.grip.face, still + factor * moving)[0] + factor * error
            return on_target(inverse(used), target)

        if not holds(0.0):
            return None
        scale = furthest(holds, 0.0, 1.0)
    factor = math.floor(100.0 * math.sqrt(scale) + 1e-9) / 100.0
    return factor if SLOWEST <= factor < 1.0 else None


def pad_shift(case: Case, target: float) -> Remedy | None:
    """Return the shift of all pads that brings their centre under the centre of mass, where that is enough."""
    shift = np.round((case.job.part.com - case.whole.centre)[:2], 3)
    if float(np.hypot(*shift)) < WORTH_SHIFTING:
        return None
    dx, dy = (float(d) for d in shift)
    margin = _margin_with(case, lambda: replace(case.job, part=case.job.part.placed(pose(xyz=[-dx, -dy, 0.0]))))
    if not on_target(margin, target):
        return None
    text = hold_words.shift_pads(dx, dy, margin)
    return Remedy(action="shift pads", text=text, figures={"x": dx, "y": dy, "margin": margin})


def larger_pads(case: Case, target: float) -> Remedy | None:
    """Return the factor on length and width of every pad, about its own frame, that is enough."""

    def enough(factor: float, job: Job) -> bool:
        pads = tuple(pad.enlarged(factor) for pad in job.gripper.pads)
        cycles = job.gripper.cycles_since_cleaning
        larger = partial(Gripper, pads=pads, cycles_since_cleaning=cycles)  # which may find that they overlap
        return on_target(_margin_with(case, lambda: replace(job, gripper=larger())), target)

    # Where the preload gave a full bond it is simulated again only for the answer, not for each attempt.
    full = all((share == 1.0).all() for share in case.grip.bonded.shares)
    attempt = replace(case.job, pick=None, nest=None) if full and case.hangs_in_carry_alone else case.job
    if not enough(LARGEST_PADS, attempt):
        return None
    least = furthest(lambda factor: enough(factor, attempt), LARGEST_PADS, 1.0, halvings=10)
    factor = math.ceil(100.0 * least - 1e-9) / 100.0
    if not enough(factor, case.job):
        return None
    text = hold_words.larger_pads(factor)
    return Remedy(action="larger pads", text=text, figures={"factor": factor})


def stronger_pads(high: float, target: float) -> Remedy | None:
    """Return the factor on what the pads hold per area that is enough, rounded up to 1 %."""
    factor = math.ceil(100.0 * target * high - 1e-9) / 100.0
    text = hold_words.stronger_pads(factor)
    return Remedy(action="strengthen", text=text, figures={"factor": factor}) if 1.0 < factor < STRONGEST else None


def _slowing(case: Case, use: Use, target: float, piece: NDArray[np.intp], sample: int) -> Remedy:
    move = case.job.trajectory.move_at(sample)
    if move is None:
        members = use.samples[piece]
    else:
        labels = case.job.trajectory.moves or ()
        members = np.array([s for s in use.samples if labels[s] == move], dtype=np.intp)
    subject = hold_words.stretch(move, float(case.job.trajectory.t[sample]))
    factor = speed_factor(case, use, members, target)
    if factor is not None:
        return Remedy(action="slow", text=words.slow(subject, factor), figures={"move": move, "factor": factor})
    standing = float(peak_utilisation(use.grip.face, case.standing[:, members])[0].max())
    figures = {"move": move, "standing_margin": 1.0 / standing if standing > 0 else None}
    if not on_target(inverse(standing), target):
        return Remedy(action="none", text=hold_words.at_standstill(1 / standing, subject), figures=figures)
    return Remedy(action="none", text=hold_words.errors_take_it(subject), figures=figures)


def _margin_with(case: Case, change: Callable[[], Job]) -> float:
    """Least margin over the carry of a changed job; 0 where the change does not fit or pads leave the part."""
    try:
        changed = work_out(change(), motion=case.motion)
    except InputError:
        return 0.0
    before, after = case.whole.patches, changed.whole.patches
    if any(new.share < min(old.share, 0.999) - 1e-6 for old, new in zip(before, after, strict=True)):
        return 0.0
    peak = pad_use(changed)[0].most
    return 1.0 / peak if peak > 0 else math.inf
