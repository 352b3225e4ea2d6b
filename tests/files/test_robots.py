"""Robots of the toolbox into chains, against the toolbox's own forward kinematics and Pinocchio."""

import importlib
import json
import math
import os
import subprocess
import sys
import warnings

import numpy as np
import pinocchio
import pytest
import roboticstoolbox as rtb
from roboticstoolbox.models.URDF.URDFRobot import URDF_read, URDFRobot
from spatialmath import SE3

import gripmargin as gm
from gripmargin.base.errors import RobotError
from gripmargin.files import robots
from gripmargin.files.robots import robot_chain, toolbox_chain
from gripmargin.files.urdf import read_urdf
from gripmargin.motion.chain import Follower

TOLERANCE = 1e-9

FETCHED = ["Fetch", "Frankie", "Jaco", "KinovaGen3", "PR2", "UR10", "UR3", "UR5", "Valkyrie", "YuMi"]
ARM_ENDS = {
    "AL5D": (None, 4),
    "LBR": (None, 7),
    "Panda": ("panda_hand", 7),
    "Puma560": (None, 6),
    "px100": ("/ee_gripper_link", 4),
    "px150": ("/ee_gripper_link", 5),
    "rx150": ("/ee_gripper_link", 5),
    "rx200": ("/ee_gripper_link", 5),
    "vx300": ("/ee_gripper_link", 5),
    "vx300s": ("/ee_gripper_link", 6),
    "wx200": ("/ee_gripper_link", 5),
    "wx250": ("/ee_gripper_link", 5),
    "wx250s": ("/ee_gripper_link", 6),
}
BY_FILE = "hand in its URDF file instead"


def end_pose(chain, q):
    end = chain.links[0]
    for turns, value, link in zip(chain.revolute, q, chain.links[1:], strict=True):
        joint = np.eye(4)
        if turns:
            joint[:2, :2] = [[math.cos(value), -math.sin(value)], [math.sin(value), math.cos(value)]]
        else:
            joint[2, 3] = value
        end = end @ joint @ link
    return end


def assert_agrees(chain, fkine, seed=3):
    random = np.random.default_rng(seed)
    for _ in range(5):
        q = random.uniform(-2.5, 2.5, chain.joints)
        np.testing.assert_allclose(end_pose(chain, q), fkine(q).A, rtol=TOLERANCE, atol=TOLERANCE)


class TestCatalogue:
    @pytest.mark.parametrize("name", rtb.models.DH.__all__)
    def test_dh_models(self, name):
        chain, robot = toolbox_chain(f"DH.{name}"), getattr(rtb.models.DH, name)()
        assert chain.joints == robot.n
        assert list(chain.revolute) == robot.revolutejoints
        assert_agrees(chain, robot.fkine)

    @pytest.mark.parametrize("name", ["Panda", "Frankie", "Puma560", "GenericSeven", "XYPanda"])
    def test_ets_models(self, name):
        chain, robot = toolbox_chain(f"ETS.{name}"), getattr(rtb.models.ETS, name)()
        assert chain.joints == robot.n
        assert_agrees(chain, robot.fkine)

    @pytest.mark.parametrize("end", ["eea", "eeb"])
    def test_branched_model(self, end):
        chain, robot = toolbox_chain("ETS.Planar_Y", end=end), rtb.models.ETS.Planar_Y()
        assert chain.joints == 4
        assert_agrees(chain, lambda q: robot.fkine(q, end=end))

    @pytest.mark.parametrize("name", ARM_ENDS)
    def test_urdf_models(self, name):
        end, joints = ARM_ENDS[name]
        chain, robot = toolbox_chain(f"URDF.{name}", end=end), getattr(rtb.models.URDF, name)()
        assert chain.joints == joints
        assert all(chain.names)
        link = end or chain.source.split("'")[-2]
        # All joint axes of these models lie along x, y or z, which the toolbox reads rightly.
        assert_agrees(chain, lambda q: robot.fkine(q, end=link))

    def test_urdf_models_are_read_from_the_file_that_the_toolbox_loads(self):
        assert set(ARM_ENDS) == set(robots.URDF_FILES)
        for name, file in robots.URDF_FILES.items():
            assert getattr(rtb.models.URDF, name)().urdf_filepath.endswith(f"xacro/{file}")

    def test_every_model_of_the_catalogue_is_known(self):
        known = {*ARM_ENDS, *FETCHED, "FrankieOmni"}
        assert known == set(rtb.models.URDF.__all__)
        assert len(rtb.models.DH.__all__) == 24
        assert set(rtb.models.ETS.__all__) == {
            *("Panda", "Frankie", "Puma560", "GenericSeven", "XYPanda"),
            *("Planar_Y", "Planar2"),
        }

    def test_only_the_models_refused_for_it_are_fetched(self, monkeypatch):
        class FetchedError(Exception):
            pass

        def fetch(name):
            raise FetchedError

        loader = importlib.import_module("roboticstoolbox.models.URDF.URDFRobot")
        monkeypatch.setattr(loader, "_load_rd_module", fetch)
        fetched = []
        for name in rtb.models.URDF.__all__:
            try:
                getattr(rtb.models.URDF, name)()
            except FetchedError:
                fetched.append(name)
        assert sorted(fetched) == FETCHED == sorted(robots.FETCHED)

    @pytest.mark.parametrize(
        ("name", "source"),
        [
            ("Puma560", "robot model 'DH.Puma560'"),
            ("Panda", "robot model 'DH.Panda', with its own tool"),
            ("Orion5", "robot model 'DH.Orion5', with its own base and tool"),
            ("Frankie", "robot model 'ETS.Frankie', to link 'ee'"),
            ("LBR", "robot model 'URDF.LBR' (lbr_iiwa_14_r820.xacro), to link 'tool0'"),
            ("URDF.AL5D", "robot model 'URDF.AL5D' (al5d_robot.urdf), to link 'link4'"),
        ],
    )
    def test_source_names_the_model(self, name, source):
        assert toolbox_chain(name).source == source

    @pytest.mark.parametrize(
        ("name", "message"),
        [
            (
                "Puma506",
                "robot model 'Puma506': found no such model in the Robotics Toolbox, "
                "expected a model such as 'Puma560'",
            ),
            (
                "puma560",
                "robot model 'puma560': found no such model in the Robotics Toolbox, "
                "expected a model such as 'Puma560'",
            ),
            (
                "ETS.UR5",
                "robot model 'ETS.UR5': found no such model in the Robotics Toolbox, "
                "expected a model such as 'UR5', 'UR3', 'KR5'",
            ),
            (
                "",
                "robot model '': found no such model in the Robotics Toolbox, expected a model such as 'Puma560'",
            ),
            (
                "URDF.UR5",
                "robot model 'URDF.UR5': found a model that the toolbox fetches over a network, "
                f"expected one that loads offline; use DH.UR5 or {BY_FILE}",
            ),
            (
                "PR2",
                "robot model 'URDF.PR2': found a model that the toolbox fetches over a network, "
                f"expected one that loads offline; {BY_FILE}",
            ),
            (
                "FrankieOmni",
                "robot model 'URDF.FrankieOmni': found a model put together from two files in code, "
                f"expected one with a URDF file; {BY_FILE}",
            ),
            (
                "ETS.Planar2",
                "robot model 'ETS.Planar2': found a robot that moves in a plane (2-D), "
                "expected a robot with poses in space",
            ),
            (
                "Planar_Y",
                "robot model 'ETS.Planar_Y': found 2 end links ('eea', 'eeb'), expected one; "
                "choose the link that carries the gripper as the end link",
            ),
            (
                "URDF.Panda",
                "robot model 'URDF.Panda' (panda_arm_hand.urdf.xacro): "
                "found 2 end links ('panda_leftfinger', 'panda_rightfinger'), expected one; "
                "choose the link that carries the gripper as the end link (end_link)",
            ),
        ],
    )
    def test_refused(self, name, message):
        with pytest.raises(RobotError) as caught:
            toolbox_chain(name)
        assert str(caught.value) == message

    def test_a_mimicking_finger_follows_the_other(self):
        follower = Follower(joint=7, leader="panda_finger_joint1")
        assert toolbox_chain("URDF.Panda", end="panda_rightfinger").followers == (follower,)

    def test_a_dh_model_has_no_end_to_choose(self):
        with pytest.raises(RobotError, match="found the end link 'tool0', expected none"):
            toolbox_chain("Puma560", end="tool0")


