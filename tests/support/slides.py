"""Slides and arms that carry a part, with pads made so that limits have closed forms."""

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

import gripmargin as gm
from gripmargin.workcell.job import JointLimits


@pytest.fixture(scope="session")
def even_film():
    """Pads that hold as much along as across."""

    def make(strength=5e4, *, pull=None, shear_stiffness=3.3e7):
        return gm.PadMaterial(
            pull_off_stress=pull or strength,
            shear_strength=strength,
            normal_stiffness=1e8,
            shear_stiffness=shear_stiffness,
        )

    return make


@pytest.fixture(scope="session")
def flat_part():
    """A part whose centre of mass lies in the pad plane: forces on it have no arm."""

    def make(mass, com=(0.0, 0.0, 0.0)):
        return gm.Part(face="plane", rigid=True, mass=mass, com=com, inertia=[1e-3, 1e-3, 2e-3, 0, 0, 0])

    return make


@pytest.fixture(scope="session")
def slide():
    """One prismatic joint along the world's x axis, or upwards; the tool points down."""

    def make(axis=(1.0, 0.0, 0.0)):
        return gm.chain_from_axes([np.eye(4)], [axis], [False], gm.pose(rpy=(np.pi, 0, 0)))

    return make


@pytest.fixture(scope="session")
def random_path_job(arm, even_film):
    """A six-axis arm with four pads on a smooth path through random joint positions, by a minimum-jerk law."""

    def make(seed, *, strength=1.2e4, speed=8.0, acceleration=80.0, duration=3.0, hold=2.0, jerk=None):
        random = np.random.default_rng(seed)
        points = random.uniform(-1, 1, (5, 6)) * np.array([1.2, 0.35, 0.35, 0.4, 0.4, 1.0])
        path = CubicSpline(np.linspace(0, 1, 5), points, bc_type="natural")
        t = np.arange(0, duration + 1e-9, 0.004)
        x = t / duration
        s = 10 * x**3 - 15 * x**4 + 6 * x**5
        sd = 30 * x**2 * (1 - x) ** 2 / duration
        sdd = 60 * x * (1 - x) * (1 - 2 * x) / duration**2
        first, second = path(s, 1), path(s, 2)
        pads = tuple(
            gm.Pad.rectangle(f"{a}", even_film(strength), [0.03, 0.03], gm.pose((x, y, 0)))
            for a, (x, y) in enumerate([(-0.05, -0.05), (0.05, -0.05), (0.05, 0.05), (-0.05, 0.05)])
        )
        return gm.Job(
            name=f"random {seed}",
            trajectory=gm.JointTrajectory(
                t=t, q=path(s), qd=first * sd[:, None], qdd=first * sdd[:, None] + second * sd[:, None] ** 2
            ),
            robot=arm,
            gripper=gm.Gripper(pads=pads),
            part=gm.Part(face="plane", rigid=True, mass=1.0, com=[0, 0, 0.004], inertia=[2e-3, 2e-3, 4e-3, 0, 0, 0]),
            targets=gm.Targets(hold=hold),
            joint_limits=JointLimits(
                speed=np.full(6, speed),
                acceleration=np.full(6, acceleration),
                jerk=None if jerk is None else np.full(6, jerk),
            ),
        )

    return make
