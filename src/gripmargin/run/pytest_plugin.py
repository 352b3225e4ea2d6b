"""For the tests of a simulation pipeline: the fixture `grip` and the assertion `assert_grip`.

pytest finds this module by itself where gripmargin is installed (`-p no:gripmargin` leaves it out). Nothing of the
library is loaded until a test uses it.
"""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from gripmargin.results.report import Report
    from gripmargin.workcell.job import Job


def assert_grip(report: Report) -> Report:
    """Fail the test unless every check of a report is a pass; undecided is none.

    Args:
        report: What `gripmargin.check`, `check_job` or `check_file` returns.

    Returns:
        The same report.

    Raises:
        AssertionError: It is no pass; the message says where, why, and what to change.
    """
    __tracebackhide__ = True
    if not report.passed:
        raise AssertionError(_message(report))
    return report


class Grip:
    """Checks jobs for a test.

    Args:
        folder: What relative names of job files are relative to.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def holds(
        self, job: str | Path | Job | Report | None = None, *, made: Collection[str] = (), **program: Any
    ) -> Report:
        """Fail the test unless the part stays on through the whole program, by every check that is made.

        Args:
            job: A job file, relative to the folder of the test's own file; or a `Job`; or a report made before.
            made: Names of checks that must have been made: a pass says nothing of a check that was not.
            program: Or the arguments of `gripmargin.check`, and no job.

        Returns:
            The report.

        Raises:
            AssertionError: Something falls short, is undecided or was not made, or the job cannot be checked at all.
        """
        __tracebackhide__ = True
        from gripmargin.base.errors import GripmarginError  # noqa: PLC0415 - loaded when a test uses it

        try:
            report = self._checked(job, program)
        except GripmarginError as error:
            raise AssertionError(f"the job could not be checked\n{error}") from None
        assert_grip(report)
        missing = sorted(set(made) - {check.check for check in report.checks})
        if missing:
            reasons = {item.check: item.reason for item in report.not_checked}
            lines = [f"{name}: {reasons.get(name, 'no such check')}" for name in missing]
            raise AssertionError("\n".join([f"'{report.job}' passes, but not all was checked", *lines]))
        return report

    def _checked(self, job: str | Path | Job | Report | None, program: dict[str, Any]) -> Report:
        from gripmargin.base.given import as_path  # noqa: PLC0415 - likewise
        from gripmargin.results.report import Report  # noqa: PLC0415
        from gripmargin.run import one as checker  # noqa: PLC0415 - loaded when a test uses it
        from gripmargin.workcell.job import Job  # noqa: PLC0415

        if job is None:
            return checker.check(**program)
        if program:
            raise TypeError("grip.holds takes a job or the arguments of gripmargin.check, not both")
        if isinstance(job, Report):
            return job
        return checker.check_job(job) if isinstance(job, Job) else checker.check_file(self._folder / as_path(job))


@pytest.fixture
def grip(request: pytest.FixtureRequest) -> Grip:
    """`grip.holds("job.toml")`: the test fails unless the part stays on through the program."""
    return Grip(request.path.parent)


def _message(report: Report) -> str:
    from gripmargin.reports.in_short import shortfall  # noqa: PLC0415 - loaded where there is something to say

    what = "is undecided, which is no pass" if report.verdict == "undecided" else "falls short"
    left_out = ", ".join(item.check for item in report.not_checked)
    lines = [f"'{report.job}' {what}", *shortfall(report), *([f"not checked: {left_out}"] if left_out else [])]
    return "\n".join("".join(c if c.isprintable() else " " for c in line) for line in lines)
