"""Robot descriptions that nobody here wrote: three ends of each, their poses and the load there against Pinocchio.

They are those of the package example-robot-data (BSD 2-clause, github.com/Gepetto/example-robot-data), which has the
sources and licences of each, and of the package rtb-data (MIT).
"""

import importlib.util
import re
from pathlib import Path

import numpy as np
import pinocchio as pin
import pytest

from gripmargin.base.errors import RobotError
from gripmargin.contact.loads import part_load
from gripmargin.files.urdf import read_urdf
from gripmargin.motion.tool_motion import joint_motion

TOLERANCE = 1e-9
GRAVITY = np.array([0.4, -0.3, -9.75])
PACKAGE = Path(pin.__file__).parents[4] / "share/example-robot-data/robots"
TOOLBOX = Path(importlib.util.find_spec("rtbdata").submodule_search_locations[0]) / "xacro"
FILES = sorted(path for root in (PACKAGE, TOOLBOX) for path in root.rglob("*.urdf"))

REFUSED = {
    "quadrotor_base": "no moving joint",
    "iris_simple": "no moving joint",
    "ur3": "a robot without links",
}
BROKEN, HAND = "alex_psyonic_hands", ("Left_", "Right_")  # its fingers follow joints that it does not have
READ_AS_THEY_ARE = {
    *("TwoDofs", "borinot_flying_arm_2", "double_pendulum", "double_pendulum_continuous", "double_pendulum_simple"),
    *("finger_edu", "hextilt_flying_arm_5", "so100", "xarm7", "z1", "al5d_robot", "irb140", "irb140QT", "kr16_2"),
    *("kr120r2500pro", "lbr_iiwa_14_r820", "puma560_robot"),
}
BY_THE_LINK_FOR_TOOLS = {
    *("ur3_gripper", "ur3_joint_limited_robot", "ur3_robot", "ur5_gripper", "ur5_joint_limited_robot", "ur5_robot"),
    *("ur10_joint_limited_robot", "ur10_robot", "kr210l150"),
}


def ends_of(model):
    """Links that joints move and that carry no other link."""
    parents = {model.frames[frame.parentFrame].parentFrame for frame in model.frames if frame.type == pin.BODY}
    return [
        frame.name
        for i, frame in enumerate(model.frames)
        if frame.type == pin.BODY and frame.parentJoint > 0 and i not in parents
    ]


def load_by_pinocchio(model, chain, part, rates, link):
    """Pose of a link, and the wrench there of a part on it, in its axes: Newton and Euler by spatial algebra."""
    q, qd, qdd = pin.neutral(model), np.zeros(model.nv), np.zeros(model.nv)
    for name, *values in zip(chain.names, *rates, strict=True):
        joint = model.joints[model.getJointId(name)]
        q[joint.idx_q : joint.idx_q + joint.nq] = [np.cos(values[0]), np.sin(values[0])] if joint.nq == 2 else values[0]
        qd[joint.idx_v], qdd[joint.idx_v] = values[1:]
    data, frame = model.createData(), model.getFrameId(link)
    pin.forwardKinematics(model, data, q, qd, qdd)
    place = pin.updateFramePlacement(model, data, frame)
    velocity = pin.getFrameVelocity(model, data, frame, pin.LOCAL)
    acceleration = pin.getFrameAcceleration(model, data, frame, pin.LOCAL)
    acceleration.linear -= place.rotation.T @ GRAVITY
    body = pin.Inertia(part.mass, part.com.copy(), part.inertia.copy())
    return place, -(body * acceleration + body.vxiv(velocity)).vector


def test_they_are_more_than_sixty():
    assert len(FILES) - len(REFUSED) >= 60


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_kinematics_and_load_at_the_ends_are_those_of_pinocchio(file, random_part):
    if file.stem in REFUSED:
        with pytest.raises(RobotError, match=REFUSED[file.stem]):
            read_urdf(file)
        return
    random = np.random.default_rng(11)
    part = random_part(random)
    model = pin.buildModelFromUrdf(str(file))
    ends = [link for link in ends_of(model) if not (file.stem == BROKEN and link.startswith(HAND))]
    for link in {ends[0], ends[len(ends) // 2], ends[-1]}:
        chain = read_urdf(file, end_link=link)
        rates = [random.normal(size=chain.joints) * size for size in (1.5, 2.0, 10.0)]
        motion = joint_motion(chain, np.zeros(1), *(each[None] for each in rates))
        place, load = load_by_pinocchio(model, chain, part, rates, link)
        np.testing.assert_allclose(motion.rotation[0], place.rotation, rtol=0, atol=TOLERANCE)
        np.testing.assert_allclose(motion.position[0], place.translation, rtol=0, atol=TOLERANCE)
        found = part_load(part, motion, GRAVITY)[:, 0]
        for of in (slice(3), slice(3, 6)):
            np.testing.assert_allclose(found[of], load[of], rtol=0, atol=TOLERANCE * np.abs(load[of]).max())


def test_fingers_that_follow_joints_of_no_name_are_refused():
    (file,) = (path for path in FILES if path.stem == BROKEN)
    ends = [link for link in ends_of(pin.buildModelFromUrdf(str(file))) if link.startswith(HAND)]
    assert len(ends) == 10
    with pytest.raises(RobotError, match=r"<mimic> of the joint 'index_q1', expected a joint of this file that moves"):
        read_urdf(file, end_link=next(link for link in ends if "index" in link))


def test_which_are_read_without_naming_the_end():
    """All others have several ends, none of which is the one that is meant for tools; they are listed."""
    read, chosen, refused = set(), set(), {}
    for file in FILES:
        try:
            notes = read_urdf(file).notes
        except RobotError as error:
            refused[file.stem] = error.found
            continue
        by_link = any("'tool0' (robot.end_link chooses)" in note for note in notes)
        (chosen if by_link else read).add(file.stem)
    assert read == READ_AS_THEY_ARE
    assert chosen == BY_THE_LINK_FOR_TOOLS
    assert {stem for stem, found in refused.items() if not re.match(r"\d+ end links \(", found)} == {*REFUSED}
