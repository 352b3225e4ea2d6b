"""When samples were taken, where their time stamps scatter.

In: stamps and samples, and how the job says that the stamps are meant.
Out: `SampleTimes` to differentiate over.
Error: how far these may still be off, as a standard deviation.

A recording is stamped by a clock that the robot does not follow: the sampler is periodic and its stamps arrive
late, or the sampler itself is uneven and its stamps say so. Second differences show the difference: 0.3 ms of
scatter on samples 4 ms apart is worth tens of rad/s^2. Which of the two holds is read off the samples.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal, get_args

import numpy as np

from gripmargin.base.arrays import FloatArray, Value, sealed
from gripmargin.base.errors import InputError
from gripmargin.kernels.digits import grid
from gripmargin.kernels.local_fit import even_step
from gripmargin.kernels.sample_noise import MEDIAN_TO_SIGMA, ROUNDING_SIGMA
from gripmargin.kernels.sampler import nominal_times, number_samples, share_of_motion

Stamps = Literal["as given", "periodic"]

UNTOLD: Final = 0.25  # standard error of the share from which the scatter is too small beside the noise to matter


@dataclass(frozen=True, eq=False)
class SampleTimes(Value):
    """When samples were taken.

    Attributes:
        t: Times to differentiate over [s], increasing, shape (n,).
        period: Of the sampler [s], or None where the stamps are not those of a periodic one.
        jitter: Of the stamps about the nominal times, one standard deviation [s].
        lost: Samples that are missing.
        share: Of the stamps' deviations from the nominal times that are times of samples: 0 where the samples are
            taken as periodic, 1 where the stamps are used as given.
        scatter: By which these times may still be off, one standard deviation [s].
        note: How the stamps were understood, in a sentence; empty where there was nothing to understand.
    """

    t: FloatArray
    period: float | None = None
    jitter: float = 0.0
    lost: int = 0
    share: float = 1.0
    scatter: float = 0.0
    note: str = ""

    def __post_init__(self) -> None:
        sealed(self.t)


def sample_times(t: FloatArray, y: FloatArray, stamps: Stamps | None = None) -> SampleTimes:
    """Find out when samples were taken.

    Args:
        t: Stamps [s], increasing, shape (n,).
        y: Samples, shape (n, channels).
        stamps: "as given" or "periodic"; None: as the samples show.

    Raises:
        InputError: The stamps are to be those of a periodic sampler, and are not.
    """
    if stamps is not None and stamps not in get_args(Stamps):
        raise InputError("stamps", f"{stamps!r}", " or ".join(repr(word) for word in get_args(Stamps)))
    if stamps == "as given" or even_step(t) is not None:
        return SampleTimes(t)
    wanted = stamps == "periodic"
    found = _Sampler.behind(t)
    if isinstance(found, str):
        return _refused(t, found, wanted)
    said = f"stamps of a sampler with a period of {1e3 * found.period:.4g} ms, {_missing(found.lost)}"
    if found.jitter < 1e-6 * found.period:  # rounding of the stamps
        return SampleTimes(t, found.period, found.jitter, found.lost, note=f"Time stamps: {said}.")
    share, error, how = _followed(found, y, wanted)
    used: FloatArray = found.nominal + share * found.off
    if not (np.diff(used) > 0).all():
        return _refused(t, "their order is not that of the samples", wanted)
    # Of a deviation that the samples follow by a share s, s (1 - s) of its variance stays unknown.
    unknown = found.jitter * float(np.sqrt(max(share * (1.0 - share), min(error, UNTOLD))))
    note = f"Time stamps: {said}; they scatter by {1e3 * found.jitter:.2g} ms (1 sigma){how}."
    return SampleTimes(t if share == 1.0 else used, found.period, found.jitter, found.lost, share, unknown, note)


@dataclass(frozen=True)
class _Sampler:
    """A periodic sampler.

    Attributes:
        nominal: When it took its samples by its own clock [s], shape (n,).
        off: Stamps less these times [s], shape (n,).
        period: [s].
        jitter: One standard deviation of the stamps about the nominal times [s].
        lost: Samples that are missing.
    """

    nominal: FloatArray
    off: FloatArray
    period: float
    jitter: float
    lost: int

    @classmethod
    def behind(cls, t: FloatArray) -> _Sampler | str:
        """Find the sampler behind uneven stamps; or say why there is none."""
        if t.size < 20:
            return f"only {t.size} samples"
        number, _ = number_samples(t)
        nominal, astray = nominal_times(t, number)
        period = float((nominal[-1] - nominal[0]) / number[-1])
        off = t - nominal
        jitter = float(np.sqrt(np.mean(off**2)))
        lost = int(number[-1]) + 1 - t.size
        # with more scatter samples cannot be numbered, the less so where some are lost
        if lost > 0.3 * t.size or not jitter < (0.2 if lost else 0.4) * period:
            return f"they scatter by {1e3 * jitter:.2g} ms about {1e3 * period:.4g} ms"
        if not (np.diff(nominal) > 0).all() or not astray <= 1.0:
            return "their period changes"
        return cls(nominal, off, period, jitter, lost)


def _followed(sampler: _Sampler, y: FloatArray, wanted: bool) -> tuple[float, float, str]:
    """Which share of the stamps' deviations the samples follow, its standard error, and what is made of it."""
    even = "differentiated over even times"
    moved = np.ascontiguousarray((y - y[0]).T)
    least = np.maximum(np.spacing(np.abs(y).max(axis=0, initial=1e-3)), ROUNDING_SIGMA * grid(moved))
    share, error = share_of_motion(sampler.nominal, sampler.off, moved, least)
    if wanted:
        return 0.0, error, f", as the job says: {even}"
    if error > UNTOLD:
        return 0.0, error, f", too little beside the noise to tell whether the samples do: {even}"
    either = max(0.05, 3.0 * error)  # within which one of the two simply holds
    if share < either:
        return 0.0, error, f" and the samples do not follow: {even}"
    if share > 1.0 - either:
        return 1.0, error, " and the samples follow: used as given"
    return share, error, f" and the samples follow by {100 * share:.0f} %: differentiated over times between"


def _missing(lost: int) -> str:
    return "no sample missing" if lost == 0 else "1 sample missing" if lost == 1 else f"{lost} samples missing"


def _refused(t: FloatArray, found: str, wanted: bool) -> SampleTimes:
    if wanted:
        raise InputError(
            "program.stamps",
            f"stamps that are not those of a periodic sampler: {found}",
            "stamps of a periodic sampler",
            "leave the key out, or say 'as given'",
        )
    step = np.diff(t)
    scatter = MEDIAN_TO_SIGMA * float(np.median(np.abs(step - np.median(step))))
    return SampleTimes(
        t,
        scatter=scatter,
        note=f"Time stamps uneven and not those of a periodic sampler ({found}): used as given.",
    )
