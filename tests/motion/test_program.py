"""A trajectory to the tool's motion: errors of estimated rates, what lies between samples, what stays in doubt."""

from itertools import pairwise

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.motion.between import filled
from gripmargin.motion.program import ProgramMotion
from gripmargin.motion.tool_motion import joint_motion


@pytest.fixture(scope="module")
def transfer(exact_moves):
    return exact_moves(6, (0.2, 0.9, [0.7, 0.2, -0.3, 0.4, 0.2, -0.5]))


def columns(exact, rate, duration=1.4):
    t = np.arange(0, duration, 1 / rate)
    return t, *exact.at(t)


def poses(arm, exact, rate, duration=1.4):
    t, q, qd, qdd = columns(exact, rate, duration)
    motion = joint_motion(arm, t, q, qd, qdd)
    return motion, gm.PoseTrajectory(t=t, position=motion.position, rotation=motion.rotation.copy())


class TestGivenRates:
    def test_are_used_as_they_are(self, arm, transfer):
        t, q, qd, qdd = columns(transfer, 250)
        made = ProgramMotion.of(filled(gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd)), arm)
        at = np.searchsorted(made.at.t, t)
        assert made.at.take(at) == joint_motion(arm, t, q, qd, qdd)
        assert made.given
        assert made.error is None
        assert made.doubts == ()
        assert made.acceleration_error(100) == (0.0, 0.0)

    def test_samples_put_in_are_the_true_motion_there(self, arm, transfer):
        t, q, qd, qdd = columns(transfer, 50)
        made = ProgramMotion.of(filled(gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd)), arm)
        true = joint_motion(arm, made.at.t, *transfer.at(made.at.t))
        assert made.at.samples > 2 * t.size
        np.testing.assert_allclose(made.at.position, true.position, atol=1e-6)
        np.testing.assert_allclose(made.at.acceleration, true.acceleration, atol=1e-3)
        assert "samples were put in" in " ".join(made.notes)

    def test_what_nothing_confirms_is_an_error_of_the_accelerations(self, arm, transfer):
        """A burst of speed between two samples; the others are known."""
        t, q, qd, qdd = columns(transfer, 250)
        late = np.maximum(t - t[200] - 0.002, 0.0)[:, None] * np.array([1, 0, 0, 0, 0, 0])
        made = ProgramMotion.of(
            filled(gm.JointTrajectory(t=t, q=q + 0.03 * late, qd=qd + 0.03 * (late > 0), qdd=qdd)), arm
        )
        assert made.given
        assert made.doubts == ()
        assert 0 < (made.error.bias > 0).any(axis=1).sum() < 10
        assert made.error.bias.max() == pytest.approx(15.0, rel=0.05)
        assert "too far apart" in made.error_sentence(200)


def accelerations(motion):
    return np.hstack([motion.acceleration, motion.angular_acceleration])


class TestEstimatedRates:
    @pytest.mark.parametrize("kind", ["joints", "joints with speeds", "poses"])
    def test_converge_to_the_exact_ones(self, arm, transfer, kind):
        """Away from the kinks at the ends of the move the error falls at least with the square of the step."""
        errors = []
        for rate in (100, 200, 400):
            t, q, qd, qdd = columns(transfer, rate)
            true = joint_motion(arm, t, q, qd, qdd)
            if kind == "poses":
                made = ProgramMotion.of(poses(arm, transfer, rate)[1], None)
            else:
                made = ProgramMotion.of(gm.JointTrajectory(t=t, q=q, qd=qd if "speeds" in kind else None), arm)
            inside = (t > 0.35) & (t < 0.95)
            errors.append(np.abs(accelerations(made.at) - accelerations(true))[inside].max())
        # below 1e-4 m/s2 the digits of the positions are all that is left
        rates = [np.log2(a / b) for a, b in pairwise(errors) if b > 1e-4]
        assert errors[-1] < 0.01
        assert all(r > 1.8 for r in rates)

    @pytest.mark.parametrize("kind", ["joints", "poses"])
    @pytest.mark.parametrize("noise", [0.0, 1e-5, 1e-4])
    @pytest.mark.parametrize("rate", [100, 500])
    def test_true_accelerations_lie_within_the_error_that_goes_with_them(self, arm, transfer, kind, noise, rate):
        random = np.random.default_rng(1)
        true, exact = poses(arm, transfer, rate)
        t, q, *_ = columns(transfer, rate)
        if kind == "joints":
            made = ProgramMotion.of(gm.JointTrajectory(t=t, q=q + noise * random.normal(size=q.shape)), arm)
        else:
            shaken = exact.position + noise * random.normal(size=(t.size, 3))
            made = ProgramMotion.of(gm.PoseTrajectory(t=t, position=shaken, rotation=exact.rotation), None)
        every = np.arange(t.size)
        noisy, bias = made.error.columns(every, bias=False), made.error.columns(every, bias=True)
        allowed = 4 * np.sqrt((noisy**2).sum(axis=0)) + np.abs(bias).sum(axis=0)
        off = np.abs(accelerations(made.at) - accelerations(true)).T
        assert (off <= allowed + 1e-6).mean() > 0.99

    def test_noise_is_told_in_words(self, arm, transfer):
        t, q, *_ = columns(transfer, 500)
        noise = 1e-4 * np.array([1, 1, 10, 1, 1, 1])
        shaken = q + noise * np.random.default_rng(2).normal(size=q.shape)
        made = ProgramMotion.of(gm.JointTrajectory(t=t, q=shaken), arm)
        (note,) = made.notes
        assert "estimated from positions" in note
        assert "noise found" in note
        linear, angular = made.acceleration_error(300)
        assert linear > 0
        assert angular > 0
        assert "1 sigma" in made.error_sentence(300)
        assert made.error_sentence(300).endswith("most of it from joint 3")


