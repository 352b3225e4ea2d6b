"""Xacro files: expanded as the library xacro does, without its `eval`; and files that must be refused."""

import importlib.util
from pathlib import Path

import pytest
import xacrodoc
from xacro import process_file

from gripmargin.base.errors import RobotError
from gripmargin.files import xacro
from gripmargin.files.urdf import described, read_urdf
from gripmargin.files.xml_tree import parse

DATA = Path(importlib.util.find_spec("rtbdata").submodule_search_locations[0]) / "xacro"
ALIASES = {"kuka_lbr_iiwa_support": "kuka_description/kuka_lbr_iiwa", "kuka_kr5_support": "kuka_description/kuka_kr5"}


def plain(element):
    """An element as plain values; the toolbox's descriptions are written in any order of attributes."""
    assert all(isinstance(text, str) for text in element.attributes.values()), element
    return element.name, sorted(element.attributes.items()), [plain(child) for child in element.children]


def by_library(path, arguments=None):
    packages = {folder.name: folder for folder in DATA.iterdir() if folder.is_dir()}
    packages |= {alias: DATA / folder for alias, folder in ALIASES.items()}
    xacrodoc.packages.update_package_cache(packages)
    return plain(parse(process_file(str(path), mappings=dict(arguments or {})).toxml(), "library"))


def ours(path, arguments=None):
    return plain(described(path, arguments=arguments, packages={k: DATA / v for k, v in ALIASES.items()})[0])


@pytest.mark.parametrize(
    "file",
    [
        "kuka_description/kuka_kr5/urdf/kr5_arc.xacro",
        "kuka_description/kuka_lbr_iiwa/urdf/lbr_iiwa_14_r820.xacro",
        "qut_frankie_description/robots/frankieOmni_arm_hand.urdf.xacro",
        "qut_frankie_description/robots/dual_panda_example.urdf.xacro",
        "trossen_descriptions/urdf/px100.urdf.xacro",
        "trossen_descriptions/urdf/vx300s.urdf.xacro",
        "unimation_puma560_description/urdf/puma560_robot.urdf.xacro",
        "clearpath_ridgeback_description/urdf/ridgeback.urdf.xacro",
    ],
)
def test_public_descriptions_are_what_the_library_makes_of_them(file):
    assert ours(DATA / file) == by_library(DATA / file)


