"""What the robot did beside what it was told: margins against closed forms, places in time against known shifts."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm

G = 9.80665
LIMIT = 50e3 * 0.05**2  # what the pad holds at most, straight off its face [N]
MOVES = ((0.3, 0.8, 0.25), (1.4, 0.6, -0.10), (2.3, 0.9, 0.20))  # start [s], duration [s], height [m]
LABELS = ("up", "down", "up again")


def height(t, moves=MOVES):
    """Height and acceleration of minimum-jerk moves (Flash & Hogan, J. Neurosci. 5(7), 1985, from memory)."""
    z, a = np.zeros_like(t), np.zeros_like(t)
    for start, duration, way in moves:
        s = np.clip((t - start) / duration, 0, 1)
        z += way * s**3 * (10 - 15 * s + 6 * s * s)
        a += way / duration**2 * 60 * s * (1 - s) * (1 - 2 * s)
    return z, a


def wobble(t, size, rate, start=0.5, end=0.9):
    """A swing that fades in and out; its acceleration by hand."""
    s = np.clip((t - start) / (end - start), 0, 1)
    fade, w = np.sin(np.pi * s) ** 4, 2 * np.pi * rate
    k = np.pi / (end - start)
    inside = (s > 0) & (s < 1)
    sine, cosine = np.sin(np.pi * s), np.cos(np.pi * s)
    first = 4 * k * sine**3 * cosine * inside
    second = k * k * (12 * sine**2 * cosine**2 - 4 * sine**4) * inside
    swing, swing1, swing2 = np.sin(w * t), w * np.cos(w * t), -w * w * np.sin(w * t)
    return size * fade * swing, size * (second * swing + 2 * first * swing1 + fade * swing2)


def margin_of(a, mass=1.0):
    """Straight lifting on one pad: what it holds over weight and inertia (closed form)."""
    return LIMIT / (mass * (G + a))


def labelled(t):
    starts = np.array([start for start, _, _ in MOVES])
    return tuple(LABELS[i] for i in np.clip(np.searchsorted(starts, t, side="right") - 1, 0, 2))


def columns(z):
    return np.column_stack([0.02 * z, 0 * z, z, 0.1 * z])


@pytest.fixture(scope="module")
def job(gantry, one_pad, plate):
    t = np.arange(0, 3.6, 0.004)
    program = gm.JointTrajectory(t=t, q=columns(height(t)[0]), moves=labelled(t), source="program")
    return gm.Job(
        name="lift",
        gripper=one_pad,
        part=plate(com=(0.0, 0.0, 0.0)),
        trajectory=program,
        robot=gantry,
        targets=gm.Targets(hold=2.0),
    )


def recording(z, t, *, clock=100.0, noise=2e-6, seed=0, **more):
    q = columns(z) + noise * np.random.default_rng(seed).normal(size=(t.size, 4))
    return gm.JointTrajectory(t=t + clock, q=q, source="log", **more)


def clock(rate=500, start=-0.5, end=4.2):
    return np.arange(start, end, 1 / rate)


def test_the_same_motion_has_the_same_margin_and_is_found_in_time(job):
    t = clock()
    found = gm.compare_motion(job, recording(height(t)[0], t))
    assert found.verdict == "pass"
    assert found.offset == pytest.approx(100.0, abs=1e-4)
    assert found.result.value == pytest.approx(margin_of(height(t)[1].max()), rel=0.01)
    assert [move.move for move in found.moves] == list(LABELS)
    for move in found.moves:
        assert move.ratio == pytest.approx(1.0, abs=0.01)
        assert abs(move.lag) < 1e-4
        assert move.joint_deviation < 2e-5
        assert move.tool_deviation < 2e-5


@pytest.mark.parametrize("shift", [-0.7, 0.0, 0.0123, 3.3])
def test_the_shift_is_found_wherever_the_recording_starts(job, shift):
    t = clock()
    assert gm.compare_motion(job, recording(height(t)[0], t, clock=shift)).offset == pytest.approx(shift, abs=1e-4)


@pytest.mark.parametrize("size", [0.001, 0.003])
def test_a_swing_of_the_real_motion_is_judged_by_closed_form(job, size):
    t = clock()
    extra = wobble(t, size, 9.0)[0]
    found = gm.compare_motion(job, recording(height(t)[0] + extra, t))
    fine = np.arange(0, 3.6, 1e-4)
    true = margin_of((height(fine)[1] + wobble(fine, size, 9.0)[1]).max())
    assert found.result.low <= true <= found.result.high
    assert found.result.value == pytest.approx(true, rel=0.06)
    assert found.result.high - found.result.low < 0.35 * true
    assert found.worst.move == "up"
    assert found.worst.ratio == pytest.approx(margin_of(height(fine)[1].max()) / true, rel=0.08)
    assert found.worst.tool_deviation == pytest.approx(np.abs(extra).max(), rel=0.1)
    assert (
        f"in move 'up' the real motion takes {100 * (found.worst.ratio - 1):.0f} % more of the pads"
        in found.result.lines[0]
    )
    # the other moves are as programmed
    assert found.moves[2].ratio == pytest.approx(1.0, abs=0.02)


def test_a_program_that_passes_fails_by_what_the_robot_did(job):
    t = clock()
    heavy = replace(job, part=replace(job.part, mass=5.0))
    assert gm.check_job(heavy).passed
    report = gm.check_job(replace(heavy, recording=recording(height(t)[0] + wobble(t, 0.003, 9.0)[0], t)))
    assert report.verdict == "fail"
    assert {check.check for check in report.checks if check.verdict != "pass"} == {"recorded", "swing_as_run"}
    (finding,) = [f for f in report.findings if f.check == "recorded"]
    assert finding.worst["move"] == "up"
    assert 0.4 < finding.start < finding.end < 1.0
    assert any("slow move 'up'" in remedy.text for remedy in finding.remedies)
    text = gm.report_text(report)
    assert "recorded" in text
    assert "move 'down': recorded" in text
    tree = gm.report_tree(report)
    (entry,) = [check for check in tree["checks"] if check["check"] == "recorded"]
    assert [move["move"] for move in entry["details"]["moves"]] == list(LABELS)
    assert entry["details"]["offset"] == pytest.approx(100.0, abs=1e-3)


def test_lags_are_those_by_which_moves_are_late(job):
    t = clock()
    late = (0.010, 0.025, 0.040)
    z, _ = height(t, tuple((start + lag, last, way) for (start, last, way), lag in zip(MOVES, late, strict=True)))
    found = gm.compare_motion(job, recording(z, t), offset=100.0)
    assert [move.lag for move in found.moves] == pytest.approx(late, rel=0.1)
    # the way is the same: what is left is what rounding and the ends of the moves leave
    assert all(move.tool_deviation < 2e-3 for move in found.moves)


def test_braking_that_comes_late_is_not_cut_off(job):
    """The last move brakes after the program's carry has ended: the worst of it belongs to the carry."""
    start, last, way = MOVES[2]
    end = start + last - 0.05
    cut = replace(job, phases=(gm.Phase(kind="carry", start=0.0, end=end),))
    t = clock()
    moves = (*MOVES[:2], (start + 0.06, last, -way))
    program = replace(job.trajectory, q=columns(height(job.trajectory.t, (*MOVES[:2], (start, last, -way)))[0]))
    cut = replace(cut, trajectory=program)
    found = gm.compare_motion(cut, recording(height(t, moves)[0], t), offset=100.0)
    fine = np.arange(0, end, 1e-4)
    assert found.result.value <= margin_of(height(fine, moves)[1].max()) * 1.01


