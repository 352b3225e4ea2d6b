"""Programs and data that must not pass."""

from dataclasses import replace
from typing import ClassVar

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.stop.check import STOP
from gripmargin.checks.stop.course import Course
from gripmargin.checks.stop.use import Stopping, stop_use
from gripmargin.checks.swing.ringing import stretches_of
from support.stops import DOWN, judged, minimum_jerk, slide, stop_of


class TestNoFalsePass:
    """Programs and data that must not pass: the target is just above what the stop truly asks for."""

    known: ClassVar[dict] = {}

    def worst(self, fast, stop):
        """Of the program sampled so densely that nothing hides."""
        if stop not in self.known:
            self.known[stop] = judged(fast(stop, rate=2000, targets=gm.Targets(stop=0.01))).value
        return self.known[stop]

    @pytest.mark.parametrize(
        "stop",
        [gm.Stop(time=0.2), gm.Stop(deceleration=3.0), gm.Stop(axis_deceleration=[9.0] * 6)],
        ids=["t", "d", "a"],
    )
    @pytest.mark.parametrize("rate", [20, 250])
    @pytest.mark.parametrize("given", ["q", "q qd qdd"])
    def test_sparse_samples(self, fast, stop, rate, given):
        target = 1.02 * self.worst(fast, stop)
        result = judged(fast(stop, rate=rate, given=given, targets=gm.Targets(stop=target)))
        assert result.verdict is not gm.Verdict.PASS

    def test_positions_that_shake_faster_than_they_show(self, level):
        """A sin(w t) has A w^2, and the stop begins with it: 50 um at 110 Hz every 4 ms, on pads too hard to swing in
        step with it; 50 kPa."""
        t, w, size = np.arange(0.0, 8.0, 0.004), 2 * np.pi * 110.0, 5e-5
        way = slide(t, 7.5, 0.6)
        way[:, 0] += size * np.sin(np.pi * t / 8.0) ** 2 * np.sin(w * t)
        job = level(gm.Stop(time=0.5))
        rotation = np.broadcast_to(DOWN, (t.size, 3, 3))
        hard = gm.PadMaterial(pull_off_stress=5e4, shear_strength=5e4, normal_stiffness=1e10, shear_stiffness=1e10)
        pads = (gm.Pad.rectangle("pad", hard, [0.05, 0.05]),)
        job = replace(
            job,
            trajectory=gm.PoseTrajectory(t=t, position=way, rotation=rotation),
            gripper=gm.Gripper(pads=pads),
        )
        due = 5e4 * 0.05**2 / (1.2 * np.hypot(9.80665, size * w**2))
        assert judged(job).low <= 1.001 * due

    def test_a_passing_program_passes(self, fast):
        for stop in (gm.Stop(time=0.2), gm.Stop(axis_deceleration=[9.0] * 6)):
            low = judged(fast(stop)).low
            for factor, passes in ((0.99, True), (1.01, False)):
                report = gm.check_job(fast(stop, targets=gm.Targets(stop=factor * low)))
                assert (stop_of(report).verdict is gm.Verdict.PASS) == passes

    def test_a_doubt_on_the_way_of_the_stop(self, fast):
        job = fast(gm.Stop(time=0.3), targets=gm.Targets(stop=0.01))
        keep = (job.trajectory.t < 0.55) | (job.trajectory.t > 0.60)  # samples that are missing
        holed = gm.JointTrajectory(**{k: getattr(job.trajectory, k)[keep] for k in ("t", "q", "qd", "qdd")})
        report = gm.check_job(replace(job, trajectory=holed))
        result = stop_of(report)
        assert result.verdict is gm.Verdict.UNDECIDED
        first = min(f.start for f in report.findings if f.check == "stop")
        assert first < 0.549 - 0.05  # stops that begin before the hole run into it
        assert any("no sample for" in reason for f in report.findings for reason in f.because.get("undecided", []))

    def test_a_slow_program_of_a_fast_robot(self, fast):
        """A tenth of the rated speed does not make the stop ten times softer."""
        job = fast(gm.Stop(time=0.2), joint_limits=gm.JointLimits(speed=[20.0] * 6), targets=gm.Targets(stop=1.0))
        assert judged(job).verdict is not gm.Verdict.PASS

    def test_a_tool_that_turns_about_its_origin(self, one_pad):
        """The origin does not move, the part swings around it: a deceleration of the origin says nothing of it."""
        t = np.arange(0.0, 1.0, 0.002)
        angle = 2.0 * minimum_jerk(np.clip(t / 0.6, 0, 1))
        c, s, o, e = np.cos(angle), np.sin(angle), 0 * angle, 1 + 0 * angle
        turn = np.array([[c, -s, o], [s, c, o], [o, o, e]]).transpose(2, 0, 1) @ DOWN
        job = gm.Job(
            name="turn",
            trajectory=gm.PoseTrajectory(t=t, position=np.zeros((t.size, 3)), rotation=turn),
            gripper=one_pad,
            part=gm.Part(face="plane", rigid=True, mass=2.0, com=[0.15, 0, 0], inertia=[0.02, 0.02, 0.04, 0, 0, 0]),
            stop=gm.Stop(deceleration=0.5),
            targets=gm.Targets(stop=0.5, hold=0.1),
        )
        assert judged(job).verdict is not gm.Verdict.PASS

    def test_loads_that_are_no_numbers(self, fast):
        case = work_out(fast(gm.Stop(time=0.3), targets=gm.Targets(stop=0.01)))
        load = case.load.copy()
        load[2, 300] = np.nan
        found = STOP.answer(replace(case, load=load, own_load=load)).results[0]
        assert found.verdict is gm.Verdict.UNDECIDED

    def test_a_brief_fast_sample_between_slow_ones(self, fast):
        """The fastest instant lies between two samples 50 ms apart: speeds there are not those at the samples."""
        stop = gm.Stop(axis_deceleration=[9.0] * 6)
        target = 1.02 * self.worst(fast, stop)
        t = np.concatenate([np.arange(0.0, 0.56, 0.05), np.arange(0.63, 1.9, 0.05)])
        q, qd, qdd = fast.exact.at(t)
        job = replace(
            fast(stop, targets=gm.Targets(stop=target)), trajectory=gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd)
        )
        assert judged(job).verdict is not gm.Verdict.PASS


