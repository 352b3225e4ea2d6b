"""What to change so that the part swings less: slower, smoother, on a stiffer backing; each tried on the model."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.hold.remedies import stronger_pads
from gripmargin.checks.margin import Shortfall
from gripmargin.checks.swing import words
from gripmargin.checks.swing.drive import Drive
from gripmargin.checks.swing.response import Start
from gripmargin.checks.swing.ringing import Stretch, stretches_of
from gripmargin.checks.swing.use import CarrySwing, use_over
from gripmargin.checks.use import inverse
from gripmargin.results.findings import Remedy, on_target

SLOWEST = 0.2  # speed factor below which slowing is no remedy for a swing
PERIODS = (1, 2, 3, 4)  # of the strongest swing over which accelerations rise that are tried
STIFFER = (1.5, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 16.0)  # factors on the stiffness of the backing that are tried
USUAL_DAMPING = (0.02, 0.05, 0.1)  # ratios that are tried where none is given (no source)


def for_move(case: Case, carry: CarrySwing, short: Shortfall) -> Remedy:
    """Return the speed factor for the move of a piece, or for the whole carry, at which it reaches its target.

    Args:
        case: The job.
        carry: The swing over the carry.
        short: What falls short.
    """
    members = short.use.samples[short.piece]
    sample = int(members[np.argmax(short.use.high[short.piece])])
    if case.motion.doubts_at(sample):
        return Remedy(action="better data", text=case.motion.better_data(sample))
    stretch, move = carry.stretch_at(sample), case.job.trajectory.move_at(sample)
    watched = np.isin(stretch.samples, members)
    if move is not None:
        watched = np.array(case.job.trajectory.moves)[stretch.samples] == move
        factor = _speed_needed(stretch, watched, watched, short)
        if factor is not None:
            return Remedy(action="slow", text=words.slow_move(move, factor), figures={"move": move, "factor": factor})
    factor = _speed_needed(stretch, np.ones_like(watched), watched, short)
    if factor is not None:
        return Remedy(action="slow", text=words.slow_all(factor), figures={"move": None, "factor": factor})
    text = words.never_slow_enough(move, float(case.job.trajectory.t[sample]))
    return Remedy(action="none", text=text, figures={"move": move})


def _speed_needed(
    stretch: Stretch, slowed: NDArray[np.bool_], watched: NDArray[np.bool_], short: Shortfall
) -> float | None:
    """The largest speed factor, to 1 %, at which all watched samples reach the target; None where none does."""

    def holds(factor: float) -> bool:
        use = use_over(slowed_down(stretch, slowed, factor), short.use.grip.face).most
        return on_target(inverse(use[watched]), short.target)

    # Slower is not always better, for a move may hit the period of a swing: factors are tried one by one.
    factor = next((f for f in np.arange(0.95, SLOWEST - 1e-9, -0.05) if holds(float(f))), None)
    if factor is None:
        return None
    finer = [f for f in np.arange(factor + 0.04, factor + 1e-9, -0.01) if f < 1.0]
    found = next((f for f in finer if holds(float(f))), factor)
    return math.floor(100.0 * found + 0.5) / 100.0


def slowed_down(stretch: Stretch, slowed: NDArray[np.bool_], factor: float) -> Stretch:
    """Return a stretch with some of its samples run at a share of their speed.

    Args:
        stretch: The stretch.
        slowed: Which of its samples, shape (m,).
        factor: Speed factor.
    """
    drive, at = stretch.swing.drive, slowed[stretch.owner]
    step = np.diff(drive.t) * np.where(at[1:] & at[:-1], 1.0 / factor, 1.0)
    square = np.where(at, factor * factor, 1.0)
    t = drive.t[0] + np.concatenate([[0.0], np.cumsum(step)])
    start = stretch.start
    rate = start.rate * (factor if at[start.sample] else 1.0)
    return stretch.driven(
        drive.scaled(t, square, stretch.still), start=Start(sample=start.sample, load=start.load, rate=rate)
    )


def for_whole(case: Case, carry: CarrySwing, target: float, *, undecided: bool) -> tuple[Remedy, ...]:
    """Return the changes that are enough for the whole carry.

    Args:
        case: The job.
        carry: The swing over the carry.
        target: Margin wanted.
        undecided: Whether the carry as a whole is.
    """
    high = float(carry.use.high.max())
    if not math.isfinite(high):
        return ()
    found = [
        _smoother(carry, target),
        _damping(case, carry, target),
        _finer(case, carry) if undecided else None,
        _stiffer(case, carry, target),
        stronger_pads(high, target),
    ]
    return tuple(remedy for remedy in found if remedy is not None)


def _enough(stretches: Iterable[Stretch], carry: CarrySwing, target: float) -> bool:
    """Whether the carry would be on target if the part swung otherwise."""
    return all(on_target(inverse(use_over(each, carry.use.grip.face).most), target) for each in stretches)


def _smoother(carry: CarrySwing, target: float) -> Remedy | None:
    """The rise of the accelerations, in periods of the strongest swing, that is enough."""
    modes, amplitudes = carry.modes, [stretch.swing.amplitude.max(axis=1) for stretch in carry.stretches]
    strongest = int(np.argmax(modes.gain(carry.use.grip.face) * np.max(amplitudes, axis=0)))
    hertz = float(modes.hertz[strongest])
    period = 1.0 / hertz
    for periods in PERIODS:
        rise = periods * period
        if _enough((_smoothed(stretch, rise) for stretch in carry.stretches), carry, target):
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


def _stiffer(case: Case, carry: CarrySwing, target: float) -> Remedy | None:
    """The factor on the stiffness of the backing that is enough."""
    for factor in STIFFER:
        if _enough(stretches_of(case, carry.modes.stiffer(factor)), carry, target):
            return Remedy(action="stiffen", text=words.stiffer(factor), figures={"factor": factor})
    return None


def _damping(case: Case, carry: CarrySwing, target: float) -> Remedy | None:
    """The damping ratio that would be enough, where the job gives none."""
    if any(patch.pad.material.damping_ratio is not None for patch in case.whole.patches):
        return None
    for ratio in USUAL_DAMPING:
        if _enough(stretches_of(case, carry.modes.damped(ratio)), carry, target):
            return Remedy(action="better data", text=words.measured_damping(ratio), figures={"damping_ratio": ratio})
    return None


def _finer(case: Case, carry: CarrySwing) -> Remedy:
    """Samples that tell how far the part swings."""
    fastest = float(carry.modes.hertz.max())
    step = 0.1 / fastest
    text = words.finer_samples(step, fastest, rates=case.motion.error is not None)
    return Remedy(action="better data", text=text, figures={"step": step})
