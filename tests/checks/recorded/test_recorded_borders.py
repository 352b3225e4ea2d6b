"""From where on a recording is another motion, another joint, late, or too short: just inside and just outside."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.recorded.alignment import align
from gripmargin.checks.recorded.lateness import least_lag, pieces_late

LIFTS = ((0.5, 1.0), (2.5, 1.0))  # start, duration [s]
CARRY = 4.0  # [s]
DOWN = np.diag([1.0, -1.0, -1.0])


def way(t, lifts=LIFTS):
    """A share of a way there and back, at minimum jerk."""
    up = [10 * s**3 - 15 * s**4 + 6 * s**5 for start, time in lifts for s in [np.clip((t - start) / time, 0, 1)]]
    return up[0] - up[1]


MIDDLE = way(np.arange(0.0, CARRY, 0.004)).mean()


def joints(t, ways=(0.0, 0.0, 0.2, 0.0), shares=(1.0, 1.0, 1.0, 1.0)):
    """Joint values; of each way only a share is gone, about its middle."""
    return (MIDDLE + (way(t) - MIDDLE)[:, None] * np.array(shares)) * np.array(ways)


@pytest.fixture(scope="module")
def job(gantry, one_pad, plate):
    t = np.arange(0.0, CARRY, 0.004)
    return gm.Job(
        name="lifts",
        gripper=one_pad,
        part=plate(com=(0.0, 0.0, 0.0)),
        trajectory=gm.JointTrajectory(t=t, q=joints(t)),
        robot=gantry,
    )


def clock(step=0.002, start=-0.5, end=CARRY + 0.5):
    return np.arange(start, end, step)


def said(job, t, q):
    return gm.compare_motion(job, gm.JointTrajectory(t=t, q=q)).result.text


@pytest.mark.parametrize(("share", "same"), [(1.08, True), (1.15, False)])
def test_a_tenth_of_the_way_apart_is_another_motion(job, share, same):
    t = clock()
    assert ("does not follow the program" in said(job, t, joints(t, shares=(1.0, 1.0, share, 1.0)))) != same


@pytest.mark.parametrize(("share", "same"), [(0.5, True), (0.1, False)])
def test_a_joint_with_a_small_part_in_the_way_may_miss_half_of_its_own(job, share, same):
    ways, t = (0.02, 0.0, 0.2, 0.0), clock()
    program = replace(job, trajectory=replace(job.trajectory, q=joints(job.trajectory.t, ways)))
    text = said(program, t, joints(t, ways, (share, 1.0, 1.0, 1.0)))
    assert ("joint 1 does not follow" in text) != same


@pytest.mark.parametrize(("size", "counts"), [(0.7e-3, False), (1.4e-3, True)])
def test_a_joint_that_moves_by_less_than_a_millimetre_proves_nothing(job, size, counts):
    """By the root mean square about its mean."""
    t = clock()
    small = size / way(job.trajectory.t).std()
    program = replace(job, trajectory=replace(job.trajectory, q=joints(job.trajectory.t, (small, 0.0, 0.2, 0.0))))
    assert ("joint 1 does not follow" in said(program, t, joints(t, (-small, 0.0, 0.2, 0.0)))) == counts


@pytest.mark.parametrize(("angle", "same"), [(0.1, True), (0.2, False)])
def test_a_missing_turn_of_the_tool_counts_at_an_arm_of_a_tenth_of_a_metre(job, angle, same):
    """Of two axes that turn by 0.141 rad the ends move by sqrt(2) 0.0141 m: a tenth of a way of 0.2 m."""
    t = job.trajectory.t
    turned = [gm.pose(rpy=(0, 0, angle * share))[:3, :3] @ DOWN for share in (*way(t), MIDDLE)]
    position = np.column_stack([0 * t, 0 * t, 0.2 * way(t)])
    program = replace(job, trajectory=gm.PoseTrajectory(t=t, position=position, rotation=np.array(turned[:-1])))
    log = gm.PoseTrajectory(t=t, position=position, rotation=np.broadcast_to(turned[-1], (t.size, 3, 3)))
    assert ("does not follow the program" in gm.compare_motion(program, log).result.text) != same


@pytest.mark.parametrize(("samples", "enough"), [(15, False), (30, True)])
def test_twenty_samples_in_the_carry(job, samples, enough):
    t = clock(CARRY / samples, start=-1.001)
    assert ("samples in the carry" in said(job, t, joints(t))) != enough


def test_samples_are_counted_from_one_second_before_the_carry(job):
    t = clock(start=-3.0)
    at = gm.compare_motion(job, gm.JointTrajectory(t=t, q=joints(t))).result.at
    assert at.sample == pytest.approx((at.t + 1.0) / 0.002, abs=3)


@pytest.mark.parametrize(
    ("one", "second", "runs"), [(1.05, 1.09, 2), (1.05, 1.125, 1), (1.09, 1.17, 2), (1.09, 1.19, 1)]
)
def test_another_run_fits_about_as_well(one, second, runs):
    """The first of two runs is so much of the way off: the other counts with up to twice that, and with a tenth."""
    t = np.arange(0.0, CARRY, 0.004)
    y = way(t)[:, None]
    middle = y.mean(axis=0)
    log = np.concatenate([middle + one * (y - middle), middle + second * (y - middle)])
    found = align(t, y, 0.004 * np.arange(len(log)), log, (0.0, float(t[-1])))
    assert found.runs == runs


def test_a_clock_that_is_half_a_sample_off_makes_no_second_run():
    """Both places beside the true one fit as well as each other."""
    t = 0.004 * np.arange(751)
    seen = 0.004 * np.arange(-100, 851)
    move = lambda t: way(np.clip((t - 0.5) / 2.0 * CARRY, 0.0, CARRY))[:, None]  # noqa: E731
    late = 0.001 * np.arange(2, 62, 4)
    assert [align(t, move(t), seen, move(seen - by), (0.0, 3.0)).runs for by in late] == [1] * late.size


@pytest.mark.parametrize(("errors", "told"), [(2.0, False), (4.5, True)])
def test_a_lag_stands_out_from_three_standard_errors_on(errors, told):
    speed, noise = np.ones((400, 1)), np.tile([[0.1], [-0.1]], (200, 1))
    error = 0.1 / np.sqrt(400)  # of a mean
    assert least_lag(speed, noise - errors * error * speed) == pytest.approx(errors * error if told else 0.0)


@pytest.mark.parametrize(("share", "counts"), [(0.007, False), (0.014, True)])
def test_what_a_late_piece_misses_counts_from_a_hundredth_of_the_way_on(share, counts):
    """The carry goes out at a steady speed; its last sixteenth is late by a share of the whole way's spread."""
    t = np.linspace(0.0, 1.0, 1601)
    spread = float(t.std())
    late = np.where(t > 15 / 16, share * spread, 0.0)
    case = SimpleNamespace(carried=np.arange(t.size), job=SimpleNamespace(trajectory=SimpleNamespace(t=t)))
    on_time = SimpleNamespace(lag=0.0)
    placed = SimpleNamespace(alignment=on_time, t=t, programmed=t[:, None], recorded=(t - late)[:, None])
    found = pieces_late(case, placed)
    assert found[-1] == pytest.approx(share * spread if counts else 0.0, rel=0.05)
    assert not found[:-1].any()


