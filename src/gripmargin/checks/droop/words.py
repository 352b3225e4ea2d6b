"""What is said of a part that droops."""

from __future__ import annotations

from typing import Final

from gripmargin.checks import words
from gripmargin.checks.check import Said, SaidOfFinding
from gripmargin.checks.droop.figures import DroopDetails, WorstDroop
from gripmargin.results.findings import CheckResult, Finding
from gripmargin.results.record import NoFigures

RATIO: Final = "room over how far the part droops"
NOT_KNOWN: Final = "how the part bends is not known"
STRETCHED: Final = (
    "forces of the process bend the part so far that it is stretched as well, and how far it droops then is not "
    "followed; a smaller force, or a thicker part, would help"
)
SOFTENED: Final = (
    "forces of the process along the plane of the part push so much that it bends more easily, and how far it droops "
    "then is not followed; a smaller force, or a thicker part, would help"
)
UNEVEN: Final = (
    "forces of the process bend the part where they act, on pads that did not bond everywhere: how far it droops there "
    "is not judged; press it harder"
)
HANGS: Final = "the part bends beyond its pads"
LARGE: Final = (
    "it droops so far that its weight acts on a shorter lever than is counted: what is worked out is the most that it "
    "may be"
)
HELPS: Final = (
    "put the pads further out, or more of them; run the carry slower; take a stiffer part, or give it more room"
)


def droop_result(_: CheckResult, details: DroopDetails | NoFigures) -> Said:
    """Say how far the part droops, and where."""
    return RATIO, (_said(details), *([LARGE] if details.large else [])) if isinstance(details, DroopDetails) else ()


def droop_finding(_: Finding, worst: WorstDroop, __: object) -> SaidOfFinding:
    """Say the same of the worst sample."""
    return f"{words.move_first(worst.at.move)}{worst.at.t:.3f} s: {_said(worst.details)}", ()


def _said(details: DroopDetails) -> str:
    x, y = (1e3 * each for each in details.where)
    where = "while it is carried" if details.during == "carry" else "when it is placed"
    return (
        f"{where} the part droops by {1e3 * details.droop:.3g} mm at ({x:.0f}, {y:.0f}) mm of the tool, room "
        f"{1e3 * details.room:.3g} mm"
    )
