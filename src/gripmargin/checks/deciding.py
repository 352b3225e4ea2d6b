"""What data would decide a margin that errors of estimated rates leave open, and how good it has to be.

A part of the error of the accelerations is put to the check in place of the whole. What noise or what time between
samples gives that is not said: where accelerations jump the error hardly falls with either.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.checks import words
from gripmargin.checks.case import Case
from gripmargin.results.findings import Remedy

CLOSER: Final = (0.5, 0.2, 0.1, 0.05, 0.02, 0.0)  # parts of the error that are tried, the last one exact rates


def enough(case: Case, decided: Callable[[Case], bool]) -> float | None:
    """Return the largest part of the error of the rates with which a job is decided; None where there is none.

    Args:
        case: The job; it may carry the motion of a recording.
        decided: Whether a case is, by the check.
    """
    if case.motion.error is None or case.motion.given or case.trial:
        return None
    return next((part for part in CLOSER if decided(_known_to(case, part))), None)


def better_data(case: Case, sample: int, part: float | None) -> Remedy:
    """Return what data would decide a sample.

    Args:
        case: The job.
        sample: Which.
        part: Of the error with which it is decided; None where that is not known.
    """
    text, error = case.motion.better_data(sample), case.motion.error
    if part is None or error is None or case.motion.doubts_at(sample):
        return Remedy(action="better data", text=text)
    if part == 0.0:
        return Remedy(action="better data", text=words.exact_rates_decide())
    cause = error.largest(sample)
    (noise, turning), (bias, bent) = error.sizes(np.array([sample]))[:, :, 0]
    text = words.closer_rates_decide(
        part,
        float(case.job.trajectory.t[sample]),
        (2.0 * float(noise) + float(bias), 2.0 * float(turning) + float(bent)),
        error.names[cause],
        float(error.noise[cause]),
        float(np.median(np.diff(case.job.trajectory.t))),
    )
    return Remedy(action="better data", text=text)


def least_known(case: Case, samples: NDArray[np.intp]) -> int:
    """Return the sample at which the acceleration of the tool's origin is known least; the last of several alike."""
    if case.motion.error is None:
        return int(samples[-1])
    (noise, _), (bias, _) = case.motion.error.sizes(samples)
    return int(samples[::-1][np.argmax((2.0 * noise + bias)[::-1])])


def _known_to(case: Case, part: float) -> Case:
    """The case with a part of the error of its rates; with none at all they count as given with the positions."""
    error = case.motion.error
    if error is None or part == 0.0:
        return replace(case, motion=replace(case.motion, given=True, error=None))
    names = ("sigma", "bias", "speed_sigma", "speed_bias")
    less: dict[str, Any] = {name: part * getattr(error, name) for name in names}
    unsmoothed = None if error.unsmoothed is None else error.unsmoothed.times(part, part)
    return replace(case, motion=replace(case.motion, error=replace(error, unsmoothed=unsmoothed, **less)))
