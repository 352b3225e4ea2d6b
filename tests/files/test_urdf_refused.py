"""URDF files that are refused, with where, what was found and what to do."""

from pathlib import Path

import pytest

from gripmargin.base.errors import RobotError
from gripmargin.files import urdf, xml_tree
from gripmargin.files.urdf import read_urdf, urdf_chain


def joint(attributes='type="revolute"', parts="", name="j1", parent="a", child="b"):
    ends = f'<parent link="{parent}"/><child link="{child}"/>'
    return f'<joint name="{name}" {attributes}>{ends}{parts}</joint>'


def robot(*joints, links="ab", more=""):
    named = "".join(f"<link name={link!r}/>" for link in links)
    return f'<robot name="r">{named}{"".join(joints)}{more}</robot>'


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
