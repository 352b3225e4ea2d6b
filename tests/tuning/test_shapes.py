"""Programs of positions alone are made faster by the laws of their moves."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.tuning.joints import joint_speeds
from gripmargin.tuning.read_back import as_positions
from gripmargin.tuning.shapes import by_shape
from gripmargin.workcell.job import JointLimits
from support.steps import MinimumJerk, trapezoids

MICRON = 1e-6


def positions(law, t):
    return gm.JointTrajectory(t=t, q=np.rint(law(t)[0] / MICRON)[:, None] * MICRON)


@pytest.fixture
def job(slide, even_film, flat_part):
    """1 kg on 25 cm^2 of 4 N/cm^2 shear strength, moved sideways where nothing weighs: at most 50 m/s^2 at target 2."""

    def make(trajectory, **more):
        return gm.Job(
            name="sideways",
            trajectory=trajectory,
            robot=slide(),
            gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", even_film(4e4), [0.05, 0.05]),)),
            part=flat_part(1.0),
            gravity=(0.0, 0.0, 0.0),
            **more,
        )

    return make


def test_the_factor_is_that_of_the_law(smooth, job):
    """Peak of the unit polynomial 10/sqrt(3) L/T^2 (Flash & Hogan 1985), 1 m in 2 s; digits alone leave 2 % less."""
    given = smooth(step=0.02)
    bare = gm.JointTrajectory(t=given.t, q=np.rint(given.q / MICRON) * MICRON)
    tuning = gm.tune(job(bare))
    assert tuning.override.closed_form == pytest.approx(np.sqrt(50.0 / (10.0 / np.sqrt(3.0) / 4.0)), rel=2e-4)
    assert tuning.passed
    assert any("polynomial of degree 5" in note for note in tuning.notes)


def test_a_jerk_limit_is_kept_at_20_ms(smooth, job):
    # 60 L/T^3 at both ends of the polynomial (Flash & Hogan 1985); differences of samples show less of it
    given = smooth(step=0.02)
    shaped = by_shape(gm.JointTrajectory(t=given.t, q=np.rint(given.q / MICRON) * MICRON)).trajectory
    limits = JointLimits(jerk=[60 / 8 * 1.5**3])
    assert joint_speeds(work_out(job(shaped, joint_limits=limits)))[0].min() == pytest.approx(1.5, rel=1e-3)


@pytest.mark.parametrize(("law", "step"), [(trapezoids, 0.004), (MinimumJerk, 0.001)])
def test_moves_with_pauses_are_one_program(law, step):
    """Where a move of least jerk begins, digits come one by one every 8 ms."""
    exact, t = law(np.random.default_rng(4), 2.5, step), np.arange(0.0, 3.0, step)
    given = positions(exact, t)
    found = by_shape(given)
    off = np.abs(found.trajectory.q - given.q).max()
    assert off == found.distance <= MICRON
    speed, acceleration = exact(t)[1:]
    assert np.allclose(found.trajectory.qd[:, 0], speed, atol=2e-3 * np.abs(speed).max())
    between = np.abs(np.gradient(acceleration, t)) < 50.0  # away from steps, which may fall on either side of a sample
    assert np.allclose(found.trajectory.qdd[between, 0], acceleration[between], atol=5e-3 * np.abs(acceleration).max())


def test_unrounded_positions_show_their_law(smooth):
    given = smooth(step=0.02)
    found = by_shape(gm.JointTrajectory(t=given.t, q=given.q)).trajectory
    assert np.allclose(found.qdd, given.qdd, atol=1e-5)


def test_what_says_more_than_positions_is_left_as_it_is(smooth):
    given = smooth()
    assert by_shape(given) is None
    assert by_shape(gm.JointTrajectory(t=given.t, q=given.q, interpolation="linear")) is None
    assert by_shape(gm.JointTrajectory(t=given.t, q=0.0 * given.q)) is None  # no move, no law


def test_one_unknown_move_leaves_the_program_as_it_is(smooth):
    given = smooth()
    wave = 0.01 * np.sin(np.clip((given.t - given.t[-1] / 2), 0, 0.5) * 8 * np.pi)
    bare = gm.JointTrajectory(t=given.t, q=np.rint((given.q + wave[:, None]) / MICRON) * MICRON)
    assert by_shape(bare) is None


def test_positions_of_a_known_law_pass_where_samples_alone_do_not_tell(job):
    law, t = trapezoids(np.random.default_rng(2), 1.6, 0.02), np.arange(0.0, 2.2, 0.02)
    q, qd, qdd = law(t)[:, :, None]
    exact = gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd)
    full = job(exact)
    most = next(r.low for r in gm.check_job(full).checks if r.check == "swing") / 1.02
    tight = replace(full, targets=gm.Targets(hold=1.0, swing=most))
    found = as_positions(tight)
    assert found.passed
    assert found.job.trajectory.qdd is not None
    assert not gm.check_job(replace(tight, trajectory=positions(law, t))).passed
