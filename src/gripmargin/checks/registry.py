"""The checks, in the order in which they are made and reported: the only list of them.

Running a job, tuning, assumptions, references, pages and schemas loop over it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from difflib import get_close_matches
from typing import Final

from gripmargin.base.errors import InputError
from gripmargin.base.given import texts
from gripmargin.checks.check import Check, Judged
from gripmargin.checks.cleaning.check import CLEANING
from gripmargin.checks.droop.check import DROOP
from gripmargin.checks.handover.preload import PRELOAD
from gripmargin.checks.handover.pressure import PRESSURE
from gripmargin.checks.handover.release import RELEASE
from gripmargin.checks.hold.check import HOLD
from gripmargin.checks.interval.check import INTERVAL
from gripmargin.checks.recorded.check import RECORDED
from gripmargin.checks.stop.check import STOP
from gripmargin.checks.swing.check import SWING
from gripmargin.checks.swing.settle import SETTLE
from gripmargin.checks.wrist.check import WRIST

CHECKS: Final[tuple[Check, ...]] = (
    PRELOAD,
    RELEASE,
    PRESSURE,
    HOLD,
    SWING,
    SETTLE,
    DROOP,
    STOP,
    RECORDED,
    CLEANING,
    INTERVAL,
    WRIST,
)


def judged() -> Iterator[Judged]:
    """Yield every result that a check may give, in their order."""
    for check in CHECKS:
        yield from check.judged


def chosen(names: Sequence[str] | None) -> tuple[Check, ...]:
    """Return the checks of these names, in their order; None: all.

    Args:
        names: Of checks, or of results, which stand for the check that gives them.

    Raises:
        InputError: No check has such a name, or there is none.
    """
    if names is None:
        return CHECKS
    wanted = {check_name(name) for name in texts(names, "checks")}
    if not wanted:
        raise InputError("checks", "none", "at least one of: " + ", ".join(check.name for check in CHECKS))
    return tuple(check for check in CHECKS if check.name in wanted)


def check_name(name: str) -> str:
    """Return the name of the check that gives a result of this name, or that has it itself.

    Raises:
        InputError: No check does.
    """
    known = {check.name: check.name for check in CHECKS}
    known |= {result.name: check.name for check in CHECKS for result in check.judged}
    if name not in known:
        near = get_close_matches(name, known, n=1)
        due = "one of: " + ", ".join(check.name for check in CHECKS)
        raise InputError("checks", f"'{name}'", due, f"did you mean '{near[0]}'?" if near else "")
    return known[name]


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
