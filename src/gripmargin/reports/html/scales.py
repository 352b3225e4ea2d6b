"""Scales of charts: round ticks, and the scale of margins, whose heights are those of the load."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.reports.html.text import number


@dataclass(frozen=True, kw_only=True)
class Scale:
    """The values a chart shows, and its ticks.

    Attributes:
        low: At the bottom.
        high: At the top.
        ticks: Values with their labels.
    """

    low: float
    high: float
    ticks: tuple[tuple[float, str], ...]

    def share(self, y: FloatArray | float) -> FloatArray:
        """Return how far from the top values are, as a share of the height, kept inside the chart."""
        return np.asarray(np.clip((self.high - y) / (self.high - self.low), 0.0, 1.0))


def scale(values: Sequence[FloatArray], *, zero: bool = True, ticks: int = 4) -> Scale:
    """Return a scale over all finite values, with round ticks.

    Args:
        values: What is to be shown.
        zero: Whether nought has to be on it.
        ticks: About how many.
    """
    finite = np.concatenate([v[np.isfinite(v)].ravel() for v in values] + [np.zeros(int(zero))])
    low, high = (float(finite.min()), float(finite.max())) if finite.size else (0.0, 1.0)
    if high - low < 1e-12 * max(abs(low), abs(high), 1e-6):
        high, low = high + max(abs(high), 1e-3) * 0.5, low - (max(abs(low), 1e-3) * 0.5 if low < 0 or not zero else 0.0)
    step = round_step((high - low) / ticks)
    low, high = math.floor(low / step + 1e-9) * step, math.ceil(high / step - 1e-9) * step
    digits = decimals(step)
    at = [low + i * step for i in range(round((high - low) / step) + 1)]
    return Scale(low=low, high=high, ticks=tuple((y, number(y, digits)) for y in at))


def decimals(step: float) -> int:
    """Return how many decimals the multiples of a step have."""
    return next((d for d in range(12) if abs(round(step, d) - step) < 1e-6 * step), 12)


def round_step(raw: float) -> float:
    """Return the least round number that is not below another: 1, 2, 2.5 or 5 times a power of ten."""
    power: float = 10.0 ** math.floor(math.log10(raw))
    return next(s * power for s in (1.0, 2.0, 2.5, 5.0, 10.0) if raw <= s * power * (1 + 1e-9))


MARGIN_TICKS = (math.inf, 10, 5, 3, 2, 1.5, 1.2, 1, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.25, 0.2)
DEEPEST = 5.0  # use beyond which a margin chart does not follow


def margin_scale(use: Sequence[FloatArray], levels: Sequence[float]) -> Scale:
    """Return the scale of a chart of margins: heights are those of the use, labels the margins, unbounded on top."""
    finite = [v[np.isfinite(v)] for v in use]
    most = max([1.0, *levels, *(float(v.max()) for v in finite if v.size)])
    bottom = min(max(1.12, 1.06 * most), DEEPEST)
    kept: list[tuple[float, str]] = []
    for tick in MARGIN_TICKS:
        y = 0.0 if math.isinf(tick) else 1.0 / tick
        room = 0.062 * bottom
        if y <= bottom and (not kept or y - kept[-1][0] >= room or tick == 1):
            if tick == 1 and kept and y - kept[-1][0] < room:
                kept.pop()
            kept.append((y, "∞" if math.isinf(tick) else f"{tick:g}"))
    return Scale(low=bottom, high=0.0, ticks=tuple(kept))


def share_of(span: tuple[float, float], t: float) -> float:
    """Return where a time is on an axis, from 0 to 1."""
    width = span[1] - span[0]
    return min(max((t - span[0]) / width, 0.0), 1.0) if width > 0 else 0.5
