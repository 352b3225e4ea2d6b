"""The grip margin with the part swinging on its pads."""

from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from scipy.interpolate import PPoly

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.swing.ringing import stretches_of
from gripmargin.checks.swing.use import swing_use
from gripmargin.reports.as_glance import report_glance

DOWN = np.diag([1.0, -1.0, -1.0])


def result(report, name="swing"):
    return next(check for check in report.checks if check.check == name)


def soft(damping=None, normal=2e7, strength=5e4):
    return gm.PadMaterial(
        pull_off_stress=strength,
        shear_strength=strength,
        normal_stiffness=normal,
        shear_stiffness=normal / 3,
        damping_ratio=damping,
    )


def gripper(material, size=0.04):
    return gm.Gripper(pads=(gm.Pad.rectangle("pad", material, [size, size]),))


def light(mass=0.5):
    """A part so small against its pad that it only moves up and down or sideways."""
    return gm.Part(face="plane", rigid=True, mass=mass, com=[0, 0, 0], inertia=[1e-6, 1e-6, 1e-6, 0, 0, 0])


def lifted(acceleration, gantry, *, t=None, rise=0.0, **job):
    """A lift at a steady acceleration from 0.1 s on, that rises over some time; the tool hangs down."""
    t = np.arange(0.0, 0.5, 0.001) if t is None else t
    since = np.maximum(t - 0.1, 0.0)
    ramp = np.minimum(since, rise)
    late = np.maximum(since - rise, 0.0)
    jerk = acceleration / rise if rise else 0.0
    qdd = jerk * ramp if rise else np.where(t >= 0.1, acceleration, 0.0)
    qd = jerk * ramp**2 / 2 + acceleration * late
    q = jerk * ramp**3 / 6 + (jerk * rise**2 / 2) * late + acceleration * late**2 / 2
    columns = np.zeros((3, t.size, 4))
    columns[:, :, 2] = q, qd, qdd
    return gm.Job(
        name="lift",
        robot=gantry,
        trajectory=gm.JointTrajectory(t=t, q=columns[0], qd=columns[1], qdd=columns[2]),
        **job,
    )


class TestAgainstClosedForms:
    @pytest.mark.parametrize("damping", [None, 0.05, 0.3])
    def test_a_sudden_lift(self, gantry, damping):
        """Weight, and the step of acceleration times 1 + exp(-zeta pi / sqrt(1 - zeta^2)) (Chopra ch. 4)."""
        a, part, held = 4.0, light(), 5e4 * 0.04**2
        report = gm.check_job(lifted(a, gantry, gripper=gripper(soft(damping)), part=part))
        z = damping or 0.0
        factor = 1 + np.exp(-z * np.pi / np.sqrt(1 - z * z))
        due = held / (part.mass * (9.80665 + factor * a))
        swing = result(report)
        assert swing.value == pytest.approx(due, rel=0.01)
        assert swing.low <= due <= swing.high * 1.001
        assert result(report, "hold").value == pytest.approx(held / (part.mass * (9.80665 + a)), rel=1e-6)
        still = result(report, "hold").value
        assert swing.details["amplification"] == pytest.approx(still / swing.value, rel=0.02)

    @pytest.mark.parametrize("beginning", ["the program", "the phase", "after a preload"])
    @pytest.mark.parametrize("rates", ["given", "estimated"])
    def test_a_carry_that_begins_with_a_step(self, gantry, beginning, rates):
        """The part stood before, whether the program shows that or not: twice the step (closed form, as above)."""
        job = lifted(3.0, gantry, gripper=gripper(soft()), part=light())
        columns = {"t": job.trajectory.t, **{name: getattr(job.trajectory, name) for name in ("q", "qd", "qdd")}}
        if rates == "estimated":
            columns = {name: columns[name] for name in ("t", "q")}
        if beginning == "the program":
            columns = {name: rows[100:] for name, rows in columns.items()}
        kinds = {"the program": (), "the phase": (("carry", 0.1, 0.5),)}
        phases = kinds.get(beginning, (("preload", 0.0, 0.1), ("carry", 0.1, 0.5)))
        phases = tuple(gm.Phase(kind=kind, start=start, end=end) for kind, start, end in phases)
        found = result(gm.check_job(replace(job, trajectory=gm.JointTrajectory(**columns), phases=phases)))
        due = 0.04**2 * 5e4 / (0.5 * (9.80665 + 2 * 3.0))
        assert found.low <= due * (1 + 1e-3)
        assert found.value == pytest.approx(due, rel=0.02)

    def test_a_rise_over_one_period_starts_no_swing(self, gantry):
        material, part = soft(), light()
        period = 2 * np.pi * np.sqrt(part.mass / (2e7 * 0.04**2))
        job = lifted(4.0, gantry, rise=period, gripper=gripper(material), part=part)
        report = gm.check_job(job)
        assert result(report).value == pytest.approx(result(report, "hold").value, rel=0.01)

    def test_frequencies_and_shapes_are_told(self, gantry):
        report = gm.check_job(lifted(1.0, gantry, gripper=gripper(soft(0.04)), part=light()))
        details = result(report).details
        pull = details["frequencies"][details["shapes"].index("pull")]
        assert pull == pytest.approx(np.sqrt(2e7 * 0.04**2 / 0.5) / 2 / np.pi, rel=1e-9)
        assert details["damping"] == pytest.approx([0.04] * len(details["damping"]))


