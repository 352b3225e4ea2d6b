"""Robots that somebody has built with the toolbox into chains, against its own forward kinematics."""

import sys

import numpy as np
import pinocchio
import pytest
import roboticstoolbox as rtb
from roboticstoolbox.models.URDF.URDFRobot import URDF_read, URDFRobot
from spatialmath import SE3

import gripmargin as gm
from gripmargin.base.errors import RobotError
from gripmargin.files.robots import robot_chain, toolbox_chain
from gripmargin.files.urdf import read_urdf
from support.chains import BY_FILE, TOLERANCE, assert_agrees, end_pose


def random_dh_robot(random):
    links = []
    for _ in range(int(random.integers(1, 8))):
        kind = [rtb.RevoluteDH, rtb.RevoluteMDH, rtb.PrismaticDH, rtb.PrismaticMDH][random.integers(4)]
        turns = kind in (rtb.RevoluteDH, rtb.RevoluteMDH)
        links.append(
            kind(
                a=random.uniform(-1, 1),
                alpha=random.uniform(-3, 3),
                offset=random.uniform(-2, 2),
                flip=bool(random.integers(2)),
                **({"d": random.uniform(-1, 1)} if turns else {"theta": random.uniform(-3, 3)}),
            )
        )
    standard = links[0].mdh
    links = [link for link in links if link.mdh == standard]
    return rtb.DHRobot(
        links, base=SE3.Rand() if random.integers(2) else None, tool=SE3.Rand() if random.integers(2) else None
    )


class TestLiveRobots:
    def test_dh_standard_and_modified_with_offset_flip_base_and_tool(self):
        random = np.random.default_rng(11)
        kinds = set()
        for _ in range(60):
            robot = random_dh_robot(random)
            assert_agrees(robot_chain(robot), robot.fkine)
            kinds |= {(link.mdh, link.sigma, link.isflip) for link in robot.links}
        assert len(kinds) == 8

    def test_sequence_of_transforms(self):
        ets = rtb.ETS(
            [
                rtb.ET.tx(0.3),
                rtb.ET.Rx(flip=True, qlim=[-1, 2]),
                rtb.ET.ty(qlim=[0, 0.5]),
                rtb.ET.Ry(0.4),
                rtb.ET.tz(flip=True),
                rtb.ET.Rz(),
                rtb.ET.SE3(SE3.RPY(0.1, 0.2, 0.3) * SE3(1, 2, 3)),
            ]
        )
        chain = robot_chain(ets)
        assert chain.revolute == (True, False, False, True)
        np.testing.assert_array_equal(chain.lower, [-1, 0, -np.inf, -np.inf])
        np.testing.assert_array_equal(chain.upper, [2, 0.5, np.inf, np.inf])
        assert_agrees(chain, ets.fkine)

    def test_joint_offset_of_a_transform(self):
        turn, slide = rtb.ET.Ry(flip=True), rtb.ET.tx()
        turn.offset, slide.offset = 0.7, -0.2
        ets = turn * rtb.ET.tz(0.5) * slide
        assert_agrees(robot_chain(ets), ets.fkine)

    def test_erobot_with_base_tool_and_joint_names(self):
        first = rtb.Link(rtb.ETS([rtb.ET.tz(0.4), rtb.ET.Rz()]), name="one", joint_name="waist", qlim=[-1, 1])
        second = rtb.Link(rtb.ETS([rtb.ET.tx(0.3), rtb.ET.tx()]), name="two", parent=first)
        robot = rtb.ERobot([first, second], base=SE3.Rx(0.3), tool=SE3(0, 0.1, 0.2))
        chain = robot_chain(robot)
        assert chain.names == ("waist", "")
        assert (chain.lower[0], chain.upper[0]) == (-1, 1)
        assert chain.source == "robot 'ERobot', with its own base and tool, to link 'two'"
        assert_agrees(chain, robot.fkine)
        assert robot_chain(robot, end="one").joints == 1

    def test_product_of_exponentials(self):
        robot = rtb.PoERobot(
            [rtb.PoERevolute([0, 0, 1], [0, 0, 0]), rtb.PoERevolute([0, 1, 0], [0.5, 0, 0.2])], SE3(2, 0, 0.1)
        )
        assert_agrees(robot_chain(robot), robot.fkine)

    def test_the_default_end_is_the_only_gripper_with_its_tool(self):
        robot = rtb.models.URDF.Panda()
        chain = robot_chain(robot)
        assert chain.names == tuple(f"panda_joint{i}" for i in range(1, 8))
        assert_agrees(chain, robot.fkine)
        hand = robot_chain(robot, end="panda_hand")
        assert_agrees(hand, lambda q: robot.fkine(q, end="panda_hand"))
        np.testing.assert_allclose(np.linalg.inv(hand.links[-1]) @ chain.links[-1], SE3(0, 0, 0.1034).A, atol=1e-12)

    def test_base_and_tool_of_a_robot_from_a_urdf_file(self):
        robot = rtb.models.URDF.Puma560()
        robot.base, robot.tool = SE3(0.1, 0.2, 0.3) * SE3.Ry(0.4), SE3(0, 0, 0.1)
        assert_agrees(robot_chain(robot), robot.fkine)

    def test_limits_are_those_of_the_links_and_never_made_up(self):
        robot = rtb.models.DH.Puma560()
        np.testing.assert_array_equal(robot_chain(robot).lower, robot.qlim[0])
        np.testing.assert_array_equal(robot_chain(robot).upper, robot.qlim[1])
        # Without limits the toolbox reports half a turn each way.
        assert np.isinf(robot_chain(rtb.DHRobot([rtb.RevoluteDH(a=1)])).upper).all()


