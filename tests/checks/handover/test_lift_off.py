"""The moment a part that bends leaves its tray: a force at any place of its rim."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

import gripmargin as gm
from contact.test_film import FILM, S, part, rectangle
from contact.test_liner import grip
from contact.test_sheet import on
from gripmargin.checks.handover.lift_off import held_anywhere, rim_of

PULL, NONE = np.array([0.0, 0.0, 0.05]), np.zeros(6)
WEAK = replace(FILM, pull_off_stress=S / 30, name="weak")


def test_a_stiff_square_that_is_held_at_a_corner():
    """A force F at the corner of a square pad that covers a stiff part: (1 + 3 + 3) F / A there (N/A + M c/I twice)."""
    stiff, pad = (
        part(rectangle(-0.02, 0.02, 0.02), thickness=0.01, youngs_modulus=70e9),
        gm.Pad.rectangle("pad", FILM, [0.04, 0.04]),
    )
    held, sheet = grip(stiff, pad), on(stiff, pad)
    used = held_anywhere(held, sheet, rim_of(sheet), NONE, PULL)
    assert used == pytest.approx(held.asked * 7.0 * PULL[2] / 0.04**2 / S, rel=0.02)


@pytest.mark.parametrize(("x", "y"), [(0.034, 0.001), (0.012, 0.008)])
def test_places_of_the_rim_stand_for_all(x, y):
    """Pads hold the corners; a weak one near the middle of a side is used most, by a force far from any corner.

    No place is worse by 0.3 % than those that are looked at. With half of them beside the pads one is by 0.5 % (first
    case), with half of them farther away by 0.6 % (second).
    """
    corners = [(a, b) for a in (-0.03, 0.03) for b in (-0.03, 0.03)]
    strong = [gm.Pad.rectangle(f"{a} {b}", FILM, [0.02, 0.02], gm.pose((a, b, 0))) for a, b in corners]
    weak = gm.Pad.rectangle("weak", WEAK, [0.01, 0.012], gm.pose((x, y, 0)))
    held = grip(part(rectangle(-0.04, 0.04, 0.04), thickness=1e-3), *strong, weak)
    sheet = held.bonded.sheet
    every = shapely.get_coordinates(shapely.segmentize(shapely.LinearRing(sheet.outline), 0.1 * sheet.finest))
    few, all_ = (held_anywhere(held, sheet, rim, NONE, PULL) for rim in (rim_of(sheet), every))
    assert few > 0.997 * all_
