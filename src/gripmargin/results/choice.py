"""Pads that were looked at: of which material, how many, how large, how far apart, where; and what decides each."""

from __future__ import annotations

from dataclasses import dataclass

from gripmargin.results.findings import Verdict


@dataclass(frozen=True, kw_only=True)
class Choice:
    """Pads that have been through the checks.

    Attributes:
        material: Its name.
        layout: "as drawn", "one", "two" or "four".
        pads: How many.
        size: Length and width of each; of pads as drawn, of the first [m].
        spacing: From middle to middle along the tool's x and y; 0 where there is one [m].
        at: Their middle in the tool frame [m].
        area: Of all of them [m^2].
        verdict: Of the whole job with them; of limits, whether every limit is known.
        by: What decides: the check with the least share of its target; of limits, what keeps accelerations down.
        ratio: That share; of limits, the margin of `hold` at standstill over its target; 0 where it is not known [-].
        hold: Margin of `hold` over its target, or None [-].
        release: That of `release`, or None where nothing is released [-].
        acceleration: Of any path in any direction, level, by the middle ramp; None in a job with its program [m/s^2].
    """

    material: str
    layout: str
    pads: int
    size: tuple[float, float]
    spacing: tuple[float, float]
    at: tuple[float, float]
    area: float
    verdict: Verdict
    by: str
    ratio: float
    hold: float | None
    release: float | None = None
    acceleration: float | None = None
