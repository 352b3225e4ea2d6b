"""What places of a pad feel on a roller, and what it is pulled with: closed forms of a circle on an elastic layer."""

from functools import lru_cache

import numpy as np
import pytest
import shapely

import gripmargin as gm
from gripmargin.base.errors import BudgetError
from gripmargin.contact.cells import quadrature
from gripmargin.contact.cleaning import UNMIX, Course
from gripmargin.contact.relative import RelativeMotion
from gripmargin.contact.tack import pulled
from support.cleaned import DEPTH, FILM, SIDE, K, R, roller

PAD = gm.Pad.rectangle("pad", gm.PadMaterial(**FILM), [SIDE, SIDE])
TACK = 20e3


def course(y, depth=DEPTH, **more):
    """Down on a roller along a line across it, in even times of 1 ms."""
    y = np.atleast_1d(np.asarray(y, dtype=float))
    down = np.broadcast_to(np.diag([1.0, -1.0, -1.0]), (y.size, 3, 3))
    at = np.column_stack([0 * y, y, np.full(y.size, -depth)])
    return Course(roller(**more), [PAD], RelativeMotion(t=1e-3 * np.arange(y.size), rotation=down, position=at))


@lru_cache
def over():
    """Over the middle of the pad in steps of 0.1 mm."""
    return pulled(course(np.linspace(-0.004, 0.004, 81)), TACK)


def test_strip_and_pressure_are_those_of_a_circle_on_a_layer():
    """2 sqrt(2 R d) = 6.3246 mm, above 12 kPa 4.4721 mm, 24 kPa in its middle (Johnson, from memory).

    Springs that lean by 5 degrees are 2 % softer, which the parabola leaves out.
    """
    places = np.column_stack([np.zeros(20001), np.linspace(-0.005, 0.005, 20001)])
    (pressure,) = course(0.0).pressure(PAD, places)
    assert pressure.max() == pytest.approx(24e3, rel=1e-9)
    assert (pressure > 0).sum() * 0.5e-6 == pytest.approx(2 * np.sqrt(2 * R * DEPTH), rel=3e-3)
    assert (pressure > 12e3).sum() * 0.5e-6 == pytest.approx(4.4721e-3, rel=0.012)


def test_force_is_four_thirds_of_that_of_a_block():
    """4/3 k d sqrt(2 R d) = 101.193 N/m; the springs lean by up to 7 degrees, which the parabola leaves out: 1 %."""
    assert over().pressed.max() / SIDE == pytest.approx(101.193, rel=0.015)


def test_what_rolling_off_takes_is_the_energy_of_the_springs():
    """Sideways S^2/2k for each width (Kanninen); springs that lean by 10 degrees are softer and take 6 % more."""
    sideways, formula = np.abs(over().force[60:, 1]) / SIDE, TACK**2 / (2 * K)
    assert formula == pytest.approx(1.6667, abs=1e-4)
    assert (sideways > formula).all()
    assert (sideways < 1.3 * formula).all()


def test_a_triangle_between_whose_corners_a_roller_stands_is_pressed_by_its_crest():
    """Bounded from its corners, 17.3 kPa: no less than the crest's 24 kPa, and no more than 1.3 times that."""
    points, _ = quadrature(shapely.Polygon(PAD.outline))
    corners = np.einsum("ij,tjc->tic", UNMIX, points.reshape(-1, 3, 2))
    whole, each = course(SIDE / 24).over(PAD, corners)
    assert each.peak.max() == pytest.approx(17.3e3, rel=0.02)
    assert 24e3 <= whole.peak.max() <= 1.3 * 24e3


def test_what_presses_between_two_knots_counts_as_too_hard():
    """The crest of the roller half way between two places of the tool: as deep there as a circle is higher."""
    step = 2.499e-4
    over = course([-1.5 * step, -0.5 * step, 0.5 * step, 1.5 * step])
    tiny = np.array([[[0.0, 0.0], [1e-6, 0.0], [0.0, 1e-6]]])
    seen, most = over.pressure(PAD, tiny[0]).max(), over.over(PAD, tiny)[0].peak[0]
    assert K * DEPTH - seen == pytest.approx(K * step**2 / (8 * R), rel=0.05)
    assert 1.0 <= (most - seen) / (K * DEPTH - seen) < 1.1


def test_a_roller_that_turns_slips_by_nothing_and_one_that_stands_by_the_way():
    way, place = np.linspace(-0.002, 0.002, 41), np.zeros((1, 2))
    assert course(way).way(PAD, place)[-1, 0] < 1e-5
    assert course(way, turns_freely=False).way(PAD, place)[-1, 0] == pytest.approx(4e-3, rel=0.01)


def test_a_way_without_end_is_refused():
    with pytest.raises(BudgetError, match="clean in parts"):
        course(np.tile([-0.03, 0.03], 200))


def test_a_roller_is_followed_so_closely_that_places_miss_about_a_hundredth_of_what_cleans():
    """Half way from one knot to the next a circle is ``(l / 2)^2 / 2 R`` short of its crest (parabola).

    Springs that lean there are softer, which makes a tenth more of it.
    """
    rolling = course([-0.002, 0.002], depth=0.05e-3, radius=0.002, least_pressure=2e3)
    places = np.column_stack([np.zeros(4001), np.linspace(-0.001, 0.001, 4001)])
    missed = K * 0.05e-3 - rolling.pressure(PAD, places).max(axis=0)
    assert 0.01 * 2e3 / 1.3 <= missed.max() <= 0.01 * 2e3 * 1.3
