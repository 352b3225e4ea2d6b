"""Speeds and accelerations from samples, with the error of each as part of the answer.

Derivatives of local polynomials over windows from 5 points up. At each sample the widest window is looked for
whose answer agrees with those of all narrower windows within their noise; the answer comes from a window about
half as wide, so that its smoothing error stays below its noise. What is left of that error is judged from the
differences between windows and between the two sides of the sample.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gripmargin.base.arrays import FloatArray, Value, frozen
from gripmargin.base.errors import InputError
from gripmargin.kernels.bursts import burst_bias
from gripmargin.kernels.cubic_spline import spline_rates
from gripmargin.kernels.local_fit import even_step, local_fit, running_max, step_between
from gripmargin.kernels.sample_noise import BLOCK, noise_levels, run_lengths

METHOD: Final = (
    "Local polynomial least squares (Savitzky & Golay, Anal. Chem. 36(8), 1964); window at each sample by "
    "intersection of confidence intervals (Goldenshluger & Nemirovski, Math. Methods Stat. 6(2), 1997; Katkovnik, "
    "IEEE Trans. Signal Process. 47(9), 1999), then half as wide; noise from high differences of the samples"
)
SMALLEST: Final = 5  # samples
_BOTH_SIDES: Final = 9  # samples; with fewer, none has a narrowest window on both sides, and no fit can be doubted
LARGEST_TURN: Final = np.pi / 2  # between two samples; twice that and the sense of rotation is lost

_POINTS: Final = (5, 5, 7, 9, 13, 17, 25, 35, 49, 69, 99, 139, 199)  # the first with degree 4
_CHUNK: Final = 8160  # samples worked on at a time; a multiple of all numbers of samples that share a window
_HALO: Final = 600  # samples on either side of a chunk, more than its answers depend on; such a multiple too
# The figures below were set by simulation (coverage of known accelerations), on the safe side.
_AGREE: Final = (6.0, 3.75)  # half width of the intervals in standard deviations: first window, the others
_NOISY: Final = 4.5  # the others where noise is steady: over a whole record it exceeds less by chance
_STEADY: Final = 0.2  # median over root mean square of the noise levels of blocks from which it is steady
_BACK: Final = 2  # windows back from the widest that agrees; two windows are a factor of about 2
_WORTH: Final = 12.0  # a window this many times noisier than the widest that agrees is not gone back to
_EVIDENT: Final = 1.5  # standard deviations by which windows may differ without being a smoothing error
_SCALE: Final = 1.5  # smoothing error over the difference of two windows
_SIDES: Final = 3.0  # the same for polynomials on one side of the sample
_OFF_CENTRE: Final = 2.0  # more smoothing error where the window lies on one side of the sample
_STEP: Final = 2.5  # standard deviations of one window below which a step of the answer is noise


@dataclass(frozen=True, eq=False)
class Rates(Value):
    """Derivatives of samples and their errors; an error is within 2 sigma + bias for at least 95 % of samples.

    Attributes:
        first: First derivative [unit/s], shape (n, channels).
        second: Second derivative [unit/s^2], shape (n, channels); (0, channels) where only the first was asked for.
        sigma_first: Noise of the first derivative, one standard deviation, its shape.
        sigma_second: Noise of the second derivative, one standard deviation, its shape.
        bias_first: Estimated bound of what smoothing and sampling do to the first derivative, its shape.
        bias_second: Estimated bound of what smoothing and sampling do to the second derivative, its shape.
        noise: Noise found in the samples [unit], one standard deviation, shape (channels,).
        window: Time from the first to the last sample used [s], shape (n, channels).
        method: The method with its sources, for reports.
        spline: First and second derivative of the cubic spline through all samples, shape (2, n, channels), or
            None: not smoothed at all, so all noise is in it; an oscillator slower than the samples smooths it itself.
    """

    first: FloatArray
    second: FloatArray
    sigma_first: FloatArray
    sigma_second: FloatArray
    bias_first: FloatArray
    bias_second: FloatArray
    noise: FloatArray
    window: FloatArray
    method: str = METHOD
    spline: FloatArray | None = None

    def __post_init__(self) -> None:
        n, channels = np.shape(self.first)
        seconds = len(self.second)
        for name, rows in (("first", n), ("second", seconds)):
            for field in (name, f"sigma_{name}", f"bias_{name}"):
                object.__setattr__(self, field, frozen(getattr(self, field), (rows, channels), f"rates {field}"))
        object.__setattr__(self, "noise", frozen(self.noise, (channels,), "rates noise"))
        object.__setattr__(self, "window", frozen(self.window, (n, channels), "rates window"))
        if self.spline is not None:
            object.__setattr__(self, "spline", frozen(self.spline, (2, n, channels), "rates spline"))


def estimate_rates(t: ArrayLike, y: ArrayLike, *, order: int = 2, scatter: float = 0.0, bursts: bool = True) -> Rates:
    """Estimate the derivatives of samples.

    Args:
        t: Times [s], increasing, evenly spaced or not, shape (n,), n >= 5.
        y: Samples, shape (n, channels).
        order: 2 for first and second derivative of positions, 1 for the first derivative of speeds.
        scatter: By which the times may be off [s], one standard deviation.
        bursts: Whether quick moves that samples cannot follow are looked for.

    Raises:
        InputError: Fewer than 5 samples, times that do not increase, NaN, or numbers too large to differentiate.
    """
    times = frozen(t, (None,), "t")
    samples = frozen(y, (times.size, None), "samples")
    if order not in (1, 2):
        raise InputError("order", f"{order}", "1 or 2")
    if times.size < SMALLEST:
        raise InputError(
            "samples",
            f"{times.size}",
            f"at least {SMALLEST}",
            f"at least {SMALLEST} samples are needed to estimate rates",
        )
    if not (np.diff(times) > 0).all():
        raise InputError("t", "times that repeat or go back", "times that increase")
    found, noise = _estimate(times, np.ascontiguousarray(samples.T), order)
    top, sigma, bias, window, *first = (np.ascontiguousarray(rows.T) for rows in found)
    if order == 1:
        none = np.zeros((0, samples.shape[1]))
        return Rates(top, none, sigma, none, bias, none, noise, window)
    even = even_step(times) is not None
    if bursts:
        bias = bias + burst_bias(times, np.ascontiguousarray(samples.T), even=even, scatter=scatter).T
    spline = spline_rates(times, samples)
    return Rates(first[0], top, first[1], sigma, first[2], bias, noise, window, spline=spline)


def estimate_rotation_rates(t: ArrayLike, rotation: ArrayLike, *, scatter: float = 0.0, bursts: bool = True) -> Rates:
    """Estimate angular velocity and acceleration of orientations, both in body axes.

    What is differentiated is the integral of the angular velocity in body axes, summed from the rotation vectors
    between neighbouring samples with the fourth-order term of Magnus (Iserles & Norsett, Phil. Trans. R. Soc. A
    357, 1999): its derivatives are exactly the two wanted, at any orientation and speed.

    Args:
        t: Times [s], increasing, shape (n,), n >= 5.
        rotation: Body axes as columns, shape (n, 3, 3).
        scatter: By which the times may be off [s], one standard deviation.
        bursts: Whether quick turns that samples cannot follow are looked for.

    Returns:
        First: angular velocity [rad/s]; second: angular acceleration [rad/s^2].

    Raises:
        InputError: As `estimate_rates`, or a turn of 90 degrees or more between two samples.
    """
    times = frozen(t, (None,), "t")
    matrices = frozen(rotation, (times.size, 3, 3), "rotation")
    if times.size < SMALLEST:
        return estimate_rates(times, matrices[:, 0])  # says that there are too few
    between = np.einsum("nji,njk->nik", matrices[:-1], matrices[1:])
    sine = 0.5 * np.stack([between[:, k - 1, k - 2] - between[:, k - 2, k - 1] for k in range(3)], axis=-1)
    length = np.linalg.norm(sine, axis=-1)
    turn = np.arctan2(length, 0.5 * (np.einsum("nii->n", between) - 1.0))
    if turn.max() >= LARGEST_TURN:
        i = int(np.argmax(turn))
        raise InputError(
            f"orientation of sample {i + 1}",
            f"a turn of {np.degrees(turn[i]):.0f} degrees since the sample before",
            "less than 90 degrees",
            "sample the program more densely, or repair the orientation",
        )
    vector = sine * np.where(length > 0, turn / np.where(length > 0, length, 1.0), 1.0)[:, None]
    h = np.diff(times)[:, None]
    speed = vector / h
    middle = (times[1:] + times[:-1]) / 2
    slope = np.diff(speed, axis=0) / np.diff(middle)[:, None]
    gap = np.diff(middle)[:, None]
    inner = (gap[1:] * slope[:-1] + gap[:-1] * slope[1:]) / (gap[1:] + gap[:-1])
    rise = np.concatenate([slope[:1], inner, slope[-1:]])
    integral = np.cumsum(vector - h**3 / 12.0 * np.cross(speed, rise), axis=0)
    return estimate_rates(times, np.vstack([np.zeros(3), integral]), scatter=scatter, bursts=bursts)


def _estimate(t: FloatArray, y: FloatArray, order: int) -> tuple[list[FloatArray], FloatArray]:
    """Work in chunks so that memory does not grow with the number of windows times samples.

    Args:
        t: Times [s], shape (n,).
        y: Samples, shape (channels, n).
        order: Order of the derivative that windows are chosen for.

    Returns:
        Rows of `_chunk` for all samples, and the noise of each channel.
    """
    n = t.size
    step = even_step(t)
    level, reliable = noise_levels(t, y, step)
    # Rounding of a slow motion is the same over many samples: it averages out as if there were fewer.
    runs = np.maximum(run_lengths(y) - 1.0, 1.0)
    steady = np.median(level, axis=-1) > _STEADY * np.sqrt(np.mean(level**2, axis=-1))
    agree = np.where(steady, _NOISY, _AGREE[1])[:, None]
    found: list[FloatArray] = [np.empty(y.shape) for _ in range(4 if order == 1 else 7)]
    for a in range(0, n, _CHUNK):
        low, high = max(0, a - _HALO), min(n, a + _CHUNK + _HALO)
        block = np.arange(low, high) // BLOCK
        part = _chunk(
            t[low:high],
            y[:, low:high] - y[:, low : low + 1],
            (level[:, block], reliable[:, block]),
            (runs[:, low:high], agree),
            order,
            step,
        )
        for whole, rows in zip(found, part, strict=True):
            whole[:, a : a + _CHUNK] = rows[:, a - low : a - low + _CHUNK]
    return found, np.asarray(np.sqrt(np.mean(level**2, axis=-1)))


@dataclass(frozen=True)
class _Ladder:
    """The answers of all windows for one order: arrays of shape (windows, channels, n)."""

    value: FloatArray
    sigma: FloatArray

    def at(self, window: NDArray[np.intp]) -> tuple[FloatArray, FloatArray]:
        return _pick(self.value, window), _pick(self.sigma, window)

    def evident(self, a: int, b: int) -> FloatArray:
        """By how much two windows differ beyond noise.

        The variance of the difference of a least-squares answer and one from more of the same samples is the
        difference of the variances (Hausman, Econometrica 46(6), 1978).
        """
        spread = np.sqrt(np.maximum(self.sigma[a] ** 2 - self.sigma[b] ** 2, 0.0))
        return np.asarray(np.maximum(np.abs(self.value[a] - self.value[b]) - _EVIDENT * spread, 0.0))


def _chunk(
    t: FloatArray,
    y: FloatArray,
    noise: tuple[FloatArray, FloatArray],
    trust: tuple[FloatArray, FloatArray],
    order: int,
    step: float | None,
) -> list[FloatArray]:
    """Derivative, sigma, bias, window, and for order 2 the first derivative, its sigma and bias."""
    level, reliable = noise
    # a joint that stands at exactly zero has no noise at all
    inflation = np.divide(level, reliable, out=np.ones_like(level), where=reliable > 0)
    orders = (1,) if order == 1 else (2, 1)
    ladders, widest = _climb(t, y, reliable, trust, orders, step)
    main = ladders[0]
    last = len(main.value) - 1
    chosen = np.maximum(widest - _BACK, 0)
    limit = _WORTH * _pick(main.sigma, widest)
    for _ in range(_BACK):
        chosen = chosen + ((_pick(main.sigma, chosen) > limit) & (chosen < widest))
    bias = [np.zeros(y.shape) for _ in orders]
    for k in np.unique(chosen):
        reach = _POINTS[k] // 2
        found = [_SCALE * ladder.evident(k, min(k + _BACK, last)) for ladder in ladders]
        # At a step of the derivative the answer is halfway: off by half its height.
        height = np.abs(step_between(t, main.value[k], reach + (k == 0)))
        jump = 0.5 * np.maximum(height - _STEP * main.sigma[k], 0.0)
        if k == 0:
            found[0] = main.evident(0, min(1, last))
            differ, evident = _sides(t, y, reliable, orders[0], step, main)
            found[0] = np.maximum(found[0], evident)
            jump = np.minimum(jump, differ)
        found[0] = np.maximum(found[0], jump)
        here = chosen == k
        for of_order, bound in zip(bias, found, strict=True):
            bound[:, :reach] *= _OFF_CENTRE
            bound[:, t.size - reach :] *= _OFF_CENTRE
            of_order[here] = running_max(bound, reach)[here]
    if t.size < _BOTH_SIDES:
        most = np.abs(main.value[0]).max(axis=-1, keepdims=True)
        for of_order, unit in zip(bias, (1.0, float(np.diff(t).max())), strict=False):
            np.maximum(of_order, most * unit, out=of_order)
    rows: list[FloatArray] = []
    for ladder, bound in zip(ladders, bias, strict=True):
        value, sigma = ladder.at(chosen)
        rows += [value, sigma * inflation, bound]
    points = np.array(_POINTS)[chosen]
    first = np.clip(np.arange(t.size) - points // 2, 0, t.size - points)
    return [*rows[:3], t[first + points - 1] - t[first], *rows[3:]]


def _climb(
    t: FloatArray,
    y: FloatArray,
    noise: FloatArray,
    trust: tuple[FloatArray, FloatArray],
    orders: tuple[int, ...],
    step: float | None,
) -> tuple[list[_Ladder], NDArray[np.intp]]:
    """Fit wider and wider windows; find for each sample the widest that agrees with all narrower ones."""
    runs, agree = trust
    values: list[list[FloatArray]] = [[] for _ in orders]
    sigmas: list[list[FloatArray]] = [[] for _ in orders]
    agrees = np.ones(y.shape, dtype=bool)
    widest = np.zeros(y.shape, dtype=np.intp)
    low, high = np.full(y.shape, -np.inf), np.full(y.shape, np.inf)
    for k, points in enumerate(_POINTS):
        if points > t.size or k > widest.max() + _BACK:
            break
        reach = points // 2
        same = np.sqrt(np.minimum(running_max(runs, reach), points))
        fits = local_fit(t, y, points, orders[0] + 1 if k else 4, orders, step=step)
        for i, (value, gain) in enumerate(fits):
            values[i].append(value)
            sigmas[i].append(noise * gain * same)
        half = (agree if k else _AGREE[0]) * sigmas[0][k]
        low, high = np.maximum(low, values[0][k] - half), np.minimum(high, values[0][k] + half)
        agrees &= low <= high
        if k:
            # Next to a step of the derivative all windows agree on its mean; a little further on they do not.
            agrees &= ~running_max(~agrees, max(1, reach // 2))
        widest[agrees] = k
    return [_Ladder(np.array(v), np.array(s)) for v, s in zip(values, sigmas, strict=True)], widest


def _sides(
    t: FloatArray, y: FloatArray, noise: FloatArray, order: int, step: float | None, main: _Ladder
) -> tuple[FloatArray, FloatArray]:
    """How far the narrowest window's answer is from polynomials on either side of the sample.

    Where the motion has a kink nearby, the polynomial on the other side does not see it. Two degrees are tried
    and the smaller of their answers taken: both hold at a kink, and the higher one is better on smooth motion.

    Returns:
        The larger of both sides as it is, and beyond noise.
    """
    plain, evident = [], []
    for points, degree in ((5, 4), (4, 3)):
        far, beyond = np.zeros(y.shape), np.zeros(y.shape)
        for side in (-1, 1):
            ((value, gain),) = local_fit(t, y, points, degree, (order,), step=step, side=side)
            apart = np.abs(value - main.value[0])
            far = np.maximum(far, apart)
            beyond = np.maximum(beyond, apart - _SIDES * np.hypot(noise * gain, main.sigma[0]))
        plain.append(far)
        evident.append(beyond)
    # Near the ends the windows of a side are moved inwards, the longer ones onto the narrowest window itself.
    whole = np.zeros(t.size, dtype=bool)
    whole[SMALLEST - 1 : t.size - SMALLEST + 1] = True
    differ, beyond = (np.where(whole, np.minimum(*both), np.maximum(*both)) for both in (plain, evident))
    return differ, beyond


def _pick(stack: FloatArray, index: NDArray[np.intp]) -> FloatArray:
    return np.asarray(np.take_along_axis(stack, index[None], axis=0)[0])
