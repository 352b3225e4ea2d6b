"""What a program of way points has to keep."""

import numpy as np
import pytest

from gripmargin.base.errors import InputError
from gripmargin.base.poses import pose
from gripmargin.motion.waypoints import MOST, Waypoint, Waypoints

START = Waypoint(q=[0.0, 0.0])
NEXT = Waypoint(q=[1.0, 0.0], kind="joint", turn_speed=1.0, turn_acceleration=2.0)


def test_moves_without_a_label_are_numbered():
    found = Waypoints((START, NEXT, Waypoint(q=[0.0, 0.0], kind="joint", move="back")))
    assert [point.move for point in found.points] == ["", "move 1", "back"]
    assert found.q.tolist() == [[0.0, 0.0], [1.0, 0.0], [0.0, 0.0]]
    assert not found.blends


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({}, "way point: found neither joint values nor a pose, expected one of the two"),
        ({"q": [0.0], "pose": np.eye(4)}, "way point: found joint values and a pose, expected one of the two"),
        ({"q": []}, "way point q: found no joint values, expected at least one"),
        ({"q": [np.nan]}, "way point q[0]: found nan, expected a finite number; remove or repair it"),
        ({"q": [0.0], "kind": "arc"}, "way point kind: found 'arc', expected 'joint' or 'line'"),
        ({"q": [0.0], "speed": 0.0}, "way point speed: found 0.0, expected a number above 0"),
        ({"q": [0.0], "turn_jerk": np.inf}, "way point turn_jerk: found inf, expected a number above 0"),
        ({"q": [0.0], "speed": 1e-318}, "way point speed: found 1e-318, expected from 1e-09 to 10000; check its unit"),
        (
            {"q": [0.0], "wait": 1e10},
            "way point wait: found 10000000000.0, expected from 1e-09 to 1e+09; check its unit",
        ),
        ({"q": [0.0], "wait": -1.0}, "way point wait: found -1.0, expected a number of 0 or more"),
        (
            {"q": [0.0], "wait": 1.0, "blend": 0.01},
            "way point: found a blend where the robot waits, expected a blend or a wait; leave one of the two out",
        ),
    ],
)
def test_a_way_point_that_is_none(given, says):
    with pytest.raises(InputError) as error:
        Waypoint(**given)
    assert str(error.value) == says


@pytest.mark.parametrize(
    ("points", "says"),
    [
        ([START], "way points: found 1 way point, expected from 2 to 2000: where the program starts, and where each"),
        ([START, 3], "way points points[1]: found 3, expected a Waypoint"),
        ([START] + [NEXT] * MOST, "way points: found 2001 way points, expected from 2 to 2000"),
        (
            [START, Waypoint(q=[0.0], kind="joint")],
            "way points[1]: found 1 joint values, expected 2 joint values, as in",
        ),
        ([START, Waypoint(pose=np.eye(4), kind="line")], "way points[1]: found a pose, expected 2 joint values, as in"),
        ([NEXT, NEXT], "way points[0]: found a joint move, expected where the program starts; put a row before it"),
        ([START, START], "way points[1]: found no kind of move, expected joint or line"),
        (
            [Waypoint(pose=np.eye(4)), Waypoint(pose=pose((1.0, 0.0, 0.0)), kind="joint")],
            "way points[1]: found a joint move to a pose, expected joint values, or a line; give its joint values",
        ),
        (
            [START, Waypoint(q=[1.0, 0.0], kind="joint", turn_blend=0.1)],
            "way points[1]: found a blend where no move follows, expected none; leave it out",
        ),
    ],
)
def test_way_points_that_are_no_program(points, says):
    with pytest.raises(InputError) as error:
        Waypoints(tuple(points))
    assert str(error.value).startswith(says)
