"""The checks, in the order in which they are made and reported: the only list of them.

Running a job, tuning, assumptions, references, pages and schemas loop over it.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from gripmargin.checks.check import Check, Judged
from gripmargin.checks.handover.preload import PRELOAD
from gripmargin.checks.handover.pressure import PRESSURE
from gripmargin.checks.handover.release import RELEASE
from gripmargin.checks.hold.check import HOLD
from gripmargin.checks.recorded.check import RECORDED
from gripmargin.checks.stop.check import STOP
from gripmargin.checks.swing.check import SWING
from gripmargin.checks.swing.settle import SETTLE
from gripmargin.checks.wrist.check import WRIST

CHECKS: Final[tuple[Check, ...]] = (PRELOAD, RELEASE, PRESSURE, HOLD, SWING, SETTLE, STOP, RECORDED, WRIST)


def judged() -> Iterator[Judged]:
    """Yield every result that a check may give, in their order."""
    for check in CHECKS:
        yield from check.judged


def series() -> dict[str, str]:
    """Return for each result that has a figure at every sample its name in `gripmargin.results.samples.Samples`."""
    return {each.name: each.series for each in judged() if each.series is not None}


def check_of(result: str) -> Check:
    """Return the check that gives a result.

    Args:
        result: Its name.

    Raises:
        KeyError: No check gives it.
    """
    return {judged.name: check for check in CHECKS for judged in check.judged}[result]