ARM = """<?xml version="1.0"?>
<robot name="arm" xmlns:xacro="http://www.ros.org/wiki/xacro">
  <xacro:arg name="reach" default="0.5"/>
  <xacro:arg name="prefix" default=""/>
  <xacro:arg name="quill" default="true"/>
  <xacro:arg name="ends" default="2"/>
  <xacro:property name="limits" value="${xacro.load_yaml('limits.yaml')}"/>
  <xacro:property name="half" value="${reach_ / 2}"/>
  <xacro:property name="reach_" value="$(arg reach)"/>
  <xacro:property name="colour"><material name="blue"/></xacro:property>
  <xacro:include filename="joints.xacro"/>
  <xacro:include filename="none.xacro" optional="true"/>
  <xacro:include filename="more.xacro" ns="more"/>
  <link name="$(arg prefix)base"/>
  <xacro:turning name="waist" parent="$(arg prefix)base" child="upper" z="${half + more.thick}">
    <origin xyz="0 0 ${half}" rpy="0 0 ${radians(90)}"/>
  </xacro:turning>
  <xacro:call macro="turn${'ing'}" name="elbow" parent="upper" child="fore" z="1">
    <origin xyz="${reach_} 0 0"/>
  </xacro:call>
  <xacro:if value="$(arg quill)">
    <xacro:more.plain name="quill" parent="fore"/>
  </xacro:if>
  <xacro:unless value="${'$(arg quill)' == 'true' and 1 &lt; 2}"><link name="none"/></xacro:unless>
  <xacro:macro name="row" params="n at:=^|7 **inside">
    <xacro:property name="local" value="${n * at}" scope="parent"/>
    <xacro:if value="${n > 0}">
      <x at="${at}"><xacro:insert_block name="inside"/></x>
      <xacro:row n="${n - 1}" at="${at + 1}"><y><z n="${n}"/></y></xacro:row>
    </xacro:if>
  </xacro:macro>
  <xacro:row n="$(arg ends)"><y/></xacro:row>
  <sum local="${local}" literal="$${local}" text="'a' ${'b' if half > 0.1 else 'c'} $1"/>
  <xacro:property name="local" remove="true"/>
  <xacro:property name="local" default="1_0"/>
  <xacro:element xacro:name="${'odd'}" a="${local}"><xacro:attribute name="b" value="at ${-half}"/></xacro:element>
  <given><xacro:insert_block name="colour"/></given>
</robot>
"""
FILES = {
    "arm.xacro": ARM,
    "limits.yaml": "elbow: {lower: !degrees -90, upper: !degrees 2 * 60.0}\nwaist: {lower: -1.5, upper: 1.25}\n",
    "joints.xacro": """<robot xmlns:xacro="http://www.ros.org/wiki/xacro">
  <xacro:macro name="turning" params="name parent child:='x' *origin z:=${half} axis:='0 0 1' effort=10">
    <link name="${child}"/>
    <joint name="$(arg prefix)${name}" type="revolute">
      <xacro:insert_block name="origin"/>
      <parent link="${parent}"/><child link="${child}"/>
      <axis xyz="${axis}"/>
      <limit lower="${limits[name]['lower']}" upper="${limits[name].upper}" effort="${effort}" velocity="${z}"/>
    </joint>
  </xacro:macro>
</robot>""",
    "more.xacro": """<robot xmlns:xacro="http://www.ros.org/wiki/xacro">
  <xacro:property name="thick" value="0.01"/>
  <xacro:macro name="plain" params="name parent">
    <link name="tool0"/>
    <joint name="${name}" type="prismatic"><origin xyz="0 ${thick} 0"/><parent link="${parent}"/><child link="tool0"/>
      <axis xyz="0 0 1"/><limit lower="0" upper="0.1" effort="1" velocity="1"/></joint>
  </xacro:macro>
</robot>""",
}


@pytest.fixture
def arm(tmp_path):
    for name, text in FILES.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path / "arm.xacro"


