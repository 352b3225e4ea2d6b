"""Rests and landings of programs whose moves are given: straight lines of the tool with their times."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.motion.landings import NEAR, Structure, lands_on

DOWN = gm.pose(rpy=(np.pi, 0.0, 0.0))[:3, :3]
OVER, PICK, NEST = (0.0, 0.0, 0.1), (0.0, 0.0, 0.0), (0.5, 0.0, 0.02)
CYCLE = [  # seconds, where the tool is then [m], lean and turn of the tool [rad]
    (0.0, OVER),
    (1.0, PICK),
    (1.5, PICK),
    (2.5, OVER),
    (3.5, (0.5, 0.0, 0.1)),
    (4.5, NEST),
    (5.0, NEST),
    (6.0, (0.5, 0.0, 0.1)),
]


def program(way=CYCLE, tilt=(), noise=0.0):
    """Smooth from place to place (3 s^2 - 2 s^3, at rest in each), 250 Hz; tilt: times, lean and turn then [rad]."""
    times, places = [row[0] for row in way], np.array([row[1] for row in way])
    t = np.arange(0.0, times[-1] + 1e-9, 0.004)
    leg = np.clip(np.searchsorted(times, t, side="right") - 1, 0, len(times) - 2)
    share = (t - np.take(times, leg)) / np.take(np.diff(times), leg)
    share = (3 * share**2 - 2 * share**3)[:, None]
    position = places[leg] * (1 - share) + places[leg + 1] * share
    position += noise * np.random.default_rng(1).normal(size=position.shape)
    angles = np.zeros((t.size, 3))
    if tilt:
        at, lean, turn = np.transpose(tilt)
        angles[:, 0], angles[:, 2] = np.interp(t, at, lean), np.interp(t, at, turn)
    rotation = np.stack([DOWN @ gm.pose(rpy=each)[:3, :3] for each in angles])
    return gm.PoseTrajectory(t=t, position=position, rotation=rotation)


def landings(made):
    """Times of near, of the first and last rest's ends, and of gone."""
    found = Structure.of(made, None).landings
    samples = [(each.near, each.rests[0].first, each.rests[-1].last, each.gone) for each in found]
    return [np.take(made.t, each) for each in samples], [each.release for each in found]


@pytest.mark.parametrize("noise", [0.0, 3e-6])
def test_where_it_comes_down_rests_and_leaves(noise):
    """The share at which 100 mm are left but for 5 mm solves 3 s^2 - 2 s^3 = 0.95: s = 0.8647, of the 80 mm 0.8480."""
    times, ways = landings(program(noise=noise))
    np.testing.assert_allclose(times[0], [0.865, 1.0, 1.5, 1.635], atol=0.03)
    np.testing.assert_allclose(times[1], [4.348, 4.5, 5.0, 5.152], atol=0.03)
    assert ways == [None, None]


@pytest.mark.parametrize(
    ("axis", "turned"),
    [
        ("level", gm.pose(rpy=(0.0, np.pi / 2, 0.3))[:3, :3]),
        ("up", gm.pose(rpy=(0.4, 0.2, 0.3))[:3, :3]),
    ],
)
def test_down_is_along_the_tool_whatever_the_world(axis, turned):
    """The same cycle seen in another world frame."""
    made = program()
    spin = turned @ DOWN.T
    other = replace(made, position=made.position @ spin.T, rotation=spin @ made.rotation)
    np.testing.assert_array_equal(np.array(landings(other)[0]), np.array(landings(made)[0]), err_msg=axis)


def test_rests_that_are_no_landings():
    """Above the part, at a corner of the way, beside a wall, and where the tool comes down and goes on down."""
    way = [(0, OVER), (1, (0.0, 0.0, 0.05)), (2, (0.0, 0.0, 0.05)), (3, (0.0, 0.0, 0.0)), (4, (0.3, 0.0, 0.0))]
    assert landings(program([*way, (5, (0.3, 0.0, 0.0)), (6, (0.6, 0.0, 0.1))]))[0] == []
    assert landings(program([*CYCLE[:3]]))[0] == []  # it does not leave


def test_a_touch_without_a_wait_is_one():
    times, _ = landings(program([(0, OVER), (1, PICK), (2, OVER)]))
    np.testing.assert_allclose(times[0], [0.865, 1.0, 1.0, 1.135], atol=0.02)