SKEW = """<robot name="r"><link name="a"/><link name="b"/><link name="c"/>
<joint name="j1" type="revolute"><parent link="a"/><child link="b"/><axis xyz="{axis}"/>
<limit lower="-1" upper="1" effort="1" velocity="1"/></joint>
<joint name="j2" type="prismatic"><parent link="b"/><child link="c"/><origin xyz="1 2 3" rpy=".1 .2 .3"/>
<axis xyz="0 1 0"/><limit lower="-1" upper="1" effort="1" velocity="1"/></joint></robot>"""


@pytest.fixture
def skew_file(tmp_path):
    path = tmp_path / "skew.urdf"
    path.write_text(SKEW.format(axis="0 0.6 0.8"))
    return path


class TestSkewAxes:
    def test_the_file_is_right_and_the_live_robot_is_refused(self, skew_file):
        robot, q = URDFRobot(str(skew_file)), np.array([0.9, 0.3])
        model = pinocchio.buildModelFromUrdf(str(skew_file))
        data = model.createData()
        pinocchio.framesForwardKinematics(model, data, q)
        right = data.oMf[model.getFrameId("c")].homogeneous
        assert np.abs(right - robot.fkine(q).A).max() > 0.1  # the fault that is guarded against
        np.testing.assert_allclose(end_pose(read_urdf(skew_file), q), right, atol=TOLERANCE)
        with pytest.raises(RobotError) as caught:
            robot_chain(robot)
        message = str(caught.value)
        assert message.startswith("robot 'r': found an fkine that is off by 0.")
        assert message.endswith(
            " from skew.urdf, expected agreement within 1e-9; the toolbox misreads joint axes "
            f"that are not along x, y or z; {BY_FILE}"
        )

    def test_a_robot_whose_file_is_not_known_is_refused(self, skew_file):
        message = (
            "found a robot that the toolbox made from a URDF file, and no record of the file, "
            f"expected one whose joint axes can be checked against its file; {BY_FILE}"
        )
        robot = URDFRobot(str(skew_file))
        for copy in (robot.copy(), rtb.Robot(URDF_read(str(skew_file))[0])):
            with pytest.raises(RobotError, match=message):
                robot_chain(copy)
        skew_file.unlink()
        with pytest.raises(RobotError, match=message):
            robot_chain(robot)

    def test_axes_along_x_y_z_pass(self, skew_file):
        skew_file.write_text(SKEW.format(axis="0 -1 0"))
        robot = URDFRobot(str(skew_file))
        chain = robot_chain(robot)
        assert chain.source == "robot 'r' (skew.urdf), to link 'c'"
        assert_agrees(chain, robot.fkine)

    def test_a_file_that_is_not_the_whole_robot_is_refused(self):
        with pytest.raises(RobotError, match=f"no link 'panda_hand'.*{BY_FILE}"):
            robot_chain(rtb.models.URDF.FrankieOmni())


