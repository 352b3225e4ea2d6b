"""Loads during a stop against re-timed programs, Pinocchio and general solvers; swings against a simulation in time."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.signal import StateSpace, lsim

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.stop.kinds import kinds_of
from gripmargin.checks.stop.stops import Stopping
from gripmargin.checks.stop.use import stop_use
from gripmargin.contact.loads import part_load
from gripmargin.kernels.wrench import mass_matrix
from gripmargin.motion.tool_motion import joint_motion
from gripmargin.workcell import Stop

GRAVITY = np.array([0.0, 0.0, -9.80665])


@pytest.fixture(scope="module")
def swing(arm, one_pad, plate, exact_moves):
    """Two overlapping moves of a six-axis arm with an eccentric part, at 1 kHz with exact rates."""
    exact = exact_moves(6, (0.1, 0.9, [0.9, 0.3, -0.5, 0.4, 0.3, -0.8]), (0.5, 0.8, [-0.4, 0.5, 0.2, -0.3, 0.2, 0.9]))
    part = plate(0.8, (0.01, -0.015, 0.03))

    def make(stop, **material):
        t = np.arange(0.0, 1.5, 0.001)
        q, qd, qdd = exact.at(t)
        (pad,) = one_pad.pads
        film = gm.PadMaterial(
            pull_off_stress=5e4,
            shear_strength=5e4,
            **({"normal_stiffness": 1e9, "shear_stiffness": 3e8} | material),
        )
        return work_out(
            gm.Job(
                name="swing",
                trajectory=gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd),
                gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", film, np.ptp(pad.outline, axis=0)),)),
                part=part,
                robot=arm,
                stop=stop,
            )
        )

    make.exact, make.part = exact, part
    return make


def retimed(exact, start, rate, after):
    """Joint values of a stop along the path at some time after its start: the program's time runs slower and slower."""
    t = np.minimum(after, 1.0 / rate)
    s = 1.0 - rate * t
    q, qd, qdd = exact.at(np.array([start + t - rate * t**2 / 2]))
    return q[0], qd[0] * s, qdd[0] * s * s - rate * qd[0]


def kind_of(case):
    """The one kind of stop that a job has."""
    (kind,) = kinds_of(Stopping(case, case.job.stop))
    return kind


class TestAlongThePath:
    def test_rates_of_a_stop_are_the_derivatives_of_its_positions(self, swing):
        h, start, rate = 1e-4, 0.62, 3.0
        for after in (0.05, 0.15, 0.3):
            q = np.stack([retimed(swing.exact, start, rate, after + k * h)[0] for k in (-2, -1, 0, 1, 2)])
            _, qd, qdd = retimed(swing.exact, start, rate, after)
            assert np.array([1, -8, 0, 8, -1]) @ q / (12 * h) == pytest.approx(qd, abs=1e-8)
            assert np.array([-1, 16, -30, 16, -1]) @ q / (12 * h**2) == pytest.approx(qdd, abs=1e-5)

    @pytest.mark.parametrize("start", [0.3, 0.62, 0.9])
    @pytest.mark.parametrize("rate", [2.0, 8.0])
    def test_loads_against_pinocchio_on_the_retimed_program(self, swing, arm, pinocchio_arm, start, rate):
        case = swing(Stop(time=0.2))
        reference = pinocchio_arm(arm, swing.part)
        data = reference.model.createData()
        sample = np.array([round(start / 0.001)])
        stopping = Stopping(case, case.job.stop)
        instants = list(stopping.along_path(sample, np.array([rate])))
        assert len(instants) == 2 + stopping.followed.size + 1
        for instant, s in zip(instants[2:-1], stopping.followed, strict=True):
            assert instant.after[0] == pytest.approx((1 - s) / rate)
            q, qd, qdd = retimed(swing.exact, case.job.trajectory.t[sample[0]], rate, instant.after[0])
            due = reference.load(data, q, qd, qdd)
            assert instant.load[:, 0] == pytest.approx(due, abs=1e-4)
        q, qd, qdd = retimed(swing.exact, case.job.trajectory.t[sample[0]], rate, 0.0)
        assert instants[0].load[:, 0] == pytest.approx(reference.load(data, q, qd, qdd), abs=1e-9)
        rest = retimed(swing.exact, case.job.trajectory.t[sample[0]], rate, 1.0 / rate)[0]
        assert instants[-1].load[:, 0] == pytest.approx(reference.load(data, rest, 0 * rest, 0 * rest), abs=1e-4)

    def test_the_tool_motion_that_is_explained_has_that_load(self, swing):
        case = swing(Stop(time=0.2))
        for instant in Stopping(case, case.job.stop).along_path(np.array([620]), np.array([4.0])):
            found = part_load(swing.part, instant.motion(), GRAVITY)
            assert found == pytest.approx(instant.load, abs=0.02)  # at the nearest sample of the program

    def test_slower_programs_stop_from_their_own_speed(self, swing):
        case, sample = swing(Stop(time=0.2)), np.array([620])
        slow = next(Stopping(case, case.job.stop, slower=0.5).along_path(sample, np.array([4.0])))
        q, qd, qdd = (x[620:621] for x in (case.job.trajectory.q, *case.motion.joint_rates))
        motion = joint_motion(case.job.robot, np.zeros(1), q, 0.5 * qd, 0.25 * qdd - 4.0 * 0.5 * qd)
        assert slow.load == pytest.approx(part_load(swing.part, motion, GRAVITY))


