"""When samples were taken, where their time stamps scatter.

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
from gripmargin.kernels.local_fit import even_step
from gripmargin.kernels.sample_noise import grid
from gripmargin.kernels.sampler import MAD_TO_SIGMA, nominal_times, number_samples, share_of_motion

Stamps = Literal["as given", "periodic"]

FEWEST: Final = 20  # samples from which a period is looked for
SCATTER: Final = (0.4, 0.2)  # jitter over the period from which samples cannot be numbered: none lost, some lost
LOST: Final = 0.3  # share of samples lost from which a sampler is not called periodic
CLEAR: Final = 3.0  # standard errors by which the samples have to speak for or against the stamps
EITHER: Final = 0.05  # share within which one of the two simply holds
EXACT: Final = 1e-6  # jitter over the period that is rounding of the stamps
ROUNDING: Final = 0.2886751345948129  # standard deviation of rounding to whole numbers, 1 / sqrt(12)
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
    if t.size < FEWEST:
        return _refused(t, f"only {t.size} samples", wanted)
    number, _ = number_samples(t)
    nominal, astray = nominal_times(t, number)
    period = float((nominal[-1] - nominal[0]) / number[-1])
    off = t - nominal
    jitter = float(np.sqrt(np.mean(off**2)))
    lost = int(number[-1]) + 1 - t.size
    if lost > LOST * t.size or not jitter < SCATTER[lost > 0] * period:
        return _refused(t, f"they scatter by {1e3 * jitter:.2g} ms about {1e3 * period:.4g} ms", wanted)
    if not (np.diff(nominal) > 0).all() or not astray <= 1.0:
        return _refused(t, "their period changes", wanted)
    said = f"stamps of a sampler with a period of {1e3 * period:.4g} ms, {_missing(lost)}"
    if jitter < EXACT * period:
        return SampleTimes(t, period, jitter, lost, note=f"Time stamps: {said}.")
    scatter = f"they scatter by {1e3 * jitter:.2g} ms (1 sigma)"
    moved = np.ascontiguousarray((y - y[0]).T)
    least = np.maximum(np.spacing(np.abs(y).max(axis=0, initial=1e-3)), ROUNDING * grid(moved))
    share, error = share_of_motion(nominal, off, moved, least)
    if wanted or error > UNTOLD:
        share = 0.0
        why = "as the job says" if wanted else "too little beside the noise to tell whether the samples do"
        how = f"{scatter}, {why}: differentiated over even times"
    elif share < max(EITHER, CLEAR * error):
        share = 0.0
        how = f"{scatter} and the samples do not follow: differentiated over even times"
    elif share > 1.0 - max(EITHER, CLEAR * error):
        share = 1.0
        how = f"{scatter} and the samples follow: used as given"
    else:
        how = f"{scatter} and the samples follow by {100 * share:.0f} %: differentiated over times between"
    used: FloatArray = nominal + share * off
    if not (np.diff(used) > 0).all():
        return _refused(t, "their order is not that of the samples", wanted)
    if share == 1.0:
        used = t
    # Of a deviation that the samples follow by a share s, s (1 - s) of its variance stays unknown.
    unknown = jitter * float(np.sqrt(max(share * (1.0 - share), min(error, UNTOLD))))
    return SampleTimes(used, period, jitter, lost, share, unknown, f"Time stamps: {said}; {how}.")


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
    scatter = MAD_TO_SIGMA * float(np.median(np.abs(step - np.median(step))))
    return SampleTimes(
        t,
        scatter=scatter,
        note=f"Time stamps uneven and not those of a periodic sampler ({found}): used as given.",
    )
