"""What to change so that the part swings less: slower, smoother, on a stiffer backing; each tried on the model."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.hold.remedies import stronger_pads
from gripmargin.checks.hold.use import COVERAGE
from gripmargin.checks.swing.ringing import Stretch, asked, peak_of_stretches, stretches_of
from gripmargin.checks.swing.vibration import Drive, Start
from gripmargin.checks.use import Use
from gripmargin.results.findings import Remedy

STEP = 0.05  # of the speed factors tried
SLOWEST = 0.2  # speed factor below which slowing is no remedy for a swing
MOST_PERIODS = 4  # of the strongest swing over which an acceleration may be made to rise
STIFFER = (1.5, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 16.0)  # factors on the stiffness of the backing that are tried
USUAL_DAMPING = (0.02, 0.05, 0.1)  # ratios that are tried where none is given (no source)


def for_move(
    case: Case, stretches: Sequence[Stretch], use: Use, piece: NDArray[np.intp], target: float
) -> tuple[Remedy, ...]:
    """Return the speed factor for the move of a piece, or for the whole carry, at which it reaches its target."""
    sample = int(use.samples[piece[np.argmax(use.high[piece])]])
    if case.motion.doubts_at(sample):
        return (Remedy(action="better data", text=case.motion.better_data(sample)),)
    trajectory = case.job.trajectory
    stretch = next(s for s in stretches if s.samples[0] <= sample <= s.samples[-1])
    move = trajectory.move_at(sample)
    watched = np.isin(stretch.samples, use.samples[piece])
    if move is not None:
        labels = np.array(trajectory.moves or ())
        watched = labels[stretch.samples] == move
        factor = _slowest_needed(stretch, use, watched, watched, target)
        if factor is not None:
            text = f"slow move '{move}' to {factor:.2f} of its speed (its time times {1 / factor:.2f})"
            return (Remedy(action="slow", text=text, figures={"move": move, "factor": factor}),)
    factor = _slowest_needed(stretch, use, np.ones_like(watched), watched, target)
    if factor is not None:
        text = f"slow all moves of the carry to {factor:.2f} of their speed (their time times {1 / factor:.2f})"
        return (Remedy(action="slow", text=text, figures={"move": None, "factor": factor}),)
    where = f"move '{move}'" if move is not None else f"the stretch around {trajectory.t[sample]:.3f} s"
    return (Remedy(action="none", text=f"no speed is slow enough ({where})", figures={"move": move}),)


def _slowest_needed(
    stretch: Stretch, use: Use, slowed: NDArray[np.bool_], watched: NDArray[np.bool_], target: float
) -> float | None:
    """The largest speed factor, to 1 %, at which all watched samples reach the target; None where none does."""

    def holds(factor: float) -> bool:
        part = asked(slowed_down(stretch, slowed, factor), use.maps)
        return bool(((part.high + COVERAGE * part.noise)[watched] <= 1.0 / target).all())

    # Slower is not always better, for a move may hit the period of a swing: factors are tried one by one.
    factor = next((f for f in np.arange(1.0 - STEP, SLOWEST - 1e-9, -STEP) if holds(float(f))), None)
    if factor is None:
        return None
    finer = [f for f in np.arange(factor + STEP - 0.01, factor + 1e-9, -0.01) if f < 1.0]
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


def for_whole(case: Case, stretches: Sequence[Stretch], use: Use, target: float) -> tuple[Remedy, ...]:
    """Return the changes that are enough for the whole carry."""
    high = float(use.high.max())
    if not math.isfinite(high):
        return ()
    found = [
        _smoother(stretches, use, target),
        _damping(case, use, target),
        _finer(case, stretches) if not use.low.max() > 1.0 / target else None,
        _stiffer(case, stretches, use, target),
        stronger_pads(high, target),
    ]
    return tuple(remedy for remedy in found if remedy is not None)


def _smoother(stretches: Sequence[Stretch], use: Use, target: float) -> Remedy | None:
    """The rise of the accelerations, in periods of the strongest swing, that is enough."""
    modes = stretches[0].swing.modes
    gain = np.sqrt(((use.maps @ modes.loads) ** 2).sum(axis=0)).max(axis=0)
    strongest = int(np.argmax(gain * np.max([s.swing.amplitude.max(axis=1) for s in stretches], axis=0)))
    period = 1.0 / float(modes.hertz[strongest])
    for periods in range(1, MOST_PERIODS + 1):
        rise = periods * period
        if peak_of_stretches([_smoothed(s, rise) for s in stretches], use.maps) <= 1.0 / target:
            text = (
                f"let every acceleration rise and fall over {1e3 * rise:.0f} ms or more ({periods} "
                f"period{'s' if periods > 1 else ''} of {modes.names[strongest]}, {modes.hertz[strongest]:.3g} Hz): a "
                f"time law with bounded jerk; each move takes {1e3 * rise:.0f} ms longer"
            )
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


def _stiffer(case: Case, stretches: Sequence[Stretch], use: Use, target: float) -> Remedy | None:
    """The factor on the stiffness of the backing that is enough."""
    modes = stretches[0].swing.modes
    for factor in STIFFER:
        tried = stretches_of(case, modes.stiffer(factor))
        if peak_of_stretches(tried, use.maps) <= 1.0 / target:
            text = f"put the pads on a backing {factor:g} times as stiff (thinner or harder), where strength stays"
            return Remedy(action="stiffen", text=text, figures={"factor": factor})
    return None


def _damping(case: Case, use: Use, target: float) -> Remedy | None:
    """The damping ratio that would be enough, where the job gives none."""
    if any(patch.pad.material.damping_ratio is not None for patch in case.backing.patches):
        return None
    modes = stretches_of(case)[0].swing.modes
    for ratio in USUAL_DAMPING:
        if peak_of_stretches(stretches_of(case, modes.damped(ratio)), use.maps) <= 1.0 / target:
            text = f"measure how the pads damp a swing and give damping_ratio: {ratio:g} or more is enough"
            return Remedy(action="better data", text=text, figures={"damping_ratio": ratio})
    return None


def _finer(case: Case, stretches: Sequence[Stretch]) -> Remedy:
    """Samples that tell how far the part swings."""
    fastest = float(stretches[0].swing.modes.hertz.max())
    step = 0.1 / fastest
    text = f"sample the program every {1e3 * step:.2g} ms or finer (ten times the fastest swing, {fastest:.3g} Hz)"
    if case.motion.error is not None:
        text += ", with joint speeds and accelerations"
    return Remedy(action="better data", text=text, figures={"step": step})
