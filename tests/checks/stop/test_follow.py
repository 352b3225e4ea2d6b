"""Swings in stops against a simulation in time."""

import numpy as np
import pytest
from scipy.signal import StateSpace, lsim

from gripmargin.checks.stop.use import Stopping, stop_use
from gripmargin.contact.loads import part_load
from gripmargin.kernels.wrench import mass_matrix
from gripmargin.motion.tool_motion import joint_motion
from gripmargin.workcell import Stop

GRAVITY = np.array([0.0, 0.0, -9.80665])
RATES = np.array([6.0, 9.0, 7.0, 14.0, 11.0, 12.0])


def simulated(case, times, loads, before):
    """The largest utilisation of the pads over time: part on its backing, all at once, in state space.

    It hangs still under a load before.
    """
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
    start = np.concatenate([np.linalg.solve(k, before), np.zeros(6)])
    carried = lsim(system, loads, times, X0=start)[1]
    maps = case.grip.face.maps
    t1, t2, s = maps @ carried.T
    return float(np.sqrt(t1**2 + t2**2 + np.maximum(s, 0) ** 2).max())


@pytest.mark.usefixtures("small")
class TestSwing:
    """What the part really does on its backing, in time, never exceeds the bound, nor is the bound far off."""

    @pytest.mark.parametrize("damping", [None, 0.05])
    @pytest.mark.parametrize("stiffness", [2e6, 5e8])
    @pytest.mark.parametrize(("start", "time"), [(0.35, 0.05), (0.62, 0.3), (0.85, 0.12)])
    def test_stop_along_the_path(self, swing, arm, start, time, stiffness, damping):
        case = swing(
            Stop(time=time), normal_stiffness=stiffness, shear_stiffness=0.3 * stiffness, damping_ratio=damping
        )
        sample = int(np.argmin(np.abs(case.job.trajectory.t - start)))
        stopping = Stopping(case=case, stop=case.job.stop, swinging=False)
        use = stop_use(stopping, "path", np.array([sample]))
        rate = float(stopping.rates.hard[sample])
        h = min(2e-5, 0.02 / float(stopping.modes.frequency.max()))
        t = np.arange(0.0, 1.0 / rate + 5 * np.pi / float(stopping.modes.frequency.min()), h)[:60_000]
        q, qd, qdd = (np.array(x) for x in zip(*(swing.retimed(start, rate, at) for at in t[::10]), strict=True))
        qdd[t[::10] >= 1.0 / rate] = 0.0
        coarse = part_load(swing.part, joint_motion(arm, t[::10], q, qd, qdd), GRAVITY).T
        loads = np.array([np.interp(t, t[::10], column) for column in coarse.T]).T
        found = simulated(case, t, loads, case.load[:, sample])
        assert found <= use.high[0] * (1 + 2e-3)
        assert found >= max((0.9 if damping else 0.45) * use.high[0], 0.998 * use.low[0])
        if damping:
            assert found == pytest.approx(use.value[0], rel=2e-3)

    @pytest.mark.parametrize("damping", [None, 0.05])
    @pytest.mark.parametrize("stiffness", [2e6, 5e8])
    @pytest.mark.parametrize("start", [0.35, 0.62, 0.85])
    def test_stop_off_the_path(self, swing, arm, start, stiffness, damping):
        rates = RATES
        case = swing(
            Stop(axis_deceleration=rates),
            normal_stiffness=stiffness,
            shear_stiffness=0.3 * stiffness,
            damping_ratio=damping,
        )
        sample = int(np.argmin(np.abs(case.job.trajectory.t - start)))
        stopping = Stopping(case=case, stop=case.job.stop, swinging=False)
        use = stop_use(stopping, "axes", np.array([sample]))
        q0, qd0 = case.job.trajectory.q[sample], case.motion.joint_rates[0][sample]
        omega = stopping.modes.frequency
        ends = np.abs(qd0) / rates
        t = np.arange(0.0, ends.max() + 5 * np.pi / omega.min(), min(5e-5, 0.05 / omega.max()))[:60_000]
        within = np.minimum(t[:, None], ends)
        sign = np.sign(qd0)
        q, qd = q0 + qd0 * within - 0.5 * sign * rates * within**2, qd0 - sign * rates * within
        qdd = np.where(t[:, None] < ends, -sign * rates, 0.0)
        loads = part_load(swing.part, joint_motion(arm, t, q, qd, qdd), GRAVITY).T
        found = simulated(case, t, loads, case.load[:, sample])
        assert found <= use.high[0] * (1 + 2e-3)
        assert found >= max((0.9 if damping else 0.25) * use.high[0], 0.998 * use.low[0])
        if damping:
            assert found == pytest.approx(use.value[0], rel=2e-3)
