"""What the check of the lift-off found, of a label on its liner too, in sentences."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from gripmargin.checks import words
from gripmargin.checks.check import Said
from gripmargin.checks.handover.figures import LiftOffDetails, LinerDetails

LIFT_OFF: Final = "grip margin as the part leaves its tray, weight and break-away force at rest"
LIFT_OFF_CAUSE: Final = "weight and break-away force against the bond of the preload"
NO_BOND: Final = "the preload leaves no bond to speak of: mend the preload first"
OFF_LINER: Final = "grip margin as the liner is drawn off the label, with its weight at rest"
CAUSE: Final = "weight, and pull of the liner at the front of the peel, against the bond of the preload"
NO_FRONT: Final = "where the label opens is not known: flat off a flat liner it takes tack over an area, not a peel"
GIVE_FRONT: Final = (
    "draw the liner off at an angle and give part.outline, pick.peel_angle and pick.peel_direction, or give the force "
    "that it was measured to take as pick.break_away"
)
TEST_AT_SPEED: Final = "measure the peel at that speed, or let the tool leave at one that was tested"
UNEVEN_LABEL: Final = "the pads did not bond alike everywhere: a front that crosses them is not followed"
PRESS_EVENLY: Final = "press on more deeply and evenly"
FORCES: Final = "a force of the process acts while the label leaves its liner, which is not followed"
FORCES_LATER: Final = "begin it once the liner is off"
WEAKER_INTERFACE: Final = "the pads may open before the liner does: energy that parts them over that of the liner"
STRETCHED_LABEL: Final = (
    "the label is stretched as well as bent: its pull at the pads is only known to stay below a bound"
)


def sharper(angle: float) -> str:
    """Say at which angle a liner is drawn off [rad]."""
    return f"draw the liner off at {np.degrees(angle):.0f} deg to the label (pick.peel_angle)"


def peel_speed(speed: float, tested: Sequence[float] | None) -> str:
    """Say how fast the front of a peel runs and for what speeds its energy was measured [m/s]."""
    runs = f"the front of the peel runs at up to {1e3 * speed:.3g} mm/s"
    if tested is None:
        return f"{runs}, and for what speed its energy was measured is not known (pick.peel_speed)"
    slow, fast = (1e3 * each for each in tested)
    return f"{runs}, and its energy was measured from {slow:.3g} to {fast:.3g} mm/s"


def result(details: LiftOffDetails) -> Said:
    """Say the result of a lift-off."""
    if details.liner is not None:
        return _off_its_liner(details.liner)
    return LIFT_OFF, (f"weight and {details.break_away:.2f} N of break-away force, taken to act at the centre of mass",)


def _off_its_liner(peel: LinerDetails) -> Said:
    bending = (
        "nothing pulls" if peel.small_bending is None else f"margin {words.figure(peel.small_bending)} by small bending"
    )
    return OFF_LINER, (
        f"the liner pulls with {peel.force_per_width:.3g} N/m at the front of the peel, most felt "
        f"{1e3 * peel.front:.1f} mm from the edge: {bending}; front at up to {1e3 * peel.speed:.3g} mm/s",
        f"energy that parts pads and label over that of label and liner {words.figure(peel.energy_ratio)}",
    )