class TestLiftOff:
    def job(self, break_away=0.0, speed=0.02, damping=None):
        """Pads pressed 0.2 mm onto a part, then drawn off at a steady speed (reached at once)."""
        t = np.arange(0.0, 1.5, 0.002)
        z = np.interp(t, [0.0, 0.3, 0.6, 1.5], [0.006, -0.0002, -0.0002, -0.0002 + 0.9 * speed])
        material = replace(soft(damping), full_preload=1e3)
        return gm.Job(
            name="lift",
            trajectory=gm.PoseTrajectory(
                t=t, position=np.column_stack([0 * t, 0 * t, z]), rotation=np.broadcast_to(DOWN, (t.size, 3, 3))
            ),
            gripper=gripper(material),
            part=light(),
            phases=(gm.Phase(kind="preload", start=0.0, end=0.6), gm.Phase(kind="carry", start=0.6, end=1.5)),
            pick=gm.Pick(face=np.eye(4), break_away=break_away),
        )

    @pytest.mark.parametrize("speed", [0.01, 0.03])
    def test_the_part_is_torn_along_at_the_speed_of_the_tool(self, speed):
        """A mass on a spring whose other end moves at v: the force swings by v sqrt(k m) (energy)."""
        case = work_out(self.job(speed=speed))
        stretch = stretches_of(case)[0]
        modes = stretch.swing.modes
        pull = modes.names.index("pull")
        amplitude = abs(modes.loads[2, pull]) * stretch.swing.amplitude[pull, 100]
        assert amplitude == pytest.approx(speed * np.sqrt(2e7 * 0.04**2 * 0.5), rel=0.03)

    def test_a_break_away_force_is_a_step(self):
        """Let go at rest but for the tool's speed: amplitudes of force and speed add as the sides of a triangle."""
        speed, force = 0.01, 6.0
        case = work_out(self.job(break_away=force, speed=speed))
        stretch = stretches_of(case)[0]
        modes = stretch.swing.modes
        pull = modes.names.index("pull")
        amplitude = abs(modes.loads[2, pull]) * stretch.swing.amplitude[pull, 100]
        assert amplitude == pytest.approx(np.hypot(force, speed * np.sqrt(2e7 * 0.04**2 * 0.5)), rel=0.03)

    def test_the_report_says_how_the_part_starts(self):
        said = " ".join(gm.check_job(self.job()).assumed)
        assert "starts with the speed of the tool against it" in said
        assert "no damping ratio is given: taken as undamped" in said
        assert "damping ratio" not in " ".join(gm.check_job(self.job(damping=0.1)).assumed)


