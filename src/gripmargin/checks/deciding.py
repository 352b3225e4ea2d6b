"""What data would decide a margin that errors of estimated rates leave open, and how good it has to be.

A part of the error of the accelerations is put to the check in place of the whole. What samples give that depends on
the motion: of joints, samples of two motions fitted to the program (`gripmargin.motion.finer`) are put to the check, at
even times, with more digits and less noise, or closer. What is named decides both.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.errors import InputError
from gripmargin.checks import words
from gripmargin.checks.case import Case, work_out
from gripmargin.checks.resting import data_alone
from gripmargin.kernels.local_fit import even_step
from gripmargin.motion.finer import DEGREES, last_digits, sampled_again
from gripmargin.motion.trajectory import JointTrajectory
from gripmargin.results.findings import Remedy

Decided = Callable[[Case], bool]

CLOSER: Final = (0.5, 0.2, 0.1, 0.05, 0.02, 0.0)  # parts of the error that are tried, the last one exact rates
DIGITS: Final = (0.1, 0.01)  # parts of the last digit and of the noise
PERIODS: Final = (0.01, 0.008, 0.004, 0.002, 0.001)  # [s] of controllers and loggers (common practice, no source)
CLOSEST: Final = 0.2  # of the time between samples
MOST: Final = 20_000  # samples that are made


@dataclass(frozen=True)
class Enough:
    """Data with which a check is decided.

    Attributes:
        part: Of the error of the rates, the largest.
        even: Whether even times alone are enough; where not, what follows is at even times.
        digit: Part of the last digit and of the noise, the largest that was tried; None: more digits are not enough.
        step: Between samples [s], the largest that was tried; None: closer ones are not enough.
    """

    part: float
    even: bool = False
    digit: float | None = None
    step: float | None = None


def enough(case: Case, decided: Decided, name: str = "") -> Enough | None:
    """Return the data with which a job is decided; None where errors of the rates are not all that leaves it open.

    Args:
        case: The job; it may carry the motion of a recording.
        decided: Whether a case is, by the check.
        name: Of the result: what that takes for granted has to hold.
    """
    if case.motion.error is None or case.motion.given or case.trial or not data_alone(case, name):
        return None
    part = next((part for part in CLOSER if decided(_known_to(case, part))), None)
    if not part:
        return None if part is None else Enough(part)
    program = case.job.trajectory
    if not isinstance(program, JointTrajectory) or program.qd is not None or program.timing or case.recorded:
        return Enough(part)
    usual, uneven = float(np.median(np.diff(program.t))), even_step(program.t) is None
    same = usual if uneven else None
    span = float(program.t[-1] - program.t[0])
    closer = [x for x in PERIODS if CLOSEST * usual <= x < 0.75 * usual and span < MOST * x]

    if uneven and _serves(case, decided, same, 1.0):
        return Enough(part, even=True)
    digits = DIGITS if _serves(case, decided, same, DIGITS[-1]) else ()
    return Enough(
        part,
        digit=next((x for x in digits if _serves(case, decided, same, x)), None),
        step=next((x for x in closer if _serves(case, decided, x, 1.0)), None),
    )


def _serves(case: Case, decided: Decided, step: float | None, part: float) -> bool:
    """Whether samples of both fitted motions are decided; what is worked out serves checks that come later too."""
    program, made = case.job.trajectory, case.shared(_none)
    try:
        for size in ((degree, step, part) for degree in DEGREES):
            if size not in made and isinstance(program, JointTrajectory):
                again = sampled_again(replace(program, t=case.motion.at.t), size[0], step=step, part=part)
                made[size] = work_out(replace(case.job, trajectory=again), trial=True)
            if not decided(made[size]):
                return False
    except InputError:  # such as a phase that ends between two of the samples
        return False
    return True


def _none(_: Case) -> dict[tuple[int, float | None, float], Case]:
    return {}


def better_data(case: Case, sample: int, found: Enough | None) -> Remedy:
    """Return what data would decide a sample.

    Args:
        case: The job.
        sample: Which.
        found: With what it is decided; None where that is not known.
    """
    text, error = case.motion.better_data(sample), case.motion.error
    missing, poses = case.motion.rest_without_samples(sample), not isinstance(case.job.trajectory, JointTrajectory)
    if found is None or error is None or missing or case.motion.doubts_at(sample):
        return Remedy(action="better data", text=text)
    if found.part == 0.0:
        return Remedy(action="better data", text=words.exact_rates_decide(poses=poses))
    cause, step = error.largest(sample), float(np.median(np.diff(case.job.trajectory.t)))
    (random, turning), (bias, bent) = error.sizes(np.array([sample]))[:, :, 0]
    said = words.closer_rates_decide(
        found.part,
        float(case.job.trajectory.t[sample]),
        (2.0 * float(random) + float(bias), 2.0 * float(turning) + float(bent)),
        poses=poses,
    )
    name, unit = error.names[cause]
    samples = ["as they are"] if found.even else []
    if found.digit is not None and isinstance(case.job.trajectory, JointTrajectory):
        digit, strays = (float(rows[cause]) for rows in last_digits(case.job.trajectory))
        now, what = (digit, "rounded to") if digit > 0.0 else (strays, "with noise of")
        samples.append(f"{what} {found.digit * now:.2g} {unit} (now {now:.2g})")
    if found.step is not None:
        samples.append(f"every {1e3 * found.step:.3g} ms (now {1e3 * step:.3g})")
    at = "positions" if even_step(case.job.trajectory.t) is not None else "positions at even times"
    if samples:
        said += f", or {at} {', or '.join(samples)}, tried on two motions fitted to these; {name} needs it most"
    else:
        noise = float(error.noise[cause])
        said += (
            f"; else {name} needs positions with less noise (now {noise:.1g} {unit}) or closer than {1e3 * step:.3g} ms"
        )
    return Remedy(action="better data", text=said)


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