class TestOffThePath:
    rates = np.array([6.0, 9.0, 7.0, 14.0, 11.0, 12.0])

    @pytest.mark.parametrize("sample", [300, 620, 900])
    def test_loads_against_pinocchio_on_axes_braked_by_an_ode_solver(self, swing, arm, pinocchio_arm, sample):
        case = swing(Stop(axis_deceleration=self.rates), normal_stiffness=1e11, shear_stiffness=3e10)
        reference = pinocchio_arm(arm, swing.part)
        data = reference.model.createData()
        q, qd = case.job.trajectory.q[[sample]], case.motion.joint_rates[0][[sample]]
        instants = list(kind_of(case).instants(np.array([sample])))
        assert len(instants) == 1 + 2 * 6
        ends = np.abs(qd[0]) / self.rates
        for k, instant in enumerate(instants):
            after = float(instant.after[0])
            place, speed = q[0].copy(), qd[0].copy()
            for j in range(6):  # each axis by itself, until it rests
                if after > 0:
                    span = (0.0, min(after, ends[j]))
                    rate = self.rates[j] * np.sign(qd[0, j])
                    found = solve_ivp(lambda _, x, a=rate: [x[1], -a], span, [q[0, j], qd[0, j]], rtol=1e-10)
                    place[j], speed[j] = found.y[:, -1]
            before_it_rests = k % 2 == 1 or k == 0
            brakes = ends >= after - 1e-12 if before_it_rests else ends > after + 1e-12
            due = reference.load(data, place, speed, -self.rates * np.sign(qd[0]) * brakes)
            assert instant.load[:, 0] == pytest.approx(due, abs=2e-6)
            assert part_load(swing.part, instant.motion(), GRAVITY)[:, 0] == pytest.approx(due, abs=2e-6)

    def test_it_ends_with_the_weight_alone_and_each_axis_rests_once(self, swing):
        case = swing(Stop(axis_deceleration=self.rates))
        qd = case.motion.joint_rates[0][[620]]
        *_, last = kind_of(case).instants(np.array([620]))
        assert last.after[0] == pytest.approx((np.abs(qd[0]) / self.rates).max())
        assert np.linalg.norm(last.load[:3, 0]) == pytest.approx(0.8 * 9.80665)


