"""Derivatives by local polynomials over windows as wide as the motion allows, with the error of each.

At each sample the widest window is looked for whose answer agrees with those of all narrower windows within their
noise; the answer comes from a window about half as wide, so that its smoothing error stays below its noise. What is
left of that error is judged from the differences between windows and between the two sides of the sample.

The figures in this file were set by simulation (coverage of known accelerations), on the safe side.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import parts, stored
from gripmargin.kernels.local_fit import even_step, local_fit, running_max, step_between
from gripmargin.kernels.sample_noise import BLOCK, noise_levels, run_lengths

FEWEST: Final = 5  # samples: the narrowest window
_POINTS: Final = (FEWEST, 5, 7, 9, 13, 17, 25, 35, 49, 69, 99, 139, 199)  # the first with degree 4
_BACK: Final = 2  # windows back from the widest that agrees; two windows are a factor of about 2
_CHUNK: Final = 8160  # samples worked on at a time; a multiple of all numbers of samples that share a window


def adaptive_fit(
    t: FloatArray, y: FloatArray, orders: tuple[int, ...], *, late: float = 0.0
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return derivatives of samples with their errors.

    The work is done in chunks so that memory does not grow with the number of windows times samples.

    Args:
        t: Times [s], increasing, shape (n,), n >= FEWEST.
        y: Samples, shape (channels, n).
        orders: Of the derivatives: (2, 1), or (1,); windows are chosen for the first of them.
        late: By which times may be off [s], one standard deviation: noise in proportion to the speed, at least.

    Returns:
        For each order its value, one standard deviation of its noise and a bound of what smoothing and sampling do to
        it, shape (orders, 3, channels, n); the time over which was smoothed [s], shape (channels, n); the noise of each
        channel, shape (channels,), and what of it is no motion, by block, shape (channels, blocks).
    """
    n, step = t.size, even_step(t)
    level, reliable = noise_levels(t, y, step)
    if late > 0.0:
        moved = np.pad(np.abs(np.diff(y, axis=1)) / np.diff(t), ((0, 0), (0, 1)), mode="edge")
        floor = late * running_max(np.maximum.reduceat(moved, np.arange(0, n, BLOCK), axis=1), 1)
        level, reliable = np.maximum(level, floor), np.maximum(reliable, floor)
    mean_level = np.sqrt(np.mean(level**2, axis=-1))
    # standard deviations in which windows agree; steady noise exceeds less by chance over a whole record
    agree = np.where(np.median(level, axis=-1) > 0.2 * mean_level, 4.5, 3.75)[:, None]
    found, window = stored((len(orders), 3, n, len(y))).swapaxes(2, 3), stored(y.shape)
    halo = 336  # three reaches of the widest window, all that an answer depends on; such a multiple too
    for part in parts(n, size=_CHUNK):
        a, low, high = part.start, max(0, part.start - halo), min(n, part.stop + halo)
        near = slice(max(0, low - _POINTS[-1]), high + _POINTS[-1])
        block = np.arange(low, high) // BLOCK
        chunk = _Chunk(
            t=t[low:high],
            y=y[:, low:high] - y[:, low : low + 1],
            noise=reliable[:, block],
            # Rounding of a slow motion is the same over many samples: it averages out as if there were fewer.
            runs=np.maximum(run_lengths(y[:, near])[:, low - near.start :][:, : high - low] - 1.0, 1.0),
            agree=agree,
            step=step,
        )
        here = slice(a - low, a - low + _CHUNK)
        derivatives, widths = chunk.fit(orders, level[:, block])
        found[..., a : a + _CHUNK], window[:, a : a + _CHUNK] = derivatives[..., here], widths[:, here]
    return found, window, np.asarray(mean_level), reliable


@dataclass(frozen=True)
class _Ladder:
    """The answers of all windows for one order: arrays of shape (windows, channels, n)."""

    value: FloatArray
    sigma: FloatArray

    def evident(self, a: int, b: int) -> FloatArray:
        """By how much two windows differ beyond noise.

        The variance of the difference of a least-squares answer and one from more of the same samples is the
        difference of the variances (Hausman, Econometrica 46(6), 1978).
        """
        spread = np.sqrt(np.maximum(self.sigma[a] ** 2 - self.sigma[b] ** 2, 0.0))
        return np.asarray(np.maximum(np.abs(self.value[a] - self.value[b]) - 1.5 * spread, 0.0))


