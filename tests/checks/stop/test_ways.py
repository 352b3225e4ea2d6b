"""Loads during a stop against re-timed programs, Pinocchio and a general solver."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from gripmargin.checks.stop.use import Stopping
from gripmargin.contact.loads import part_load
from gripmargin.motion.tool_motion import joint_motion
from gripmargin.workcell import Stop

GRAVITY = np.array([0.0, 0.0, -9.80665])


def one_stop(case, kind, sample, **more):
    """The stop that begins at a sample."""
    stopping = Stopping(case=case, stop=case.job.stop, swinging=False, **more)
    course = stopping.courses[0][1]
    return stopping.begun(kind, course, course.t[[sample]], np.zeros((2, 1)))[0]


def loads(stops, step=0.005):
    """Times since the stop began, the load on the pads then, and which leg it is."""
    borders = [i for i, long in enumerate(np.diff(stops.borders[:, 0])) if long > 0.0]
    for k, leg in enumerate(leg for i in borders for leg in stops.legs(i, step, np.inf, 0)):
        nodes = np.arange(leg.steps + 1)
        for node, load in zip(nodes, leg.load(nodes)[0], strict=True):
            yield float(leg.begin[0] + node * leg.step[0]), stops.course.carry @ load[:, 0], k, node in nodes[[0, -1]]


class TestAlongThePath:
    def test_rates_of_a_stop_are_the_derivatives_of_its_positions(self, swing):
        h, start, rate = 1e-4, 0.62, 3.0
        for after in (0.05, 0.15, 0.3):
            q = np.stack([swing.retimed(start, rate, after + k * h)[0] for k in (-2, -1, 0, 1, 2)])
            _, qd, qdd = swing.retimed(start, rate, after)
            assert np.array([1, -8, 0, 8, -1]) @ q / (12 * h) == pytest.approx(qd, abs=1e-8)
            assert np.array([-1, 16, -30, 16, -1]) @ q / (12 * h**2) == pytest.approx(qdd, abs=1e-5)

    @pytest.mark.parametrize("start", [0.3, 0.62, 0.9])
    @pytest.mark.parametrize("time", [0.5, 0.125])
    def test_loads_against_pinocchio_on_the_retimed_program(self, swing, arm, pinocchio_arm, start, time):
        case = swing(Stop(time=time))
        reference = pinocchio_arm(arm, swing.part)
        data = reference.model.createData()
        stop = one_stop(case, "path", int(np.argmin(np.abs(case.job.trajectory.t - start))))
        rate = float(stop.rate[0])
        found = list(loads(stop))
        assert len(found) > 10
        assert found[-1][0] == pytest.approx(1 / rate)
        for after, load, *_ in found:
            assert load == pytest.approx(reference.load(data, *swing.retimed(start, rate, after)), abs=1e-4)
        rest = swing.retimed(start, rate, 1.0 / rate)[0]
        due = reference.load(data, rest, 0 * rest, 0 * rest)
        assert stop.course.carry @ stop.ends[1][:, 0] == pytest.approx(due, abs=1e-4)

    def test_the_tool_motion_that_is_explained_has_that_load(self, swing):
        stop = one_stop(swing(Stop(time=0.2)), "path", 620)
        for after, load, *_ in list(loads(stop))[:-1]:
            found = part_load(swing.part, stop.motion(np.array([after])), GRAVITY)
            assert found[:, 0] == pytest.approx(load, abs=0.02)  # at the nearest sample of the program

    def test_slower_programs_stop_from_their_own_speed(self, swing):
        case = swing(Stop(time=0.2))
        stop = one_stop(case, "path", 620, slower=0.5)
        q, qd, qdd = (x[620:621] for x in (case.job.trajectory.q, *case.motion.joint_rates))
        motion = joint_motion(case.job.robot, np.zeros(1), q, 0.5 * qd, 0.25 * qdd - stop.rate[0] * 0.5 * qd)
        assert stop.course.carry @ stop.ends[0][:, 0] == pytest.approx(part_load(swing.part, motion, GRAVITY)[:, 0])
        assert stop.course.t == pytest.approx(2.0 * case.motion.at.t)

    @pytest.mark.parametrize(("share", "count"), [(0.9, 2), (1.1, 1)])
    def test_longer_steps_come_late_and_only_where_they_save(self, swing, share, count):
        """Half of the way is left then, for 40 steps that are longer than the others, or would not be."""
        stop = one_stop(swing(Stop(time=0.2)), "path", 620)
        half = float(stop.borders[-1, 0]) / 2.0
        assert len(list(stop.legs(1, share * half / 40, half, 40))) == count

    def test_noise_of_the_load_counts_as_the_load_does(self, swing):
        """By the square of the speed, in straight lines between samples."""
        stop = one_stop(swing(Stop(time=0.2)), "path", 620)
        rough = np.random.default_rng(1).normal(size=(6, stop.course.t.size))
        noisy = replace(stop, course=replace(stop.course, rough=rough))
        (leg,) = noisy.legs(1, 0.0171, np.inf, 0)
        after, rate = leg.step[0] * np.arange(leg.steps + 1), stop.rate[0]
        t, speed = stop.t[0] + after - rate * after**2 / 2.0, 1.0 - rate * after
        found = leg.load(np.arange(leg.steps + 1))[1].rough
        for k in range(6):
            assert found[:, k, 0] == pytest.approx(speed**2 * np.interp(t, stop.course.t, rough[k]), abs=1e-9)


class TestOffThePath:
    rates = np.array([6.0, 9.0, 7.0, 14.0, 11.0, 12.0])

    @pytest.mark.parametrize("sample", [300, 620, 900])
    def test_loads_against_pinocchio_on_axes_braked_by_an_ode_solver(self, swing, arm, pinocchio_arm, sample):
        case = swing(Stop(axis_deceleration=self.rates), normal_stiffness=1e11, shear_stiffness=3e10)
        reference = pinocchio_arm(arm, swing.part)
        data = reference.model.createData()
        q, qd = case.job.trajectory.q[[sample]], case.motion.joint_rates[0][[sample]]
        stop = one_stop(case, "axes", sample)
        ends = np.abs(qd[0]) / self.rates
        found = list(loads(stop))
        assert {round(after, 9) for after, *_ in found} >= {round(end, 9) for end in ends}
        middle = {leg: np.mean([after for after, _, k, _ in found if k == leg]) for leg in {k for _, _, k, _ in found}}
        for after, load, leg, border in found:
            place, speed = q[0].copy(), qd[0].copy()
            for j in range(6):  # each axis by itself, until it rests
                if after > 0:
                    span = (0.0, min(after, ends[j]))
                    rate = self.rates[j] * np.sign(qd[0, j])
                    way = solve_ivp(lambda _, x, a=rate: [x[1], -a], span, [q[0, j], qd[0, j]], rtol=1e-10)
                    place[j], speed[j] = way.y[:, -1]
            brakes = ends > middle[leg]  # at the ends of a leg too, where an axis comes to rest
            due = reference.load(data, place, speed, -self.rates * np.sign(qd[0]) * brakes)
            assert load == pytest.approx(due, abs=2e-6 if border else 2e-3)

    def test_long_ways_are_cut_into_cubics_that_hardly_miss(self, swing):
        """A cubic through four points misses theta^4 / 1944 of what turns by theta over it: 4e-6 of 0.3 rad."""
        stop = one_stop(swing(Stop(axis_deceleration=self.rates / 10.0)), "axes", 620)
        for after, load, _, border in loads(stop, 0.02):
            if not border:
                due = part_load(swing.part, stop.motion(np.array([after])), GRAVITY)[:, 0]
                assert load == pytest.approx(due, abs=2.5e-5)

    def test_no_cubic_goes_over_more_than_it_can(self, swing):
        """The axes together turn by 0.3 rad at most, and by no less than need be where they brake from full speed."""
        rates = self.rates / 40.0
        case = swing(Stop(axis_deceleration=rates))
        stop, speed = one_stop(case, "axes", 620), np.abs(case.motion.joint_rates[0][620])
        borders = [i for i, long in enumerate(np.diff(stop.borders[:, 0])) if long > 0.0]
        legs = [leg for i in borders for leg in stop.legs(i, 0.1, np.inf, 0)]
        ends = [float(leg.begin[0] + leg.steps * leg.step[0]) for leg in legs]
        turned = [
            (speed * t - rates * t**2 / 2.0).sum() for t in np.minimum(np.array([0.0, *ends])[:, None], speed / rates)
        ]
        assert 0.25 < np.diff(turned).max() <= 0.3

    def test_longer_steps_are_worth_it_from_ten_on(self, swing):
        stop = one_stop(swing(Stop(axis_deceleration=self.rates / 40.0)), "axes", 620)
        late = []
        for step in (0.005, 0.01, 0.02):
            for i, long in enumerate(np.diff(stop.borders[:, 0])):
                ways = [(leg.late, float(leg.step[0]) * leg.steps) for leg in stop.legs(i, step, 0.35 * long, 0)]
                late += [way / step for slow, way in ways if slow and long > 0.0]
                assert sum(way for _, way in ways) == pytest.approx(long, abs=1e-8)  # they end where it does
        assert 10.0 <= min(late) < 12.0

    def test_it_ends_with_the_weight_alone_and_each_axis_rests_once(self, swing):
        case = swing(Stop(axis_deceleration=self.rates))
        stop, qd = one_stop(case, "axes", 620), case.motion.joint_rates[0][620]
        assert stop.borders[2:, 0] == pytest.approx(np.sort(np.abs(qd) / self.rates))
        rest = stop.course.carry @ stop.ends[1][:, 0]
        assert np.linalg.norm(rest[:3]) == pytest.approx(0.8 * 9.80665)
        assert part_load(swing.part, stop.motion(stop.borders[-1]), GRAVITY)[:, 0] == pytest.approx(rest, abs=1e-9)
