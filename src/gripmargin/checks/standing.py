"""What is known of a premise: whether it holds, nearly holds, or why it is not known to."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from gripmargin.checks.case import Case
from gripmargin.contact.film import STRETCHED
from gripmargin.contact.grip import Grip, without
from gripmargin.contact.process import every_load
from gripmargin.results.findings import CheckResult, Verdict


@dataclass(frozen=True, kw_only=True)
class Standing:
    """What is known of a premise.

    Attributes:
        doubts: Why it is not known to hold and what would show it, a sentence each; none: it holds.
        factor: By which it may raise the use of the pads where it holds nearly [-].
        stretched: Share of its energy that stretches a part which bends, at a use of 1; grows with the square of that.
        droop: Of that part at a use of 1 [m]; grows with it.
        bounded: Whether the use is known to be below a bound, however much it is stretched.
        dents: By how much the use may be less [-]: forces of the process act at places of a part that bends.
        least: How far they use the pads surely [-].
    """

    doubts: tuple[str, ...] = ()
    factor: float = 1.0
    stretched: float = 0.0
    droop: float = 0.0
    bounded: bool = False
    dents: float = 0.0
    least: float = 0.0

    def open(self, result: CheckResult) -> tuple[str, ...]:
        """Return why a margin that is no failure is not shown, for the part is stretched as well as bent."""
        most = 1.0 / result.low if result.low else 0.0
        if not self.bounded:
            return self.drooping(most)
        return () if result.verdict is Verdict.PASS else self.drooping(1.0 / result.value if result.value else most)

    def drooping(self, use: float) -> tuple[str, ...]:
        """Return why a use of the pads is not known, for it takes much energy to stretch the part as well."""
        if self.stretched * use * use <= STRETCHED:
            return ()
        droop = 1e3 * self.droop * use
        how = "so its pull at the pads is only known to stay below a bound" if self.bounded else "which is not followed"
        return (
            f"the part droops by {droop:.2g} mm, so far that it is stretched as well as bent, {how}; a gentler "
            "program, a thicker part, or pads further out beneath it would help",
        )


Premise = Callable[[Case], Standing]


def grips_without(case: Case) -> list[Grip]:
    """Return the grips with each pad gone by itself; none of a single pad."""
    pads = range(len(case.whole.patches))
    loads = every_load(case.own_load, case.airborne, case.added)
    return [without(case.grip, lost, loads) for lost in pads[1:] and pads]