class TestOneLog:
    """Program and recording of one log begin and end together; the robot is late by a servo's lag."""

    def judged(self, job, lag, *, ends=CARRY, moves=LIFTS):
        t = np.arange(0.0, ends, 0.004)
        q = way(t - lag, moves)[:, None] * np.array([0.0, 0.0, 0.2, 0.0])
        return gm.compare_motion(job, gm.JointTrajectory(t=t, q=np.round(q, 6)))

    @pytest.mark.parametrize("lag", [0.02, 0.06, 0.1])
    def test_a_lag_is_no_hole_where_both_rest(self, job, lag):
        found = self.judged(job, lag)
        assert (found.verdict, found.offset) == ("pass", pytest.approx(lag, abs=1e-3))

    def test_a_recording_that_ends_while_the_robot_moves_is_too_short(self, job):
        """The last lift ends at 3.5 s, the carry is cut there; the robot is 0.1 s behind."""
        cut = replace(job, phases=(gm.Phase(kind="carry", start=0.0, end=3.5),))
        said = "covers not the whole carry of the program, 0.000 to 3.500 s: the last 0.10"
        assert said in self.judged(cut, 0.1, ends=3.5).result.text
        assert self.judged(cut, 0.1, ends=3.7).verdict == "pass"

    def test_a_move_of_the_program_after_the_recording_is_not_covered(self, job):
        """The robot rests from 3.5 s on and is recorded up to 3.85 s; the program moves once more at 3.8 s."""
        late = (*LIFTS, (3.8, 0.15))
        t = job.trajectory.t
        up = [10 * s**3 - 15 * s**4 + 6 * s**5 for start, time in late for s in [np.clip((t - start) / time, 0, 1)]]
        q = (up[0] - up[1] + 0.05 * up[2])[:, None] * np.array([0.0, 0.0, 0.2, 0.0])
        moved = replace(job, trajectory=replace(job.trajectory, q=q))
        assert "not the whole carry" in self.judged(moved, 0.0, ends=3.79).result.text

    @pytest.mark.parametrize(("size", "covered"), [(0.0, True), (5e-4, False)])
    def test_a_recording_that_ends_while_the_robot_still_rings_does_not_say_that_it_rests(self, job, size, covered):
        """The program rests from 3.5 s on, the recording ends 0.1 s before the carry: nobody saw the last of it."""
        t = np.arange(0.0, CARRY - 0.1, 0.004)
        ring = size * np.sin(2 * np.pi * 5.0 * t) * (t > 3.6)
        q = (0.2 * way(t) + ring)[:, None] * np.array([0.0, 0.0, 1.0, 0.0])
        text = gm.compare_motion(job, gm.JointTrajectory(t=t, q=np.round(q, 6))).result.text
        assert ("not the whole carry" in text) != covered
