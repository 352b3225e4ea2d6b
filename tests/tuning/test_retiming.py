"""A new time law: against closed forms and brute force, and what is given out against the checker."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial import KDTree

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.changes import with_material
from gripmargin.checks.rests import stretches
from gripmargin.files.csv_file import read_csv
from gripmargin.files.trajectory_writer import trajectory_bytes
from gripmargin.motion.between import law_of
from gripmargin.motion.interpolate import quintic_between
from gripmargin.tuning.demands import Demands
from gripmargin.tuning.fit import fitted
from gripmargin.tuning.joint_program import JointProgram
from gripmargin.tuning.path import Path
from gripmargin.tuning.peaks import peaks
from gripmargin.tuning.profile import Law
from gripmargin.tuning.retiming import natural_ramp
from gripmargin.tuning.track import BETWEEN, Track
from gripmargin.workcell.job import JointLimits

BARELY = 1e-4  # [s] a ramp that is none


def damped(job):
    """The job with pads that damp: on others each doubt between two samples rings on to the end."""
    return with_material(job, damping_ratio=0.1)


@pytest.fixture
def track(slide, smooth, even_film, flat_part):
    """One metre in a straight line, pads that hold 1 kg against some acceleration."""

    def make(most, *, axis=(1.0, 0.0, 0.0), gravity=(0.0, 0.0, 0.0), pull=None, joint=1e3, ramp=BARELY):
        area, target = 0.05**2, 2.0
        pads = gm.Pad.rectangle("pad", even_film(most * target / area, pull=pull), [0.05, 0.05])
        job = gm.Job(
            name="straight",
            trajectory=smooth(),
            robot=slide(axis),
            gripper=gm.Gripper(pads=(pads,)),
            part=flat_part(1.0),
            gravity=gravity,
            joint_limits=JointLimits(speed=[1e3], acceleration=[joint]),
        )
        case = work_out(job)
        (part,) = (s for s in stretches(case, by_label=False) if not s.kept)
        program = JointProgram.of(case)
        made = Track(program=program, demands=Demands.of(case), stretch=part, path=Path.of(program, part), ramp=ramp)
        assert made.find()
        return made

    return make


def test_straight_line_under_a_symmetric_limit_takes_the_bang_bang_time(track):
    # 1 m from rest to rest at 5 m/s^2 both ways: 2 sqrt(L/a) = 0.894427191 s (closed form)
    found = track(5.0)
    assert (found.duration - BARELY) * BETWEEN == pytest.approx(0.894427191, rel=5e-4)


def test_straight_line_upwards_agrees_with_the_best_of_a_family(track):
    # Up: the pads hang, m (g + a) <= A S / target; braking presses the part on, and the joint limits it.
    pull_limit, joint, g = 16.0, 8.0, 9.80665
    pull = pull_limit * 2.0 / 0.05**2
    found = track(1e4, axis=(0, 0, 1), gravity=(0, 0, -g), pull=pull, joint=joint)
    best = np.inf
    for switch in np.linspace(0.01, 0.99, 981):  # accelerate up to this share of the way, then brake
        up = min(pull_limit - g, joint, joint * (1 - switch) / switch)
        speed = np.sqrt(2 * up * switch)
        best = min(best, 2 * switch / speed + 2 * (1 - switch) / speed)
    assert (found.duration - BARELY) * BETWEEN == pytest.approx(best, rel=1e-3)


def test_the_law_is_its_own_derivative_and_rests_at_both_ends():
    s = np.linspace(0, 1, 201)
    law = Law(s, np.minimum(4 * s, np.minimum(4 * (1 - s), 1.0)), 0.05)
    t = np.linspace(0, law.duration, 20001)
    place, speed, acceleration = law.at(t)
    assert np.allclose([place[0], speed[0], acceleration[0], place[-1] - 1, speed[-1], acceleration[-1]], 0, atol=1e-9)
    assert np.allclose(np.gradient(place, t)[1:-1], speed[1:-1], atol=1e-5)
    inner = np.abs(np.gradient(speed, t) - acceleration)[2:-2]
    assert np.median(inner) < 1e-6
    # the acceleration changes by at most its step over the ramp: 2 to 0 here, and 0 to -2
    assert np.abs(np.diff(acceleration) / np.diff(t)).max() <= 2.0 / 0.05 * 1.001


def test_ramp_is_the_period_of_the_slowest_swing(even_film, slide, smooth):
    # sideways on a soft layer: T = 2 pi sqrt(m / (k_t A)); a small part on a wide pad does not rock first
    part = gm.Part(face="plane", rigid=True, mass=2.0, com=[0, 0, 0], inertia=[1e-4, 1e-4, 2e-4, 0, 0, 0])
    pad = gm.Pad.rectangle("pad", even_film(shear_stiffness=1e6), [0.08, 0.08])
    job = gm.Job(name="soft", trajectory=smooth(), robot=slide(), gripper=gm.Gripper(pads=(pad,)), part=part)
    period = 2 * np.pi * np.sqrt(2.0 / (1e6 * 0.08**2))
    assert natural_ramp(work_out(job)) == pytest.approx(period, rel=1e-6)
    stiff = gm.Pad.rectangle("pad", even_film(shear_stiffness=2.5e8), [0.08, 0.08])
    quick = natural_ramp(work_out(replace(job, gripper=gm.Gripper(pads=(stiff,)))))
    periods = quick / (2 * np.pi * np.sqrt(2.0 / (1e8 * 0.08**2)))  # now it swings along the normal
    assert periods == pytest.approx(round(periods), rel=1e-6)
    assert quick >= 0.02


@pytest.mark.parametrize(("seed", "more"), [(1, {}), (4, {"speed": 3.0, "acceleration": 12.0, "strength": 8e3})])
def test_what_is_given_out_passes_at_any_rate_and_keeps_joints_and_path(random_path_job, seed, more, tmp_path):
    job = damped(random_path_job(seed, **more))
    tuning = gm.tune(job, retime=True)
    found = tuning.retimed
    assert tuning.passed
    assert found.by == "retiming"
    assert found.cycle_then < tuning.override.cycle_then
    assert found.cycle_then < tuning.moves.cycle_then
    out = found.job.trajectory
    assert np.diff(out.t).max() <= 1e-3 + 1e-9
    for rate in (1000.0, 4000.0):
        t = np.linspace(out.t[0], out.t[-1], int((out.t[-1] - out.t[0]) * rate))
        q, qd, qdd = quintic_between(out.t, out.q, out.qd, out.qdd, t)
        report = gm.check_job(replace(found.job, trajectory=gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd)))
        # at other instants the law between samples is known a little less, or more: a cubic that is carried on to the
        # next interval is off by 360 times what its second defect may be
        assert min(check.low / check.target for check in report.checks) >= 0.97
        assert min(check.value / check.target for check in report.checks) >= 1.0
        assert (np.abs(qd) <= job.joint_limits.speed * 1.0005).all()
        assert (np.abs(qdd) <= job.joint_limits.acceleration * 1.002).all()
    # limiting samples within 4 % of target
    assert 1.0 <= found.reached <= 1.04
    # on the path: no point further from the given one than its samples are apart
    dense = np.linspace(0, job.trajectory.t[-1], 40_000)
    given = quintic_between(job.trajectory.t, job.trajectory.q, job.trajectory.qd, job.trajectory.qdd, dense)[0]
    distance, _ = KDTree(given).query(out.q)
    assert distance.max() < 2e-4
    file = tmp_path / "out.csv"
    file.write_bytes(trajectory_bytes(found.job.trajectory, ".csv", robot=found.job.robot))
    assert gm.check_job(replace(found.job, trajectory=read_csv(file, robot=job.robot))).passed


def test_stricter_targets_take_longer(random_path_job):
    times = [gm.tune(random_path_job(2, hold=hold), retime=True).retimed.cycle_then for hold in (1.6, 2.4)]
    assert times[0] < times[1]


def test_jerk_limits_are_kept(random_path_job):
    found = gm.tune(damped(random_path_job(1, jerk=400.0)), retime=True).retimed
    jerk = np.abs(np.diff(found.job.trajectory.qdd, axis=0) / np.diff(found.job.trajectory.t)[:, None])
    assert found.by == "retiming"
    assert jerk.max() <= 400.0
    assert jerk.max() >= 0.9 * 400.0  # they bind


def stepped(t, start, duration, travel):
    """A trapezoid of thirds from rest to rest: positions, speeds, accelerations, which step at samples."""
    third, x = duration / 3, np.clip(t - start, 0.0, duration)
    rise, late = travel / (2 * third**2), np.maximum(np.clip(t - start, 0.0, duration) - 2 * third, 0.0)
    up = np.minimum(x, third)
    qdd = rise * (((t >= start - 1e-9) & (t < start + third - 1e-9)).astype(float))
    qdd = qdd - rise * ((t >= start + 2 * third - 1e-9) & (t < start + duration - 1e-9))
    return np.stack([rise * (up**2 / 2 + third * np.maximum(x - third, 0.0) - late**2 / 2), rise * (up - late), qdd])


@pytest.fixture
def steps(random_path_job):
    """The arm waits, makes a move of trapezoids with the part, and waits."""
    job = random_path_job(1)
    t = 0.004 * np.arange(601)
    q, qd, qdd = (rows[:, None] * np.array([1.0, 0.3, -0.3, 0.4, 0.4, 0.8]) for rows in stepped(t, 0.4, 1.5, 0.5))
    limits = JointLimits(speed=np.full(6, 3.0), acceleration=np.full(6, 12.0), jerk=np.full(6, 300.0))
    return replace(job, trajectory=gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd), joint_limits=limits)


def test_nothing_moves_before_a_move_that_begins_with_a_step(steps):
    """The sample at the border has the old acceleration: through it a polynomial swings at 50 times the jerk."""
    found = gm.tune(steps, retime=True).retimed
    out = found.job.trajectory
    assert found.by == "retiming"
    first = int(np.flatnonzero(np.abs(out.qd).max(axis=1) > 0)[0])
    assert out.t[first] > 0.399
    jerk = np.abs(np.diff(out.qdd, axis=0) / np.diff(out.t)[:, None]).max()
    assert 0.9 * 300.0 < jerk <= 300.0 * (1 + 1e-9)
    assert peaks(*law_of(out)).jerk.max() <= 300.0 * (1 + 1e-6)


def test_the_program_that_takes_least_time_is_given_out(steps):
    """Waits are scaled with the whole program, and kept by a new time law."""
    old = steps.trajectory
    waiting = {name: np.pad(getattr(old, name), ((0, 4000), (0, 0)), mode="edge") for name in ("q", "qd", "qdd")}
    trajectory = gm.JointTrajectory(t=0.004 * np.arange(4601), **waiting)
    job = replace(steps, trajectory=trajectory, targets=gm.Targets(hold=0.5))
    tuning = gm.tune(job, retime=True)
    assert tuning.override.factor > 1.05
    assert tuning.retimed.by == "override"
    assert tuning.retimed.cycle_then == tuning.override.cycle_then < tuning.moves.cycle_then
    assert gm.check_job(tuning.retimed.job).passed


def test_a_coarse_rate_is_checked_as_written_and_in_between(random_path_job):
    found = gm.tune(random_path_job(1), retime=True, rate=250.0).retimed
    assert np.diff(found.job.trajectory.t).max() <= 4e-3 + 1e-9
    assert gm.check_job(found.job).passed


@pytest.mark.parametrize(
    ("change", "rate", "message"),
    [
        ({"joint_limits": None}, 1000.0, "robot.speed: found nothing"),
        ({"joint_limits": JointLimits(speed=np.ones(6))}, 1000.0, "robot.acceleration: found nothing"),
        ({}, 1.0, "rate: found 1"),
        ({}, float("nan"), "rate: found nan"),
    ],
)
def test_what_retiming_needs_is_said(random_path_job, change, rate, message):
    with pytest.raises(gm.InputError, match=message):
        gm.tune(replace(random_path_job(1), **change), retime=True, rate=rate)


def test_fits_stay_within_noise_and_do_not_follow_it():
    random = np.random.default_rng(0)
    x = np.linspace(0, 1, 2000)
    y = np.sin(6 * x)[:, None]
    found = fitted(x, y + random.normal(0, 1e-4, y.shape), 6e-4)
    assert np.abs(found.spline(x) - y).max() < 1e-4
    assert np.abs(found.spline(x, 2) + 36 * y)[50:-50].max() < 0.5
    assert fitted(x, y, 1e-9).deviation <= 1e-9