class TestDoubts:
    @pytest.mark.parametrize("rates", ["q", "q qd", "q qd qdd"])
    def test_a_gap_while_something_moves(self, arm, transfer, rates):
        t, *given = columns(transfer, 250)
        keep = (t < 0.5) | (t > 0.56)
        named = dict(zip(rates.split(), (c[keep] for c in given), strict=False))
        made = ProgramMotion.of(gm.JointTrajectory(t=t[keep], **named), arm)
        first = int(np.flatnonzero(~keep)[0]) - 1
        assert any("a peak may hide" in reason for reason in made.doubts_at(first))
        assert {first, first + 1} <= set(made.doubtful.tolist())
        assert "over this stretch" in made.better_data(first)

    def test_a_gap_in_poses(self, arm, transfer):
        _, exact = poses(arm, transfer, 250)
        keep = (exact.t < 0.5) | (exact.t > 0.56)
        made = ProgramMotion.of(
            gm.PoseTrajectory(t=exact.t[keep], position=exact.position[keep], rotation=exact.rotation[keep]), None
        )
        assert len(made.doubts) == 1

    def test_a_gap_while_all_stands_is_none(self, arm, transfer):
        t, q, qd, qdd = columns(transfer, 250)
        keep = (t < 1.15) | (t > 1.35)
        for more in ({}, {"qd": qd[keep], "qdd": qdd[keep]}):
            assert ProgramMotion.of(gm.JointTrajectory(t=t[keep], q=q[keep], **more), arm).doubts == ()

    @pytest.mark.parametrize(("rate", "doubted"), [(10, True), (50, True), (250, False)])
    def test_straight_lines_between_points_that_are_far_apart(self, arm, transfer, rate, doubted):
        t, q, *_ = columns(transfer, rate)
        made = ProgramMotion.of(gm.JointTrajectory(t=t, q=q, interpolation="linear"), arm)
        moving = np.flatnonzero((np.diff(q, axis=0) != 0).any(axis=1))
        found = {a for a, _, reason in made.doubts if "straight lines" in reason}
        assert (set(moving.tolist()) <= found) == doubted
        assert bool(found) == doubted


class TestRefused:
    def test_a_joint_program_without_a_robot(self, transfer):
        t, q, *_ = columns(transfer, 250)
        with pytest.raises(gm.InputError, match="a joint program without a robot"):
            ProgramMotion.of(gm.JointTrajectory(t=t, q=q), None)

    def test_another_number_of_joints(self, arm, transfer):
        t, q, *_ = columns(transfer, 250)
        with pytest.raises(gm.InputError, match="found 5, expected 6"):
            ProgramMotion.of(gm.JointTrajectory(t=t, q=q[:, :5]), arm)

    @pytest.mark.parametrize("samples", [2, 3, 4])
    def test_too_few_samples_to_estimate_from(self, arm, transfer, samples):
        t, q, *_ = columns(transfer, 250)
        with pytest.raises(gm.InputError, match="at least"):
            ProgramMotion.of(gm.JointTrajectory(t=t[:samples], q=q[:samples]), arm)
