"""Samples put in between those of programs that are known at every time (`support.laws`)."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from gripmargin.kernels.law_defects import MARKED
from gripmargin.motion.between import filled, law_of, missed_by_samples
from gripmargin.motion.interpolate import as_controller_moves
from gripmargin.motion.trajectory import JointTrajectory, PoseTrajectory
from support.laws import LAWS, program, samples_of


def sampled(found, t, digits=None, **more):
    q, qd, qdd = (c if digits is None else c.round(digits) for c in found.at(t))
    return JointTrajectory(t=t, q=q, qd=qd, qdd=qdd, **more)


def bound(trajectory, t):
    """The most that accelerations can be at some times: the higher of both samples beside each, and what is missed."""
    most = np.abs(trajectory.qdd) + missed_by_samples(trajectory)
    i = np.clip(np.searchsorted(trajectory.t, t, side="right") - 1, 0, trajectory.samples - 2)
    return np.maximum(most[i], most[i + 1])


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("step", [0.004, 0.01, 0.03])
def test_no_acceleration_is_missed_at_any_time(law, step):
    """With kinks, steps and turning points as samples all lies on straight lines, but for a thousandth."""
    for seed in range(3):
        found = program(law, seed)
        t = samples_of(found, seed, step)
        dense = filled(sampled(found, t))
        at = found.dense(t[0], t[-1])
        true = np.abs(found.at(at)[2])
        far = np.abs(at[:, None] - found.changes).min(axis=1) > 1e-8
        most = bound(dense, at)
        known = step < 0.02
        assert (
            true[far] <= most[far] + 1e-3 * true.max() if known else true.max(axis=0) <= most.max(axis=0) * 1.0001
        ).all()
        if known:
            assert (most.max(axis=0) <= true.max(axis=0) + 2e-3 * true.max()).all()


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("digits", [4, 5, 6])
def test_rounded_digits_leave_it_at_that(law, digits):
    """Files of 4 to 6 decimals: little is loose, nothing is missed, what is put in is about as much."""
    found = program(law, 5, joints=6)
    t = np.round(samples_of(found, 5, 0.004), 6)
    dense = filled(sampled(found, t, digits))
    true = np.abs(found.at(found.dense(t[0], t[-1]))[2]).max(axis=0)
    most = (np.abs(dense.qdd) + missed_by_samples(dense)).max(axis=0)
    assert (most >= true - 1e-4 * true.max()).all()
    assert ((most - true) / true.max()).max() < {4: 0.05, 5: 0.02, 6: 0.01}[digits]
    assert dense.samples < 1.5 * t.size


class TestFilled:
    def test_a_step_becomes_two_samples(self):
        t = np.arange(0.0, 0.2, 0.004)
        late = np.maximum(t - 0.0813, 0.0)
        columns = (np.column_stack([c, 2 * c]) for c in (2.5 * late**2, 5.0 * late, 5.0 * (late > 0)))
        dense = filled(JointTrajectory(t, q=(c := list(columns))[0], qd=c[1], qdd=c[2]))
        (i,) = np.flatnonzero(np.diff(dense.t) < MARKED)
        assert dense.t[i] == pytest.approx(0.0813, abs=2e-8)
        np.testing.assert_allclose(dense.qdd[i : i + 2], [[0.0, 0.0], [5.0, 10.0]], atol=1e-6)
        assert dense.samples == t.size + 2

    def test_a_step_at_a_sample_becomes_one_more(self):
        t = np.arange(0.0, 0.2, 0.004)
        late = np.maximum(t - t[25], 0.0)
        columns = [c[:, None] for c in (2.5 * late**2, 5.0 * late, np.where(t >= t[25], 5.0, 0.0))]
        dense = filled(JointTrajectory(t=t, q=columns[0], qd=columns[1], qdd=columns[2]))
        assert np.abs(np.diff(dense.qdd[:, 0]) / np.diff(dense.t)).max() > 5.0 / MARKED

    def test_what_is_put_in_is_known_and_leaves_out_again(self):
        found = program("s_curve", 1)
        t = samples_of(found, 1, 0.02)
        given = sampled(found, t, moves=tuple(f"{i // 10}" for i in range(t.size)))
        dense = filled(given)
        assert filled(dense) is dense
        own, at = dense.own
        assert own == given
        np.testing.assert_array_equal(dense.t[at], t)
        moves = (dense.qd[:-1] != 0).any(axis=1)
        assert np.diff(dense.t)[moves].max() <= 0.005 + 1e-9
        for name, due in zip(("q", "qd"), found.at(dense.t), strict=False):
            np.testing.assert_allclose(getattr(dense, name), due, atol=1e-6)
        assert all(
            dense.moves[i] == given.moves[np.searchsorted(t, dense.t[i], "right") - 1] for i in range(dense.samples)
        )

    def test_a_straight_program_stays_as_it_is(self):
        t = np.linspace(0, 1, 101)[:, None]
        given = JointTrajectory(t=t[:, 0], q=t**2, qd=2 * t, qdd=0 * t + 2)
        assert filled(given).samples == 101

    @pytest.mark.parametrize("rates", ["qd", "qdd"])
    def test_messages_are_what_the_controller_makes_of_them(self, rates):
        """Cubic or quintic between points: both are known, nothing may be missed."""
        found = program("trapezoid", 2)
        given = sampled(found, np.arange(0.0, found.changes[-1], 0.02))
        message = given if rates == "qdd" else replace(given, qdd=None)
        dense = filled(as_controller_moves(message))
        assert dense.filling.missed is None

    def test_stamps_since_1970(self):
        found = program("trapezoid", 2)
        t = samples_of(found, 2, 0.004)
        late = sampled(found, t)
        dense = filled(replace(late, t=t + 1.7e9))
        assert (np.diff(dense.t) > 0).all()


def test_a_recording_that_is_not_filled_counts_what_lies_between_at_its_samples():
    found = program("s_curve", 4)
    t = samples_of(found, 4, 0.004)
    given = sampled(found, t)
    at = found.dense(t[0], t[-1])
    true = np.abs(found.at(at)[2])
    assert (true <= bound(given, at) + 1e-4 * true.max()).all()


@pytest.mark.parametrize("digits", [1e-4, np.deg2rad(1e-3)])
def test_a_joint_that_hardly_moves_has_the_digits_of_its_file(digits):
    """Of 1.5 mrad to and fro the last digit is a hundredth; a finer decimal fits its values as well, and is not it."""
    t = np.arange(0.0, 2.0, 0.004)[:, None]
    size, rate = np.array([0.0015, 0.06]), np.array([12.0, 5.0])
    exact = size * np.sin(rate * t), size * rate * np.cos(rate * t), -size * rate**2 * np.sin(rate * t)
    q, qd, qdd = (np.round(c / digits) * digits for c in exact)
    given = JointTrajectory(t=t[:, 0], q=q, qd=qd, qdd=qdd)
    dense = filled(given)
    assert dense.samples < 1.05 * given.samples
    assert missed_by_samples(dense).max() < 0.02 * np.abs(qdd[:, 0]).max()


def test_digits_of_a_short_move_are_found():
    """26 samples, 1e-4 in all columns: with its digits it is known to 2 %."""
    x = np.arange(26) / 25.0
    s = 10 * x**3 - 15 * x**4 + 6 * x**5, 30 * x**2 * (1 - x) ** 2 / 0.1, 60 * x * (1 - x) * (1 - 2 * x) / 0.01
    q, qd, qdd = (0.1 * c[:, None].round(3) for c in s)
    dense = filled(JointTrajectory(t=0.1 * x, q=q, qd=qd, qdd=qdd))
    assert (np.abs(dense.qdd) + missed_by_samples(dense)).max() < 1.02 * np.abs(qdd).max()


@pytest.mark.parametrize("digits", [9, 10, 12])
def test_steps_that_a_program_marks_leave_nothing_open_however_many_decimals_it_has(digits):
    """5.4 rad/s^2, none, and -5.4 rad/s^2 (closed form), with two samples 20 ns apart at each step."""
    steps = np.array([0.1, 0.415, 0.685, 1.0])
    a, (t0, t1, t2, t3) = 5.42667209335, steps
    every = np.round(np.arange(0.0, 1.1, 0.004), 3)
    t = np.sort(np.concatenate([every[np.abs(every[:, None] - steps).min(axis=1) > 1e-6], steps - 1e-8, steps + 1e-8]))
    since = [np.maximum(t - at, 0.0) for at in steps]
    signs = a * np.array([1.0, -1.0, -1.0, 1.0])
    qd, q = (sum(s * x**n / n for s, x in zip(signs, since, strict=True)) for n in (1, 2))
    qdd = np.select([t < t0, t < t1, t < t2, t < t3], [0.0, a, 0.0, -a], 0.0)
    q, qd, qdd = (c[:, None].round(digits) for c in (q, qd, qdd))
    dense = filled(JointTrajectory(t=t, q=q, qd=qd, qdd=qdd))
    assert missed_by_samples(dense).max() < 1e-3


@pytest.mark.parametrize(("share", "put"), [(1.4e-4, 1), (0.71e-4, 0)])
def test_turning_points_are_put_in_where_they_count(share, put):
    """A minimum-jerk peak halfway between two samples is h^2/8 times its curvature above them; a'' / a = 36 there."""
    h = np.sqrt(8.0 * share / 36.0)
    x0 = (1.0 - 1.0 / np.sqrt(3.0)) / 2.0
    x = x0 + h * (np.arange(-12, 13) + 0.5)
    s = 10 * x**3 - 15 * x**4 + 6 * x**5, 30 * x**2 * (1 - x) ** 2, 60 * x * (1 - x) * (1 - 2 * x)
    q, qd, qdd = (c[:, None] for c in s)
    dense = filled(JointTrajectory(t=x - x[0], q=q, qd=qd, qdd=qdd))
    assert dense.samples == x.size + put


@pytest.mark.parametrize(("share", "put"), [(1.4e-3, 2), (0.71e-3, 1)])
def test_small_steps_are_one_sample(share, put):
    t = np.arange(0.0, 0.2, 0.004)
    late = np.maximum(t - 0.0813, 0.0)
    columns = (c[:, None] for c in (t**2 / 2 + share * late**2 / 2, t + share * late, 1.0 + share * (late > 0)))
    q, qd, qdd = columns
    assert filled(JointTrajectory(t=t, q=q, qd=qd, qdd=qdd)).samples == t.size + put


@pytest.mark.parametrize("unit", [1e-4, 1e-7, 1e-8, 1e-9])
def test_stamps_may_be_off_by_half_their_digit(unit):
    """300 samples a second have no decimal of their own."""
    t = np.arange(200) / 300.0
    given = JointTrajectory(t=np.round(t / unit) * unit, q=t[:, None], qd=1.0 + 0 * t[:, None], qdd=0 * t[:, None])
    assert law_of(given)[0].late == pytest.approx(unit / 2.0)


def test_what_is_loose_is_missed_by_the_samples_beside_it():
    """A speed of 0.03 m/s from one sample to the next, 4 ms on: a triangle of 15 m/s^2, or less than twice that."""
    t = np.arange(0.0, 0.2, 0.004)
    late = np.maximum(t - t[20] - 0.002, 0.0)
    q, qd, qdd = (c[:, None] for c in (0.03 * late, 0.03 * (late > 0), 0 * t))
    missed = missed_by_samples(JointTrajectory(t=t, q=q, qd=qd, qdd=qdd))[:, 0]
    assert ((missed[20:22] >= 15.0) & (missed[20:22] < 30.0)).all()


class TestTurning:
    """Tools that turn, at every 20 ms."""

    t = np.arange(0.0, 1.0, 0.02)

    def turning(self, rotation, speed, change):
        still = np.zeros((self.t.size, 3))
        return PoseTrajectory(
            t=self.t,
            position=still,
            rotation=rotation.as_matrix(),
            velocity=np.hstack([still, speed]),
            acceleration=np.hstack([still, change]),
        )

    def test_orientations_put_in_are_those_of_the_program(self):
        """Round its own x axis by 2 rad/s, which goes round z by 3 rad/s (closed form)."""

        def at(t):
            return Rotation.from_rotvec(3.0 * t[:, None] * [0, 0, 1]) * Rotation.from_rotvec(
                2.0 * t[:, None] * [1, 0, 0]
            )

        c, s, one = np.cos(3.0 * self.t), np.sin(3.0 * self.t), np.ones(self.t.size)
        speed, change = np.column_stack([2 * c, 2 * s, 3 * one]), np.column_stack([-6 * s, 6 * c, 0 * one])
        dense = filled(self.turning(at(self.t), speed, change))
        assert dense.samples > 150
        assert (Rotation.from_matrix(dense.rotation) * at(dense.t).inv()).magnitude().max() < 1e-6

    def test_orientations_tell_how_they_are_rounded(self):
        """Fourth differences of rounded values have sqrt(70/12) digits; 3/4 of their median is 1.22 of them."""
        digit = 1e-4
        axis, (s, c) = np.array([0.0, 0.0, 1.0]), (f(12.0 * self.t)[:, None] for f in (np.sin, np.cos))
        for angle, due in ((0.3 * s, 0.0), (np.round(0.3 * s / digit) * digit, 1.22 * digit)):
            given = self.turning(Rotation.from_rotvec(angle * axis), 3.6 * c * axis, -43.2 * s * axis)
            assert law_of(given)[0].digits[0, 5] == pytest.approx(due, rel=0.4, abs=1e-6)
