"""Attempts to get a pass for a recording whose worst part does not come to be judged.

The program is long and slow. The recorded motion ends with a shock that the pads do not bear; by pauses, other speeds
or missing ends the recording is made to fit the program elsewhere.
"""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.recorded.alignment import align

MOVES = ((1.0, 9.0, 0, 1.0), (10.5, 9.0, 1, 1.0), (19.9, 0.9, 2, 0.25))  # start, duration [s], joint, travel [m]
SHOCK = 20.6  # [s] its start, by the program's clock
END = 20.95  # [s] of the carry
RUNG = 100.0  # [m/s^2] of the shock


def places(t):
    q = np.zeros((t.size, 4))
    for start, duration, joint, travel in MOVES:
        s = np.clip((t - start) / duration, 0.0, 1.0)
        q[:, joint] += travel * (10 * s**3 - 15 * s**4 + 6 * s**5)
    return q


def shaken(t, size):
    since, w = t - SHOCK, 2 * np.pi * 8
    window = np.where((since > 0) & (since < 0.25), np.sin(np.pi * since / 0.25) ** 2, 0.0)
    q = places(t)
    q[:, 2] += size / w**2 * window * np.sin(w * since)
    return q


@pytest.fixture(scope="module")
def job(gantry, plate):
    stiff = gm.PadMaterial(pull_off_stress=50e3, shear_strength=50e3, normal_stiffness=1e9, shear_stiffness=3.3e8)
    t = np.arange(0.0, 22.0, 0.004)
    return gm.Job(
        name="slow",
        robot=gantry,
        gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", stiff, [0.04, 0.04]),)),
        part=plate(1.0, (0.0, 0.0, 0.0)),
        trajectory=gm.JointTrajectory(t=t, q=places(t)),
        phases=(gm.Phase(kind="carry", start=1.0, end=END),),
        targets=gm.Targets(hold=1.5, swing=0.2),
    )


def recording(program_time, *, size=RUNG, ends=22.5, flipped=None, parked=None):
    """What the robot did, by a clock of its own; `program_time` says where in the program it is."""
    t = np.arange(-0.5, ends, 0.004)
    q = shaken(program_time(t), size) + np.random.default_rng(0).normal(size=(t.size, 4)) * 1e-6
    if flipped is not None:
        q[:, flipped] *= -1.0
    if parked is not None:
        q[:, parked] = 0.0
    return gm.JointTrajectory(t=t + 100.0, q=q)


def judged(job, **how):
    report = gm.check_job(replace(job, recording=recording(**how)))
    (result,) = [check for check in report.checks if check.check == "recorded"]
    assert report.passed == (result.verdict == "pass")
    return result


def paused(at, pause):
    return lambda t: np.where(t < at, t, np.where(t < at + pause, at, t - pause))


def test_the_shock_falls_short_and_the_program_passes(job):
    assert judged(job, program_time=lambda t: t).verdict == "fail"
    assert judged(job, program_time=lambda t: t, size=0.0).verdict == "pass"


@pytest.mark.parametrize("pause", [0.1, 0.2, 0.3, 0.5, 0.7])
def test_a_pause_hides_no_end(job, pause):
    assert judged(job, program_time=paused(10.3, pause)).verdict != "pass"


@pytest.mark.parametrize("speed", [0.97, 0.98, 1.02, 1.03])
def test_another_speed_hides_no_end(job, speed):
    assert judged(job, program_time=lambda t: speed * t).verdict != "pass"


@pytest.mark.parametrize("ends", [20.4, 20.6, 20.8])
def test_a_recording_that_ends_before_the_carry_is_not_shifted_until_it_fits(job, ends):
    result = judged(job, program_time=lambda t: t, ends=ends)
    assert result.verdict == "undecided"
    assert "carry" in result.text


