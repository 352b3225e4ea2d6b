"""What to change, by how much, so that a program reaches its target."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.checks import changes
from gripmargin.checks.advice import Change, Trials, ordered
from gripmargin.checks.case import Case
from gripmargin.checks.deciding import better_data, enough
from gripmargin.checks.hold import words
from gripmargin.checks.hold.letting_go import settled_carry
from gripmargin.checks.hold.use import COVERAGE, asked_of_the_pads, rate_errors
from gripmargin.checks.margin import Shortfall
from gripmargin.checks.slowing import Motion, slowing
from gripmargin.checks.use import Use, inverse
from gripmargin.contact.backing import Backing
from gripmargin.contact.bond import holding_strength
from gripmargin.contact.cells import cut_pads
from gripmargin.kernels.face import Face
from gripmargin.kernels.search import furthest, furthest_within
from gripmargin.kernels.utilisation import largest_scale, peak_utilisation
from gripmargin.results.findings import Remedy, Verdict, judge, on_target, short_of
from gripmargin.workcell.job import Job

STRONGEST = 100.0  # factor on what the pads hold beyond which it is no remedy
SLOWEST = 0.05  # speed factor below which slowing is no remedy
WORTH_SHIFTING = 0.002  # [m] least shift of the pads that is worth naming
LARGEST_PADS = 3.0  # factor on length and width beyond which larger pads are no remedy
SEARCHED = 64  # samples, the worst ones, on which a change is sought before the check tries it on all
NEAR = 0.005  # share by which a margin that is sought may be above its target
MOST_SIZES = 10  # that are looked at
ONWARD = (0.0, 0.01, 0.03, 0.1)  # by what share further a factor goes, until the check passes


def advice(
    case: Case, use: Use, found: Sequence[Shortfall], target: float, trials: Trials, *, moves: bool = True
) -> Mapping[int, tuple[Remedy, ...]]:
    """Return what to change for each stretch that falls short, by its `k`.

    Args:
        case: The job; it may carry the motion of a recording.
        use: Utilisation of the pads.
        found: The stretches.
        target: Margin wanted.
        trials: Of the check that falls short.
        moves: Whether the program can be tried at another speed.
    """
    known = [short for short in found if not short.lacks_samples(case, short.sample)]
    sought = trials.sought(target)
    undecided = judge(float(inverse(use.most)), float(inverse(use.low.max())), target) is not Verdict.FAIL
    slow = slowing(
        case,
        trials,
        known,
        lambda motion, short: speed_factor(case, use, _worst_of(use, motion.samples), trials.sought(target)),
        lambda motion, short: _why_not(case, use, trials.sought(target), motion),
        possible=moves,
    )
    whole = of_the_pads(case, use, sought, trials) if known else ()
    part = (
        enough(case, lambda tried: _is_decided(tried, trials.name, target), trials.name)
        if undecided and known
        else None
    )
    out = {}
    for short in found:
        data = [better_data(case, short.sample, part)] if undecided and short.unknown else []
        more = (slow[short.k], *whole) if short.k in slow else ()  # no change settles what is not known
        out[short.k] = (*data, *ordered(more))
    return out


def _is_decided(case: Case, name: str, target: float) -> bool:
    """Whether a margin of the carry is decided; that of a recording is the grip margin."""
    wanted = "hold" if name == "recorded" else name
    use = next(settled_carry(case, asked) for asked in asked_of_the_pads(case) if asked.name == wanted)
    return judge(float(inverse(use.most)), float(inverse(use.low.max())), target) is not Verdict.UNDECIDED


def of_the_pads(case: Case, use: Use, target: float, trials: Trials) -> tuple[Remedy, ...]:
    """Return the changes of the pads for the whole carry; a shift and a size are sought for the use of all of them."""
    high = float(use.high.max())
    if not math.isfinite(high):
        return ()
    found = [trials.tried(strengthened(trials.case.job, high, target))]
    if case.pushes and trials.name in ("hold", "peel", "one_pad_lost"):
        found.insert(0, trials.tried(eased(case, use, target)))
    if use.grip.bonded.sheet is not None and trials.name in ("hold", "peel", "swing"):
        shown = (trials.tried(change(trials.case.job)) for change in (_beneath, _rounded))
        found = [trials.tried(_spread(trials.case.job)), *(each for each in shown if each and each.shown), *found]
    if trials.name in ("hold", "peel"):
        few = _worst_of(use, use.samples)
        found = [
            trials.tried(_shifted(case)),
            trials.tried(enlarged(case.job, size_for(case.job, case.load[:, few], high, target))),
            *found,
        ]
    return tuple(remedy for remedy in found if remedy is not None)


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
    still = case.standing(members) + case.pushed(members)
    moving = case.load[:, members] - still
    if case.motion.given:
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
        scale = furthest(holds, 0.0, 1.0, halvings=12)
    factor = math.floor(100.0 * math.sqrt(scale) + 1e-9) / 100.0
    return min(factor, 0.99) if factor >= SLOWEST else None


def _spread(job: Job) -> Iterator[Change]:
    """Four smaller pads in place of one under a part that bends, where there is room for them."""
    with suppress(InputError):
        changed, x, y = changes.quartered(job)
        remedy = Remedy(action="spread pads", text=words.four_pads(x, y), figures={"x": x, "y": y})
        yield Change(remedy=remedy, job=lambda: changed)


def _beneath(job: Job) -> Iterator[Change]:
    """A pad beneath the heaviest component."""
    with suppress(InputError):
        changed, pad = changes.beneath_the_heaviest(job)
        x, y = pad.pose_in_tool[:2, 3].tolist()
        remedy = Remedy(action="move pad", text=words.pad_beneath(pad.name, x, y), figures={"x": x, "y": y})
        yield Change(remedy=remedy, job=lambda: changed)


def _rounded(job: Job) -> Iterator[Change]:
    """Round pads under a part that bends."""
    with suppress(InputError):
        changed = changes.rounded(job)
        yield Change(remedy=Remedy(action="round pads", text=words.ROUND_PADS), job=lambda: changed)


def strengthened(job: Job, used: float, target: float) -> Iterator[Change]:
    """Yield factors on what the pads hold per area, rounded up to 1 %, from the one that a use [-] asks for on."""
    for factor in _onward(target * used):
        if 1.0 < factor < STRONGEST:
            yield Change(
                remedy=Remedy(action="strengthen", text=words.stronger_pads(factor), figures={"factor": factor}),
                job=lambda factor=factor: changes.stronger(job, factor),  # type: ignore[misc]
                size=factor,
            )


def less_force(job: Job, factor: float) -> Change:
    """Return forces of the process that are smaller by a factor."""
    return Change(
        remedy=Remedy(action="less force", text=words.less_force(factor), figures={"factor": factor}),
        job=lambda: changes.less_pushed(job, factor),
    )


def eased(case: Case, use: Use, target: float) -> Iterator[Change]:
    """Yield smaller forces of the process, as far as they are what uses the pads too much.

    Args:
        case: The job.
        use: How far the pads are used with them.
        target: Margin wanted.
    """
    alone = peak_utilisation(use.grip.face, case.own_load[:, use.samples])[0]
    caused = use.high - alone  # convex in the factor: from what is used without them to what is used with them
    short = short_of(inverse(use.high), target) & (caused > 0.0)
    if not short.any():
        return
    most = float(((1.0 / target - alone[short]) / caused[short]).min())
    for more in ONWARD:
        factor = math.floor(100.0 * most * (1.0 - more) + 1e-9) / 100.0
        if 0.0 < factor < 1.0:
            yield less_force(case.job, factor)


def enlarged(job: Job, least: float | None) -> Iterator[Change]:
    """Yield factors on length and width of every pad, rounded up to 1 %, from one on, as far as there is room."""
    room = changes.most_room(job, LARGEST_PADS) if least is not None else 1.0
    for factor in _onward(least or math.inf):
        if 1.0 < factor <= room + 10.0 * changes.FINE:
            yield Change(
                remedy=Remedy(action="larger pads", text=words.larger_pads(factor), figures={"factor": factor}),
                job=lambda factor=factor: changes.resized(job, factor),  # type: ignore[misc]
                size=factor,
            )


def _onward(least: float) -> Iterator[float]:
    """Factors from one on, each rounded up to 1 %; nothing without one."""
    if math.isfinite(least):
        yield from dict.fromkeys(math.ceil(100.0 * least * (1.0 + more) - 1e-9) / 100.0 for more in ONWARD)


def _worst_of(use: Use, samples: NDArray[np.intp]) -> NDArray[np.intp]:
    """The carried ones of some samples that use the pads most."""
    inside = np.flatnonzero(np.isin(use.samples, samples))
    return use.samples[np.sort(inside[np.argsort(-use.high[inside], kind="stable")[:SEARCHED]])]


def _why_not(case: Case, use: Use, target: float, motion: Motion) -> Remedy:
    """Why no speed is slow enough."""
    members = _worst_of(use, motion.samples)
    still = case.standing(members) + case.pushed(members)
    standing = float(peak_utilisation(use.grip.face, still)[0].max(initial=0.0))
    figures = {"move": motion.move, "standing_margin": 1.0 / standing if standing > 0 else None}
    if not on_target(inverse(standing), target):
        return Remedy(action="none", text=words.at_standstill(1 / standing, motion.subject), figures=figures)
    return Remedy(action="none", text=words.errors_take_it(motion.subject), figures=figures)


def _shifted(case: Case) -> Iterator[Change]:
    """The shift of all pads that brings their centre under the centre of mass."""
    dx, dy = (float(d) + 0.0 for d in np.round((case.job.part.com - case.whole.centre)[:2], 3))
    if math.hypot(dx, dy) < WORTH_SHIFTING or not _room_for(case, dx, dy):
        return

    def remedy(margin: float | None) -> Remedy:
        figures = {"x": dx, "y": dy} | ({} if margin is None else {"margin": margin})
        return Remedy(action="shift pads", text=words.shift_pads(dx, dy, margin), figures=figures)

    yield Change(remedy=remedy(None), job=lambda: changes.shifted_pads(case.job, dx, dy), reached=remedy)


def _room_for(case: Case, dx: float, dy: float) -> bool:
    """Whether shifted pads lie on the part as far as they do now."""
    pads = case.job.gripper.pads
    return not changes.over_the_edge(pads, changes.shifted_pads(case.job, dx, dy).part, like=(pads, case.job.part))


def size_for(job: Job, load: FloatArray, used: float, target: float) -> float | None:
    """Return the least factor on length and width of every pad with which some loads are on target.

    Larger pads are taken to be bonded as the present ones are.

    Args:
        job: The job.
        load: At the tool origin, shape (6, m).
        used: What the present pads are used by these loads at most, with all that comes on top [-].
        target: Margin wanted.
    """

    def plain(factor: float) -> float:
        changed = changes.resized(job, factor)
        backing = Backing(cut_pads(changed.gripper.pads, changed.part))
        full = [holding_strength(patch.pad, changed.part, changed.gripper) for patch in backing.patches]
        return float(peak_utilisation(Face(backing.edge_maps(full)[0]), load)[0].max())

    def larger(factor: float) -> float:
        try:
            return used / now * plain(factor)
        except InputError:
            return math.inf

    now, room = plain(1.0), changes.most_room(job, LARGEST_PADS)
    if not now > 0 or not room > 1.0:
        return None
    # what they are used goes about with their area, and little more
    found = furthest_within(
        lambda area: larger(1.0 / math.sqrt(area)),
        1.0 / target,
        (1.0 / room**2, larger(room)),
        (1.0, used),
        near=NEAR,
        most=MOST_SIZES,
    )
    return None if found is None else 1.0 / math.sqrt(found)
