"""What to change so that the part swings less: slower, smoother, on a stiffer backing.

Changes are sought on the pieces of the carry that use the pads most, and then put to the check.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks import changes
from gripmargin.checks.advice import Change, Trials, ordered
from gripmargin.checks.case import Case
from gripmargin.checks.deciding import better_data, enough, least_known
from gripmargin.checks.hold.remedies import eased, strengthened
from gripmargin.checks.margin import Shortfall
from gripmargin.checks.slowing import Motion, slowing
from gripmargin.checks.swing import words
from gripmargin.checks.swing.drive import Drive
from gripmargin.checks.swing.ringing import Stretch
from gripmargin.checks.swing.use import CarrySwing, swing_use, use_over
from gripmargin.checks.swing.vibration import Modes
from gripmargin.checks.use import inverse
from gripmargin.kernels.utilisation import peak_utilisation
from gripmargin.results.findings import Remedy, Verdict, judge, on_target
from gripmargin.workcell.scaling import scaled

SLOWEST = 0.2  # speed factor below which slowing is no remedy for a swing
PERIODS = (1, 2, 3, 4)  # of the strongest swing over which accelerations rise that are tried
STIFFER = (1.5, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 16.0)  # factors on the stiffness of the backing that are tried
USUAL_DAMPING = (0.02, 0.05, 0.1)  # ratios that are tried where none is given (no source)
SEARCHED = 3  # pieces, the worst ones, on which changes are sought
RESERVE = 1.005  # by what a factor that is sought on a piece has to be better, for what the piece does not show
BEFORE = 100  # samples before a motion that are looked at with it, for the swing that they leave
FORCE_PERIODS = (2, 6)  # of the slowest swing over which a force may come and go: 16 % and 5 % of its swing are left
PIECE = 300  # samples of a piece at most, up to the one that uses the pads most


def advice(
    case: Case, carry: CarrySwing, found: Sequence[Shortfall], trials: Trials, *, undecided: bool, moves: bool = True
) -> Mapping[int, tuple[Remedy, ...]]:
    """Return what to change for each stretch that falls short, by its `k`.

    Args:
        case: The job.
        carry: The swing over the carry.
        found: The stretches.
        trials: Of the check.
        undecided: Whether the carry as a whole is.
        moves: Whether the program can be tried at another speed.
    """
    known = [short for short in found if not short.lacks_samples(case, blamed(case, carry, short))]
    sought, before = trials.sought(found[0].target), list[float]()
    slow = slowing(
        case,
        trials,
        known,
        lambda motion, short: _speed_needed(carry, motion, short, trials.sought(short.target), before),
        lambda motion, short: Remedy(
            action="none", text=words.never_slow_enough(motion.subject), figures={"move": motion.move}
        ),
        searched=SEARCHED,
        possible=moves,
    )
    slow_helps = not moves or (bool(slow) and all(remedy.shown for remedy in slow.values()))
    of_the_data = undecided and not any(short.bounded for short in found)
    part = None
    if of_the_data and known:
        part = enough(case, lambda tried: _is_decided(tried, found[0].target), trials.name)
    finer = of_the_data and part is None
    whole = _for_whole(case, carry, found, trials, sought, undecided=finer, slow_helps=slow_helps) if known else ()
    out = {}
    for short in found:
        if short in known:
            data = [] if part is None else [better_data(case, blamed(case, carry, short), part)]
            out[short.k] = (*data, *ordered([slow.get(short.k), *whole]))
        else:
            sample = short.sample if case.motion.doubts_at(short.sample) else blamed(case, carry, short)
            out[short.k] = (Remedy(action="better data", text=case.motion.better_data(sample)),)
    return out


def blamed(case: Case, carry: CarrySwing, short: Shortfall) -> int:
    """Return the sample up to a stretch at which the motion that started its swing is known least."""
    swung = carry.stretch_at(short.sample).samples
    return least_known(case, swung[swung <= short.sample][-PIECE:])


def _is_decided(case: Case, target: float) -> bool:
    """Whether the margin with the part swinging is decided."""
    use = case.shared(swing_use).use
    return judge(float(inverse(use.most)), float(inverse(use.low.max())), target) is not Verdict.UNDECIDED


def _speed_needed(
    carry: CarrySwing, motion: Motion, short: Shortfall, target: float, before: list[float]
) -> float | None:
    """The largest speed factor, to 1 %, at which a motion by itself reaches the target; None where none does.

    Slower is not always better, for a move may hit the period of a swing: factors are tried one by one. What another
    motion needed comes first, for they are often alike: it is the one where the next one above it is too fast.

    Args:
        carry: The swing.
        motion: What is slowed.
        short: The stretch of it that falls short.
        target: Margin wanted.
        before: Factors of other motions, the last one first; that of this one is put there.
    """
    stretch = carry.stretch_at(short.sample)
    inside = np.flatnonzero(np.isin(stretch.samples, motion.samples))
    at = int(short.sample - stretch.samples[0])
    inside = inside[np.abs(inside - at) <= PIECE]
    piece = stretch.piece(max(int(inside[0]) - BEFORE, 0), int(inside[-1]))
    watched = np.isin(piece.samples, motion.samples)
    found = _factor([(piece, watched)], carry, target, before[:1])
    before[:0] = [] if found is None else [found]
    return found


def _all_slower(case: Case, carry: CarrySwing, pieces: Sequence[Stretch], target: float) -> Iterator[Change]:
    """Factors on the speed of the whole program, from the one that is enough on the worst pieces on."""
    found = _factor([(piece, np.ones(piece.samples.size, dtype=bool)) for piece in pieces], carry, target)
    t = case.job.trajectory.t
    figures = {"move": None, "from": float(t[0]), "to": float(t[-1]), "others": 0}
    for factor in [] if found is None else [found, round(found - 0.01, 2), round(0.9 * found, 2)]:
        yield Change(
            remedy=Remedy(action="slow", text=words.slow_all(factor), figures={**figures, "factor": factor}),
            job=lambda factor=factor: scaled(case.job, np.full(t.size - 1, factor)),  # type: ignore[misc]
        )


def _factor(
    pieces: Sequence[tuple[Stretch, NDArray[np.bool_]]],
    carry: CarrySwing,
    target: float,
    likely: Sequence[float] = (),
) -> float | None:
    """The largest speed factor, to 1 %, at which some samples of pieces, slowed, are all on target.

    One that is likely is it where it is enough and the next one above it is not.
    """
    used = [float(use_over(piece, carry.use.grip.face).most[slowed].max()) for piece, slowed in pieces]
    hidden = RESERVE * _hidden(pieces, carry, used)

    def holds(factor: float) -> bool:
        return all(
            on_target(
                inverse(hidden * use_over(slowed_down(piece, slowed, factor), carry.use.grip.face).most[slowed]), target
            )
            for piece, slowed in pieces
        )

    for known in likely:
        if holds(known) and not holds(known + 0.01):
            return known
    first = min(_guess(pieces, carry, target, used) + 0.1, 0.95)
    factor = next((f for f in np.arange(first, SLOWEST - 1e-9, -0.05) if holds(float(f))), None)
    if factor is None:
        return None
    finer = [f for f in np.arange(factor + 0.04, factor + 1e-9, -0.01) if f < 1.0]
    found = next((f for f in finer if holds(float(f))), factor)
    return math.floor(100.0 * found + 0.5) / 100.0


def _hidden(pieces: Sequence[tuple[Stretch, NDArray[np.bool_]]], carry: CarrySwing, used: Sequence[float]) -> float:
    """By what factor the whole carry uses the pads more than its pieces do by themselves; at least 1."""
    factor = 1.0
    for (piece, slowed), most in zip(pieces, used, strict=True):
        whole = float(carry.use.high[np.isin(carry.use.samples, piece.samples[slowed])].max())
        factor = max(factor, whole / max(most, 1e-12))
    return factor if math.isfinite(factor) else 1.0


def _guess(
    pieces: Sequence[tuple[Stretch, NDArray[np.bool_]]], carry: CarrySwing, target: float, used: Sequence[float]
) -> float:
    """A speed factor from the use, of which what gravity does not do goes with its square; 1 where it tells nothing."""
    factor = 1.0
    for (piece, slowed), most in zip(pieces, used, strict=True):
        standing = piece.swing.modes.loads @ piece.still[:, slowed] + piece.rest[:, slowed]
        still = float(peak_utilisation(carry.use.grip.face, standing)[0].max())
        spare = 1.0 / target - still
        if spare > 0 and most > still:
            factor = min(factor, math.sqrt(spare / (most - still)))
    return factor


def slowed_down(stretch: Stretch, slowed: NDArray[np.bool_], factor: float) -> Stretch:
    """Return a stretch with some of its samples run at a share of their speed.

    Args:
        stretch: The stretch.
        slowed: Which of its samples, shape (m,).
        factor: Speed factor.
    """
    drive = stretch.swing.drive
    longer = np.where(slowed[1:] & slowed[:-1], 1.0 / factor, 1.0)
    step = np.diff(drive.t) * longer
    square = np.where(slowed, factor * factor, 1.0)
    t = drive.t[0] + np.concatenate([[0.0], np.cumsum(step)])
    start = stretch.start
    if slowed[start.sample]:
        start = replace(start, rate=start.rate * factor, lead=start.lead * float(longer[start.sample - 1]))
    return stretch.driven(drive.scaled(t, square, stretch.still), start=start)


def _pushed_slowly(case: Case, carry: CarrySwing) -> Iterator[Change]:
    """Forces of the process that come and go over some periods of the slowest swing."""
    hertz, shape = float(carry.modes.hertz.min()), carry.modes.names[int(carry.modes.hertz.argmin())]
    for periods in FORCE_PERIODS:
        rise = math.ceil(1e3 * periods / hertz) / 1e3
        remedy = Remedy(action="ramp", text=words.ramped(rise, periods, shape, hertz), figures={"rise": rise})
        yield Change(remedy=remedy, job=lambda rise=rise: changes.pushed_slowly(case.job, rise))  # type: ignore[misc]


def _for_whole(
    case: Case,
    carry: CarrySwing,
    found: Sequence[Shortfall],
    trials: Trials,
    target: float,
    *,
    undecided: bool,
    slow_helps: bool,
) -> tuple[Remedy, ...]:
    """The changes for the whole carry."""
    high = float(carry.use.high.max())
    if not math.isfinite(high):
        return ()
    worst = sorted(found, key=lambda short: -float(short.use.high[short.piece].max()))[:SEARCHED]
    pieces = [_piece(carry, short) for short in worst]
    # what makes the part swing less helps no further than to where it hangs still
    swings = all(on_target(inverse(carry.still.high[short.k]), target) for short in worst)
    pushed = any(carry.rings_by_force(case, short.sample) for short in worst)
    remedies = [
        _damping(trials) if swings else None,
        trials.tried(_pushed_slowly(trials.case, carry)) if pushed and swings else None,
        trials.tried(islice(eased(trials.case, carry.use, target), 2)) if pushed else None,
        None if slow_helps else trials.tried(_all_slower(trials.case, carry, pieces, target)),
        _smoother(carry, pieces, target) if swings else None,
        _finer(case, carry) if undecided else None,
        trials.tried(_stiffer(trials.case, carry, pieces, target)) if swings else None,
        trials.tried(strengthened(trials.case.job, high, target)),
    ]
    return tuple(remedy for remedy in remedies if remedy is not None)


def _piece(carry: CarrySwing, short: Shortfall) -> Stretch:
    stretch = carry.stretch_at(short.sample)
    last = int(short.sample - stretch.samples[0])
    return stretch.piece(max(last - PIECE, 0), min(last + 1, stretch.samples.size - 1))


def _enough(pieces: Sequence[Stretch], carry: CarrySwing, target: float) -> bool:
    """Whether pieces of the carry would be on target if the part swung otherwise."""
    return all(on_target(inverse(use_over(each, carry.use.grip.face).most), target) for each in pieces)


def _on_modes(pieces: Sequence[Stretch], modes: Modes) -> list[Stretch]:
    """Pieces with other natural vibrations of the same shapes."""
    return [piece.on(modes) for piece in pieces]


def _smoother(carry: CarrySwing, pieces: Sequence[Stretch], target: float) -> Remedy | None:
    """The rise of the accelerations, in periods of the strongest swing, that is enough."""
    modes, amplitudes = carry.modes, [piece.swing.amplitude.max(axis=1) for piece in pieces]
    strongest = int(np.argmax(modes.gain(carry.use.grip.face) * np.max(amplitudes, axis=0)))
    hertz = float(modes.hertz[strongest])
    period = 1.0 / hertz
    for periods in PERIODS:
        rise = periods * period
        if _enough([_smoothed(piece, rise) for piece in pieces], carry, target):
            text = words.smoother(rise, periods, modes.names[strongest], hertz)
            return Remedy(action="smooth", text=text, figures={"rise": rise, "periods": periods})
    return None


def _smoothed(stretch: Stretch, rise: float) -> Stretch:
    """A stretch whose moving loads are averaged over a time: steps become straight rises."""
    drive, modes = stretch.swing.drive, stretch.swing.modes
    less = np.minimum(1.0, 2.0 / (modes.frequency[:, None] * rise))
    t = drive.t

    def averaged(load: FloatArray) -> FloatArray:
        moving = load - stretch.still
        area = np.concatenate(
            [np.zeros((len(load), 1)), np.cumsum((moving[:, 1:] + moving[:, :-1]) / 2 * np.diff(t), axis=1)], axis=1
        )
        before = np.stack([np.interp(t - rise, t, row, left=0.0) for row in area])
        return stretch.still + (area - before) / rise

    smooth = Drive(
        t=t,
        load=averaged(drive.load),
        base=averaged(drive.base),
        kinks=drive.kinks * less,
        bias=drive.bias,
        growth=drive.growth * less**2,
        sigma=drive.sigma,
        kick=drive.kick,
    )
    return stretch.driven(smooth)


def _stiffer(case: Case, carry: CarrySwing, pieces: Sequence[Stretch], target: float) -> Iterator[Change]:
    """Factors on the stiffness of the backing, from the one that is enough on the worst pieces on."""
    enough = (f for f in STIFFER if _enough(_on_modes(pieces, carry.modes.stiffer(f)), carry, target))
    least = next(enough, math.inf)
    for factor in [f for f in STIFFER if f >= least][:SEARCHED]:
        yield Change(
            remedy=Remedy(action="stiffen", text=words.stiffer(factor), figures={"factor": factor}),
            job=lambda factor=factor: changes.stiffer(case.job, factor),  # type: ignore[misc]
        )


def _damping(trials: Trials) -> Remedy | None:
    """The damping ratio that would be enough, where the job gives none.

    A figure to measure changes no program: it is tried whatever else was.
    """
    case = trials.case
    if any(patch.pad.material.damping_ratio is not None for patch in case.whole.patches):
        return None
    changed = (
        Change(
            remedy=Remedy(action="better data", text=words.measured_damping(ratio), figures={"damping_ratio": ratio}),
            job=lambda ratio=ratio: changes.with_material(case.job, damping_ratio=ratio),  # type: ignore[misc]
        )
        for ratio in USUAL_DAMPING
    )
    found = replace(trials, most=len(USUAL_DAMPING)).tried(changed)
    return found if found is not None and found.shown else None


def _finer(case: Case, carry: CarrySwing) -> Remedy:
    """Samples that tell how far the part swings."""
    fastest = float(carry.modes.hertz.max())
    step = 0.1 / fastest
    text = words.finer_samples(step, fastest, rates=not case.motion.given)
    return Remedy(action="better data", text=text, figures={"step": step})
