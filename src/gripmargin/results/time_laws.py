"""What a program of way points came to under each time law, as data."""

from __future__ import annotations

from dataclasses import dataclass

from gripmargin.results.findings import CheckResult, Verdict


@dataclass(frozen=True, kw_only=True)
class CheckUnderLaw:
    """One check under one time law.

    Attributes:
        check: Its name.
        verdict: Pass, fail or undecided.
        share: Least value that its figure may have, over its target [-]; None where it is not known.
    """

    check: str
    verdict: Verdict
    share: float | None

    @classmethod
    def of(cls, result: CheckResult) -> CheckUnderLaw:
        """Return what a result comes to."""
        share = None if result.low is None or not result.target else result.low / result.target
        return cls(check=result.check, verdict=result.verdict, share=share)


@dataclass(frozen=True, kw_only=True)
class TimeLaw:
    """A program of way points under one time law.

    Attributes:
        law: Its name: trapezoid, jerk-limited or quintic.
        blends: Whether the next move starts before the one before it has ended, where the way points say so; else the
            robot stops at each.
        duration: Of the program [s].
        verdict: The worst of its checks.
        counts: Whether it is the worst of all laws, of which the rest of the report speaks.
        checks: One entry a check.
    """

    law: str
    blends: bool
    duration: float
    verdict: Verdict
    counts: bool
    checks: tuple[CheckUnderLaw, ...]

    @property
    def name(self) -> str:
        """The law in words."""
        return f"{self.law}{' with blends' if self.blends else ''}"

    @property
    def severity(self) -> tuple[int, list[float]]:
        """Rank of a law by verdict, then by shares of targets, the least first (one not known is 0); worst first.

        Shares alike to three decimals count as the same: the next one decides.
        """
        rank = (Verdict.FAIL, Verdict.UNDECIDED, Verdict.PASS).index(self.verdict)
        return rank, sorted(round(check.share or 0.0, 3) for check in self.checks)