class TestTheLanguage:
    @pytest.mark.parametrize("arguments", [{}, {"reach": "0.75", "prefix": "left_", "quill": "false", "ends": "0"}])
    def test_it_is_what_the_library_makes_of_it(self, arm, arguments):
        assert ours(arm, arguments) == by_library(arm, arguments)

    def test_a_name_may_be_that_of_the_scope_around(self):
        """A property of a macro made of one outside that is made of a name that the macro has, too."""
        inside = '<xacro:property name="a" value="${b}"/><link name="${a}"/>'
        call = f'<xacro:macro name="m" params="">{inside}</xacro:macro>'
        outer = '<xacro:property name="a" value="up"/><xacro:property name="b" value="${a}per"/>'
        root = parse(f'<robot xmlns:xacro="x">{outer}{call}<xacro:m/></robot>', "r")
        assert xacro.expanded(root)[0].children[0].attributes["name"] == "upper"

    def test_arguments_change_the_chain(self, arm):
        short, long = read_urdf(arm), read_urdf(arm, arguments={"reach": "0.75", "prefix": "left_"})
        assert short.names == ("waist", "elbow", "quill")
        assert long.names == ("left_waist", "left_elbow", "quill")
        assert [chain.links[1][:3, 3] @ chain.links[1][:3, 3] for chain in (short, long)] == pytest.approx(
            [0.25, 0.5625]
        )
        assert short.upper[1] == pytest.approx(2.0943951023931953)  # 120 deg

    def test_the_files_that_it_reads_are_told(self, arm):
        names = [file.name for file in described(arm)[1]]
        assert sorted(names) == ["joints.xacro", "limits.yaml", "more.xacro"]

    def test_packages_given_and_packages_around(self, tmp_path, arm):
        (tmp_path / "arm_description" / "urdf").mkdir(parents=True)
        top = tmp_path / "arm_description" / "urdf" / "top.xacro"
        top.write_text('<robot xmlns:xacro="x"><xacro:include filename="$(find robots)/arm.xacro"/></robot>')
        assert read_urdf(top, packages={"robots": tmp_path}).joints == 3
        with pytest.raises(RobotError) as caught:
            read_urdf(top)
        assert str(caught.value) == (
            f"{top}, line 1: found '$(find robots)/arm.xacro' in <xacro:include>: the package 'robots', whose folder "
            'is not known, expected its folder; say where it is: robot.packages = { robots = "folder" }'
        )
        (tmp_path / "robots").symlink_to(tmp_path)
        assert read_urdf(top).joints == 3

    def test_what_the_chain_does_not_need_may_be_unknown(self):
        """A mesh of a package that is not there, and a parameter that only a mesh uses."""
        mesh = '<visual><geometry><mesh filename="$(find none)/${x}/a.stl"/></geometry></visual>'
        links = f'<link name="a">{mesh}</link><link name="b"/>'
        joint = '<joint name="j" type="revolute"><parent link="a"/><child link="b"/></joint>'
        call = f'<xacro:macro name="all" params="x">{links}{joint}</xacro:macro><xacro:all x="$(find none)"/>'
        root = parse(f'<robot xmlns:xacro="x">{call}</robot>', "r")
        assert [child.name for child in xacro.expanded(root)[0].children] == ["link", "link", "joint"]


def text(inner):
    return f'<robot xmlns:xacro="http://www.ros.org/wiki/xacro">\n{inner}\n</robot>'