@pytest.mark.parametrize("offset", [99.6, 100.4])
def test_a_wrong_offset_is_undecided(job, offset):
    report = gm.check_job(replace(job, recording=recording(lambda t: t), recording_offset=offset))
    (result,) = [check for check in report.checks if check.check == "recorded"]
    assert result.verdict != "pass"
    assert f"program.recording_offset is {offset:g} s" in result.text


@pytest.mark.parametrize("wrong", [{"flipped": 2}, {"parked": 2}])
def test_a_joint_with_a_small_part_in_the_way_has_to_follow_too(job, wrong):
    q = job.trajectory.q.copy()
    q[:, 2] *= 0.2  # 50 mm beside ways of 1 m
    small = replace(job, trajectory=gm.JointTrajectory(t=job.trajectory.t, q=q))
    result = judged(small, program_time=lambda t: t, size=0.0, **wrong)
    assert result.verdict == "undecided"
    assert "joint 3 does not follow the program" in result.text


@pytest.mark.parametrize(("away", "verdict"), [(0.08, "fail"), (0.13, "pass")])
def test_an_arm_that_rings_after_the_last_sample_still_has_the_part(job, away, verdict):
    """The program ends at rest with the part on. What follows counts while the robot stays near: 10 % of the way.

    It creeps so far before it rings; of the way, root mean square about the mean place over the carry.
    """
    t, end, after = job.trajectory.t, 19.6, 1.3
    ends = replace(job, phases=(), trajectory=gm.JointTrajectory(t=t[t <= end], q=job.trajectory.q[t <= end]))
    way = np.sqrt(ends.trajectory.q.var(axis=0).sum())
    t = np.arange(-0.5, 22.0, 0.004)
    q = places(np.minimum(t, end)) + np.random.default_rng(0).normal(size=(t.size, 4)) * 1e-6
    s = np.clip(t - end, 0.0, 1.0)
    q[:, 2] += away * way * (10 * s**3 - 15 * s**4 + 6 * s**5)
    q[:, 2] += (shaken(t - end - after + SHOCK, RUNG) - places(t - end - after + SHOCK))[:, 2]
    report = gm.check_job(replace(ends, recording=gm.JointTrajectory(t=t + 100.0, q=q)))
    (result,) = [check for check in report.checks if check.check == "recorded"]
    assert str(result.verdict) == verdict
    assert all(end < found.worst["t"] - after < end + 0.25 for found in report.findings if found.check == "recorded")


@pytest.mark.parametrize(("lost", "verdict"), [(0.35, "undecided"), (0.012, "pass")])
def test_a_rest_without_samples_hides_what_happened_in_it(job, lost, verdict):
    """The robot rests from 10 s to 10.5 s as far as its other samples tell; two lost samples hide nothing."""
    whole = recording(program_time=lambda t: t, size=0.0)
    since = whole.t - 100.0 - 10.1
    part = whole.taken((since <= 1e-9) | (since >= lost - 1e-9))
    report = gm.check_job(replace(job, recording=part))
    assert {check.verdict for check in report.checks if check.check in ("recorded", "swing_as_run")} == {verdict}


@pytest.mark.parametrize(("off", "runs"), [(0.0, 2), (0.07, 2), (0.13, 1)])
@pytest.mark.parametrize("first", [True, False])
def test_a_run_that_goes_worse_hides_behind_no_other(off, runs, first):
    """Two runs in one recording, of which one shakes by a share of the way: below a tenth of it it is a run, too."""
    t = np.arange(0.0, 4.0, 0.01)
    way = 0.5 * (1.0 - np.cos(0.5 * np.pi * t))[:, None]
    shakes = way + np.sqrt(2.0) * off * way.std() * np.sin(40.0 * np.pi * t)[:, None]
    both = np.concatenate([shakes, way] if first else [way, shakes])
    found = align(t, way, 0.01 * np.arange(len(both)), both, (0.0, float(t[-1])))
    assert found.runs == runs
    assert off == 0.0 or found.offset == pytest.approx(4.0 if first else 0.0, abs=0.01)
