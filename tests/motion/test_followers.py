"""Joints that follow others, against the law of a parallelogram: the second one turns back what the first one turns."""

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.base.errors import InputError
from gripmargin.motion.chain import Chain
from gripmargin.motion.followers import completed, joint_counts
from gripmargin.motion.tool_motion import joint_motion

T = np.linspace(0, 1, 5)
Q = np.column_stack([np.sin(T), 0.3 + 0.5 * T**2])


def palletizer(leader="shoulder"):
    """Shoulder, a level arm that follows it, and a quill; lengths 0.4 m and 0.3 m."""
    text = f"""<robot name="p"><link name="a"/><link name="b"/><link name="c"/><link name="tool0"/><link name="f"/>
      <joint name="shoulder" type="revolute"><parent link="a"/><child link="b"/><axis xyz="0 1 0"/></joint>
      <joint name="level" type="revolute"><origin xyz="0.4 0 0"/><parent link="b"/><child link="c"/><axis xyz="0 1 0"/>
        <mimic joint="{leader}" multiplier="-1" offset="0.1"/></joint>
      <joint name="quill" type="prismatic"><origin xyz="0.3 0 0"/><parent link="c"/><child link="tool0"/>
        <axis xyz="0 0 -1"/></joint>
      <joint name="other" type="revolute"><parent link="a"/><child link="f"/><axis xyz="0 0 1"/></joint></robot>"""
    from gripmargin.files.urdf import urdf_chain

    return urdf_chain(text, source="p")


def test_the_arm_stays_level_and_the_rates_follow():
    robot = palletizer()
    given = gm.JointTrajectory(t=T, q=Q, qd=np.ones_like(Q), qdd=2 * np.ones_like(Q), names=("shoulder", "quill"))
    whole = completed(given, robot).in_order_of(robot.names)
    np.testing.assert_allclose(whole.q[:, 1], 0.1 - Q[:, 0], rtol=0, atol=1e-15)
    np.testing.assert_array_equal(whole.qd[:, 1], -1.0)
    np.testing.assert_array_equal(whole.qdd[:, 1], -2.0)
    motion = joint_motion(robot, T, whole.q, whole.qd, whole.qdd)
    lean = np.arccos(motion.rotation[:, 2, 2])
    np.testing.assert_allclose(lean, 0.1, rtol=0, atol=1e-12)
    assert whole.notes[-1] == "The joint 'level' follows 'shoulder' (-1 times it and 0.1 more): it is worked out."


def test_columns_without_names_leave_it_out_or_have_it():
    robot = palletizer()
    assert joint_counts(robot) == (3, 2)
    np.testing.assert_array_equal(completed(gm.JointTrajectory(t=T, q=Q), robot).q[:, 1], 0.1 - Q[:, 0])
    three = np.column_stack([Q[:, 0], Q[:, 0], Q[:, 1]])
    assert completed(gm.JointTrajectory(t=T, q=three), robot).q is not None
    np.testing.assert_array_equal(completed(gm.JointTrajectory(t=T, q=three), robot).q, three)


def test_a_value_of_its_own_counts():
    robot = palletizer()
    three = np.column_stack([Q[:, 0], np.zeros(T.size), Q[:, 1]])
    given = gm.JointTrajectory(t=T, q=three, names=robot.names)
    assert completed(given, robot) is given


def test_the_other_joint_may_be_none_of_the_chain():
    robot = palletizer("other")
    assert joint_counts(robot) == (3,)
    named = np.column_stack([Q, np.cos(T)])
    whole = completed(gm.JointTrajectory(t=T, q=named, names=("shoulder", "quill", "other")), robot)
    np.testing.assert_array_equal(whole.in_order_of(robot.names).q[:, 1], 0.1 - np.cos(T))
    with pytest.raises(InputError, match="expected the joint 'other', which 'level' follows"):
        completed(gm.JointTrajectory(t=T, q=Q, names=("shoulder", "quill")), robot)


def test_a_chain_without_them_leaves_all_as_it_is():
    robot = Chain(links=np.stack([np.eye(4)] * 2), revolute=(True,))
    given = gm.JointTrajectory(t=T, q=Q)
    assert completed(given, robot) is given
    assert joint_counts(robot) == (1,)