@dataclass(frozen=True, kw_only=True)
class _Chunk:
    """Neighbouring samples that are worked on together.

    Attributes:
        t: Times [s], shape (n,).
        y: Samples, shape (channels, n).
        noise: That may be relied on, its shape.
        runs: For each sample how many have its value, as `run_lengths`, one less and 1 at least.
        agree: Standard deviations in which windows agree, shape (channels, 1).
        step: The time step [s] where sampling is even, else None.
    """

    t: FloatArray
    y: FloatArray
    noise: FloatArray
    runs: FloatArray
    agree: FloatArray
    step: float | None

    def fit(self, orders: tuple[int, ...], level: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return derivatives with errors and windows as `adaptive_fit`.

        Args:
            orders: Of the derivatives.
            level: Noise of the samples, shape (channels, n).
        """
        ladders, widest = self._climb(orders)
        chosen = _gone_back(ladders[0].sigma, widest)
        # a joint that stands at exactly zero has no noise at all
        inflation = np.divide(level, self.noise, out=np.ones_like(level), where=self.noise > 0)
        bias = self._smoothing_errors(ladders, chosen, orders)
        found = [
            [_pick(ladder.value, chosen), _pick(ladder.sigma, chosen) * inflation, bound]
            for ladder, bound in zip(ladders, bias, strict=True)
        ]
        points = np.array(_POINTS)[chosen]
        first = np.clip(np.arange(self.t.size) - points // 2, 0, self.t.size - points)
        return np.array(found), self.t[first + points - 1] - self.t[first]

    def _climb(self, orders: tuple[int, ...]) -> tuple[list[_Ladder], NDArray[np.intp]]:
        """Fit wider and wider windows; find for each sample the widest that agrees with all narrower ones."""
        values: list[list[FloatArray]] = [[] for _ in orders]
        sigmas: list[list[FloatArray]] = [[] for _ in orders]
        agrees = np.ones(self.y.shape, dtype=bool)
        widest = np.zeros(self.y.shape, dtype=np.intp)
        low, high = np.full(self.y.shape, -np.inf), np.full(self.y.shape, np.inf)
        for k, points in enumerate(_POINTS):
            if points > self.t.size or k > widest.max() + _BACK:
                break
            reach = points // 2
            same = np.sqrt(np.minimum(running_max(self.runs, reach), points))
            fits = local_fit(self.t, self.y, points, orders[0] + 1 if k else 4, orders, step=self.step)
            for i, (value, gain) in enumerate(fits):
                values[i].append(value)
                sigmas[i].append(self.noise * gain * same)
            half = (self.agree if k else 6.0) * sigmas[0][k]
            low, high = np.maximum(low, values[0][k] - half), np.minimum(high, values[0][k] + half)
            agrees &= low <= high
            if k:
                # Next to a step of the derivative all windows agree on its mean; a little further on they do not.
                agrees &= ~running_max(~agrees, max(1, reach // 2))
            widest[agrees] = k
        return [_Ladder(np.array(v), np.array(s)) for v, s in zip(values, sigmas, strict=True)], widest

    def _smoothing_errors(
        self, ladders: list[_Ladder], chosen: NDArray[np.intp], orders: tuple[int, ...]
    ) -> list[FloatArray]:
        """Bounds of what smoothing and sampling do to each derivative, each of shape (channels, n)."""
        n, main = self.t.size, ladders[0]
        last = len(main.value) - 1
        bias: list[FloatArray] = [np.zeros(self.y.shape) for _ in ladders]
        for k in np.unique(chosen):
            reach = _POINTS[k] // 2
            found = [1.5 * ladder.evident(k, min(k + _BACK, last)) for ladder in ladders]
            # At a step of the derivative the answer is halfway: off by half its height. A low one may be noise.
            height = np.abs(step_between(self.t, main.value[k], reach + (k == 0)))
            jump = 0.5 * np.maximum(height - 2.5 * main.sigma[k], 0.0)
            if k == 0:
                found[0] = main.evident(0, min(1, last))
                differ, evident = self._sides(main, orders[0])
                found[0] = np.maximum(found[0], evident)
                jump = np.minimum(jump, differ)
            found[0] = np.maximum(found[0], jump)
            here = chosen == k
            for of_order, bound in zip(bias, found, strict=True):
                bound[:, :reach] *= 2.0  # where the window lies on one side of the sample
                bound[:, n - reach :] *= 2.0
                of_order[here] = running_max(bound, reach)[here]
        if n < 2 * FEWEST - 1:  # no sample has a narrowest window on both sides, and no fit can be doubted
            most = np.abs(main.value[0]).max(axis=-1, keepdims=True)
            for of_order, unit in zip(bias, (1.0, float(np.diff(self.t).max())), strict=False):
                np.maximum(of_order, most * unit, out=of_order)
        return bias

    def _sides(self, main: _Ladder, order: int) -> tuple[FloatArray, FloatArray]:
        """How far the narrowest window's answer is from polynomials on either side of the sample.

        Where the motion has a kink nearby, the polynomial on the other side does not see it. Two degrees are tried
        and the smaller of their answers taken: both hold at a kink, and the higher one is better on smooth motion.

        Returns:
            The larger of both sides as it is, and beyond noise.
        """
        plain, evident = [], []
        for points, degree in ((FEWEST, 4), (4, 3)):
            far, beyond = np.zeros(self.y.shape), np.zeros(self.y.shape)
            for side in (-1, 1):
                ((value, gain),) = local_fit(self.t, self.y, points, degree, (order,), step=self.step, side=side)
                apart = np.abs(value - main.value[0])
                far = np.maximum(far, apart)
                beyond = np.maximum(beyond, apart - 3.0 * np.hypot(self.noise * gain, main.sigma[0]))
            plain.append(far)
            evident.append(beyond)
        # Near the ends the windows of a side are moved inwards, the longer ones onto the narrowest window itself.
        whole = np.zeros(self.t.size, dtype=bool)
        whole[FEWEST - 1 : self.t.size - FEWEST + 1] = True
        differ, beyond = (np.where(whole, np.minimum(*both), np.maximum(*both)) for both in (plain, evident))
        return differ, beyond


def _gone_back(sigma: FloatArray, widest: NDArray[np.intp]) -> NDArray[np.intp]:
    """The window that answers at each sample: back from the widest, but not to one 12 times as noisy."""
    chosen = np.maximum(widest - _BACK, 0)
    limit = 12.0 * _pick(sigma, widest)
    for _ in range(_BACK):
        chosen = chosen + ((_pick(sigma, chosen) > limit) & (chosen < widest))
    return chosen


def _pick(stack: FloatArray, index: NDArray[np.intp]) -> FloatArray:
    return np.asarray(np.take_along_axis(stack, index[None], axis=0)[0])
