"""What the hold check found, in sentences."""

from __future__ import annotations

from gripmargin.checks import words
from gripmargin.checks.check import Said, SaidOfFinding
from gripmargin.checks.hold.figures import HoldDetails, Load, Shares, Spot, Stresses, WorstHold
from gripmargin.results.findings import CheckResult, Finding
from gripmargin.results.record import NoFigures

NAMES = {
    "hold": "grip margin over the carry",
    "peel": "peel margin over the carry",
    "one_pad_lost": "grip margin over the carry with any one pad gone",
}
OTHERS_MAY_HOLD = (
    "the place used most lets go below the target; cell by cell the others take over and hold the part at the target, "
    "which is a description of the pads and no proof"
)
STRETCHED = (
    "the part is stretched as well as bent: its pull at the pads is only known to stay below a bound by its energy"
)
NO_LOAD = "no load on the pads, so the margin has no value"


def result(found: CheckResult, details: HoldDetails | NoFigures) -> Said:
    """Say a result."""
    text = NAMES[found.check] if found.value is not None else f"{NAMES[found.check]}; {NO_LOAD}"
    return text, tuple(_lines(details)) if isinstance(details, HoldDetails) else ()


def _lines(details: HoldDetails) -> list[str]:
    lines, peel = [], details.peel
    if details.limit.shared_margin is not None:
        lines.append(
            f"a backing that shared the load ideally would give {words.figure(details.limit.shared_margin)}: the upper "
            "end of what is possible, not to be relied on"
        )
    if peel.peel_index > 0:
        amplification = peel.stresses.edge_amplification
        edge = f", {amplification:.1f} times the pad's mean tension" if amplification is not None else ""
        lines.append(
            f"highest tension {100 * peel.peel_index:.0f} % of the pull-off stress (peel index "
            f"{peel.peel_index:.2f}) at {peel.t:.3f} s on pad '{peel.spot.pad}', edge at "
            f"{words.spot(peel.spot.point, peel.spot.azimuth)}{edge}"
        )
    first = details.first_break
    if first is not None:
        lines.append(
            f"uneven bond: the first place lets go at {words.figure(first.margin)} times the load at {first.t:.3f} s, "
            f"pad '{first.spot.pad}' at {words.spot(first.spot.point, first.spot.azimuth)}; the margin counts on "
            f"{100 * first.core:.0f} % of the contact area, whatever the rest does"
        )
    for pad in details.one_pad_lost:
        falls = ": the part falls" if pad.margin is not None and pad.margin < 1 else ""
        lines.append(f"with pad '{pad.lost}' gone: margin {words.figure(pad.margin)} at {pad.t:.3f} s{falls}")
    return lines


def finding(found: Finding, worst: WorstHold, because: Shares) -> SaidOfFinding:
    """Say a finding."""
    text = (
        f"{words.where_and_how_much(found, worst.margin)} at {worst.margin.at.t:.3f} s on pad '{worst.spot.pad}'; "
        f"{words.ranked(because.causes)}; acts as {words.ranked(because.ways)}"
    )
    return text, (("where", edge(worst.spot, worst.stresses)), load(worst.load), *unsure(because))


def edge(spot: Spot, stresses: Stresses, *, without: str = "") -> str:
    """Say where on the pads' edge a load tells, and what it does there."""
    aside = (
        ""
        if stresses.set_aside is None
        else f"; {100 * stresses.set_aside:.0f} % of what it holds is set aside for places that may let go and for "
        "what the press locked in"
    )
    return (
        f"pad '{spot.pad}', edge at {words.spot(spot.point, spot.azimuth)}: {without}tension "
        f"{words.stress(max(stresses.normal_stress, 0.0))} of {words.stress(stresses.pull_off_stress)}, shear "
        f"{words.stress(stresses.shear_stress)} of {words.stress(stresses.shear_strength)}{aside}"
    )


def load(found: Load) -> tuple[str, str]:
    """Say a load."""
    return "load", words.load(found.force, found.moment)


def unsure(because: Shares) -> tuple[tuple[str, str], ...]:
    """Say why a verdict is open."""
    return tuple(("unsure", reason) for reason in because.undecided or ())


def shift_pads(x: float, y: float, margin: float | None) -> str:
    """Say a shift of all pads [m] and the margin with it, where it is known."""
    then = "" if margin is None else f", margin {margin:.2f} over the whole carry"
    return (
        f"shift the pads on the part by x {1e3 * x:+.0f} mm, y {1e3 * y:+.0f} mm (tool frame), towards the centre of "
        f"mass{then}"
    )


def less_force(factor: float) -> str:
    """Say a factor on the forces of the process."""
    how = "a softer stop, less overtravel, fewer contacts"
    return f"let the forces of the process be {factor:.2f} times as large at most ({how})"


def larger_pads(factor: float) -> str:
    """Say a factor on the length and width of every pad."""
    return f"make every pad {factor:.2f} times as long and as wide"


def four_pads(x: float, y: float) -> str:
    """Say four smaller pads at a distance from the middle of the part [m]."""
    return (
        f"hold it by four pads of half the length and width at its quarter points, x +-{1e3 * x:.0f} and y "
        f"+-{1e3 * y:.0f} mm from its middle: its overhangs are shorter"
    )


def pad_beneath(name: str, x: float, y: float) -> str:
    """Say where to put a pad [m]."""
    return f"move pad '{name}' to x {1e3 * x:.0f}, y {1e3 * y:.0f} mm (tool frame), beneath the heaviest component"


ROUND_PADS = "use round pads of the same area: what overhangs pulls most at corners"


def stronger_pads(factor: float) -> str:
    """Say a factor on what the pads hold per area."""
    return f"raise what the pads hold per area to {factor:.2f} times (a stronger or cleaner face)"


def at_standstill(margin: float, subject: str) -> str:
    """Say why slowing does not help: the margin at rest."""
    return f"{margin:.2f} at standstill ({subject})"


def errors_take_it(subject: str) -> str:
    """Say why slowing does not help: what is not known takes up the margin."""
    return f"the error of the rates takes up the margin ({subject})"