@pytest.mark.parametrize(
    ("slide", "lean", "turn", "way"),
    [
        (0.0, 0.0, 1.5, "torsion"),
        (0.0, 1.5, 0.0, "peel"),
        (1.5e-3, 0.0, 0.0, "shear"),
        (0.6e-3, 0.0, 0.0, None),
        (0.0, 0.6, 0.6, None),
    ],
)
def test_how_it_lets_go(slide, lean, turn, way):
    """The limits are 1 degree and 1 mm: half as much again counts, 0.6 of it does not."""
    moved = (0.5 + slide, 0.0, 0.02)
    made = program(
        [*CYCLE[:7], (5.5, moved), (5.7, moved), (6.7, (0.5, 0.0, 0.1))],
        tilt=[(0, 0, 0), (5.0, 0, 0), (5.5, np.deg2rad(lean), np.deg2rad(turn)), (7, 0, 0)],
    )
    assert landings(made)[1] == [None, way]


@pytest.mark.parametrize(("share", "found"), [(1.4, 1), (0.6, 0)])
def test_how_straight_it_has_to_come_down(share, found):
    """Sideways and back up, from a height of 1.4 and 0.6 of what counts as near."""
    height = (0.0, 0.0, share * NEAR)
    way = [(0, (0.3, 0.0, share * NEAR)), (1, height), (1.5, PICK), (2, PICK), (3, OVER)]
    assert len(landings(program(way))[0]) == found


def test_how_long_and_how_far_a_rest_is():
    """At 1 mm/s a tool is within 0.05 mm of a place for 0.1 s; it turns at 0.03 rad/s: no rest, at 0.015 it is one."""
    t = np.arange(0.0, 1.0, 0.004)
    slow = gm.PoseTrajectory(t=t, position=1e-3 * t[:, None] * [[1.0, 0.0, 0.0]], rotation=[DOWN] * t.size)
    (rest,) = Structure.of(slow, None).rests
    sides = (rest.first > 0) + (rest.last < t.size - 1)
    assert t[rest.last] - t[rest.first] == pytest.approx(0.05 * sides, abs=0.01)
    for rate, rests in ((0.03, 0), (0.015, 1)):
        turned = np.stack([DOWN @ gm.pose(rpy=(0.0, 0.0, rate * each))[:3, :3] for each in t])
        made = gm.PoseTrajectory(t=t, position=np.zeros((t.size, 3)), rotation=turned)
        assert len(Structure.of(made, None).rests) == rests


@pytest.mark.parametrize(("pause", "waits"), [(0.04, 0), (0.10, 1)])
def test_a_wait_is_a_rest_of_a_tenth_of_a_second(pause, waits):
    """The moves before and after are within 0.05 mm for 0.013 s: 3 s^2 100 mm = 0.05 mm."""
    made = program([(0, OVER), (1, PICK), (1 + pause, PICK), (2 + pause, OVER)])
    assert len(Structure.of(made, None).waits(made.t)) == waits


def test_a_joint_program_needs_its_robot():
    made = gm.JointTrajectory(t=[0.0, 1.0], q=[[0.0], [1.0]])
    with pytest.raises(gm.InputError, match="without a robot"):
        Structure.of(made, None)


def dipped(*, depth=1e-4, above=0.01, drift=0.0, lean=0.0, away=2.0):
    """A tool that comes down to a plane far from its origin and goes back up, while it drifts along it [m/s]."""
    t = np.linspace(0.0, 2.0, 401)
    wave = 0.5 * (1.0 + np.cos(np.pi * t))
    speed = 0.5 * np.pi * (above + depth) * np.sin(np.pi * t)
    return SimpleNamespace(
        position=np.column_stack([away + drift * t, 0 * t, (above + depth) * wave - depth]),
        velocity=np.column_stack([np.full_like(t, drift), 0 * t, -speed]),
        rotation=np.broadcast_to(DOWN @ gm.pose(rpy=(lean, 0.0, 0.0))[:3, :3], (t.size, 3, 3)),
    )


@pytest.mark.parametrize(
    ("change", "lands"),
    [
        ({}, True),
        ({"depth": -1e-4}, False),
        ({"depth": 2.8e-3}, True),
        ({"depth": 3.2e-3}, False),  # deeper than a press: it passes through
        ({"depth": 3.2e-3, "away": 0.05}, True),  # but for where the face is
        ({"above": 2.8e-3}, False),  # it has not been above
        ({"above": 3.2e-3}, True),
        ({"drift": 0.7e-3}, True),
        ({"drift": 0.9e-3}, False),  # of a highest speed of 16 mm/s: it neither rests nor turns back
        ({"lean": np.deg2rad(40.0)}, True),
        ({"lean": np.deg2rad(50.0)}, False),  # it looks elsewhere
    ],
)
def test_where_a_tool_comes_down_to_a_plane(change, lands):
    found = lands_on(dipped(**change), np.zeros(3), np.eye(4), 0.1, 3e-3)
    assert (found is not None) == lands
