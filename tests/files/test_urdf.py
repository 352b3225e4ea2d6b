"""URDF files into chains, against Pinocchio's reading of the same files, and files that must be refused."""

import importlib.util
import math
from pathlib import Path

import numpy as np
import pinocchio
import pytest

from gripmargin.base.errors import RobotError
from gripmargin.files.urdf import read_urdf, urdf_chain
from support.chains import end_pose

TOLERANCE = 1e-9

DATA = Path(importlib.util.find_spec("rtbdata").submodule_search_locations[0]) / "xacro"
ARMS = {
    "abb_irb140_description/urdf/irb140.urdf": 6,
    "abb_irb140_description/urdf/irb140QT.urdf": 6,
    "kuka_description/kuka_kr120/urdf/kr120r2500pro.urdf": 6,
    "kuka_description/kuka_kr16/urdf/kr16_2.urdf": 6,
    "kuka_description/kuka_kr210/urdf/kr210l150.urdf": 6,
    "kuka_description/kuka_lbr_iiwa/urdf/lbr_iiwa_14_r820.urdf": 7,
    "lynxmotion_al5d_description/urdf/al5d_robot.urdf": 4,
    "unimation_puma560_description/urdf/puma560_robot.urdf": 6,
}


def pinocchio_pose(model, chain, q, link):
    """Pose of a link with the joints of the chain at q, matched by name, and all others at zero."""
    configuration = pinocchio.neutral(model)
    for name, value in zip(chain.names, q, strict=True):
        joint = model.joints[model.getJointId(name)]
        # Pinocchio keeps a continuous joint as cosine and sine.
        values = [math.cos(value), math.sin(value)] if joint.nq == 2 else [value]
        configuration[joint.idx_q : joint.idx_q + joint.nq] = values
    data = model.createData()
    pinocchio.framesForwardKinematics(model, data, configuration)
    return data.oMf[model.getFrameId(link)].homogeneous


def moving_links(model):
    return [frame.name for frame in model.frames if frame.type == pinocchio.BODY and frame.parentJoint > 0]


class TestIndustrialArms:
    def test_the_list_is_every_urdf_file_of_the_data_package(self):
        assert {path.relative_to(DATA).as_posix() for path in DATA.rglob("*.urdf")} == set(ARMS)

    @pytest.mark.parametrize("file", ARMS)
    def test_every_link_is_where_pinocchio_puts_it(self, file):
        model = pinocchio.buildModelFromUrdf(str(DATA / file))
        random = np.random.default_rng(1)
        links = moving_links(model)
        assert len(links) >= ARMS[file]
        for link in links:
            chain = read_urdf(DATA / file, end_link=link)
            for _ in range(3):
                q = random.uniform(-3.0, 3.0, chain.joints)
                error = np.abs(end_pose(chain, q) - pinocchio_pose(model, chain, q, link)).max()
                assert error < TOLERANCE

    @pytest.mark.parametrize("file", [file for file in ARMS if "kr210" not in file])
    def test_the_default_end_moves_with_all_joints(self, file):
        chain = read_urdf(DATA / file)
        assert chain.joints == ARMS[file]
        model = pinocchio.buildModelFromUrdf(str(DATA / file))
        assert list(chain.names) == list(model.names)[1:]

    @pytest.mark.parametrize("file", [file for file in ARMS if "kr210" not in file])
    def test_limits_are_those_that_pinocchio_reads(self, file):
        chain, model = read_urdf(DATA / file), pinocchio.buildModelFromUrdf(str(DATA / file))
        np.testing.assert_array_equal(chain.lower, model.lowerPositionLimit)
        np.testing.assert_array_equal(chain.upper, model.upperPositionLimit)

    def test_of_two_ends_the_flange_for_tools_is_taken_and_said(self):
        file = DATA / "kuka_description/kuka_kr210/urdf/kr210l150.urdf"
        chain = read_urdf(file)
        assert chain.source == read_urdf(file, end_link="tool0").source == f"{file}, to link 'tool0'"
        assert chain.notes == (
            "The robot's model has 2 end links ('tool0', 'Link1'): the pads are on its link 'tool0' (robot.end_link "
            "chooses).",
        )
        assert read_urdf(file, end_link="tool0").notes == ()


