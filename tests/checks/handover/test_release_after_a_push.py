"""Pads pressed on harder in the carry than in the tray: they may have bonded better when they are to let go."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.handover import words
from gripmargin.checks.handover.release import RELEASE
from gripmargin.checks.pressed import pressed_in_the_carry
from gripmargin.contact.activation import ActivationLaw
from gripmargin.contact.locked import locked_in
from support.handed import Handed, plate_job
from support.pushed import AREA, SIZE, lowered, push

G = 9.80665
CURVE = [[5e3, 0.2], [20e3, 0.5], [60e3, 1.0]]
PAD, MASS = 0.03**2, 0.1  # [m^2], [kg]


def carried(force, kept, **film):
    """One pad, pressed on with 10 kPa, by the curve 0.3 of 30 kPa, carried, and pulled off."""
    job = plate_job(
        mass=MASS, pads=1, **({"preload_curve": CURVE, "full_preload": None} | film), nest={"hold_down": kept}
    )
    forces = (gm.Process(moves=("carry",), force=(0, 0, -force), at=(0, 0, 0)),) if force else ()
    return work_out(replace(Handed(job=job, press=1e-4, seat=2e-5).made(), process=forces), trial=True)


def least(case):
    (release,) = case.putdowns
    return release.least(case.job)


@pytest.mark.parametrize(("force", "share"), [(0.0, 0.3), (4e3 * PAD, 0.3), (15e3 * PAD, 0.625), (50.0, 1.0)])
def test_a_pull_on_what_a_push_made_of_the_bond(force, share):
    """``hold_down + m g`` over ``share S A``, the share after twice the pressure of the push: it may come at once.

    Below what the tray had, 10 kPa, a push changes nothing.
    """
    case = carried(force, 40.0)
    assert least(case) == pytest.approx((40.0 + MASS * G) / (share * 3e4 * PAD), rel=2e-3)
    (release,) = case.putdowns
    assert (release.not_known == "pressed") == (share > 0.3)
    assert not release.not_known or release.at_best == pytest.approx((40.0 + MASS * G) / (0.3 * 3e4 * PAD), rel=2e-3)


def test_a_nest_that_holds_what_the_tray_left_may_not_hold_what_a_push_made_of_it():
    (result,), (finding,) = (getattr(RELEASE.answer(carried(50.0, 25.0)), name) for name in ("results", "findings"))
    assert str(result.verdict) == "undecided"
    assert finding.because["cause"] == words.HELD_BEFORE["pressed"][0]


def test_a_part_that_stands_on_its_pads_presses_them_by_its_weight():
    """``m g / A``, twice as if it came at once; hanging it does not, and a push adds to it."""
    standing = {"turned": np.eye(3), "mass": 3.0, "move": 0.0}
    (found,) = pressed_in_the_carry(work_out(lowered(**standing)))
    assert found == pytest.approx(2 * 3.0 * G / AREA, rel=1e-6)
    (hanging,) = pressed_in_the_carry(work_out(lowered(mass=3.0, move=0.0)))
    assert hanging == 0.0
    (both,) = pressed_in_the_carry(work_out(lowered(push((0, 0, -40)), **standing)))
    assert both >= (3.0 * G + 40.0) / AREA


def test_what_the_press_locked_in_adds_to_it():
    """A traction in balance with itself, ``s (3 x^2 / a^2 - 1)``, presses in the middle with s."""
    case = work_out(lowered(turned=np.eye(3), mass=3.0, move=0.0))
    x = case.whole.patches[0].points[:, 0]
    traction = np.stack([0 * x, 0 * x, 5e3 * (3 * x**2 / (SIZE / 2) ** 2 - 1)], axis=1)
    locked = locked_in(case.whole, [traction], None, 0.0)
    bonded = replace(case.grip.bonded, locked=locked)
    (found,) = pressed_in_the_carry(replace(case, grip=replace(case.grip, bonded=bonded)))
    assert found == pytest.approx(2 * 3.0 * G / AREA + 5e3, rel=5e-3)


def test_where_the_motion_is_not_known_pads_may_be_pressed_with_anything():
    case = work_out(lowered(mass=3.0, move=0.0))
    load = case.own_load.copy()
    load[:, 100] = np.nan
    assert pressed_in_the_carry(replace(case, own_load=load)) == (np.inf,)
    assert ActivationLaw(np.array([1e4, 2e4]), np.array([0.4, 0.9]), "measured curve").most(np.inf) == 0.9


def test_the_most_that_a_bond_may_be_after_any_pressure_up_to_a_peak():
    falls = ActivationLaw(np.array([1e4, 2e4, 4e4]), np.array([0.4, 0.9, 0.5]), "measured curve")
    assert [falls.most(p) for p in (0.0, 5e3, 2e4, 3e4, 9e4)] == pytest.approx([0.0, 0.2, 0.9, 0.9, 0.9])
