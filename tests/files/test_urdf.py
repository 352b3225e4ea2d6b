"""URDF files into chains, against Pinocchio's reading of the same files, and files that must be refused."""

import importlib.util
import math
from pathlib import Path

import numpy as np
import pinocchio
import pytest

from gripmargin.base.errors import RobotError
from gripmargin.files import urdf, xml_tree
from gripmargin.files.urdf import read_urdf, urdf_chain

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


BOMB = (
    '<!DOCTYPE r [<!ENTITY a "aaaaaaaaaa">'
    + "".join(f'<!ENTITY {n} "{f"&{m};" * 10}">' for m, n in zip("abcdefghi", "bcdefghij", strict=True))
    + ']><robot name="&j;"/>'
)
NO_DTD = (
    "r.urdf, line 1: found a document type declaration or an entity, "
    "expected plain URDF, which needs neither; remove the <!DOCTYPE ...> block"
)
J1 = "r.urdf, line 1, joint 'j1': found "
KINDS = ", expected fixed, revolute, continuous or prismatic"
THREE = ", expected three finite numbers below 1e6"
WORKED_OUT = ", expected what can be worked out without running code"
CHOOSE = "; choose the link that carries the gripper as the end link (end_link)"

REFUSED = {
    "entity bomb": (BOMB, NO_DTD),
    "external entity": (
        f'<!DOCTYPE r [<!ENTITY x SYSTEM "file:///etc/passwd">]>{robot(joint(), more="<x>&x;</x>")}',
        NO_DTD,
    ),
    "document type alone": (f"<!DOCTYPE robot>{robot(joint())}", NO_DTD),
    "external document type": (f'<!DOCTYPE r SYSTEM "http://localhost/x.dtd">{robot(joint())}', NO_DTD),
    "undefined entity": (
        robot(joint(), more="\n&x;"),
        "r.urdf, line 2: found text that is not well-formed XML (undefined entity), expected a URDF robot description",
    ),
    "mimic of no joint": (
        robot(joint(parts='<mimic joint="j2"/>')),
        f"{J1}<mimic> of the joint 'j2', expected a joint of this file that moves",
    ),
    "mimics in a circle": (
        robot(
            joint(parts='<mimic joint="j2"/>'),
            joint(name="j2", parent="b", child="c", parts='<mimic joint="j1"/>'),
            links="abc",
        ),
        f"{J1}joints that mimic each other in a circle, expected one that moves by itself",
    ),
    "mimic by words": (
        robot(
            joint(parts='<mimic joint="j2" multiplier="two"/>'), joint(name="j2", parent="b", child="c"), links="abc"
        ),
        f"{J1}mimic multiplier 'two', expected a finite number below 1e6",
    ),
    "planar": (
        robot(joint('type="planar"')),
        f"{J1}a planar joint between the root and the end link{KINDS}",
    ),
    "floating": (
        robot(joint('type="floating"')),
        f"{J1}a floating joint between the root and the end link{KINDS}",
    ),
    "unknown type": (robot(joint('type="screw"')), f"{J1}the unknown joint type 'screw'{KINDS}"),
    "no type": (robot(joint("")), f"{J1}no joint type{KINDS}"),
    "zero axis": (
        robot(joint(parts='<axis xyz="0 0 0"/>')),
        f'{J1}an axis of length zero, expected a direction such as <axis xyz="0 0 1"/>',
    ),
    "axis without xyz": (
        robot(joint(parts="<axis/>")),
        f'{J1}<axis> without xyz, expected a direction such as <axis xyz="0 0 1"/>',
    ),
    "two leaves": (
        robot(joint(), joint(name="j2", child="c"), links="abc"),
        f"r.urdf: found 2 end links ('b', 'c'), expected one{CHOOSE}",
    ),
    "twelve leaves": (
        robot(*(joint(name=f"j{c}", child=c) for c in "bcdefghijklm"), links="abcdefghijklm"),
        f"r.urdf: found 12 end links ('b', 'c', 'd', 'e', 'f', 'g', 'h', 'i' and 4 more), expected one{CHOOSE}",
    ),
    "cycle beside the root": (
        robot(
            joint(),
            joint(name="j2", parent="c", child="d"),
            joint(name="j3", parent="d", child="c"),
            links="abcd",
        ),
        "r.urdf, line 1, joint 'j3': found a loop of joints through 'c', 'd', expected a tree of links",
    ),
    "cycle of all": (
        robot(joint(), joint(name="j2", parent="b", child="a")),
        "r.urdf, line 1, joint 'j2': found a loop of joints through 'a', 'b', expected a tree of links",
    ),
    "own parent": (
        robot(joint(child="a"), links="a"),
        f"{J1}a loop of joints through 'a', expected a tree of links",
    ),
    "two parents": (
        robot(joint(), joint(name="j2", parent="c"), links="abc"),
        "r.urdf, line 1, joint 'j2': found the child link 'b', which joint 'j1' also moves, "
        "expected one parent for each link",
    ),
    "two roots": (
        robot(joint(), links="abz"),
        "r.urdf: found 2 root links ('a', 'z'), expected one root link; join them by joints",
    ),
    "missing child": (
        robot(joint(child="z"), links="a"),
        f"{J1}the child link 'z', which is not defined, expected a link of this file",
    ),
    "no parent": (
        '<robot name="r"><link name="b"/><joint name="j1" type="fixed"><child link="b"/></joint></robot>',
        f'{J1}no parent link, expected <parent link="...">',
    ),
    "second link of a name": (
        robot(joint(), links="abb"),
        "r.urdf, line 1: found a second link 'b', expected names that occur once",
    ),
    "second joint of a name": (
        robot(joint(), joint(child="c"), links="abc"),
        f"{J1}a second joint of this name, expected names that occur once",
    ),
    "second origin": (
        robot(joint(parts="<origin/><origin/>")),
        f"{J1}a second <origin>, expected one at most",
    ),
    "link without a name": (
        "<robot>\n<link/></robot>",
        'r.urdf, line 2: found a link without a name, expected <link name="...">',
    ),
    "NaN axis": (robot(joint(parts='<axis xyz="0 nan 1"/>')), f"{J1}axis xyz '0 nan 1'{THREE}"),
    "NaN origin": (robot(joint(parts='<origin xyz="NaN 0 0"/>')), f"{J1}origin xyz 'NaN 0 0'{THREE}"),
    "infinite angle": (robot(joint(parts='<origin rpy="inf 0 0"/>')), f"{J1}origin rpy 'inf 0 0'{THREE}"),
    "overflowing number": (
        robot(joint(parts='<origin xyz="1e999 0 0"/>')),
        f"{J1}origin xyz '1e999 0 0'{THREE}",
    ),
    "two numbers": (robot(joint(parts='<origin xyz="1 0"/>')), f"{J1}origin xyz '1 0'{THREE}"),
    "decimal commas": (robot(joint(parts='<origin xyz="0,1 0 0"/>')), f"{J1}origin xyz '0,1 0 0'{THREE}"),
    "underscore": (robot(joint(parts='<origin xyz="1_0 0 0"/>')), f"{J1}origin xyz '1_0 0 0'{THREE}"),
    "quaternion": (
        robot(joint(parts='<origin xyz="0 0 0" quat_xyzw="0 0 0 1"/>')),
        f"{J1}<origin> with 'quat_xyzw', expected xyz and rpy alone",
    ),
    "NaN limit": (
        robot(joint(parts='<limit lower="nan" upper="1"/>')),
        f"{J1}limit lower 'nan', expected a number",
    ),
    "limits the wrong way round": (
        robot(joint(parts='<limit lower="1" upper="-1"/>')),
        f"{J1}limits from 1 to -1, expected lower not above upper",
    ),
    "xacro tag": (
        '<robot name="r" xmlns:xacro="http://www.ros.org/wiki/xacro">\n<xacro:include filename="a"/></robot>',
        "r.urdf, line 2, xacro:include of a: found no such file, expected a xacro file",
    ),
    "xacro name": (
        '<robot name="r"><link name="${prefix}a"/></robot>',
        f"r.urdf, line 1: found '${{prefix}}a' in <link>: the name 'prefix', which is not defined{WORKED_OUT}",
    ),
    "xacro number": (
        robot(joint(parts='<origin xyz="${x} 0 0"/>')),
        f"r.urdf, line 1: found '${{x}} 0 0' in <origin>: the name 'x', which is not defined{WORKED_OUT}",
    ),
    "another root": (
        '<sdf version="1.6"/>',
        "r.urdf, line 1: found the root element <sdf>, expected <robot>, the root of a URDF",
    ),
    "no links": ('<robot name="r"/>', "r.urdf: found a robot without links, expected links and joints"),
    "nothing moves": (
        robot(joint('type="fixed"')),
        "r.urdf: found no moving joint, expected a robot with revolute or prismatic joints",
    ),
    "not XML": (
        "hello",
        "r.urdf, line 1: found text that is not well-formed XML (syntax error), expected a URDF robot description",
    ),
    "cut short": (
        robot(joint())[:-3],
        "r.urdf, line 1: found text that is not well-formed XML (unclosed token), expected a URDF robot description",
    ),
    "empty": ("", "r.urdf: found an empty file, expected a URDF file"),
    "white space": (" \n\t", "r.urdf: found an empty file, expected a URDF file"),
    "binary": ("\x7fELF\0\0\1", "r.urdf: found a binary file, expected a URDF file, which is XML text"),
    "escape sequences in a name": (
        robot(joint(name="\x9b31m&#10;", attributes='type="screw"')),
        f"r.urdf, line 1, joint '\\x9b31m\\n': found the unknown joint type 'screw'{KINDS}",
    ),
}


