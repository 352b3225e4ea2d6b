"""A program whose stops are looked at closely."""

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from support.stops import DOWN, EASY, slide


@pytest.fixture(scope="session")
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

    def retimed(start, rate, after):
        """Joint values of a stop along the path some time after its start: time runs slower and slower."""
        t = np.minimum(after, 1.0 / rate)
        s = 1.0 - rate * t
        q, qd, qdd = exact.at(np.array([start + t - rate * t**2 / 2]))
        return q[0], qd[0] * s, qdd[0] * s * s - rate * qd[0]

    make.exact, make.part, make.retimed = exact, part, retimed
    return make


@pytest.fixture
def small(monkeypatch):
    """Displacements count as small: a linear simulation knows nothing of large ones."""
    monkeypatch.setattr("gripmargin.checks.stop.use.DISPLACED", 0.0)


@pytest.fixture(scope="session")
def level(one_pad):
    """A part whose centre of mass is on the pad plane, moved level along x: pull and shear, no moment."""
    part = gm.Part(face="plane", rigid=True, mass=1.2, com=[0, 0, 0], inertia=[2e-3, 3e-3, 4e-3, 0, 0, 0])

    def make(stop, duration=0.8, travel=0.6, *, targets=EASY, **more):
        t = np.arange(0.0, duration + 0.2, 0.002)
        return gm.Job(
            name="level",
            trajectory=gm.PoseTrajectory(
                t=t, position=slide(t, duration, travel), rotation=np.broadcast_to(DOWN, (t.size, 3, 3))
            ),
            gripper=one_pad,
            part=part,
            stop=stop,
            targets=targets,
            **more,
        )

    return make


@pytest.fixture(scope="session")
def fast(arm, one_pad, plate, exact_moves):
    """A fast transfer of an arm, with exact rates."""
    exact = exact_moves(6, (0.2, 0.8, [0.8, 0.2, -0.3, 0.4, 0.1, -0.5]), (1.2, 0.5, [-0.5, 0.1, 0.2, 0.0, 0.3, 0.2]))

    def make(stop, *, rate=500, given="q qd qdd", targets=EASY, **more):
        t = np.arange(0.0, 1.9, 1.0 / rate)
        columns = dict(zip(given.split(), exact.at(t), strict=False))
        return gm.Job(
            name="fast",
            trajectory=gm.JointTrajectory(t=t, **columns),
            gripper=one_pad,
            part=plate(0.5, (0.01, 0.0, 0.02)),
            robot=arm,
            stop=stop,
            targets=targets,
            **more,
        )

    make.exact = exact
    return make
