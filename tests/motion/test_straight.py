"""Lines of the tool by joints, against Pinocchio; lines that an arm cannot follow."""

from pathlib import Path

import numpy as np
import pinocchio
import pytest
from scipy.spatial.transform import Rotation

from gripmargin.base.errors import InputError
from gripmargin.base.poses import pose
from gripmargin.files.urdf import read_urdf
from gripmargin.motion.chain import chain_from_axes
from gripmargin.motion.straight import ToolPath, followed, turn_between
from gripmargin.motion.tool_motion import joint_motion

URDF = Path(__file__).parents[2] / "trajectories" / "arm.urdf"
TOOL = pose((0.0, 0.0, 0.12))
ARM = read_urdf(URDF).mounted(tool=TOOL)
START = np.deg2rad([0.0, -10.0, 40.0, 20.0, 60.0, 10.0])


def standing(chain, q):
    still = np.zeros((1, chain.joints))
    at = joint_motion(chain, np.zeros(1), np.asarray(q)[None], still, still)
    out = np.eye(4)
    out[:3, :3], out[:3, 3] = at.rotation[0], at.position[0]
    return out


def line(chain, q, way, turn, n=60, time=0.8):
    """A line that starts and ends at rest (polynomial of degree five)."""
    s = np.linspace(0.0, 1.0, n)
    share = np.stack(
        [
            10 * s**3 - 15 * s**4 + 6 * s**5,
            30 * s**2 * (1 - s) ** 2 / time,
            60 * s * (1 - s) * (1 - 2 * s) / time**2,
        ]
    )
    path = ToolPath.standing(standing(chain, q), n)
    path.add(np.asarray(way), np.asarray(turn), share, slice(None))
    return path


def test_joints_of_a_line_by_pinocchio():
    path = line(ARM, START, [0.05, 0.22, -0.08], [0.1, -0.2, 0.6])
    q, qd, qdd = followed(ARM, START, path, "line")
    model = pinocchio.buildModelFromUrdf(str(URDF))
    flange = model.getFrameId("flange")
    tool = model.addFrame(
        pinocchio.Frame(
            "tool",
            model.frames[flange].parentJoint,
            model.frames[flange].placement * pinocchio.SE3(TOOL),
            pinocchio.OP_FRAME,
        )
    )
    data, world = model.createData(), pinocchio.LOCAL_WORLD_ALIGNED
    for i in range(0, len(q), 7):
        pinocchio.forwardKinematics(model, data, q[i], qd[i], qdd[i])
        place = pinocchio.updateFramePlacement(model, data, tool)
        assert place.translation == pytest.approx(path.position[i], abs=1e-9)
        assert place.rotation == pytest.approx(path.rotation[i], abs=1e-9)
        velocity = pinocchio.getFrameVelocity(model, data, tool, world).vector
        acceleration = pinocchio.getFrameClassicalAcceleration(model, data, tool, world).vector
        assert velocity == pytest.approx(path.velocity[i], abs=1e-9)
        assert acceleration == pytest.approx(path.acceleration[i], abs=1e-8)


def test_joint_rates_are_those_of_the_positions():
    n, time = 801, 0.8
    q, qd, qdd = followed(ARM, START, line(ARM, START, [0.0, 0.2, 0.1], [0.0, 0.0, 0.5], n, time), "line")
    h = time / (n - 1)
    assert np.abs((q[2:] - q[:-2]) / (2 * h) - qd[1:-1]).max() < 2e-5
    assert np.abs((qd[2:] - qd[:-2]) / (2 * h) - qdd[1:-1]).max() < 5e-4


def test_turns_that_add_up_have_the_rates_of_their_product():
    # finite differences of the rotation, by the logarithm
    t = np.linspace(0.0, 1.0, 2001)
    path = ToolPath.standing(np.eye(4), t.size)
    for turn, since in (([0.4, 0.0, 0.0], t), ([0.0, 0.0, 0.9], t - 0.3)):
        s = np.clip(since, 0.0, None)
        path.add(np.zeros(3), np.array(turn), np.stack([s**3, 3 * s**2, 6 * s]), slice(None))
    step = Rotation.from_matrix(path.rotation[2:] @ path.rotation[:-2].transpose(0, 2, 1)).as_rotvec()
    assert np.abs(step / (2 * t[1]) - path.velocity[1:-1, 3:]).max() < 2e-5
    change = (path.velocity[2:, 3:] - path.velocity[:-2, 3:]) / (2 * t[1])
    assert np.abs(change - path.acceleration[1:-1, 3:]).max() < 2e-3


def test_an_arm_with_fewer_joints_follows_what_it_can():
    # two slides: a plane
    gantry = chain_from_axes([np.eye(4)] * 2, [[1, 0, 0], [0, 1, 0]], [False, False], np.eye(4))
    path = line(gantry, [0.0, 0.0], [0.3, -0.4, 0.0], [0.0, 0.0, 0.0])
    q, qd, _ = followed(gantry, np.zeros(2), path, "line")
    assert q == pytest.approx(path.position[:, :2])
    assert qd == pytest.approx(path.velocity[:, :2])
    with pytest.raises(InputError, match="cannot follow"):
        followed(gantry, np.zeros(2), line(gantry, [0.0, 0.0], [0.0, 0.1, 0.1], [0.0, 0.0, 0.0]), "line")


def test_lines_that_cannot_be_followed_are_refused():
    with pytest.raises(InputError) as error:
        followed(ARM, START, line(ARM, START, [1.5, 0.0, 0.0], [0.0, 0.0, 0.0]), "points.csv, line 3")
    assert "points.csv, line 3: found a line that the arm cannot follow beyond" in str(error.value)
    assert "it runs out of reach or through a singularity" in str(error.value)
    axes = [[0, 0, 1], [0, 1, 0]] * 3 + [[0, 0, 1]]
    seven = chain_from_axes([pose((0.0, 0.0, 0.2))] * 7, axes, [True] * 7, np.eye(4))
    with pytest.raises(InputError, match="a line of an arm of 7 joints, expected at most 6"):
        followed(seven, np.zeros(7), line(seven, np.zeros(7), [0.1, 0, 0], [0, 0, 0]), "line")


@pytest.mark.parametrize(("time", "fits"), [(0.0974, False), (0.0990, True)])
def test_a_joint_faster_than_any_is_refused(time, fits):
    # a turn of the last joint by 120 deg: peak 15/8 of the mean speed, 40 rad/s in 15/8 * (2 pi / 3) / 40 = 0.0982 s
    path = line(ARM, START, [0.0, 0.0, 0.0], standing(ARM, START)[:3, 2] * np.deg2rad(120.0), 61, time)
    if fits:
        assert np.abs(followed(ARM, START, path, "line")[1]).max() == pytest.approx(40.0, rel=0.02)
    else:
        with pytest.raises(
            InputError, match=r"joint 6 at 2\d\d\d deg/s, 50 % of the time along the line, expected at most 2292"
        ):
            followed(ARM, START, path, "line")


@pytest.mark.parametrize(("angle", "fits"), [(178.5, True), (179.5, False)])
def test_half_a_turn_has_no_way_round(angle, fits):
    second = Rotation.from_rotvec([0.0, np.deg2rad(angle), 0.0]).as_matrix()
    if fits:
        assert turn_between(np.eye(3), second, "line") == pytest.approx([0.0, np.deg2rad(angle), 0.0])
    else:
        with pytest.raises(InputError, match="put a way point between that says which way round"):
            turn_between(np.eye(3), second, "line")
