"""A program whose stops are looked at closely."""

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out


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