class TestFindings:
    def test_what_falls_short_and_what_helps(self, gantry):
        job = lifted(4.0, gantry, gripper=gripper(soft(strength=1.2e4)), part=light(), targets=gm.Targets(hold=2.5))
        report = gm.check_job(job)
        assert result(report, "hold").verdict == "pass"
        assert result(report).verdict == "fail"
        finding = next(f for f in report.findings if f.check == "swing")
        assert finding.because["causes"]["swing"] > 0.15
        assert sum(finding.because["causes"].values()) == pytest.approx(1.0)
        assert max(finding.because["ringing"], key=lambda mode: mode["use"])["shape"] == "pull"
        assert finding.share == pytest.approx(finding.worst["margin_low"] / 2.5)
        due = {"t", "sample", "move", "margin", "margin_low", "margin_high", "quasi_static_margin", "force", "moment"}
        assert due | {"pad", "point", "azimuth", "normal_stress", "pad_force"} <= set(finding.worst)
        assert set(finding.because) == {"causes", "ways", "loads", "ringing"}
        actions = {remedy.action for remedy in finding.remedies}
        assert {"slow", "smooth", "strengthen"} <= actions
        smooth = next(r for r in finding.remedies if r.action == "smooth").figures
        better = lifted(4.0, gantry, rise=smooth["rise"], gripper=job.gripper, part=job.part, targets=job.targets)
        assert result(gm.check_job(better)).verdict == "pass"
        factor = next(r for r in finding.remedies if r.action == "slow").figures["factor"]
        slower = replace(
            job,
            trajectory=gm.JointTrajectory(
                t=job.trajectory.t / factor,
                q=job.trajectory.q,
                qd=job.trajectory.qd * factor,
                qdd=job.trajectory.qdd * factor**2,
            ),
        )
        assert result(gm.check_job(slower)).verdict == "pass"
        stronger = next(r for r in finding.remedies if r.action == "strengthen").figures["factor"]
        pads = gripper(soft(strength=1.2e4 * stronger))
        assert result(gm.check_job(replace(job, gripper=pads))).verdict == "pass"

    @pytest.mark.parametrize(("needed", "helps"), [(0.3, True), (0.15, False)])
    def test_slowing_to_less_than_a_fifth_is_no_remedy(self, gantry, needed, helps):
        """By the sudden lift: weight and twice the step, which goes with the square of the speed."""
        part = light()
        strength = part.mass * (9.80665 + 2 * 40.0 * needed**2) / 0.04**2
        pads = gripper(soft(strength=strength))
        report = gm.check_job(lifted(40.0, gantry, gripper=pads, part=part, targets=gm.Targets(hold=1.0)))
        (finding,) = [f for f in report.findings if f.check == "swing"]
        factors = [remedy.figures["factor"] for remedy in finding.remedies if remedy.action == "slow"]
        assert factors == ([pytest.approx(needed, abs=0.02)] if helps else [])
        assert any("no speed is slow enough" in remedy.text for remedy in finding.remedies) != helps

    def test_a_measured_damping_is_asked_for_where_it_would_do(self):
        """Steps that add up while nothing damps them."""
        t = np.arange(0.0, 3.0, 0.001) + 0.0003
        period = 2 * np.pi * np.sqrt(0.5 / (2e7 * 0.04**2))
        steps = np.concatenate([[0.0], np.arange(0.2, 0.7, period / 2)])
        a = np.append(0.4 * (-1.0) ** np.arange(1, steps.size - 1), 0.0)
        law = PPoly(np.concatenate([[0.0], a])[None], np.append(steps, 4.0))
        columns = np.zeros((3, t.size, 4))
        columns[:, :, 2] = law.antiderivative(2)(t), law.antiderivative()(t), law(t)
        flip = gm.pose(rpy=(np.pi, 0, 0))
        robot = gm.chain_from_axes(
            [np.eye(4)] * 4, [(1, 0, 0), (0, 1, 0), (0, 0, 1), (0, 0, 1)], [False] * 3 + [True], flip
        )
        job = gm.Job(
            name="shaken",
            robot=robot,
            part=light(),
            gripper=gripper(soft(strength=0.9e4)),
            trajectory=gm.JointTrajectory(t=t, q=columns[0], qd=columns[1], qdd=columns[2]),
        )
        report = gm.check_job(job)
        assert result(report, "hold").verdict == "pass"
        assert result(report).verdict != "pass"
        found = [r for f in report.findings for r in f.remedies if "damping_ratio" in r.figures]
        assert found
        ratio = found[0].figures["damping_ratio"]
        glance = " ".join(report_glance(report).split())
        assert f"to decide it: {found[0].text}: then it passes" in glance
        assert result(gm.check_job(replace(job, gripper=gripper(soft(ratio, strength=0.9e4))))).verdict == "pass"

    def test_a_target_of_its_own(self, gantry):
        job = lifted(4.0, gantry, gripper=gripper(soft()), part=light())
        value = result(gm.check_job(job)).value
        for target, verdict in ((0.9 * value, "pass"), (1.1 * value, "fail")):
            report = gm.check_job(replace(job, targets=gm.Targets(hold=1.0, swing=target)))
            assert (result(report).verdict, result(report).target) == (verdict, target)
        assert result(gm.check_job(replace(job, targets=gm.Targets(hold=1.25)))).target == 1.25

    def test_samples_of_the_report(self, gantry):
        report = gm.check_job(lifted(4.0, gantry, gripper=gripper(soft()), part=light()))
        samples = report.samples
        assert np.nanmin(samples.swing_margin) == pytest.approx(result(report).value)
        assert (samples.swing_margin_low <= samples.swing_margin).all()
        assert gm.report_tree(report, samples=True)["samples"]["swing_margin"]