def test_named_joints_are_matched_in_any_order(job):
    t = clock()
    log = recording(height(t)[0], t)
    turned = replace(log, q=log.q[:, ::-1], names=("c", "z", "y", "x"))
    assert gm.compare_motion(job, turned).verdict == "pass"


def test_poses_are_compared_with_joints(job, gantry):
    from gripmargin.motion.program import ProgramMotion

    t = clock()
    motion = ProgramMotion.of(recording(height(t)[0] + wobble(t, 0.003, 9.0)[0], t, noise=0.0), gantry).at
    log = gm.PoseTrajectory(t=t + 7.0, position=motion.position, rotation=motion.rotation.copy(), source="tracker")
    found = gm.compare_motion(job, log)
    assert found.offset == pytest.approx(7.0, abs=1e-3)
    assert found.worst.move == "up"
    assert found.worst.joint_deviation is None
    assert found.worst.ratio > 1.2


class TestUndecided:
    """What cannot be placed beside the program is no pass."""

    def reason(self, job, log, **more):
        found = gm.compare_motion(job, log, **more)
        assert found.verdict == "undecided"
        assert found.moves == ()
        assert found.result.value is None
        report = gm.check_job(replace(job, recording=log, recording_offset=more.get("offset")))
        assert report.verdict == "undecided"
        return found.result.text

    def test_another_program(self, job):
        t = clock()
        other = height(t, ((0.3, 1.2, 0.1), (1.9, 0.4, 0.3)))[0]
        assert "does not follow the program" in self.reason(job, recording(other, t))

    def test_another_speed(self, job):
        t = clock(end=6.0)
        assert "another speed" in self.reason(job, recording(height(0.8 * t)[0], t))

    def test_another_order_of_joints_without_names(self, job):
        t = clock()
        log = recording(height(t)[0], t)
        assert "another order of joints" in self.reason(job, replace(log, q=log.q[:, ::-1]))

    def test_a_part_of_the_carry(self, job):
        t = clock(end=2.0)
        assert "not the whole carry" in self.reason(job, recording(height(t)[0], t))

    def test_a_wrong_offset(self, job):
        t = clock()
        assert "recording_offset is 100.3 s" in self.reason(job, recording(height(t)[0], t), offset=100.3)

    def test_an_offset_beyond_the_recording(self, job):
        t = clock()
        assert "not the whole carry" in self.reason(job, recording(height(t)[0], t), offset=5.0)

    def test_two_runs_in_one_recording(self, job):
        """One of them may be the worse: none is passed for the other."""
        t = clock(end=9.0)
        z = height(t)[0] + height(t - 4.5)[0] - np.where(t > 4.1, height(np.array([9.0]))[0][0], 0.0)
        assert "holds 2 runs" in self.reason(job, recording(z, t))

    def test_joints_against_poses(self, job):
        t = clock()
        from gripmargin.motion.program import ProgramMotion

        motion = ProgramMotion.of(job.trajectory, job.robot).at
        poses = gm.PoseTrajectory(t=job.trajectory.t, position=motion.position, rotation=motion.rotation.copy())
        text = self.reason(replace(job, trajectory=poses), recording(height(t)[0], t))
        assert text == "the recording gives joint values and the program poses of the tool"

    def test_a_hole_in_the_carry(self, job):
        t = clock()
        t = t[(t < 0.5) | (t > 0.62)]
        found = gm.compare_motion(job, recording(height(t)[0], t))
        assert found.verdict == "undecided"
        assert any("no sample for 12" in reason for f in found.findings for reason in f.because["undecided"])


def test_without_a_recording_it_is_not_checked(job):
    report = gm.check_job(job)
    (item,) = [item for item in report.not_checked if item.check == "recorded"]
    assert item.reason == "the job has no recording of what the robot did"
    with pytest.raises(gm.InputError, match="recording: found none"):
        gm.compare_motion(job)


def test_an_offset_without_a_recording_is_refused(job):
    with pytest.raises(gm.InputError, match=r"program.recording_offset: found an offset without a recording"):
        replace(job, recording_offset=1.0)


def test_a_bad_word_for_the_stamps_is_refused(job):
    with pytest.raises(gm.InputError, match=r"program.stamps: found 'even', expected 'as given' or 'periodic'"):
        replace(job, stamps="even")
