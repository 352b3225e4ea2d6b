"""The largest factor on the speed of a program: against the checker, bisection and closed forms."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.kernels.face import Face
from gripmargin.kernels.utilisation import largest_scale, peak_utilisation
from gripmargin.tuning.demands import Demands
from gripmargin.tuning.override import at_speed, back_off, closed_form
from gripmargin.workcell.job import JointLimits


def shear_job(slide, smooth, even_film, flat_part, **more):
    """1 kg on 25 cm^2 of 4 N/cm^2 shear strength, moved sideways where nothing weighs: at most 50 m/s^2 at target 2."""
    return gm.Job(
        name="sideways",
        trajectory=smooth(),
        robot=slide(),
        gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", even_film(4e4), [0.05, 0.05]),)),
        part=flat_part(1.0),
        gravity=(0.0, 0.0, 0.0),
        **more,
    )


def test_factor_of_a_sideways_move_is_the_square_root_of_what_the_pads_allow(slide, smooth, even_film, flat_part):
    # peak acceleration of the unit polynomial 10/sqrt(3) L/T^2 (Flash & Hogan 1985); A S / (2 m) = 50 m/s^2
    expected = np.sqrt(50.0 / (10.0 / np.sqrt(3.0) * 1.0 / 2.0**2))
    job = shear_job(slide, smooth, even_film, flat_part)
    factor, limit = closed_form(work_out(job), Demands.of(work_out(job)))
    assert factor == pytest.approx(expected, rel=2e-4)
    assert limit.by == "hold"
    assert limit.pad == "pad"
    assert limit.causes["linear acceleration"] == pytest.approx(1.0)


def test_the_checker_passes_the_factor_and_nothing_faster(random_path_job):
    job = random_path_job(1)
    found = gm.tune(job).override
    assert gm.check_job(found.job).passed
    for faster in (1.004, 1.05):
        assert not gm.check_job(at_speed(job, faster * found.factor)).passed


def test_loads_grow_with_the_square_of_the_speed(random_path_job):
    job = random_path_job(3)
    case, fast = work_out(job), work_out(at_speed(job, 1.7))
    still = case.standing(np.arange(case.airborne.size))
    assert np.allclose(fast.standing(np.arange(case.airborne.size)), still)
    assert np.allclose(fast.load - still, 1.7**2 * (case.load - still), atol=1e-9)


def test_rates_that_are_estimated_leave_less(random_path_job):
    job = replace(random_path_job(1), targets=gm.Targets(hold=2.0, swing=0.01))
    rng = np.random.default_rng(0)
    noisy = job.trajectory.q + rng.normal(0, 1e-7, job.trajectory.q.shape)
    bare = replace(job, trajectory=gm.JointTrajectory(t=job.trajectory.t, q=noisy))
    exact, estimated = gm.tune(job).override, gm.tune(bare).override
    assert estimated.factor < exact.factor
    assert estimated.factor == pytest.approx(exact.factor, rel=0.1)  # and not by being useless
    assert gm.check_job(estimated.job).passed
    assert gm.check_job(at_speed(job, estimated.factor)).passed  # the true program, too


@pytest.mark.parametrize(
    ("order", "key", "at_one"),
    # peaks of the unit polynomial over 1 m in 2 s: 15/8 L/T, 10/sqrt(3) L/T^2, 60 L/T^3 (Flash & Hogan 1985)
    [(1, "speed", 15 / 8 / 2), (2, "acceleration", 10 / np.sqrt(3) / 4), (3, "jerk", 60 / 8)],
)
def test_joint_limits_bind_with_their_own_power(slide, smooth, even_film, flat_part, order, key, at_one):
    limits = JointLimits(**{key: [at_one * 1.3**order]})
    job = shear_job(slide, smooth, even_film, flat_part, joint_limits=limits)
    found = gm.tune(job).override
    assert found.factor == pytest.approx(1.3, abs=0.01)
    assert found.limit.by == f"joint {key}"
    assert found.limit.joint == 1


@pytest.mark.parametrize("step", [0.001, 0.004, 0.008, 0.02])
def test_a_jerk_limit_is_kept_at_any_rate(slide, smooth, even_film, flat_part, step):
    # 60 L/T^3 at both ends of the polynomial (Flash & Hogan 1985); differences of samples show less of it
    limits = JointLimits(jerk=[60 / 8 * 1.5**3])
    job = replace(shear_job(slide, smooth, even_film, flat_part, joint_limits=limits), trajectory=smooth(step=step))
    factor, limit = closed_form(work_out(job), Demands.of(work_out(job)))
    assert limit.by == "joint jerk"
    assert factor == pytest.approx(1.5, rel=2e-4)


def test_stricter_targets_are_slower(random_path_job):
    factors = [gm.tune(random_path_job(4, hold=hold)).override.factor for hold in (1.5, 2.5)]
    assert factors[0] > 1.1 * factors[1]


@pytest.mark.parametrize("targets", [{"peel": 4.0}, {"one_pad_lost": 0.7}])
def test_other_targets_of_the_carry_are_kept(random_path_job, targets):
    job = random_path_job(2)
    strict = replace(job, targets=gm.Targets(hold=1.2, **targets), accept=("target",))
    found = gm.tune(strict).override
    assert found.limit.by == next(iter(targets))
    assert {check.check for check in found.report.checks} >= set(targets)
    assert found.report.passed
    assert not gm.check_job(at_speed(strict, 1.02 * found.factor)).passed


def test_one_pad_cannot_do_without_itself(slide, smooth, even_film, flat_part):
    job = shear_job(slide, smooth, even_film, flat_part, targets=gm.Targets(one_pad_lost=1.0))
    tuning = gm.tune(replace(job, gravity=(0.0, 0.0, -9.8)))
    assert tuning.verdict == "fail"
    assert tuning.standstill.check == "one_pad_lost"


def test_curve_falls_and_meets_one_at_the_factor(random_path_job):
    found = gm.tune(random_path_job(1)).override
    assert (np.diff(found.curve.ratio) <= 1e-12).all()
    assert np.interp(found.closed_form, found.curve.speed, found.curve.ratio) == pytest.approx(1.0, abs=0.02)


def test_nothing_is_known_where_points_are_far_apart(random_path_job):
    job = random_path_job(1)
    few = gm.JointTrajectory(t=job.trajectory.t[::25], q=job.trajectory.q[::25], interpolation="linear")
    tuning = gm.tune(replace(job, trajectory=few))
    assert tuning.verdict == "undecided"
    assert tuning.override is None
    assert "straight lines" in tuning.blocked[0]


def test_scale_with_an_error_is_the_first_crossing():
    random = np.random.default_rng(5)
    for _ in range(200):
        maps = random.normal(size=(3, 5, 6))
        still, moving = random.normal(size=(6, 4)) * 0.1, random.normal(size=(6, 4))
        error = random.uniform(0, 0.5, 4)
        found = largest_scale(Face(maps), still, moving, 1.0, error)
        fits = peak_utilisation(Face(maps), still)[0] <= 1.0
        assert (np.isnan(found) == ~fits).all()
        for i in np.flatnonzero(fits):
            scales = np.linspace(0, 1, 400) * found[i]
            use = peak_utilisation(Face(maps), still[:, [i]] + scales * moving[:, [i]])[0] + scales * error[i]
            assert (use <= 1.0 + 1e-9).all()
            assert use[-1] == pytest.approx(1.0, abs=1e-9)


def test_stepping_back_is_exact_for_one_sample():
    # use = 0.4 + 0.6 k^2 at target; at k = 1.2 the margin over target is 1/1.264
    assert back_off(1 / 1.264, 1 / 0.4) * 1.2 == pytest.approx(1.0)


def test_a_slower_press_does_not_count_on_longer_waits(slide, smooth, even_film, flat_part):
    # Pressed on for about 0.3 s where 0.5 s are needed: at 0.4 of the speed that would be long enough, but a
    # controller's wait need not stretch with the speed.
    material = replace(even_film(4e4), full_preload=1e4, min_dwell=0.5)
    t = np.arange(0.0, 3.501, 0.002)
    x, fall, rise = t, np.clip(t / 1.0, 0, 1), np.clip((t - 1.1) / 2.4, 0, 1)

    def law(s):
        return 10 * s**3 - 15 * s**4 + 6 * s**5

    def speed(s):
        return 30 * s**2 * (1 - s) ** 2

    def bend(s):
        return 60 * s * (1 - s) * (1 - 2 * s)

    q = 0.02 - 0.0203 * law(fall) + 0.5 * law(rise)
    qd = -0.0203 * speed(fall) + 0.5 * speed(rise) / 2.4
    qdd = -0.0203 * bend(fall) + 0.5 * bend(rise) / 2.4**2
    job = gm.Job(
        name="short press",
        trajectory=gm.JointTrajectory(
            t=t,
            q=q[:, None],
            qd=qd[:, None],
            qdd=qdd[:, None],
            moves=tuple("touch" if a <= 1.0 else "press" if a <= 1.1 else "lift" for a in x),
        ),
        robot=slide((0, 0, 1)),
        gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", material, [0.05, 0.05]),)),
        part=flat_part(1.0),
        phases=(gm.Phase(kind="preload", moves=("touch", "press")), gm.Phase(kind="carry", moves=("lift",))),
        pick=gm.Pick(face=np.eye(4)),
        joint_limits=JointLimits(speed=[0.16]),  # half of what the lift does
    )
    assert gm.check_job(at_speed(job, 0.4)).passed  # with waits that stretch
    tuning = gm.tune(job)
    assert tuning.verdict == "fail"
    assert tuning.override is None
    assert tuning.blocked[0].startswith("preload: the press as programmed leaves")
