"""What the check of the pressure on the part found, in sentences."""

from __future__ import annotations

from typing import Final

from gripmargin.checks import words
from gripmargin.checks.check import Said, SaidOfFinding
from gripmargin.checks.handover.figures import Cause, During, PressureDetails, WorstPressure
from gripmargin.checks.hold.figures import Spot
from gripmargin.results.findings import CheckResult, Finding

PRESSURE: Final = "pressure that the part may take over the highest contact pressure"
NO_LIMIT: Final = f"{PRESSURE}; part.max_pressure is not given"
PRESSES: Final = "how hard the pads press on the part"
NO_HANDOVER: Final = "no preload or release was simulated"
SWINGS_ON: Final = "at rest the pressure is within the limit; a force that comes at once makes it overshoot"
STANDS: Final = "the part stands on its pads while it is carried, and presses them by its weight and inertia"
SWINGS: Final = "at rest the pressure is within the limit; what the part does on its pads as it swings is not known"
LEANS: Final = "a pad that leans and slides presses harder while it holds, and which of its cells hold is not known"


def pressure_result(_: CheckResult, details: PressureDetails) -> Said:
    """Say a result of the pressure."""
    allowed = "" if details.max_pressure is None else f", allowed {words.stress(details.max_pressure)}"
    return PRESSURE, (
        f"highest contact pressure {words.stress(details.highest_pressure)} during {details.during}{allowed}",
    )


def pressure_finding(_: Finding, worst: WorstPressure, __: Cause) -> SaidOfFinding:
    """Say a finding of the pressure."""
    text = (
        f"{words.move_first(worst.at.move)}{worst.at.t:.3f} s: {words.stress(worst.pressure)} on the part under pad "
        f"'{worst.spot.pad}', allowed {words.stress(worst.allowed)}"
    )
    return text, (("where", words.spot(worst.spot.point, worst.spot.azimuth)),)


def not_judged(pressure: float) -> str:
    """Say why a pressure [Pa] is not judged."""
    return f"part.max_pressure is not given; the highest contact pressure is {words.stress(pressure)}"


def not_pressed(phase: str, table: str) -> tuple[str, str]:
    """Say that the pressure of a phase was not looked at: what that is called, and why.

    Args:
        phase: Which.
        table: Of the job that it needs.
    """
    return f"pressure in the {phase}", f"the job has no {table}; the pressure of all else was judged"


def far_too_hard(during: During, pressure: float, depth: float, times: float) -> tuple[str, str]:
    """Say that pads are pressed far harder than they need.

    Args:
        during: Which handover.
        pressure: The highest [Pa].
        depth: Of the pads in their backing [m].
        times: Pressure over what they need to hold.
    """
    faces = {"preload": "pick.face", "release": "nest.face", "process": "force and place of the process"}
    face = faces.get(during, "the mass of the part")
    return (
        f"during {during} the pads are pressed {1e3 * depth:.2f} mm into their backing, "
        f"{words.stress(pressure)}: {times:.0f} times what they need to hold",
        f"give part.max_pressure, or look whether {face} and the program belong together",
    )


def pushed_in(*, buckles: bool) -> str:
    """Say that a force of the process presses too hard."""
    what = "the face of the pads buckles, and holds less from then on" if buckles else "the part may not take it"
    return f"a force of the process presses the part on the pads: {what}"


def pressed_in(depth: float) -> str:
    """Say how deep pads are pressed into their backing [m]."""
    return f"pressed {1e3 * depth:.3f} mm into the backing there"


def press_less(less: float, during: During, spot: Spot) -> str:
    """Advise a press less deep [m]."""
    where = words.spot(spot.point, spot.azimuth)
    return f"press {1e3 * less:.2f} mm less deep during the {during} (the edge at {where} presses hardest)"