class TestNeverAFalsePass:
    @pytest.mark.parametrize("hertz", [20.0, 90.0, 125.0, 250.0, 700.0])
    @pytest.mark.parametrize("shift", [0.0, 0.0017])
    def test_steps_between_coarse_samples(self, gantry, hertz, shift):
        """The true margin of a step is known; samples every 4 ms, and fast swings, must not make it look better."""
        part = light()
        material = soft(normal=(2 * np.pi * hertz) ** 2 * part.mass / 0.04**2)
        t = np.arange(0.0, 0.5, 0.004) + shift
        report = gm.check_job(lifted(6.0, gantry, t=t, gripper=gripper(material), part=part))
        due = 5e4 * 0.04**2 / (part.mass * (9.80665 + 2 * 6.0))
        assert result(report).low <= due * 1.001

    def test_shaking_in_step_with_a_swing(self, gantry):
        """A swing at 137 Hz shaken at 137 Hz, seven samples to a period."""
        part = light()
        t = np.arange(0.0, 2.0, 0.001)
        w = 2 * np.pi * 137.0
        a = 2.0 * np.sin(w * t)
        columns = np.zeros((3, t.size, 4))
        columns[:, :, 2] = -a / w**2, -2.0 * np.cos(w * t) / w, a
        material = soft(normal=w**2 * part.mass / 0.04**2)
        job = gm.Job(
            name="shaken",
            robot=gantry,
            part=part,
            gripper=gripper(material),
            trajectory=gm.JointTrajectory(t=t, q=columns[0], qd=columns[1], qdd=columns[2]),
        )
        report = gm.check_job(job)
        assert result(report).verdict != "pass"
        assert result(report).low < 0.1  # undamped, the swing grows by w/2 2 m/s2 each second

    @pytest.mark.parametrize("hertz", [90.0, 110.0, 124.0])
    def test_a_program_that_shakes_faster_than_its_samples_show(self, gantry, hertz):
        """Positions every 4 ms that shake by 50 um beside a swing of 80 Hz are no noise. An oscillator whose foot
        shakes by A at r times its rate goes A r^2 / |1 - r^2 + 2 i z r| (any text on vibration)."""
        t, part, z, size, w = np.arange(0.0, 2.0, 0.004), light(), 0.05, 5e-5, 2 * np.pi * 80.0
        material = soft(damping=z, normal=w**2 * part.mass / 0.04**2)
        q = np.zeros((t.size, 4))
        q[:, 2] = size * np.sin(np.pi * t / 2.0) ** 2 * np.sin(2 * np.pi * hertz * t + 0.3)
        job = gm.Job(
            name="shaken",
            robot=gantry,
            part=part,
            gripper=gripper(material),
            trajectory=gm.JointTrajectory(t=t, q=q),
        )
        r = hertz / 80.0
        way = size * r**2 / abs(1 - r**2 + 2j * z * r)
        due = 5e4 * 0.04**2 / (part.mass * (9.80665 + w**2 * way))
        found = result(gm.check_job(job))
        assert found.low <= due * 1.03
        assert found.high <= 5e4 * 0.04**2 / (part.mass * 9.80665) * 1.01  # at rest, where it begins

    def test_a_gap_in_the_samples_is_undecided(self, gantry):
        t = np.arange(0.0, 0.5, 0.004)
        job = lifted(0.5, gantry, gripper=gripper(soft()), part=light())
        q = job.trajectory.q[::4]
        keep = (job.trajectory.t[::4] < 0.2) | (job.trajectory.t[::4] > 0.3)
        gappy = replace(job, trajectory=gm.JointTrajectory(t=job.trajectory.t[::4][keep], q=q[keep]))
        assert t.size
        assert result(gm.check_job(gappy)).verdict == "undecided"

    def test_nan_does_not_pass(self, gantry):
        job = lifted(0.5, gantry, gripper=gripper(soft()), part=light())
        case = work_out(job)
        spoilt = case.load.copy()
        spoilt[2, 200] = np.nan
        broken = replace(case, load=spoilt)
        swinging = swing_use(broken).use
        assert not (1.0 / swinging.high.max() >= 0.01)


