"""A part that is first carried in the middle of a motion: what it swings by then is in no file."""

import numpy as np
import pytest

import gripmargin as gm
from support.pushed import DOWN


def braked(begins=1.0, **fields):
    """A block that goes level at 0.2 m/s and stops within 0.4 s; the file begins at a share of that speed."""
    t = np.linspace(0.0, 1.0, 251)
    speed = 0.2 * np.minimum(begins + (1.0 - begins) * np.clip(t / 0.3, 0.0, 1.0), np.clip((0.9 - t) / 0.4, 0.0, 1.0))
    gain = np.gradient(speed, t)
    rates = np.zeros((2, t.size, 6))
    rates[0, :, 0], rates[1, :, 0] = speed, gain
    way = np.concatenate([[0.0], np.cumsum(0.002 * (speed[1:] + speed[:-1]))])
    film = gm.PadMaterial(
        pull_off_stress=1e5, shear_strength=1e5, normal_stiffness=1e8, shear_stiffness=4e7, damping_ratio=0.05
    )
    return gm.Job(
        name="braked",
        trajectory=gm.PoseTrajectory(
            t=t,
            position=np.column_stack([way, 0 * t, 0 * t]),
            rotation=np.broadcast_to(DOWN, (t.size, 3, 3)),
            velocity=rates[0],
            acceleration=rates[1],
        ),
        gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [0.04, 0.04]),)),
        part=gm.Part(mass=0.2, com=[0, 0, 0.002], inertia=[1e-4, 1e-4, 2e-4, 0, 0, 0], face="plane", rigid=True),
        stop=gm.Stop(deceleration=2.0, category=1),
        **fields,
    )


def verdicts(job):
    report = gm.check_job(job, trial=True, checks=["hold", "swing", "stop"])
    return {check.check: str(check.verdict) for check in report.checks}


def test_what_a_part_swings_by_in_the_middle_of_a_motion_is_not_known():
    found = gm.check_job(braked(), trial=True, checks=["hold", "swing", "stop"])
    assert {check.check: str(check.verdict) for check in found.checks} == {
        "hold": "pass",
        "swing": "undecided",
        "stop": "undecided",
    }
    assert found.checks[1].doubts == (
        "the part is first carried at 0.000 s, by a tool that moves at 0.2 m/s already, and what it swings by then is "
        'not known: begin at a rest, give [pick], or state job.accept = ["moving_start"] where it hung still',
    )


@pytest.mark.parametrize(("begins", "known"), [(0.0, True), (0.008, True), (0.015, False)])
def test_a_part_that_is_carried_from_rest_hangs_still(begins, known):
    assert verdicts(braked(begins))["swing"] == ("pass" if known else "undecided")


def test_it_may_be_said_that_it_hung_still():
    assert set(verdicts(braked(accept=("moving_start",))).values()) == {"pass"}
