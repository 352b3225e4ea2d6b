"""The pressure of pads that lean and are dragged while they hold, against the force of the springs by hand."""

from dataclasses import replace

import numpy as np
import pytest

from gripmargin.contact.leaning import pressure_of_corners

LINE = np.linspace(0.0, 1.0, 21)
KN, KT, T = 1e8, 3.3e7, 6e4
THETA, DEPTH, BEARS = 0.05, 5e-4, T / KT


def highest(pad_face, move, way, depth=DEPTH, **changes):
    """Of a small pad that leans by THETA and is dragged by a way along x: by depth alone, and at most [Pa]."""
    face = pad_face(size=(1e-5, 1e-5), **changes)
    both = pressure_of_corners(face, move(LINE, x=way * np.ones_like(LINE), z=-depth, turn=[0, THETA, 0]))
    return [float(each[-1].max()) for each in both]


@pytest.mark.parametrize(("way", "more"), [(-4e-4, 4e-4), (4e-4, 0.0), (-3e-3, BEARS / np.cos(THETA))])
def test_along_the_lean_by_no_more_than_a_bond_bears(pad_face, move, way, more):
    """Its normal points to -x, into the part: dragged to -x it presses harder, until its shear breaks it."""
    by_depth, most = highest(pad_face, move, way * LINE)
    assert by_depth == pytest.approx(KN * DEPTH, rel=1e-3)
    assert most - by_depth == pytest.approx((KN - KT) * more * np.sin(THETA) * np.cos(THETA), rel=5e-3)


def test_from_the_worst_place_at_which_it_may_have_bonded(pad_face, move):
    """To and fro: it counts from the far end, but only if it was on the face there."""
    way = 4e-4 * np.interp(LINE, [0, 0.5, 1.0], [0, 1, 0])
    alone, most = highest(pad_face, move, way)
    assert most - alone == pytest.approx((KN - KT) * 4e-4 * np.sin(THETA) * np.cos(THETA), rel=1e-3)
    off = np.where(LINE == 1.0, DEPTH, -DEPTH)
    alone, most = highest(pad_face, move, way, depth=off)
    assert most == alone


def test_sheared_by_the_press_before(pad_face, move):
    """What the press locked in adds to the way: 10 kPa of shear are 0.3 mm."""
    offset = np.tile([1e4, 0.0, 0.0], (pad_face(size=(1e-5, 1e-5)).patch.areas.size, 1))
    face = replace(pad_face(size=(1e-5, 1e-5)), offset=offset)
    motion = move(LINE, z=-DEPTH, turn=[0, THETA, 0])
    alone, most = pressure_of_corners(face, motion)
    assert (most - alone)[0].max() == pytest.approx((KN - KT) * 1e4 / KT * np.sin(THETA) * np.cos(THETA) ** 2, rel=1e-3)


def test_pads_that_do_not_lean_press_by_their_depth(pad_face, move):
    alone, most = pressure_of_corners(pad_face(), move(LINE, x=-1e-3 * LINE, z=-DEPTH))
    np.testing.assert_array_equal(alone, most)
    assert alone.max() == pytest.approx(KN * DEPTH)