def random_robot(random):
    """A branched robot of joints in random order with skew axes of any length, some parts left out."""
    joints = int(random.integers(2, 9))
    links, text = ["link0"], []
    for i in range(joints):
        kind = str(random.choice(["revolute", "continuous", "prismatic", "fixed"])) if i else "revolute"
        # Mostly a chain, now and then a branch.
        parent = links[-1] if random.uniform() < 0.8 else str(random.choice(links))
        links.append(f"link{i + 1}")
        xyz, rpy = random.uniform(-1, 1, 3), random.uniform(-3.2, 3.2, 3)
        axis = random.normal(size=3) * 10.0 ** random.uniform(-3, 3)
        parts = [f'<parent link="{parent}"/><child link="{links[-1]}"/>']
        place = random.integers(4)
        if place:
            xyz_text, rpy_text = (" ".join(map(repr, v.tolist())) for v in (xyz, rpy))
            attributes = ["", f'xyz="{xyz_text}"', f'rpy="{rpy_text}"', f'xyz="{xyz_text}" rpy="{rpy_text}"']
            parts.append(f"<origin {attributes[place]}/>")
        if kind != "fixed" and random.uniform() < 0.85:
            parts.append(f'<axis xyz="{" ".join(map(repr, axis.tolist()))}"/>')
        if kind in ("revolute", "prismatic"):
            parts.append('<limit lower="-4" upper="3" effort="1" velocity="1"/>')
        text.append(f'<joint name="j{i + 1}" type="{kind}">{"".join(parts)}</joint>')
    text += [f'<link name="{link}"/>' for link in links]
    order = random.permutation(len(text))
    return f'<robot name="random">{"".join(text[i] for i in order)}</robot>'


class TestRandomRobots:
    def test_skew_revolute_continuous_and_prismatic_joints_agree_with_pinocchio(self):
        random = np.random.default_rng(7)
        seen = {True: 0, False: 0}
        for _ in range(150):
            text = random_robot(random)
            model = pinocchio.buildModelFromXML(text)
            for link in moving_links(model):
                chain = urdf_chain(text, source="random", end_link=link)
                q = random.uniform(-3.0, 3.0, chain.joints)
                error = np.abs(end_pose(chain, q) - pinocchio_pose(model, chain, q, link)).max()
                assert error < TOLERANCE, text
                for turns in chain.revolute:
                    seen[turns] += 1
        assert min(seen.values()) > 100

    def test_a_tiny_component_does_not_turn_the_axis(self):
        # An axis such as this stands in files in use; Robotics Toolbox 1.5 reads it as another direction.
        text = robot(joint('type="revolute"', '<axis xyz="1e-17 0 1"/>'))
        np.testing.assert_allclose(
            end_pose(urdf_chain(text, source="r"), [0.3])[:2, :2],
            [[math.cos(0.3), -math.sin(0.3)], [math.sin(0.3), math.cos(0.3)]],
            atol=1e-15,
        )


TWO_BASES = """<robot name="r"><link name="base_link"/><link name="base"/><link name="arm"/><link name="tool0"/>
  <joint name="f" type="fixed"><origin xyz="0 0 0.25" rpy="0 0 3.141592653589793"/>
    <parent link="base_link"/><child link="base"/></joint>
  <joint name="j" type="revolute"><parent link="base_link"/><child link="arm"/><axis xyz="0 0 1"/></joint>
  <joint name="k" type="revolute"><origin xyz="1 0 0"/><parent link="arm"/><child link="tool0"/></joint>
</robot>"""


class TestBaseLink:
    """A model whose two bases are half a turn and 250 mm apart: by the other one the tool is on the other side."""

    @pytest.mark.parametrize(("base", "place"), [(None, [1, 0, 0]), ("base_link", [1, 0, 0]), ("base", [-1, 0, -0.25])])
    def test_the_chain_starts_at_it(self, base, place):
        chain = urdf_chain(TWO_BASES, source="r", base_link=base)
        np.testing.assert_allclose(end_pose(chain, [0.0, 0.0])[:3, 3], place, atol=1e-15)

    def test_two_of_them_are_told_unless_one_was_chosen(self):
        (note,) = urdf_chain(TWO_BASES, source="r").notes
        assert note == (
            "The robot's model has the frames 'base_link', 'base', 180 deg and 250 mm apart: faces and poses go by its "
            "root 'base_link' (robot.base_link chooses)."
        )
        assert urdf_chain(TWO_BASES, source="r", base_link="base_link").notes == ()
        same = TWO_BASES.replace('<origin xyz="0 0 0.25" rpy="0 0 3.141592653589793"/>', "")
        assert urdf_chain(same, source="r").notes == ()

    @pytest.mark.parametrize(
        ("base", "message"),
        [
            ("bse", "r: found no link 'bse', expected a link of this robot, such as 'base'"),
            ("arm", "r: found the link 'arm', which joints move, expected a base link that is fixed to the root"),
        ],
    )
    def test_refused(self, base, message):
        with pytest.raises(RobotError) as caught:
            urdf_chain(TWO_BASES, source="r", base_link=base)
        assert str(caught.value) == message


