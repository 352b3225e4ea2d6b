"""Random programs of known laws with rates given, end to end: against the same program sampled every 0.1 ms."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.motion.interpolate import as_controller_moves
from gripmargin.motion.trajectory import Filling
from support.laws import LAWS, program, samples_of

DECIDED = 1.15  # times the target


@pytest.fixture(scope="module")
def margins(even_film):
    """Least values of hold and swing over their values for a program as it is, of a tool on three slides."""
    robot = gm.chain_from_axes([np.eye(4)] * 3, np.eye(3), [False] * 3, gm.pose(rpy=(np.pi, 0, 0)))

    def check(trajectory):
        report = gm.check(
            trajectory=trajectory,
            robot=robot,
            gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", even_film(), [0.05, 0.05]),)),
            part=gm.Part(face="plane", rigid=True, mass=1.0, com=[0.004, 0, 0.01], inertia=[1e-3, 1e-3, 2e-3, 0, 0, 0]),
            targets=gm.Targets(hold=0.1),
        )
        return {result.check: result for result in report.checks}

    return check


def trajectory(found, t):
    return gm.JointTrajectory(t, **dict(zip(("q", "qd", "qdd"), found.at(t), strict=True)))


def exact(found, first, last):
    """The program at all times at which it is looked at: nothing is to be put in."""
    t = found.dense(first, last)
    return replace(trajectory(found, t), filling=Filling(given=np.arange(t.size), missed=None))


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize(("step", "swing"), [(0.001, 0.98), (0.004, 0.98), (0.01, 0.9), (0.02, 0.9)])
def test_the_least_margin_is_not_above_the_true_one_and_decides(margins, law, step, swing):
    found = program(law, 7, moves=1)
    t = samples_of(found, 7, step)
    true, said = margins(exact(found, t[0], t[-1])), margins(trajectory(found, t))
    for name, least in (("hold", 1 / DECIDED), ("swing", swing)):
        assert said[name].low <= true[name].value * (1 + 1e-4)
        assert said[name].low >= least * true[name].value


@pytest.mark.parametrize("rates", ["q qd", "q qd qdd"])
@pytest.mark.parametrize("law", ["trapezoid", "minimum_jerk"])
def test_messages_of_points_are_decided(margins, law, rates):
    """Points every 20 ms of a trapezoid: jumps at the points are steps of the message, no doubt of it."""
    found = program(law, 3, moves=1)
    given = trajectory(found, np.arange(0.0, found.changes[-1], 0.02))
    message = as_controller_moves(given if "qdd" in rates else replace(given, qdd=None))
    said = margins(message)
    assert said["hold"].low > 0.99 * said["hold"].value
    assert said["swing"].low > 0.95 * said["swing"].value


@pytest.mark.parametrize("law", LAWS)
def test_coarse_samples_are_not_bad_input(margins, law):
    found = program(law, 11, moves=2)
    assert margins(trajectory(found, samples_of(found, 11, 0.05)))["hold"].value > 0