NESTED = "".join(
    f'<xacro:macro name="m{i}" params="">{f"<xacro:m{i - 1}/>" * 10 if i else "<x/>"}</xacro:macro>' for i in range(8)
)
DOUBLED = '<xacro:property name="p0" value="ab"/>' + "".join(
    f'<xacro:property name="p{i + 1}" value="${{p{i}}}${{p{i}}}"/>' for i in range(60)
)
OUT = ", expected what can be worked out without running code"
REFUSED = {
    "unknown name": (
        '<link name="${none}"/>',
        f"r.xacro, line 2: found '${{none}}' in <link>: the name 'none', which is not defined{OUT}",
    ),
    "code": (
        "<link name=\"${__import__('os').getcwd()}\"/>",
        "r.xacro, line 2: found '${__import__('os').getcwd()}' in <link>: the name '__import__', which is not "
        f"defined{OUT}",
    ),
    "code by a lambda": (
        '<link name="${(lambda: ().__class__)()}"/>',
        "r.xacro, line 2: found '${(lambda: ().__class__)()}' in <link>: 'lambda: ().__class__', which is not known "
        f"here{OUT}",
    ),
    "code of another kind": (
        '<link name="$(eval [].append)"/>',
        f"r.xacro, line 2: found '$(eval [].append)' in <link>: '.append', which is not known here{OUT}",
    ),
    "environment": (
        '<link name="$(env HOME)"/>',
        f"r.xacro, line 2: found '$(env HOME)' in <link>: '$(env HOME)', which is not known here{OUT}",
    ),
    "macro within itself": (
        '<xacro:macro name="m" params=""><xacro:m/></xacro:macro><xacro:m/>',
        "r.xacro, line 1: found macros within each other without end, expected a description that ends",
    ),
    "macros that multiply": (
        f"{NESTED}<xacro:m7/>",
        "r.xacro, line 2: found more than 200000 elements, expected a description that ends",
    ),
    "texts that multiply": (
        f'{DOUBLED}<link name="${{p60}}"/>',
        f"r.xacro, line 2: found '${{p60}}' in <link>: a text of 16384 characters{OUT}",
    ),
    "property of itself": (
        '<xacro:property name="a" value="${b}"/><xacro:property name="b" value="${a}"/><link name="${a}"/>',
        f"r.xacro, line 2: found '${{a}}' in <link>: the property 'a', which is defined by itself{OUT}",
    ),
    "file that includes itself": (
        '<xacro:include filename="r.xacro"/>',
        "r.xacro, line 1: found macros within each other without end, expected a description that ends",
    ),
    "unknown macro": (
        '<xacro:arm name="a"/>',
        "r.xacro, line 2: found the macro 'arm', which is not defined, expected a macro that is defined before it is "
        "used",
    ),
    "unknown parameter": (
        '<xacro:macro name="m" params="a b"/><xacro:m a="1" c="2"/>',
        "r.xacro, line 2: found the parameter 'c' of xacro:m, expected one of a, b",
    ),
    "parameter left out": (
        '<xacro:macro name="m" params="a b"/><xacro:m a="1"/>',
        "r.xacro, line 2: found xacro:m without 'b', expected a value for it",
    ),
    "block left out": (
        '<xacro:macro name="m" params="*origin"/><xacro:m/>',
        "r.xacro, line 2: found xacro:m without its block 'origin', expected an element",
    ),
    "block too many": (
        '<xacro:macro name="m" params="*origin"/><xacro:m><a/><b/></xacro:m>',
        "r.xacro, line 2: found xacro:m with an element too many, expected as many as it has blocks",
    ),
    "block of no name": (
        '<xacro:insert_block name="origin"/>',
        "r.xacro, line 2: found the block 'origin', which is not defined, expected one that is",
    ),
    "condition": (
        '<xacro:if value="maybe"/>',
        "r.xacro, line 2: found <xacro:if> with the value 'maybe', expected true, false or a number",
    ),
    "argument without a value": (
        '<xacro:arg name="reach"/><link name="$(arg reach)"/>',
        "r.xacro, line 2: found '$(arg reach)' in <link>: the argument 'reach', which has no value, expected a text "
        'for it; give it: robot.xacro_arguments = { reach = "..." }',
    ),
    "its own error": (
        "<xacro:if value=\"${xacro.fatal('no such arm')}\"/>",
        f"r.xacro, line 2: found '${{xacro.fatal('no such arm')}}' in <xacro:if>: no such arm{OUT}",
    ),
    "table that runs code": (
        "<link name=\"${load_yaml('r.yaml')}\"/>",
        "r.xacro, line 2: found '${load_yaml('r.yaml')}' in <link>: the file r.yaml: no plain YAML (the tag "
        f"!python/object/apply:os.getcwd){OUT}",
    ),
    "table that is not there": (
        "<link name=\"${load_yaml('none.yaml')}\"/>",
        f"r.xacro, line 2: found '${{load_yaml('none.yaml')}}' in <link>: the file none.yaml: no such file{OUT}",
    ),
}


class TestRefused:
    @pytest.mark.parametrize("fault", REFUSED)
    def test_message(self, fault, tmp_path, monkeypatch):
        inner, message = REFUSED[fault]
        monkeypatch.chdir(tmp_path)
        Path("r.xacro").write_text(text(inner), encoding="utf-8")
        Path("r.yaml").write_text("a: !python/object/apply:os.getcwd []\n")
        with pytest.raises(RobotError) as caught:
            read_urdf("r.xacro")
        assert str(caught.value) == message

    def test_an_argument_that_it_does_not_have(self, arm):
        with pytest.raises(RobotError) as caught:
            read_urdf(arm, arguments={"raech": "1"})
        assert str(caught.value) == (
            f"{arm}, line 2, argument 'raech': found an argument that the description does not have, expected one of "
            "its own: 'ends', 'prefix', 'quill', 'reach'"
        )