def test_of_vibrations_that_a_part_may_have_the_worse_counts(fast):
    case = work_out(fast(gm.Stop(time=0.3)))
    stopping, at = Stopping(case=case, stop=case.job.stop), case.carried[200:240:4]
    (main, course), other = stopping.courses[0], stopping.modes.stiffer(0.5)
    softer = other, Course.of(case, other, 1.0, [each.on(other) for each in stretches_of(case)])
    found = []
    for several in ([(main, course)], [softer], [(main, course), softer]):
        vars(stopping)["courses"] = tuple(several)
        found.append(stop_use(stopping, "path", at).high)
    assert np.abs(found[0] / found[1] - 1.0).max() > 1e-3
    assert (found[2] >= np.maximum(*found[:2])).all()


class TestLargeDisplacements:
    """They count by the angles of part and tool, 2 times."""

    def allowed_for(self, one_pad, damping, k, monkeypatch, inertia=(0.02, 0.02, 0.04)):
        """What is added to the use of a stop, over twice that use; the tool turns by 2 rad within 0.6 s."""
        (pad,) = one_pad.pads
        t = np.arange(0.0, 1.4, 0.002)
        angle = 2.0 * minimum_jerk(np.clip((t - 0.2) / 0.6, 0, 1))
        c, s, o, e = np.cos(angle), np.sin(angle), 0 * angle, 1 + 0 * angle
        job = gm.Job(
            name="turn",
            trajectory=gm.PoseTrajectory(
                t=t,
                position=np.zeros((t.size, 3)),
                rotation=np.array([[c, -s, o], [s, c, o], [o, o, e]]).transpose(2, 0, 1) @ DOWN,
            ),
            gripper=gm.Gripper(pads=(replace(pad, material=replace(pad.material, damping_ratio=damping)),)),
            part=gm.Part(face="plane", rigid=True, mass=0.5, com=[0.02, 0, 0], inertia=[*inertia, 0, 0, 0]),
            stop=gm.Stop(time=0.5),
        )
        stopping = Stopping(case=work_out(job), stop=job.stop)
        high = []
        for counts in (2.0, 0.0):
            monkeypatch.setattr("gripmargin.checks.stop.use.DISPLACED", counts)
            use = stop_use(stopping, "path", np.array([k]))
            high.append(use.high[0])
        return (high[0] - high[1]) / (2.0 * use.value[0]), stopping, pad.material

    def test_a_part_that_hangs_aslant(self, one_pad, monkeypatch):
        """Moment of its weight over k_n a^4 / 12, the stiffness against tilting of a square pad."""
        found, _, film = self.allowed_for(one_pad, 0.1, 50, monkeypatch)
        tilt = 0.5 * 9.80665 * 0.02 / (film.normal_stiffness * 0.05**4 / 12)
        assert found == pytest.approx(tilt, rel=1e-6)

    def test_a_tool_that_turns_and_what_is_left_of_it(self, one_pad, monkeypatch):
        """By 15/8 2 rad / 0.6 s at the most, while the slowest mode turns by 1; and later as the swing fades."""
        hanging, stopping, _ = self.allowed_for(one_pad, 0.0, 50, monkeypatch)
        spun = 15 / 8 * 2.0 / 0.6 / stopping.modes.frequency.min()
        turning, _, _ = self.allowed_for(one_pad, 0.0, 250, monkeypatch)
        assert turning > spun
        left, _, _ = self.allowed_for(one_pad, 0.0, 600, monkeypatch)
        faded, _, _ = self.allowed_for(one_pad, 0.1, 600, monkeypatch)
        course = stopping.courses[0][1]
        swing = course.oscillators.gain @ np.abs(course.vibration[:, 600])
        whole = course.oscillators.gain @ np.abs(course.driven[0, :, 600])
        assert left - hanging == pytest.approx(spun * swing / (whole + swing), rel=0.2)
        assert faded - hanging < 0.3 * (left - hanging)

    def test_what_is_left_fades_as_the_part_swings(self, one_pad, monkeypatch):
        """What has no mass to swing, a rod about its axis, says nothing of how fast."""
        rod = {"monkeypatch": monkeypatch, "inertia": (0.02, 0.02, 0.0)}
        hanging, _, _ = self.allowed_for(one_pad, 0.003, 50, **rod)
        left, stopping, _ = self.allowed_for(one_pad, 0.003, 600, **rod)
        course, slowest = stopping.courses[0][1], stopping.modes.frequency.min()
        swing = course.oscillators.gain @ np.abs(course.vibration[:, 600])
        whole = course.oscillators.gain @ np.abs(course.driven[0, :, 600])
        t = np.linspace(0.2, 0.8, 601)
        spin = 30.0 * ((t - 0.2) / 0.6) ** 2 * ((0.8 - t) / 0.6) ** 2 * 2.0 / 0.6 / slowest
        faded = (spin * np.exp(-0.003 * slowest * (1.2 - t))).max()
        assert left - hanging == pytest.approx(faded * swing / (whole + swing), rel=0.2)