def law(kind, x, random):
    """Share, rate and second derivative of a way from rest to rest over 0 <= x <= 1."""
    if kind == "quintic":
        return 10 * x**3 - 15 * x**4 + 6 * x**5, 30 * x**2 - 60 * x**3 + 30 * x**4, 60 * x - 180 * x**2 + 120 * x**3
    r = random.uniform(0.1, 0.45)
    a = 1 / (r * (1 - r))
    if kind == "trapezoid":
        acc = np.where(x < r, a, np.where(x < 1 - r, 0.0, -a))
        speed = np.where(x < r, a * x, np.where(x < 1 - r, a * r, a * (1 - x)))
        way = np.where(x < r, a * x * x / 2, np.where(x < 1 - r, a * r * (x - r / 2), 1 - a * (1 - x) ** 2 / 2))
        return way, speed, acc
    j = random.uniform(0.1, 0.5) * r
    fine = np.linspace(0, 1, 20001)
    acc = np.interp(fine, [0, j, r - j, r], [0, 1, 1, 0], right=0) - np.interp(
        fine, [1 - r, 1 - r + j, 1 - j, 1], [0, 1, 1, 0], left=0
    )
    speed = np.concatenate([[0.0], np.cumsum((acc[1:] + acc[:-1]) / 2) * fine[1]])
    way = np.concatenate([[0.0], np.cumsum((speed[1:] + speed[:-1]) / 2) * fine[1]])
    return tuple(np.interp(x, fine, values / way[-1]) for values in (way, speed, acc))


def known_program(random, step):
    """Joint values, speeds and accelerations of one to three moves with waits between some of them."""
    q = np.array([0.2, -0.3, 0.4, 0.1, 0.6, 0.0])
    rows = [(np.tile(q, (int(0.1 / step), 1)), np.zeros((int(0.1 / step), 6)), np.zeros((int(0.1 / step), 6)))]
    for _ in range(random.integers(1, 4)):
        n = round(random.uniform(0.3, 1.0) / step)
        travel = random.uniform(-0.5, 0.5, 6) * random.integers(0, 2, 6)
        travel[0] += 0.3
        way, speed, acc = law(random.choice(["trapezoid", "s-curve", "quintic"]), np.arange(n) / n, random)
        time = n * step
        rows.append((q + way[:, None] * travel, speed[:, None] * travel / time, acc[:, None] * travel / time**2))
        q = q + travel
        pause = int(random.choice([0.0, 0.1, 0.3]) / step) + 1
        rows.append((np.tile(q, (pause, 1)), np.zeros((pause, 6)), np.zeros((pause, 6))))
    return tuple(np.concatenate(parts) for parts in zip(*rows, strict=True))


def interval(job):
    case = work_out(job)
    swinging = swing_use(case).use
    low, value, high = (float(1.0 / max(u.max(), 1e-9)) for u in (swinging.high, swinging.value, swinging.low))
    return low, value, high


@pytest.mark.parametrize("data", ["rates", "positions", "recorded", "speeds"])
def test_the_interval_holds_the_true_margin(arm, data):
    """Random programs with known truth: trapezoidal, S-curve and quintic, 2 to 8 ms, rounded or noisy.

    The truth is the swing at 0.25 ms with the exact rates. Of 6 programs for each kind of data none may lie outside.
    """
    widths = []
    for seed in range(6):
        random = np.random.default_rng(seed)
        step = 2.5e-4
        q, qd, qdd = known_program(random, step)
        t = np.arange(len(q)) * step
        mass, half, size = 10 ** random.uniform(-1, 0.3), random.uniform(0.03, 0.1), random.uniform(0.02, 0.06)
        moment = mass * half**2 / 3
        part = gm.Part(
            face="plane", rigid=True, mass=mass, com=[0.01, -0.01, 0.03], inertia=[moment, moment, 2 * moment, 0, 0, 0]
        )
        normal = mass * (2 * np.pi * 10 ** random.uniform(1.2, 2.2)) ** 2 / size**2
        pads = gripper(soft(random.choice([0.0, 0.02, 0.1]), normal), size)
        job = partial(gm.Job, name="known", gripper=pads, part=part, robot=arm)
        _, truth, _ = interval(job(trajectory=gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd)))
        few = slice(int(random.integers(8)), None, 4 if data == "recorded" else int(random.choice([8, 16, 32])))
        seen = {"q": q[few]}
        if data == "recorded":
            seen["q"] = np.round(q[few] + random.normal(size=q[few].shape) * 1e-5, 5)
        elif data != "rates":
            seen["q"] = np.round(q[few], 6)
        if data in ("rates", "speeds"):
            seen["qd"] = qd[few]
        if data == "rates":
            seen["qdd"] = qdd[few]
        low, _, high = interval(job(trajectory=gm.JointTrajectory(t=t[few], **seen)))
        assert low <= truth * 1.002, (seed, low, truth)
        assert truth * 0.998 <= high, (seed, high, truth)
        widths.append((high - low) / truth)
    assert np.median(widths) < (0.8 if data == "recorded" else 0.25)
