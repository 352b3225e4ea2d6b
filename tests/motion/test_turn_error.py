"""Digits of orientations: a hard bound that is reached, and what is within it is no burst and no repeated row."""

from functools import partial

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import gripmargin as gm
from gripmargin.base.poses import rotation_from_quaternion, rotation_from_rpy, rotations
from gripmargin.motion.polled import unpolled
from gripmargin.motion.turn_error import turn_error
from gripmargin.motion.turn_rates import estimate_rotation_rates, integral_error
from support.steps import LAWS, MinimumJerk
from support.turning import decided, judged, true_margin, turned

T = np.arange(20_000) * 0.001
ABOUT = {  # axes and angles [rad] about a place at which orientations dwell, and what makes them of numbers
    "extrinsic xyz": rotation_from_rpy,
    "intrinsic ZYZ": partial(rotations, convention="intrinsic ZYZ"),
    "rotation vector": partial(rotations, convention="rotation vector"),
    "quaternion xyzw": rotation_from_quaternion,
}


@pytest.mark.parametrize("digit", [1e-4, 1e-6])
@pytest.mark.parametrize("convention", list(ABOUT))
def test_no_orientation_is_off_by_more_than_its_digits_allow_and_some_by_almost_that(convention, digit):
    """Turns between what was meant and what its digits say, by the rotations of scipy."""
    angles = [0.9, -0.4, 0.6] + 0.02 * np.column_stack([np.sin(1.3 * T), np.cos(1.9 * T), np.sin(2.3 * T)])
    meant = angles
    if convention == "quaternion xyzw":
        meant = Rotation.from_euler("xyz", angles).as_quat()
    written = np.rint(meant / digit) * digit
    made = ABOUT[convention]
    off = Rotation.from_matrix(made(meant)).inv() * Rotation.from_matrix(made(written))
    bound, found = turn_error(written, made), np.abs(off.as_rotvec()).max(axis=0)
    assert (found <= bound * (1.0 + 2.0 * digit)).all()
    assert (bound <= 1.3 * found).all()


def test_numbers_that_are_not_rounded_have_no_bound():
    assert not turn_error(np.column_stack([np.sin(T), np.cos(T), T]), rotation_from_rpy).any()


def test_errors_of_other_axes_come_into_the_integral_as_it_turns():
    """An orientation that is off about x by a steady e: over a turn a about z its y strays by e a."""
    n, e = 200, 1e-5
    yaw = 0.006 * np.arange(n)
    true = Rotation.from_euler("z", yaw[:, None])
    off = true * Rotation.from_rotvec([e, 0.0, 0.0])
    t = 0.001 * np.arange(n)
    strays = estimate_rotation_rates(t, off.as_matrix()).places - estimate_rotation_rates(t, true.as_matrix()).places
    over = np.abs(strays[64:] - strays[:-64]).max(axis=0)
    turns = np.column_stack([np.zeros((n - 1, 2)), np.diff(yaw)])
    bound = integral_error(turns, np.array([e, 0.0, 0.0]))
    assert over[1] <= bound[1] * (1.0 + 1e-3)
    assert bound[1] <= 1.3 * over[1]
    assert bound[2] == 0.0


@pytest.mark.parametrize(("written", "digit"), [("degrees", 1e-4), ("quaternion", 1e-6)])
@pytest.mark.parametrize(("kind", "step"), [("trapezoid", 0.001), ("S-curve", 0.002), ("minimum jerk", 0.008)])
def test_moves_with_room_pass_at_any_sampling(written, digit, kind, step):
    law, t = LAWS[kind](np.random.default_rng(2), 3.0, step), np.arange(round(3.0 / step)) * step
    assert decided(law, t, written, digit, 1.2).verdict == "pass"
    assert decided(law, t, written, digit, 0.97).verdict != "pass"


@pytest.mark.parametrize(("digit", "counts"), [(1e-4, True), (1.6e-4, False)])
def test_four_decimals_of_a_quaternion_count_and_coarser_numbers_hide_moves(digit, counts):
    """Where its numbers are all about one half it is worst known: 2 rad for each half digit, twice."""
    angles = Rotation.from_quat([0.5, 0.5, 0.5, 0.5]) * Rotation.from_rotvec(
        0.05 * np.sin(np.outer(T, [1.3, 1.9, 2.3]))
    )
    written = np.rint(angles.as_quat() / digit) * digit
    assert turn_error(written, rotation_from_quaternion).max() == pytest.approx(2.0 * digit * counts, rel=0.01)


@pytest.mark.parametrize("digits", [5, 10])
def test_a_burst_of_a_few_digits_is_one(digits):
    """A real move within a sample, peak 5.77 d/T^2 (Flash & Hogan, J. Neurosci. 5(7), 1985, from memory)."""
    law, t = LAWS["trapezoid"](np.random.default_rng(29), 3.0, 0.001), np.arange(1200) * 0.001
    way = digits * np.radians(1e-4)
    s = np.clip((t - 0.74295) / 0.001, 0.0, 1.0)
    plain, target = 0.3 * law(t)[0], 1.03 * true_margin(5.77 * way / 0.001**2)
    burst = plain + way * (10 * s**3 - 15 * s**4 + 6 * s**5)
    assert judged(turned(t, plain, "degrees", 1e-4), target).verdict == "pass"
    assert judged(turned(t, burst, "degrees", 1e-4), target).verdict != "pass"


@pytest.mark.parametrize(("written", "digit"), [("degrees", 1e-3), ("quaternion", 1e-5)])
def test_rows_that_repeat_by_rounding_are_no_polled_log(written, digit):
    law, t = MinimumJerk(np.random.default_rng(1), 3.0, 0.001), np.arange(3000) * 0.001
    program = turned(t, 0.1 * law(t)[0], written, digit)
    assert not np.diff(program.rotation, axis=0).any(axis=(1, 2)).all()
    assert unpolled(program) is program
    read = np.floor(t / 0.008) * 0.008
    polled = turned(t, 0.5 * law(read)[0], written, digit)
    assert unpolled(polled).samples < t.size


def test_another_tool_frame_takes_the_bound_along():
    poses = turned(np.arange(500) * 0.004, np.sin(np.arange(500) * 0.01), "degrees", 1e-3)
    turn = gm.pose(rpy=(np.pi / 2, 0.0, 0.0))
    np.testing.assert_allclose(poses.regripped(turn).turn_error, poses.turn_error[[0, 2, 1]], atol=1e-12)