class TestRefused:
    @pytest.mark.parametrize("fault", REFUSED)
    def test_message(self, fault, tmp_path, monkeypatch, capfd):
        text, message = REFUSED[fault]
        monkeypatch.chdir(tmp_path)
        Path("r.urdf").write_text(text, encoding="utf-8")
        with pytest.raises(RobotError) as caught:
            read_urdf("r.urdf")
        assert str(caught.value) == message
        assert capfd.readouterr() == ("", "")

    @pytest.mark.parametrize("fault", sorted(set(REFUSED) - {"empty", "white space", "binary"}))
    def test_text_is_refused_like_the_file(self, fault):
        text, message = REFUSED[fault]
        with pytest.raises(RobotError) as caught:
            urdf_chain(text, source="r.urdf")
        assert str(caught.value) == message

    @pytest.mark.parametrize(
        ("end_link", "message"),
        [
            ("tol0", "r: found no link 'tol0', expected a link of this robot, such as 'tool0'"),
            ("a", "r: found no moving joint before link 'a', expected a link that the joints move"),
            ("", "r: found no link '', expected a link of this robot, such as 'a', 'tool0'"),
        ],
    )
    def test_end_link(self, end_link, message):
        text = robot(joint(child="tool0"), links=("a", "tool0"))
        with pytest.raises(RobotError) as caught:
            urdf_chain(text, source="r", end_link=end_link)
        assert str(caught.value) == message

    def test_line_of_a_joint(self):
        text = robot("\n\n", joint('type="screw"'))
        with pytest.raises(RobotError, match=r"^r, line 3, joint 'j1'"):
            urdf_chain(text, source="r")

    def test_empty_text(self):
        with pytest.raises(RobotError, match=r"^r: found an empty text, expected a URDF robot description$"):
            urdf_chain(" ", source="r")

    def test_missing_file_directory_and_device(self, tmp_path):
        for path, found in [
            (tmp_path / "none.urdf", "no such file"),
            (tmp_path, "a directory"),
            (Path("/dev/zero"), "something that is not a regular file"),
        ]:
            with pytest.raises(RobotError) as caught:
                read_urdf(path)
            assert str(caught.value) == f"{path}: found {found}, expected a URDF file"

    def test_a_path_with_a_zero_byte(self):
        with pytest.raises(RobotError):
            read_urdf("a\0b.urdf")

    def test_unknown_encoding(self, tmp_path):
        path = tmp_path / "r.urdf"
        path.write_text(f'<?xml version="1.0" encoding="none-such"?>{robot(joint())}')
        with pytest.raises(RobotError, match="unknown encoding"):
            read_urdf(path)

    def test_size(self, tmp_path, monkeypatch):
        monkeypatch.setattr(xml_tree, "MAX_BYTES", 1_000_000)
        monkeypatch.setattr(urdf, "MAX_BYTES", 1_000_000)
        path = tmp_path / "r.urdf"
        path.write_text(robot(joint(), more=" " * 1_000_000))
        message = "found more than 1 MB, expected a URDF robot description of at most 1 MB"
        with pytest.raises(RobotError, match=message):
            read_urdf(path)
        with pytest.raises(RobotError, match=message):
            urdf_chain(path.read_text(), source="r")