def wrong_by(change):
    class Wrong(rtb.DHRobot):
        def fkine(self, q, **kwargs):
            return SE3(change(super().fkine(q, **kwargs).A), check=False)

    return Wrong([rtb.RevoluteDH(a=0.5), rtb.RevoluteDH(a=0.4)], name="two")


class TestRefused:
    def test_disagreement(self):
        shift = np.zeros((4, 4))
        shift[0, 3] = 2e-9
        with pytest.raises(RobotError) as caught:
            robot_chain(wrong_by(lambda pose: pose + shift))
        assert str(caught.value) == (
            "robot 'two': found an fkine that is off by 2e-09 from its links, expected agreement within 1e-9"
        )
        assert robot_chain(wrong_by(lambda pose: pose + 0.1 * shift)).joints == 2

    def test_nan_is_no_agreement(self):
        with pytest.raises(RobotError, match="off by nan"):
            robot_chain(wrong_by(lambda pose: pose * np.nan))

    @pytest.mark.parametrize("value", [np.nan, np.inf])
    def test_parameters_that_are_not_finite(self, value):
        with pytest.raises(RobotError, match="expected a finite number"):
            robot_chain(rtb.DHRobot([rtb.RevoluteDH(a=value)]))
        with pytest.raises(RobotError, match="expected a finite number"):
            robot_chain(rtb.ET.Rz() * rtb.ET.SE3(np.diag([1.0, 1.0, value, 1.0])))

    @pytest.mark.parametrize("thing", [None, 3, "Puma560", rtb.models.DH.Puma560, np.eye(4)])
    def test_something_else(self, thing):
        with pytest.raises(RobotError, match="expected a DHRobot, Robot, ERobot or ETS"):
            robot_chain(thing)

    def test_no_joints(self):
        with pytest.raises(RobotError, match="a chain without joints"):
            robot_chain(rtb.ETS([rtb.ET.tx(1)]))

    def test_a_plane(self):
        with pytest.raises(RobotError, match="moves in a plane"):
            robot_chain(rtb.models.ETS.Planar2())

    def test_one_value_for_two_joints(self):
        with pytest.raises(RobotError) as caught:
            robot_chain(rtb.ET.Rz(jindex=0) * rtb.ET.tx(1) * rtb.ET.Rz(jindex=0))
        assert "joints that take the values number [0, 0] in the order from base to end" in str(caught.value)

    def test_joints_numbered_from_the_end(self):
        with pytest.raises(RobotError, match="number the joints from the base"):
            robot_chain(rtb.ET.Rz(jindex=1) * rtb.ET.tx(1) * rtb.ET.Rz(jindex=0))

    def test_ends_of_a_branched_robot(self):
        robot = rtb.models.ETS.Planar_Y()
        with pytest.raises(RobotError, match=r"found 2 end links \('eea', 'eeb'\), expected one"):
            robot_chain(robot)
        with pytest.raises(RobotError, match="found no link 'eeX', expected a link of this robot, such as 'ee"):
            robot_chain(robot, end="eeX")

    def test_without_the_toolbox(self, monkeypatch):
        monkeypatch.setitem(sys.modules, "roboticstoolbox", None)
        with pytest.raises(RobotError, match=f"no usable Robotics Toolbox .*install it, or {BY_FILE}"):
            toolbox_chain("Puma560")


def test_a_program_is_checked_with_a_robot_of_the_toolbox_as_it_is():
    arm = rtb.models.DH.Puma560()
    film = gm.PadMaterial(pull_off_stress=5e4, shear_strength=5e4, normal_stiffness=1e8, shear_stiffness=3.3e7)
    path = rtb.jtraj([0.0, 0.6, -0.8, 0.0, 0.4, 0.0], [0.4, 0.6, -0.8, 0.0, 0.5, 0.0], 41)
    values = {
        "trajectory": gm.JointTrajectory.from_toolbox(path, duration=1.6),
        "gripper": gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [0.05, 0.05], SE3(0.01, 0, 0)),)),
        "part": gm.Part(mass=0.4, com=[0, 0, 0.002], inertia=[3e-4, 3e-4, 6e-4, 0, 0, 0], face="plane", rigid=True),
    }
    taken, read = gm.check(robot=arm, **values), gm.check(robot=robot_chain(arm), **values)
    assert [check.value for check in taken.checks] == [check.value for check in read.checks]
