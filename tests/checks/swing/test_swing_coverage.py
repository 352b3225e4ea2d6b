"""How often the interval of the swing holds the true margin, for random programs seen in four ways.

The truth is another's: the exact motion at 0.25 ms, and Newton's equations of the part on its pads in state space,
solved by scipy (lsim, exact for loads that are straight between instants).
"""

from functools import cache

import numpy as np
import pytest
from scipy.signal import StateSpace, lsim

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.swing import use
from gripmargin.checks.swing.sway import Sway
from gripmargin.contact.loads import part_load
from gripmargin.kernels.wrench import mass_matrix
from gripmargin.motion.tool_motion import joint_motion

GRAVITY = np.array([0.0, 0.0, -9.80665])
DENSE = 2.5e-4
CASES = 30
WIDEST = {"rates": 0.05, "rounded": 0.05, "noisy": 0.3, "speeds": 0.05}  # medians, over the true margin


def moves(random):
    """Joint values, speeds and accelerations at given times: two moves, and their end."""
    kind, time, ramp = (
        random.choice(["trapezoid", "quintic"], 2),
        random.uniform(0.25, 0.6, 2),
        random.uniform(0.1, 0.45),
    )
    starts = np.array([0.05, 0.05 + time[0] + random.choice([0.0, 0.08])])
    way = random.uniform(-0.4, 0.4, (2, 6)) * random.integers(0, 2, (2, 6))
    way[:, 0] += 0.3

    def at(t):
        q, qd, qdd = np.tile([0.2, -0.3, 0.4, 0.1, 0.6, 0.0], (t.size, 1)), *np.zeros((2, t.size, 6))
        for law, start, span, far in zip(kind, starts, time, way, strict=True):
            x = np.clip((t - start) / span, 0, 1)[:, None]
            inside = (x > 0) & (x < 1)
            if law == "quintic":
                shape = 10 * x**3 - 15 * x**4 + 6 * x**5, 30 * x**2 * (1 - x) ** 2, 60 * x * (1 - x) * (1 - 2 * x)
            else:
                a, late = 1 / (ramp * (1 - ramp)), 1 - x
                on, off = x < ramp, late < ramp
                shape = (
                    np.where(on, a * x**2 / 2, np.where(off, 1 - a * late**2 / 2, a * ramp * (x - ramp / 2))),
                    np.where(on, a * x, np.where(off, a * late, a * ramp)),
                    np.where(on, a, np.where(off, -a, 0.0)) * inside,
                )
            q, qd, qdd = q + shape[0] * far, qd + shape[1] * far / span, qdd + shape[2] * far / span**2
        return q, qd, qdd

    return at, float(starts[1] + time[1]) + 0.15


def true_margin(case, t, load, damping):
    k, part = case.whole.stiffness, case.job.part
    mass = mass_matrix(part.mass, part.com, part.inertia)
    values, vectors = np.linalg.eig(np.linalg.solve(mass, k))
    damper = mass @ (vectors @ np.diag(2 * damping * np.sqrt(values.real)) @ np.linalg.inv(vectors)).real
    inverse, zero = np.linalg.inv(mass), np.zeros((6, 6))
    system = StateSpace(
        np.block([[zero, np.eye(6)], [-inverse @ k, -inverse @ damper]]),
        np.vstack([zero, inverse]),
        np.hstack([k, zero]),
        zero,
    )
    carried = lsim(system, load.T, t, X0=np.concatenate([np.linalg.solve(k, load[:, 0]), np.zeros(6)]))[1]
    t1, t2, s = case.grip.face.maps @ carried.T
    return float(1.0 / np.sqrt(t1**2 + t2**2 + np.maximum(s, 0) ** 2).max())


def seen(data, random, at, end):
    step = 0.004 if data == "rates" else float(random.choice([0.002, 0.004]))
    t = np.arange(random.uniform(0, 0.004), end, step)
    q, qd, qdd = at(t)
    if data == "rates":
        return gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd)
    if data == "speeds":
        return gm.JointTrajectory(t=t, q=np.round(q, 6), qd=qd)
    noise = 1e-5 * random.normal(size=q.shape) if data == "noisy" else 0.0
    return gm.JointTrajectory(t=t, q=np.round(q + noise, 6))


@cache
def outcomes(data):
    out = []
    for seed in range(CASES):
        random = np.random.default_rng([seed, list(WIDEST).index(data)])
        at, end = moves(random)
        mass, half, size = 10 ** random.uniform(-1, 0.3), random.uniform(0.03, 0.1), random.uniform(0.02, 0.06)
        moment, damping = mass * half**2 / 3, float(random.choice([0.0, 0.02, 0.1]))
        stiff = mass * (2 * np.pi * 10 ** random.uniform(0.9, 2.0)) ** 2 / size**2
        film = gm.PadMaterial(
            pull_off_stress=5e4,
            shear_strength=5e4,
            normal_stiffness=stiff,
            shear_stiffness=stiff / 3,
            damping_ratio=damping,
        )
        job = gm.Job(
            name="known",
            trajectory=seen(data, random, at, end),
            gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [size, size]),)),
            part=gm.Part(
                face="plane",
                rigid=True,
                mass=mass,
                com=[0.01, -0.01, 0.03],
                inertia=[moment, moment, 2 * moment, 0, 0, 0],
            ),
            robot=outcomes.arm,
            targets=gm.Targets(swing=1e-3),  # not short of it: the pads are not followed beyond the first peel
        )
        case = work_out(job)
        fine = np.arange(0.0, end, DENSE)
        motion = joint_motion(job.robot, fine, *at(fine))
        truth = true_margin(case, fine, part_load(job.part, motion, GRAVITY), damping)
        found = use.swing_use(case).use
        out.append((float(1.0 / found.high.max()), truth, float(1.0 / found.low.max())))
    return np.array(out)


def in_place(case, stretch, face, followed, steps):
    """No swing out of place: the truth here is linear, that of large swings is in `test_sway`."""
    return Sway(more=0.0, angle=0.0, way=0.0, known=np.ones(stretch.t.size, dtype=bool))


@pytest.fixture(scope="module", autouse=True)
def robot(arm):
    outcomes.arm = arm
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(use, "sway_of", in_place)
        yield


@pytest.mark.parametrize("data", WIDEST)
def test_the_interval_holds_the_true_margin_and_is_of_use(data):
    low, truth, high = outcomes(data).T
    assert np.mean((low <= truth * 1.005) & (truth * 0.995 <= high)) >= 0.95
    assert (low / truth).max() <= 1.03  # and what lies outside is close by
    assert np.median((high - low) / truth) < WIDEST[data]
