"""A URDF file into a serial chain, from its root link to one end link.

Only links, joints and their frames are read; meshes, inertias and everything else are passed over, and no
other file is opened but what xacro includes. Definitions of the elements: https://wiki.ros.org/urdf/XML/joint.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final, NoReturn

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import RobotError
from gripmargin.base.given import as_path
from gripmargin.base.poses import pose
from gripmargin.files.xacro import expanded
from gripmargin.files.xml_tree import MAX_BYTES, Element, parse, read_content, refuse_size
from gripmargin.motion.chain import Chain, Follower, chain_from_axes

_NUMBER: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_LARGEST: Final = 1e6  # of a coordinate [m], an angle [rad], a part of an axis
_TURNING: Final = ("revolute", "continuous")
_MOVING: Final = (*_TURNING, "prismatic")
_USED: Final = ("origin", "parent", "child", "axis", "limit", "mimic")
_CHOOSE_END: Final = "choose the link that carries the gripper as the end link (end_link)"
_BASES: Final = ("base_link", "base")  # of the model's maker, and of the controller
_SAME: Final = 1e-3  # [deg, mm] by which the two may differ and be called one
_USUAL_ENDS: Final = ("tool0", "flange")  # what drivers and planners mean where a gripper is on the robot, in order


def read_urdf(
    path: str | Path,
    *,
    end_link: str | None = None,
    base_link: str | None = None,
    arguments: Mapping[str, str] | None = None,
    packages: Mapping[str, str | Path] | None = None,
) -> Chain:
    """Read a serial chain from a URDF file, or from the xacro file of one.

    Args:
        path: The file, at most 20 MB.
        end_link: Name of the last link; default: the only leaf link that the joints move, else `tool0`, else `flange`.
        base_link: Name of the link whose frame the chain starts at; default: the root.
        arguments: Arguments of a xacro file by name.
        packages: Folders of ROS packages by name, for what a xacro file includes; others are looked for around it.

    Raises:
        RobotError: The file cannot be read, or does not describe a serial chain to that link.
    """
    return _chain(described(path, arguments=arguments, packages=packages)[0], end_link, base_link, str(path))


def described(
    path: str | Path,
    *,
    arguments: Mapping[str, str] | None = None,
    packages: Mapping[str, str | Path] | None = None,
) -> tuple[Element, list[Path]]:
    """Return the elements that a robot file describes, and the further files that it reads; see `read_urdf`.

    Raises:
        RobotError: They cannot be read.
    """
    file = as_path(path)
    root = parse(read_content(file, str(path), "a URDF file"), str(path))
    folders = {name: as_path(folder) for name, folder in (packages or {}).items()}
    return expanded(root, file=file, arguments=arguments, packages=folders)


def urdf_chain(text: str, *, source: str, end_link: str | None = None, base_link: str | None = None) -> Chain:
    """Read a serial chain from the text of a URDF file.

    Args:
        text: The XML text.
        source: What to call the text in errors and reports.
        end_link: Name of the last link; default as of `read_urdf`.
        base_link: Name of the first link; default as of `read_urdf`.

    Raises:
        RobotError: The text does not describe a serial chain to that link.
    """
    if len(text) > MAX_BYTES:
        refuse_size(source)
    if not text.strip():
        raise RobotError(source, "an empty text", "a URDF robot description")
    return _chain(expanded(parse(text, source))[0], end_link, base_link, source)


@dataclass
class _Joint:
    """A joint element as it stands in the file."""

    name: str
    kind: str
    where: str
    parts: dict[str, Mapping[str, str]] = field(default_factory=dict)

    @property
    def parent(self) -> str:
        return self.parts["parent"]["link"]

    @property
    def child(self) -> str:
        return self.parts["child"]["link"]


class _Elements:
    """The links and joints of a robot element; everything else is passed over."""

    def __init__(self, root: Element) -> None:
        if root.name != "robot":
            raise RobotError(root.where, f"the root element <{_short(root.name)}>", "<robot>, the root of a URDF")
        self.links: dict[str, str] = {}  # name -> where
        self.joints: dict[str, _Joint] = {}
        for element in root.children:
            if element.name == "link":
                name = _name(element)
                if name in self.links:
                    raise RobotError(element.where, f"a second link {_quoted(name)}", "names that occur once")
                self.links[name] = element.where
            elif element.name == "joint":
                self._add_joint(element)

    def _add_joint(self, element: Element) -> None:
        name = _name(element)
        where = f"{element.where}, joint {_quoted(name)}"
        if name in self.joints:
            raise RobotError(where, "a second joint of this name", "names that occur once")
        joint = self.joints[name] = _Joint(name, element.texts().get("type", ""), where)
        for part in element.children:
            if part.name in _USED:
                if part.name in joint.parts:
                    raise RobotError(where, f"a second <{part.name}>", "one at most")
                joint.parts[part.name] = part.texts()


def _name(element: Element) -> str:
    name = element.texts().get("name", "")
    if not name:
        raise RobotError(element.where, f"a {element.name} without a name", f'<{element.name} name="...">')
    return name


def _chain(root: Element, end_link: str | None, base_link: str | None, source: str) -> Chain:
    elements = _Elements(root)
    into = _tree(elements, source)
    end, notes = _end(elements, into, end_link, source)
    path = _path(end, into)
    start, note = _start(elements, into, base_link, source)
    moving = [joint for joint in path if _kind(joint) != "fixed"]
    origins, pending = [], start
    for joint in path:
        pending = pending @ _origin(joint)
        if joint.kind != "fixed":
            origins.append(pending)
            pending = np.eye(4)
    limits = [_limits(joint) for joint in moving]
    chain = chain_from_axes(
        origins,
        [_axis(joint) for joint in moving],
        [joint.kind in _TURNING for joint in moving],
        pending,
        names=[joint.name for joint in moving],
        lower=[lower for lower, _ in limits],
        upper=[upper for _, upper in limits],
        source=f"{source}, to link {_quoted(end)}",
    )
    followers = tuple(_follower(k, joint, elements.joints) for k, joint in enumerate(moving) if "mimic" in joint.parts)
    return replace(chain, followers=followers, notes=(*notes, *note))


def _path(link: str, into: Mapping[str, _Joint]) -> list[_Joint]:
    """The joints from the root to a link."""
    path: list[_Joint] = []
    while link in into:
        path.append(into[link])
        link = into[link].parent
    return path[::-1]


def _start(
    elements: _Elements, into: Mapping[str, _Joint], base_link: str | None, source: str
) -> tuple[FloatArray, tuple[str, ...]]:
    """The root in the frame that the chain starts at; what to say where two frames are called the base."""
    if base_link is None:
        return np.eye(4), _two_bases(elements, into)
    if base_link not in elements.links:
        near = difflib.get_close_matches(base_link, elements.links, n=3) or list(elements.links)
        raise RobotError(source, f"no link {_quoted(base_link)}", f"a link of this robot, such as {_listed(near)}")
    path = _path(base_link, into)
    if any(joint.kind != "fixed" for joint in path):
        found = f"the link {_quoted(base_link)}, which joints move"
        raise RobotError(source, found, "a base link that is fixed to the root")
    return np.linalg.inv(_fixed_pose(path)), ()


def _two_bases(elements: _Elements, into: Mapping[str, _Joint]) -> tuple[str, ...]:
    paths = [_path(name, into) for name in _BASES if name in elements.links]
    if len(paths) < len(_BASES) or any(joint.kind != "fixed" for path in paths for joint in path):
        return ()
    apart = np.linalg.inv(_fixed_pose(paths[0])) @ _fixed_pose(paths[1])
    angle = np.degrees(np.arccos(np.clip((np.trace(apart[:3, :3]) - 1.0) / 2.0, -1.0, 1.0)))
    distance = float(np.linalg.norm(apart[:3, 3])) * 1e3
    if angle < _SAME and distance < _SAME:
        return ()
    root = next(link for link in elements.links if link not in into)
    said = f"The robot's model has the frames {_listed(_BASES)}, {angle:.4g} deg and {distance:.4g} mm apart"
    return (f"{said}: faces and poses go by its root {_quoted(root)} (robot.base_link chooses).",)


def _fixed_pose(path: Sequence[_Joint]) -> FloatArray:
    out = np.eye(4)
    for joint in path:
        out = out @ _origin(joint)
    return out


def _follower(number: int, joint: _Joint, joints: Mapping[str, _Joint]) -> Follower:
    """What a joint that mimics another one does: after the joint at the end of those that it mimics."""
    factor, offset, leader = 1.0, 0.0, joint
    for _ in range(len(joints) + 1):
        if "mimic" not in leader.parts:
            return Follower(joint=number, leader=leader.name, factor=factor, offset=offset)
        mimic = leader.parts["mimic"]
        other = joints.get(mimic.get("joint", ""))
        if other is None or other.kind not in _MOVING:
            found = f"<mimic> of the joint {_quoted(mimic.get('joint', ''))}"
            raise RobotError(leader.where, found, "a joint of this file that moves")
        offset += factor * _one(leader, "mimic", "offset", 0.0)
        factor *= _one(leader, "mimic", "multiplier", 1.0)
        leader = other
    raise RobotError(joint.where, "joints that mimic each other in a circle", "one that moves by itself")


def _tree(elements: _Elements, source: str) -> dict[str, _Joint]:
    """Check that links and joints make one tree; return for each link but the root the joint into it."""
    if not elements.links:
        raise RobotError(source, "a robot without links", "links and joints")
    into: dict[str, _Joint] = {}
    for joint in elements.joints.values():
        _check_ends(joint, elements.links)
        if joint.child in into:
            other = into[joint.child].name
            raise RobotError(
                joint.where,
                f"the child link {_quoted(joint.child)}, which joint {_quoted(other)} also moves",
                "one parent for each link",
            )
        into[joint.child] = joint
    roots = [link for link in elements.links if link not in into]
    if len(roots) > 1:
        raise RobotError(source, f"{len(roots)} root links ({_listed(roots)})", "one root link", "join them by joints")
    children = _children(into)
    reached, todo = set(roots), list(roots)
    while todo:
        for child in children.get(todo.pop(), ()):
            reached.add(child)
            todo.append(child)
    if len(reached) < len(elements.links):
        loose = [link for link in elements.links if link not in reached]
        raise RobotError(into[loose[0]].where, f"a loop of joints through {_listed(loose)}", "a tree of links")
    return into


def _check_ends(joint: _Joint, links: Mapping[str, str]) -> None:
    for end in ("parent", "child"):
        name = joint.parts.get(end, {}).get("link")
        if not name:
            raise RobotError(joint.where, f"no {end} link", f'<{end} link="...">')
        if name not in links:
            found = f"the {end} link {_quoted(name)}, which is not defined"
            raise RobotError(joint.where, found, "a link of this file")


def _children(into: Mapping[str, _Joint]) -> dict[str, list[str]]:
    children: dict[str, list[str]] = {}
    for child, joint in into.items():
        children.setdefault(joint.parent, []).append(child)
    return children


def _end(
    elements: _Elements, into: Mapping[str, _Joint], end_link: str | None, source: str
) -> tuple[str, tuple[str, ...]]:
    """The end link, and what to say where it was chosen among several."""
    children = _children(into)
    moved: dict[str, bool] = {}
    todo = [link for link in elements.links if link not in into]
    while todo:
        link = todo.pop()
        moved[link] = link in into and (moved[into[link].parent] or into[link].kind != "fixed")
        todo.extend(children.get(link, ()))
    if end_link is not None:
        if end_link not in elements.links:
            near = difflib.get_close_matches(end_link, elements.links, n=3) or list(elements.links)
            raise RobotError(source, f"no link {_quoted(end_link)}", f"a link of this robot, such as {_listed(near)}")
        if not moved[end_link]:
            raise RobotError(source, f"no moving joint before link {_quoted(end_link)}", "a link that the joints move")
        return end_link, ()
    leaves = [link for link in elements.links if moved[link] and link not in children]
    if not leaves:
        raise RobotError(source, "no moving joint", "a robot with revolute or prismatic joints")
    if len(leaves) == 1:
        return leaves[0], ()
    usual = next((link for link in _USUAL_ENDS if moved.get(link)), None)
    if usual is None:
        raise RobotError(source, f"{len(leaves)} end links ({_listed(leaves)})", "one", _CHOOSE_END)
    said = f"The robot's model has {len(leaves)} end links ({_listed(leaves)}): the pads are on its link "
    return usual, (f"{said}{_quoted(usual)} (robot.end_link chooses).",)


def _kind(joint: _Joint) -> str:
    """The type of a joint on the path, refused unless it is fixed or has one value of its own."""
    expected = "fixed, revolute, continuous or prismatic"
    if not joint.kind:
        raise RobotError(joint.where, "no joint type", expected)
    if joint.kind in ("planar", "floating"):
        raise RobotError(joint.where, f"a {joint.kind} joint between the root and the end link", expected)
    if joint.kind not in (*_MOVING, "fixed"):
        raise RobotError(joint.where, f"the unknown joint type {_quoted(joint.kind)}", expected)
    return joint.kind


def _origin(joint: _Joint) -> FloatArray:
    attributes = joint.parts.get("origin", {})
    strange = [name for name in attributes if name not in ("xyz", "rpy")]
    if strange:
        raise RobotError(joint.where, f"<origin> with {_quoted(strange[0])}", "xyz and rpy alone")
    return pose(_three(joint, "origin", "xyz", (0.0, 0.0, 0.0)), _three(joint, "origin", "rpy", (0.0, 0.0, 0.0)))


def _axis(joint: _Joint) -> Sequence[float]:
    if "axis" not in joint.parts:
        return (1.0, 0.0, 0.0)
    if "xyz" not in joint.parts["axis"]:
        raise RobotError(joint.where, "<axis> without xyz", 'a direction such as <axis xyz="0 0 1"/>')
    axis = _three(joint, "axis", "xyz", ())
    if math.hypot(*axis) < 1e-9:
        raise RobotError(joint.where, "an axis of length zero", 'a direction such as <axis xyz="0 0 1"/>')
    return axis


def _three(joint: _Joint, element: str, attribute: str, default: Sequence[float]) -> Sequence[float]:
    text = joint.parts.get(element, {}).get(attribute)
    if text is None:
        return default
    words = text.split()
    if len(words) != 3 or not all(_NUMBER.fullmatch(word) and abs(float(word)) < _LARGEST for word in words):
        _refuse_number(joint, f"{element} {attribute}", text, "three finite numbers below 1e6")
    return [float(word) for word in words]


def _one(joint: _Joint, element: str, attribute: str, default: float) -> float:
    text = joint.parts[element].get(attribute)
    if text is None:
        return default
    if not _NUMBER.fullmatch(text.strip()) or not abs(float(text)) < _LARGEST:
        _refuse_number(joint, f"{element} {attribute}", text, "a finite number below 1e6")
    return float(text)


def _limits(joint: _Joint) -> tuple[float, float]:
    """Lower and upper limit [rad or m]; infinite where none is known."""
    given = {end: joint.parts.get("limit", {}).get(end) for end in ("lower", "upper")}
    if joint.kind == "continuous" or all(text is None for text in given.values()):
        return -math.inf, math.inf
    values = []
    for end, text in given.items():
        if text is not None and not _NUMBER.fullmatch(text.strip()):
            _refuse_number(joint, f"limit {end}", text, "a number")
        values.append(0.0 if text is None else float(text))  # URDF: one that is left out is 0
    lower, upper = values
    if lower > upper:
        raise RobotError(joint.where, f"limits from {lower:g} to {upper:g}", "lower not above upper")
    return lower, upper


def _refuse_number(joint: _Joint, what: str, text: str, expected: str) -> NoReturn:
    raise RobotError(joint.where, f"{what} {_quoted(text)}", expected)


def _quoted(text: str) -> str:
    return repr(_short(text))


def _short(text: str) -> str:
    return text if len(text) <= 60 else f"{text[:57]}..."


def _listed(names: Iterable[str]) -> str:
    every = list(names)
    more = f" and {len(every) - 8} more" if len(every) > 8 else ""
    return ", ".join(_quoted(name) for name in every[:8]) + more
