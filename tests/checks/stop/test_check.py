"""Does the part stay on when the robot stops: by hand, by properties, and attempts to get a false pass."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import solve_ivp

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.results.samples import Samples
from support.stops import judged, stop_of, use_at

G = 9.80665


class TestByHand:
    """Newton: the load is m (g - a); on one pad tension m g / A and shear m d / A."""

    area, held = 0.05**2, 50e3

    def from_top_speed(self, deceleration, damping, film):
        """Utilisation of a stop that runs on into the program's own braking: a = a_own s^2 - d v_own / v on its way.

        The part slides on the pad as one mass on one spring, by a general ODE solver; the pull stays.
        """
        top, omega = 15 / 8 * 0.6 / 0.8, np.sqrt(film.shear_stiffness * self.area / 1.2)

        def braking(t):
            s = min(1.0, 1.0 - deceleration / top * t)
            x = np.clip(0.5 + (t - deceleration / top * max(t, 0) ** 2 / 2) / 0.8, 0, 1)
            own = 60 * x * (1 - x) * (1 - 2 * x) * 0.6 / 0.8**2
            speed = 30 * x**2 * (1 - x) ** 2 * 0.6 / 0.8
            return own * s**2 - deceleration * speed / top * (t >= 0) if s > 0 else 0.0

        def slope(t, y):
            return [y[1], omega**2 * (braking(t) - y[0]) - 2 * damping * omega * y[1]]

        start, most = [0.0, 0.0], 0.0
        for span in pairwise((-0.4, 0.0, top / deceleration, top / deceleration + 4 * np.pi / omega)):
            found = solve_ivp(slope, span, start, rtol=1e-9, atol=1e-9, max_step=0.1 / omega)
            start, most = found.y[:, -1], max(most, np.abs(found.y[0]).max() * (span[1] > 0))
        return float(np.hypot(1.2 * G, 1.2 * most) / self.area / self.held)

    @pytest.mark.parametrize("deceleration", [1.5, 4.0, 9.0])
    def test_level_stop_from_top_speed(self, level, deceleration):
        job = level(gm.Stop(deceleration=deceleration))
        report = gm.check_job(job)
        assert stop_of(report).details["stop"] == "path"
        k = int(np.argmin(np.abs(report.samples.t - 0.4)))  # halfway: top speed, no acceleration of the program
        use = self.from_top_speed(deceleration, 0.0, level(None).gripper.pads[0].material)
        assert use_at(job, k) == pytest.approx(use, rel=2e-3)
        assert 0.998 * use <= 1.0 / report.samples.stop_margin[k] <= 1.2 * use
        pull, per = 1.2 * G / self.area / self.held, 1.2 / self.area / self.held
        # one mode without damping answers a step with twice
        assert use >= np.hypot(pull, 2.0 * per * deceleration)
        twist = np.sqrt(3.3e7 * 0.05**4 / 6 / 4e-3) / 2 / np.pi  # k_t times the polar second moment, over the inertia
        assert stop_of(report).details["lowest_frequency"] == pytest.approx(twist, rel=1e-6)

    @pytest.mark.parametrize("damping", [0.0, 0.1])
    def test_damping_lowers_the_swing(self, level, damping):
        job = level(gm.Stop(deceleration=9.0))
        (pad,) = job.gripper.pads
        damped = replace(pad, material=replace(pad.material, damping_ratio=damping))
        k = int(np.argmin(np.abs(job.trajectory.t - 0.4)))
        use = self.from_top_speed(9.0, damping, pad.material)
        assert use_at(replace(job, gripper=gm.Gripper(pads=(damped,))), k) == pytest.approx(use, rel=2e-3)

    def test_time_from_full_speed_gives_the_same_deceleration_at_any_speed(self, level):
        """From the top speed v within T: v / T; the deceleration is kept at lower speeds."""
        time = 0.25
        report = gm.check_job(level(gm.Stop(time=time)))
        top = 15 / 8 * 0.6 / 0.8
        by_rate = gm.check_job(level(gm.Stop(deceleration=top / time)))
        both = [r.samples.stop_margin[50:350] for r in (report, by_rate)]
        assert both[0] == pytest.approx(both[1], rel=2e-3)

    def test_a_reaction_time_counts_both_ways(self, level):
        """Of 250 ms the first 100 may pass before the robot brakes: then it stops within 150 ms from a later place."""
        earlier = []
        for k in (200, 280, 360):
            both, at_once, later = (
                use_at(level(stop), start)
                for stop, start in (
                    (gm.Stop(time=0.25, reaction=0.1), k),
                    (gm.Stop(time=0.25), k),
                    (gm.Stop(time=0.15), k + 50),
                )
            )
            assert both == pytest.approx(max(at_once, later), rel=2e-3)
            earlier.append(at_once / later)
        assert min(earlier) < 0.9
        assert max(earlier) > 1.0

    def test_margin_without_swing_is_a_stop_on_a_rigid_backing(self, level):
        result = stop_of(gm.check_job(level(gm.Stop(deceleration=3.0))))
        pull = 1.2 * G / self.area / self.held
        peak = 10 / np.sqrt(3) * 0.6 / 0.8**2  # the program brakes by itself where the stop begins
        least, most = (np.hypot(pull, 1.2 * a / self.area / self.held) for a in (3.0, 3.0 + peak))
        assert 1.0 / most <= result.details["quasi_static"] * (1 + 1e-3)
        assert result.details["quasi_static"] <= 1.0 / least
        assert 1.0 / result.high <= 1.0 / result.value <= 1.0 / result.low


class TestAir:
    """A flat panel takes air along, 8/3 rho r^3 of the disc of equal area (Lamb, from memory): it swings slower."""

    mass, added, density = 0.4, 8 / 3 * 1.2 * (0.64 / np.pi) ** 1.5, 1.2

    def panel(self, level, ramp, air_density):
        edge = 0.4
        panel = gm.Part(
            face="plane",
            rigid=True,
            mass=self.mass,
            com=[0, 0, 0],
            inertia=[0.2, 0.2, 0.4, 0, 0, 0],
            outline=[[-edge, -edge], [edge, -edge], [edge, edge], [-edge, edge]],
            drag_area=1.28 * 0.64,
        )
        job = level(gm.Stop(deceleration=6.0, ramp=ramp))
        t = job.trajectory.t
        trajectory = replace(job.trajectory, position=np.column_stack([0 * t, 0 * t, 2.0 - t]))
        return gm.check_job(replace(job, part=panel, trajectory=trajectory, air_density=air_density))

    def test_the_pull_swings_with_the_air_that_goes_along(self, level, one_pad):
        """A rise over t overshoots by |sin(omega t / 2)| / (omega t / 2), omega^2 = k A / (m + m_a) (closed form).

        A stop on the way down pulls.
        """
        ramp = 0.02
        report = self.panel(level, ramp, self.density)
        area, material = 0.05**2, one_pad.pads[0].material
        omega = np.sqrt(material.normal_stiffness * area / (self.mass + self.added))
        k = int(np.argmin(np.abs(report.samples.t - 0.4)))
        pull = self.mass * G + (self.mass + self.added) * 6.0 * (1 + abs(np.sin(omega * ramp / 2)) / (omega * ramp / 2))
        assert 1.0 / report.samples.stop_margin[k] == pytest.approx(pull / area / material.pull_off_stress, rel=2e-3)

    def test_the_lowest_frequency_is_that_of_panel_and_air(self, level, one_pad):
        """Of K x = w^2 (M + m_a n n') x, by scipy; the margin falls with the air, and not by its load alone."""
        from scipy.linalg import eigh

        still, wet = (self.panel(level, 0.02, density) for density in (0.0, self.density))
        wide = gm.Pad.rectangle("wide", replace(one_pad.pads[0].material, shear_stiffness=1e9), [0.4, 0.4])
        job = level(gm.Stop(deceleration=6.0))
        panel = gm.Part(
            face="plane",
            rigid=True,
            mass=self.mass,
            com=[0.1, 0, 0],
            inertia=[0.002, 0.002, 0.004, 0, 0, 0],
            outline=[[-0.4, -0.4], [0.4, -0.4], [0.4, 0.4], [-0.4, 0.4]],
            drag_area=1.28 * 0.64,
        )
        job = replace(job, part=panel, gripper=gm.Gripper(pads=(wide,)), air_density=self.density)
        mass = np.diag([self.mass] * 3 + [0.002, 0.002 + self.mass * 0.01, 0.004 + self.mass * 0.01])
        mass[2, 4] = mass[4, 2] = -self.mass * 0.1
        mass[1, 5] = mass[5, 1] = self.mass * 0.1
        mass[2, 2] += self.added
        due = np.sqrt(eigh(work_out(job).whole.stiffness, mass, eigvals_only=True)[0]) / (2 * np.pi)
        assert stop_of(gm.check_job(job)).details["lowest_frequency"] == pytest.approx(due, rel=1e-6)
        assert stop_of(wet).low < stop_of(still).low


class TestProperties:
    @pytest.mark.parametrize("stop", [gm.Stop(time=0.2), gm.Stop(time=1e-3), gm.Stop(axis_deceleration=[9.0] * 6)])
    def test_a_rod_with_no_inertia_about_its_axis_is_one_with_hardly_any(self, fast, stop):
        """A motion without mass takes no load by inertia, so leaving it out changes nothing but which stops are
        followed finely: their bounds are closer by up to 2 %."""
        job = fast(stop)
        margins = []
        for moment in (0.0, 1e-11):
            rod = gm.Part(
                face="plane", rigid=True, mass=0.5, com=[0.01, 0, 0.05], inertia=[4e-4, 4e-4, moment, 0, 0, 0]
            )
            result = judged(replace(job, part=rod))
            margins.append([result.value, result.high, result.low])
        assert margins[0][:2] == pytest.approx(margins[1][:2], rel=1e-4)
        assert margins[0][2] == pytest.approx(margins[1][2], rel=0.02)

    def test_longer_stops_never_ask_more(self, fast):
        values = [judged(fast(gm.Stop(time=t))) for t in (0.05, 0.1, 0.2, 0.4, 0.8)]
        assert (np.diff([v.low for v in values]) > 0).all()
        assert (np.diff([v.high for v in values]) >= 0).all()

    def test_harder_axes_never_ask_less(self, fast):
        values = [judged(fast(gm.Stop(axis_deceleration=[a] * 6))).low for a in (4.0, 8.0, 16.0, 32.0)]
        assert (np.diff(values) < 0).all()

    def test_a_ramp_softens_the_swing(self, fast):
        """In the median: at some samples the swings of begin and end meet in phase with the one and not the other."""
        given = {"deceleration": 3.0}
        sudden, soft = (gm.check_job(fast(gm.Stop(ramp=r, **given))).samples.stop_margin for r in (0.0, 0.05))
        assert np.nanmedian(soft / sudden) > 1.02

    @pytest.mark.parametrize("strength", [0.5, 2.0])
    def test_the_margin_is_proportional_to_the_strength(self, fast, strength):
        job = fast(gm.Stop(time=0.2, axis_deceleration=[9.0] * 6))
        (pad,) = job.gripper.pads
        scaled = {key: strength * getattr(pad.material, key) for key in ("pull_off_stress", "shear_strength")}
        other = replace(pad, material=replace(pad.material, **scaled))
        a, b = (judged(x) for x in (job, replace(job, gripper=gm.Gripper(pads=(other,)))))
        assert (b.value, b.low, b.high) == pytest.approx([strength * x for x in (a.value, a.low, a.high)])

    def test_at_rest_a_stop_changes_nothing(self, fast):
        report = gm.check_job(fast(gm.Stop(time=0.05, axis_deceleration=[50.0] * 6)))
        rest = report.samples.t < 0.19
        assert report.samples.stop_margin[rest] == pytest.approx(report.samples.hold_margin[rest])

    def test_samples_outside_the_carry_have_none(self, fast):
        job = fast(gm.Stop(time=0.3), phases=(gm.Phase(kind="carry", start=0.3, end=1.0),))
        samples: Samples = gm.check_job(job).samples
        inside = (samples.t >= 0.3) & (samples.t <= 1.0)
        assert np.isfinite(samples.stop_margin[inside]).all()
        assert np.isnan(samples.stop_margin[~inside]).all()
        assert np.isnan(gm.check_job(replace(job, stop=None)).samples.stop_margin).all()

    def test_estimated_rates_agree_with_given_ones(self, fast):
        for stop in (gm.Stop(time=0.2), gm.Stop(axis_deceleration=[9.0] * 6)):
            true, found = (judged(fast(stop, given=g)) for g in ("q qd qdd", "q"))
            assert found.low <= true.low * (1 + 2e-3)
            assert found.value == pytest.approx(true.value, rel=0.02)


BOTH = {"time": 0.3, "axis_deceleration": [20.0] * 6}


class TestWhichStop:
    def test_without_a_category_both_are_judged(self, fast):
        both = stop_of(gm.check_job(fast(gm.Stop(**BOTH))))
        for category, kind in ((0, "axes"), (1, "path"), (2, "path")):
            one = stop_of(gm.check_job(fast(gm.Stop(category=category, **BOTH))))
            assert one.details["stop"] == kind
            assert one.value == one.details[kind] == pytest.approx(both.details[kind])
            assert one.details[{"axes": "path", "path": "axes"}[kind]] is None
        assert both.value == min(both.details["path"], both.details["axes"])

    def test_no_data_is_said(self, fast):
        report = gm.check_job(fast(None))
        assert ("stop", "the job has no [stop] data") in [(n.check, n.reason) for n in report.not_checked]
        assert [check.check for check in report.checks] == ["hold", "swing"]

    def test_axes_of_a_program_of_poses_are_undecided(self, level):
        report = gm.check_job(level(gm.Stop(axis_deceleration=[5.0] * 6)))
        assert stop_of(report).verdict is gm.Verdict.UNDECIDED
        assert "need a joint program" in stop_of(report).text
        assert np.isnan(report.samples.stop_margin).all()
        job = level(gm.Stop(time=2.0, axis_deceleration=[5.0] * 6), targets=gm.Targets(stop=0.1))
        both = stop_of(gm.check_job(job))
        assert both.verdict is gm.Verdict.UNDECIDED
        assert "need a joint program" in both.lines[-1]
        assert judged(replace(job, stop=gm.Stop(time=2.0))).verdict is gm.Verdict.PASS


def test_the_theory_states_the_figures_of_the_code():
    from pathlib import Path

    from gripmargin.checks.stop import follow, remedies, use, ways

    text = " ".join((Path(__file__).parents[3] / "docs" / "theory.md").read_text(encoding="utf-8").split())
    for phrase in (
        f"turns by at most {follow.ROUGH.turn:g} rad a step",
        f"{follow.COARSE.turn:g} rad a step, {follow.COARSE.soon:g} periods and {follow.COARSE.late} steps",
        f"{follow.FINE.turn:g} rad a step from begin to end",
        f"off the path in {ways.FEWEST} to the next axis",
        f"{follow.ROUGH.soon:g} period of the slowest vibration",
        f"in {follow.ROUGH.late} steps",
        f"no more than {ways.TURN:g} rad",
        f"{use.DISPLACED:g} times",
        f"within {1e3 * use.CLOSE:g} ms of each other some are followed",
        f"first at the {remedies.TRIED} samples that are used most",
        f"up to {remedies.SOFTEST:g} times",
        f"not below {remedies.SLOWEST:g} of its speed",
    ):
        assert phrase in text


def test_a_stop_by_which_an_uneven_bond_lets_the_part_go_is_a_fail(level):
    """A pad that holds less on one side: the first cell that breaks proves nothing, a part that is lost does."""
    from gripmargin.checks.stop.check import results
    from gripmargin.contact.bonded import Bonded
    from gripmargin.contact.grip import grip_of

    def found(target):
        case = work_out(level(gm.Stop(deceleration=4.0), targets=gm.Targets(stop=target)))
        (patch,) = case.whole.patches
        film, held = patch.pad.material, np.clip(0.7 + patch.points[:, 0] / 0.1, 0.0, 1.0)
        bonded = Bonded(whole=case.whole, full=((film.pull_off_stress, film.shear_strength),), held=(held,))
        case = replace(case, grip=grip_of(bonded, case.load[:, case.carried]))
        assert not case.grip.bonded.even
        return next(iter(results(case)))

    easy = found(0.01)
    assert easy.verdict is gm.Verdict.PASS
    assert found(1.003 * easy.value).verdict is gm.Verdict.UNDECIDED
    lost = found(3.0 * easy.value)
    assert lost.verdict is gm.Verdict.FAIL
    assert easy.value < lost.high < 3.0 * easy.value