class TestUsualEnds:
    """Of several ends the one for tools; else the one that the maker calls the flange; else all are listed."""

    @pytest.mark.parametrize(
        ("links", "taken"),
        [
            (("a", "flange", "tool0", "finger"), "tool0"),
            (("a", "flange", "finger"), "flange"),
        ],
    )
    def test_taken(self, links, taken):
        joints = [joint(name=f"j{i}", parent="a", child=link) for i, link in enumerate(links[1:])]
        chain = urdf_chain(robot(*joints, links=links), source="r")
        assert chain.source == f"r, to link '{taken}'"
        assert f"the pads are on its link '{taken}' (robot.end_link chooses)" in chain.notes[0]

    def test_on_the_way_to_the_others(self):
        parts = [joint(child="tool0"), *(joint(name=f"f{c}", parent="tool0", child=c) for c in "bc")]
        chain = urdf_chain(robot(*parts, links=("a", "tool0", "b", "c")), source="r")
        assert chain.names == ("j1",)

    def test_a_frame_that_no_joint_moves_is_none(self):
        parts = [joint(), joint(name="j2", child="c"), joint('type="fixed"', "", "f", "a", "tool0")]
        with pytest.raises(RobotError, match=r"found 2 end links \('b', 'c'\)"):
            urdf_chain(robot(*parts, links=("a", "b", "c", "tool0")), source="r")


def joint(attributes='type="revolute"', parts="", name="j1", parent="a", child="b"):
    ends = f'<parent link="{parent}"/><child link="{child}"/>'
    return f'<joint name="{name}" {attributes}>{ends}{parts}</joint>'


def robot(*joints, links="ab", more=""):
    named = "".join(f"<link name={link!r}/>" for link in links)
    return f'<robot name="r">{named}{"".join(joints)}{more}</robot>'


class TestStandardDefaults:
    """Defaults as the joint page of the URDF reference gives them, https://wiki.ros.org/urdf/XML/joint."""

    def test_axis_is_x_and_origin_is_the_identity(self):
        chain = urdf_chain(robot(joint()), source="r")
        expected = pinocchio.exp3(np.array([0.4, 0.0, 0.0]))
        np.testing.assert_allclose(end_pose(chain, [0.4])[:3, :3], expected, atol=1e-15)
        np.testing.assert_array_equal(end_pose(chain, [0.4])[:3, 3], 0.0)

    @pytest.mark.parametrize(
        ("kind", "limit", "expected"),
        [
            ("revolute", '<limit lower="-2" upper="1.5e0" effort="1" velocity="1"/>', (-2.0, 1.5)),
            ("revolute", '<limit upper="2" effort="1" velocity="1"/>', (0.0, 2.0)),
            ("prismatic", '<limit lower="-.5" effort="1" velocity="1"/>', (-0.5, 0.0)),
            ("revolute", '<limit effort="1" velocity="1"/>', (-math.inf, math.inf)),
            ("revolute", "", (-math.inf, math.inf)),
            ("continuous", '<limit lower="-1" upper="1"/>', (-math.inf, math.inf)),
        ],
    )
    def test_limits(self, kind, limit, expected):
        chain = urdf_chain(robot(joint(f'type="{kind}"', limit)), source="r")
        assert (chain.lower[0], chain.upper[0]) == expected


class TestPassedOver:
    def test_meshes_and_joints_of_transmissions(self):
        mesh = '<visual><geometry><mesh filename="package://none/none.stl"/></geometry></visual>'
        links = f'<robot name="r"><link name="a">{mesh}</link><link name="b"/>'
        other = '<transmission name="t"><joint name="j1"/></transmission><gazebo><sensor:camera/></gazebo>'
        assert urdf_chain(f"{links}{joint()}{other}</robot>", source="r").names == ("j1",)

    def test_mimic_planar_and_floating_joints_beside_the_path(self):
        text = robot(
            joint(),
            joint('type="revolute"', '<mimic joint="j1"/>', "j2", "b", "c"),
            joint('type="planar"', "", "j3", "b", "d"),
            joint('type="floating"', "", "j4", "b", "e"),
            links="abcde",
        )
        assert urdf_chain(text, source="r", end_link="b").joints == 1

    def test_a_leaf_that_no_joint_moves_is_no_candidate_for_the_end(self):
        text = robot(joint(), joint('type="fixed"', "", "base", "a", "c"), links="abc")
        assert urdf_chain(text, source="r").source == "r, to link 'b'"

    @pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "latin-1", "utf-16"])
    def test_encodings(self, tmp_path, encoding):
        declared = "" if encoding == "utf-8-sig" else f'<?xml version="1.0" encoding="{encoding}"?>'
        path = tmp_path / "r.urdf"
        path.write_bytes(f"{declared}{robot(joint(name='Gelenk für A'))}".encode(encoding))
        assert read_urdf(path).names == ("Gelenk für A",)

    def test_ten_thousand_nested_elements(self):
        text = robot(joint(), more="<x>" * 10_000 + "</x>" * 10_000)
        assert urdf_chain(text, source="r").joints == 1