def simulated(case, times, loads):
    """The largest utilisation of the pads over time: part on its backing, all at once, in state space."""
    k = case.whole.stiffness
    part = case.job.part
    mass = mass_matrix(part.mass, part.com, part.inertia)
    zeta = case.whole.patches[0].pad.material.damping_ratio or 0.0
    values, vectors = np.linalg.eig(np.linalg.solve(mass, k))
    damper = mass @ (vectors @ np.diag(2 * zeta * np.sqrt(values.real)) @ np.linalg.inv(vectors)).real
    inverse, zero, eye = np.linalg.inv(mass), np.zeros((6, 6)), np.eye(6)
    system = StateSpace(
        np.block([[zero, eye], [-inverse @ k, -inverse @ damper]]),
        np.vstack([zero, inverse]),
        np.hstack([k, zero]),
        zero,
    )
    start = np.concatenate([np.linalg.solve(k, loads[0]), np.zeros(6)])
    carried = lsim(system, loads, times, X0=start)[1]
    maps = case.grip.face.maps
    t1, t2, s = maps @ carried.T
    return float(np.sqrt(t1**2 + t2**2 + np.maximum(s, 0) ** 2).max())


class TestSwing:
    """What the part really does on its backing, in time, never exceeds the bound, nor is the bound far off."""

    @pytest.mark.parametrize("damping", [None, 0.05])
    @pytest.mark.parametrize("stiffness", [2e6, 5e8])
    @pytest.mark.parametrize(("start", "time"), [(0.35, 0.05), (0.62, 0.3), (0.85, 0.12)])
    def test_stop_along_the_path(self, swing, arm, start, time, stiffness, damping):
        case = swing(
            Stop(time=time), normal_stiffness=stiffness, shear_stiffness=0.3 * stiffness, damping_ratio=damping
        )
        sample = round(start / 0.001)
        stopping = Stopping(case, case.job.stop)
        use = stop_use(kind_of(case), np.array([sample]))
        rate = float(stopping.rates.hard[sample])
        h = min(2e-5, 0.02 / float(stopping.modes.frequency.max()))
        t = np.arange(0.0, 1.0 / rate + 3 * np.pi / float(stopping.modes.frequency.min()), h)[:30_000]
        q, qd, qdd = (np.array(x) for x in zip(*(retimed(swing.exact, start, rate, at) for at in t[::10]), strict=True))
        qdd[t[::10] >= 1.0 / rate] = 0.0
        coarse = part_load(swing.part, joint_motion(arm, t[::10], q, qd, qdd), GRAVITY).T
        loads = np.array([np.interp(t, t[::10], column) for column in coarse.T]).T
        loads[0] = case.load[:, sample]
        found = simulated(case, t, loads)
        assert found <= use.high[0] * (1 + 2e-3)
        assert found >= max(0.45 * use.high[0], 0.98 * use.low[0])

    @pytest.mark.parametrize("damping", [None, 0.05])
    @pytest.mark.parametrize("stiffness", [2e6, 5e8])
    @pytest.mark.parametrize("start", [0.35, 0.62, 0.85])
    def test_stop_off_the_path(self, swing, arm, start, stiffness, damping):
        rates = TestOffThePath.rates
        case = swing(
            Stop(axis_deceleration=rates),
            normal_stiffness=stiffness,
            shear_stiffness=0.3 * stiffness,
            damping_ratio=damping,
        )
        sample = round(start / 0.001)
        use = stop_use(kind_of(case), np.array([sample]))
        q0, qd0 = case.job.trajectory.q[sample], case.motion.joint_rates[0][sample]
        omega = Stopping(case, case.job.stop).modes.frequency
        ends = np.abs(qd0) / rates
        t = np.arange(0.0, ends.max() + 3 * np.pi / omega.min(), min(5e-5, 0.05 / omega.max()))[:30_000]
        within = np.minimum(t[:, None], ends)
        sign = np.sign(qd0)
        q, qd = q0 + qd0 * within - 0.5 * sign * rates * within**2, qd0 - sign * rates * within
        qdd = np.where(t[:, None] < ends, -sign * rates, 0.0)
        loads = part_load(swing.part, joint_motion(arm, t, q, qd, qdd), GRAVITY).T
        loads[0] = case.load[:, sample]
        found = simulated(case, t, loads)
        assert found <= use.high[0] * (1 + 2e-3)
        assert found >= max(0.25 * use.high[0], 0.98 * use.low[0])
