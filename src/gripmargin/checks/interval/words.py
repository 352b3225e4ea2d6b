"""What is said of the picks between two cleanings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from gripmargin.checks import words
from gripmargin.checks.check import Said, SaidOfFinding
from gripmargin.checks.interval.figures import IntervalDetails, WorstInterval
from gripmargin.contact.bond import CONFIDENCE, CONTENT
from gripmargin.results.findings import CheckResult, Finding
from gripmargin.results.record import NoFigures

PICKS: Final = "picks between cleanings over which every margin of the pads keeps its target"
DIRT: Final = "the pads lose strength with every pick"
RECORD: Final = "pull pads after as many picks as they are to make between cleanings (materials.<name>.pulls)"
NOT_CLEANED: Final = "the program's own cleaning move is not shown to clean all of the pads"
CLEAN_FIRST: Final = "mend what the check cleaning says first"
NO_MARGIN: Final = "no check says how far the pads are used"
REFERENCES: Final = (
    "Strength over picks: one-sided tolerance bounds, Owen, SIAM J. Appl. Math. 16(3), 1968; of pads that are told "
    "apart, Mee & Owen, J. Am. Stat. Assoc. 78:901-905, 1983 (both from memory).",
)


def unrecorded(names: Sequence[str]) -> str:
    """Say of which materials nothing is known."""
    return f"nothing says how {' and '.join(map(repr, names))} gets dirty"


def sooner(picks: float) -> str:
    """Say after how many picks to clean."""
    return f"clean after {picks:.0f} picks (targets.interval = {picks:.0f})" if picks else "clean before every pick"


def not_even_clean(details: IntervalDetails) -> str:
    """Say that cleaning alone does not help."""
    return f"no number of picks was found that passes: see {details.limit}, which has to pass with clean pads first"


def result(_: CheckResult, details: IntervalDetails | NoFigures) -> Said:
    """Say what limits the picks, and what the figures rest on."""
    if not isinstance(details, IntervalDetails):
        return PICKS, ()
    margin = f"{details.limit} comes to {words.figure(details.margin)} (target {details.wanted:g})"
    share = 100.0 * details.strength[-1]
    lines = [f"after {details.asked:g} picks {margin}; after {details.picks[-1]:g} the pads have {share:.3g} % left"]
    if details.tested is None:
        lines.append("the loss by pick is taken as stated, without a confidence")
    else:
        lines.append(
            f"{100 * CONTENT:g} % of pads hold what is counted with a confidence of {100 * CONFIDENCE:g} %; pads were "
            f"pulled after up to {details.tested:g} picks"
        )
    return PICKS, (*lines, *details.doubts)


def finding(_: Finding, worst: WorstInterval, __: object) -> SaidOfFinding:
    """Say what it comes to after as many picks as are asked for."""
    details, at = worst.details, worst.at
    margin = f"{details.limit} has margin {words.figure(details.margin)}, target {details.wanted:g}"
    return f"{words.move_first(at.move)}{at.t:.3f} s, after {details.asked:g} picks: {margin}", ()
