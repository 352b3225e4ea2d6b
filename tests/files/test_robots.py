"""Robots of the toolbox into chains, against the toolbox's own forward kinematics and Pinocchio."""

import importlib
import json
import os
import subprocess
import sys
import warnings

import pytest
import roboticstoolbox as rtb

from gripmargin.base.errors import RobotError
from gripmargin.files import robots
from gripmargin.files.robots import toolbox_chain
from gripmargin.motion.chain import Follower
from support.chains import BY_FILE, assert_agrees

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
