"""Which pads: how many, how large, how far apart, of which material, held where. Each has been through the checker."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from gripmargin.checks import registry
from gripmargin.results.choice import Choice
from gripmargin.results.findings import CheckResult, Verdict
from gripmargin.run.one import check_job
from gripmargin.tuning.layouts import Layout, area_of, layouts
from gripmargin.workcell.job import Job

SIZES: Final = tuple(2.0 ** (k / 2.0) for k in range(-6, 7))  # times the area of the pads as drawn
SHOWN: Final = (0.5, 1.0, 2.0)  # of limits, which know no program that would say how large is enough
ORDER: Final = (Verdict.PASS, Verdict.UNDECIDED, Verdict.FAIL)


def smallest_that_carry(job: Job, watch: Callable[[str], None]) -> tuple[Choice, ...]:
    """Return of each material and layout the smallest pads that pass the checks of the carry; the best first.

    Larger pads hold more and let go less: what does not let go at that size is too large already. Where no size that
    has room passes, the largest is named.

    Args:
        job: With its program.
        watch: Called with the name of each step before it begins.
    """
    found, now = [], area_of(job)
    for layout in layouts(job):
        made = [each for size in SIZES if (each := layout.with_area(size * now)) is not None]
        if not made:
            continue
        watch(f"pads: {layout.material.name}, {layout.name}")
        low, high = -1, len(made)
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if _carries(made[middle]) else (middle, high)
        found.append(_choice(layout, made[min(high, len(made) - 1)]))
    return tuple(sorted(found, key=lambda each: (ORDER.index(each.verdict), -each.ratio)))


def by_limits(job: Job, most: Callable[[Job], tuple[float, str, float, Verdict]]) -> tuple[Choice, ...]:
    """Return of each material and layout pads of three sizes, with what any path may ask of them; the best first.

    Args:
        job: With or without a program.
        most: Job to the largest acceleration [m/s^2], what keeps it down, the margin at standstill over its target, and
            whether that is known.
    """
    found, now = [], area_of(job)
    for layout in layouts(job):
        for size in SHOWN:
            made = layout.with_area(size * now)
            if made is not None:
                acceleration, by, ratio, verdict = most(made)
                facts = layout.facts(made)
                found.append(
                    Choice(**facts, verdict=verdict, by=by, ratio=ratio, hold=ratio, acceleration=acceleration)
                )
    return tuple(sorted(found, key=lambda each: (ORDER.index(each.verdict), -np.nan_to_num(each.acceleration or 0.0))))


def _carries(job: Job) -> bool:
    """Whether a job passes what the carry asks."""
    return check_job(job, trial=True, checks=[check.name for check in registry.CHECKS if check.of_the_carry]).passed


def _choice(layout: Layout, job: Job) -> Choice:
    """A job put to the whole checker."""
    report = check_job(job, trial=True)
    shares = {result.check: _share(result) for result in report.checks}
    by = min(report.checks, key=lambda result: (-ORDER.index(result.verdict), shares[result.check])).check
    return Choice(
        **layout.facts(job),
        verdict=report.verdict,
        by=by,
        ratio=shares[by],
        hold=shares.get("hold"),
        release=shares.get("release"),
    )


def _share(result: CheckResult) -> float:
    return 0.0 if result.low is None or np.isnan(result.low) else float(result.low / result.target)
