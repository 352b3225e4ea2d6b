"""Controller moves against scipy's Hermite interpolants, and the flags that the checks rely on."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import BPoly, CubicHermiteSpline

from gripmargin.base.errors import InputError
from gripmargin.motion.interpolate import as_controller_moves
from gripmargin.motion.trajectory import JointTrajectory


def message(seed, points=5, joints=3, rates=2):
    rng = np.random.default_rng(seed)
    t = np.cumsum(rng.uniform(0.02, 0.8, points)) - 0.01
    arrays = rng.normal(size=(3, points, joints))
    names = [f"joint{i}" for i in range(joints)]
    return JointTrajectory(
        t=t, q=arrays[0], qd=arrays[1] if rates else None, qdd=arrays[2] if rates > 1 else None, names=names
    )


def check_against(moves, interpolant, first_point, step):
    # one-sided where the acceleration jumps: scipy takes the right-hand side, so ask it within the segment
    for order, values in enumerate((moves.q, moves.qd, moves.qdd)):
        reference = interpolant(moves.t, order)
        scale = np.abs(reference).max()
        inside = slice(0, -1)
        np.testing.assert_allclose(values[inside], reference[inside], rtol=0, atol=1e-9 * scale)
    assert moves.t[0] == first_point
    assert np.diff(moves.t).max() <= step * (1 + 1e-9)


@settings(max_examples=40, derandomize=True, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), period=st.sampled_from([0.002, 0.01, 0.3]))
def test_speeds_make_cubics(seed, period):
    points = message(seed, rates=1)
    moves = as_controller_moves(points, period=period)
    assert moves.interpolation == "cubic"
    check_against(moves, CubicHermiteSpline(points.t, points.q, points.qd), points.t[0], period)


@settings(max_examples=40, derandomize=True, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), period=st.sampled_from([0.002, 0.01, 0.3]))
def test_accelerations_make_quintics(seed, period):
    points = message(seed)
    moves = as_controller_moves(points, period=period)
    assert moves.interpolation == "quintic"
    derivatives = np.stack([points.q, points.qd, points.qdd], axis=1)
    check_against(moves, BPoly.from_derivatives(points.t, derivatives), points.t[0], period)


def test_both_sides_of_a_jump_in_acceleration_are_sampled():
    # rest to rest over 1 m in 1 s twice: 6 m/s^2 at the start, -6 at the end of each cubic (closed form)
    points = JointTrajectory(t=[0.0, 1.0, 2.0], q=[[0.0], [1.0], [2.0]], qd=np.zeros((3, 1)))
    moves = as_controller_moves(points)
    before = np.flatnonzero(moves.t < 1.0)[-1]
    assert moves.t[before + 1] > 1.0
    assert moves.qdd[0, 0] == pytest.approx(6.0)
    assert moves.qdd[-1, 0] == pytest.approx(-6.0)
    np.testing.assert_allclose(moves.qdd[[before, before + 1], 0], [-6.0, 6.0], rtol=1e-4)
    assert moves.t.size == 2 * (500 + 1)  # 2 ms apart where nothing else is asked for


def test_positions_alone_stay_points_and_say_so():
    points = message(1, rates=0)
    moves = as_controller_moves(points)
    assert moves.interpolation == "linear"
    assert moves.qd is None
    np.testing.assert_array_equal(moves.t, points.t)
    np.testing.assert_array_equal(moves.q, points.q)


def test_labels_go_with_the_segment_that_starts_at_their_point():
    points = JointTrajectory(t=[0.0, 0.01, 0.02], q=np.zeros((3, 1)), qd=np.zeros((3, 1)), moves=("a", "b", "b"))
    moves = as_controller_moves(points, period=0.005)
    assert moves.moves == ("a", "a", "a", "b", "b", "b")


def test_flag_survives_reordering():
    moves = as_controller_moves(message(2, rates=0)).in_order_of(["joint2", "joint0"])
    assert moves.interpolation == "linear"


@pytest.mark.parametrize("period", [0.0, -1.0, np.nan, np.inf])
def test_periods_that_are_none(period):
    with pytest.raises(InputError, match="a time above 0"):
        as_controller_moves(message(1), period=period)


def test_a_program_too_long_is_refused_before_it_is_sampled():
    points = JointTrajectory(t=[0.0, 1e9], q=np.zeros((2, 1)), qd=np.zeros((2, 1)))
    with pytest.raises(InputError, match="a shorter program"):
        as_controller_moves(points)


def test_epoch_times_still_increase():
    points = JointTrajectory(t=1.7e9 + np.array([0.0, 0.01, 0.02]), q=np.zeros((3, 1)), qd=np.zeros((3, 1)))
    assert (np.diff(as_controller_moves(points).t) > 0).all()


@pytest.mark.parametrize(("apart", "taken"), [(1e-5, True), (6e-6, False)])
def test_points_closer_than_their_times_can_tell_are_refused(apart, taken):
    """Stamps of today are whole multiples of 0.24 us: eight of them on either side are a fifth, or a third, of it."""
    assert np.spacing(1.7e9) == pytest.approx(0.24e-6, rel=0.01)
    points = JointTrajectory(t=1.7e9 + np.array([0.0, apart]), q=np.zeros((2, 1)), qd=np.zeros((2, 1)))
    if taken:
        assert (np.diff(as_controller_moves(points).t) > 0).all()
        return
    with pytest.raises(InputError, match="closer than floating point can part"):
        as_controller_moves(points)


def test_unknown_interpolation_is_refused():
    with pytest.raises(InputError, match="samples or linear or cubic or quintic"):
        JointTrajectory(t=[0.0, 1.0], q=np.zeros((2, 1)), interpolation="spline")
