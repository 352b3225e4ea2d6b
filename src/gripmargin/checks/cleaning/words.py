"""What is said of cleaning moves."""

from __future__ import annotations

from typing import Final

from gripmargin.checks import words
from gripmargin.checks.check import Said, SaidOfFinding
from gripmargin.checks.cleaning.figures import CleanerDetails, CleaningDetails, Gap, WorstCleaner, WorstCleaning
from gripmargin.results.findings import CheckResult, Finding
from gripmargin.results.record import NoFigures
from gripmargin.workcell import Cleaner

SHARE: Final = "share of the pads' faces that is pressed, held and dragged as the cleaner asks"
RATIO: Final = "what the fixing of the cleaner takes over what pads that stick to it pull"
NO_PHASE: Final = "the job has [cleaners] and no clean phase"
NAME_IT: Final = 'name its moves as a phase of kind "clean"'
NO_CLEANER: Final = "nothing is known of what the pads are cleaned on: give it in [cleaners.<name>]"
MISSED: Final = "the cleaning move leaves places of the pads dirty"
STICKS: Final = "the cleaner sticks to the pads"
STUCK: Final = "pads still stick to the cleaner where the program ends, or where the next part is taken"
BOTTOMED: Final = "the pads are pressed in by more than their backing is thick: the pressure is not known"
REPEATS: Final = "repeat the cleaning move"
TURNING: Final = "let the roller turn freely, or drag the pads less"
DRAG: Final = "drag the pads further over the cleaner while they press it"
LESS_DEEP: Final = "press less deep"
REFERENCES: Final = (
    "Cleaning by tack and drag: Clemente et al., J. Exp. Biol. 213:635, 2010; Abusomwan & Sitti, Langmuir 2014 "
    "(abstracts).",
    "Round face on an elastic layer: Johnson, Contact Mechanics, 1985, ch. 4.3 (from memory).",
    "Rolling off takes the energy of the layer: Kanninen, Int. J. Fract. 9:83, 1973 (from memory).",
)


def not_known(cleaner: Cleaner, what: str, key: str, other: str = "") -> str:
    """Say what is not known of a cleaner, and which key says it."""
    return f"{what} is not known of '{cleaner.name}': give its {key}" + (f", or {other}" if other else "")


def not_shown(at: float) -> str:
    """Say that pads are counted as clean that are not known to be [s]."""
    return (
        f"the pads are counted as cleaned at {at:.3f} s, and that move is not shown to clean all of them: mend what "
        "the check cleaning says of it"
    )


def may_be_buckled(at: float) -> str:
    """Say that pads may have been pressed on their cleaner above what their fibrils take [s]."""
    return (
        f"the cleaning move at {at:.3f} s is not known to stay below the pads' overload_pressure, beyond which they "
        "are weaker for good: press less deep, or give what the check cleaning asks for"
    )


def used_up(cleaner: Cleaner) -> str:
    """Say that a cleaner has been used as often as it may, or that it is not known how often."""
    most = f"it has to be washed or renewed after {cleaner.most_uses:g} cleanings"
    if cleaner.uses is None:
        return f"how often '{cleaner.name}' has been used is not known, and {most}: give its uses"
    return f"'{cleaner.name}' has been used {cleaner.uses:g} times, and {most}"


def unasked(cleaner: Cleaner, overload: bool) -> list[str]:
    """Say what a cleaner does not ask for, and so is not looked at."""
    out = []
    if cleaner.least_dwell == 0.0:
        out.append(f"'{cleaner.name}' asks for no least_dwell: a touch counts")
    if cleaner.least_slip == 0.0:
        out.append(f"'{cleaner.name}' asks for no least_slip: dust may need to be dragged off")
    if not overload:
        out.append("what pressure buckles the fibrils is not given (overload_pressure): no press is too hard")
    return out


def result(_: CheckResult, details: CleaningDetails | CleanerDetails | NoFigures) -> Said:
    """Say what a result is, and the figures behind it."""
    match details:
        case CleaningDetails():
            pads = [
                f"pad '{each.pad}': {_percent(each.share, each.share_high)} clean, {100 * each.overlap:.0f} % pressed "
                f"more often than asked; highest pressure {words.stress(each.peak)}"
                for each in details.pads
            ]
            return SHARE, (*pads, *([_gap(details.gap)] if details.gap else []), *details.unasked)
        case CleanerDetails():
            return RATIO, (pulls(details),)
    return "", ()


def _percent(low: float, high: float) -> str:
    return f"{100 * low:.1f} %" if high - low < 1e-3 else f"{100 * low:.1f} to {100 * high:.1f} %"


def _gap(gap: Gap) -> str:
    x, y = (words.plain(1e3 * each, 1) for each in gap.where)
    return f"least clean is pad '{gap.pad}' at x {x}, y {y} mm of its own frame: {lack(gap)}"


def lack(gap: Gap) -> str:
    """Say what the least clean place lacks."""
    return {
        "touch": "nothing touches it",
        "pressure": f"its highest pressure is {words.stress(gap.peak)}",
        "dwell": f"it keeps the pressure for {gap.dwell:.3g} s",
        "presses": f"it is pressed {gap.presses:.0f} times",
        "slip": f"it is dragged by {1e3 * gap.slip:.2g} mm, its backing's give included",
        "dragged": f"it is dragged by {1e3 * gap.slip:.2g} mm in one touch",
        "overload": f"it is pressed with {words.stress(gap.peak)}, which buckles its fibrils",
    }[gap.lack]


def pulls(details: CleanerDetails) -> str:
    """Say with what a cleaner is pulled, and what rolling off saves."""
    return (
        f"pads pull at '{details.cleaner}' with up to {details.force:.3g} N and {1e3 * details.moment:.3g} N mm; "
        f"straight off, all that touches at a time would take {details.straight:.3g} N, rolled off "
        f"{details.rolled:.3g} N for each metre of width along the way; they press it with up to "
        f"{details.pressed:.3g} N"
    )


def finding(_: Finding, worst: WorstCleaning | WorstCleaner, __: object) -> SaidOfFinding:
    """Say what falls short."""
    head = f"{words.move_first(worst.at.move)}{worst.at.t:.3f} s: "
    if isinstance(worst, WorstCleaner):
        return head + pulls(worst.details), ()
    return head + (_gap(worst.details.gap) if worst.details.gap else MISSED), ()


def deeper(depth: float) -> str:
    """Say how much deeper to press."""
    return f"press {1e3 * depth:.2f} mm deeper"


def longer(each: float) -> str:
    """Say how much longer a stroke has to be."""
    return f"make the stroke {1e3 * each:.1f} mm longer at each end"


def further(x: float, y: float) -> str:
    """Say by how much the move has to lie elsewhere."""
    ways = [
        f"{1e3 * abs(each):.1f} mm along {'-' if each < 0 else '+'}{axis}"
        for each, axis in ((x, "x"), (y, "y"))
        if each
    ]
    return f"shift the move by {' and '.join(ways)} of the cleaner's frame"


def slower(factor: float) -> str:
    """Say by how much slower to move."""
    return f"move over the cleaner at {factor:.2f} of the speed"


def again(times: int) -> str:
    """Say how often to make a move."""
    return f"make the cleaning move {times} times in a row"


def roll_off(details: CleanerDetails) -> str:
    """Say how to leave a cleaner."""
    saved = f"rolled off it takes {details.rolled:.3g} N for each metre of width, straight {details.straight:.3g} N"
    return f"roll or tilt the pads off, never pull them straight ({saved}); or hold the cleaner better"