SCRIPT = """
import json, os, socket, subprocess, sys
import gripmargin.files.robots
heavy = sorted({"roboticstoolbox", "matplotlib", "spatialmath", "xacrodoc"} & set(sys.modules))

class Reached(BaseException):  # passes every "except Exception"
    pass

def reach(*args, **kwargs):
    raise Reached

start = subprocess.Popen.__init__

def start_fonts_only(self, arguments, *args, **kwargs):
    if arguments[0] != "fc-list":  # plotting asks it for the fonts of this machine
        raise Reached
    start(self, arguments, *args, **kwargs)

socket.socket.connect = socket.getaddrinfo = os.system = reach
subprocess.Popen.__init__ = start_fonts_only
messages = []
for name in ["Puma560", "LBR", "ETS.Panda", *(f"URDF.{name}" for name in json.loads(sys.argv[1]))]:
    try:
        gripmargin.files.robots.toolbox_chain(name)
    except gripmargin.files.robots.RobotError as error:
        messages.append(str(error))
with open(sys.argv[2], "w") as file:
    json.dump({"heavy": heavy, "messages": messages}, file)
"""


def test_no_network_no_output_and_a_light_import(tmp_path):
    # A home without caches: the first import of plotting then has the most to say.
    environment = {**os.environ, "HOME": str(tmp_path / "home"), "MPLCONFIGDIR": str(tmp_path / "plots")}
    out = tmp_path / "out.json"
    run = subprocess.run(
        [sys.executable, "-W", "default", "-c", SCRIPT, json.dumps(FETCHED), str(out)],
        env=environment,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert (run.returncode, run.stdout, run.stderr) == (0, "", "")
    seen = json.loads(out.read_text())
    assert seen["heavy"] == []
    assert len(seen["messages"]) == len(FETCHED)
    assert all("fetches over a network" in message and len(message) < 200 for message in seen["messages"])


def test_a_model_that_prints_and_warns_stays_silent(monkeypatch, capsys, recwarn):
    class Talking(rtb.models.DH.Puma560):
        def __init__(self):
            print("loading")  # noqa: T201
            print("loading", file=sys.stderr)  # noqa: T201
            warnings.warn("loading", stacklevel=1)
            super().__init__()

        def fkine(self, q, **kwargs):
            print("evaluating")  # noqa: T201
            return super().fkine(q, **kwargs)

    monkeypatch.setattr(rtb.models.DH, "Puma560", Talking)
    assert toolbox_chain("Puma560").joints == 6
    assert capsys.readouterr() == ("", "")
    assert not recwarn.list


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
