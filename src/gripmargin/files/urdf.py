"""A URDF file into a serial chain, from its root link to one end link.

Only links, joints and their frames are read; meshes, inertias and everything else are passed over and no
other file is opened. Definitions of the elements: https://wiki.ros.org/urdf/XML/joint.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, NoReturn
from xml.sax import SAXParseException
from xml.sax.handler import ContentHandler

import numpy as np
from defusedxml import DefusedXmlException
from defusedxml.expatreader import create_parser

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import RobotError
from gripmargin.base.given import as_path
from gripmargin.base.poses import pose
from gripmargin.motion.chain import Chain, chain_from_axes

MAX_BYTES: Final = 20_000_000  # a URDF without its meshes is far smaller

_NUMBER: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_LARGEST: Final = 1e6  # of a coordinate [m], an angle [rad], a part of an axis
_TURNING: Final = ("revolute", "continuous")
_MOVING: Final = (*_TURNING, "prismatic")
_USED: Final = ("origin", "parent", "child", "axis", "limit", "mimic")
_CHOOSE_END: Final = "choose the link that carries the gripper as the end link (end_link)"
_XACRO_REMEDY: Final = "expand it with xacro first and hand in the result"


def read_urdf(path: str | Path, *, end_link: str | None = None) -> Chain:
    """Read a serial chain from a URDF file.

    Args:
        path: The file, at most 20 MB.
        end_link: Name of the last link; default: the only leaf link that the joints move.

    Raises:
        RobotError: The file cannot be read, or does not describe a serial chain to that link.
    """
    file = as_path(path)
    return _chain(_parse(_content(file, str(path)), str(path)), end_link, str(path))


def urdf_chain(text: str, *, source: str, end_link: str | None = None) -> Chain:
    """Read a serial chain from the text of a URDF file.

    Args:
        text: The XML text.
        source: What to call the text in errors and reports.
        end_link: Name of the last link; default: the only leaf link that the joints move.

    Raises:
        RobotError: The text does not describe a serial chain to that link.
    """
    if len(text) > MAX_BYTES:
        _refuse_size(source)
    if not text.strip():
        raise RobotError(source, "an empty text", "a URDF robot description")
    return _chain(_parse(text, source), end_link, source)


def _content(path: Path, source: str) -> bytes:
    expected = "a URDF file"
    try:
        if path.is_dir():
            raise RobotError(source, "a directory", expected)
        if not path.exists():
            raise RobotError(source, "no such file", expected)
        if not path.is_file():
            raise RobotError(source, "something that is not a regular file", expected)
        with path.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise RobotError(source, f"a file that cannot be read ({reason})", expected) from error
    if len(data) > MAX_BYTES:
        _refuse_size(source)
    if not data.strip():
        raise RobotError(source, "an empty file", expected)
    if b"\0" in data[:4096] and data[:2] not in (b"\xff\xfe", b"\xfe\xff"):
        raise RobotError(source, "a binary file", "a URDF file, which is XML text")
    return data


def _refuse_size(source: str) -> NoReturn:
    most = f"{MAX_BYTES // 1_000_000} MB"
    raise RobotError(source, f"more than {most}", f"a URDF robot description of at most {most}")


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


class _Elements(ContentHandler):
    """Collects the links and joints of a robot element; everything else is passed over."""

    def __init__(self, source: str, line_number: Callable[[], int]) -> None:
        super().__init__()
        self._source = source
        self._line_number = line_number
        self.links: dict[str, str] = {}  # name -> where
        self.joints: dict[str, _Joint] = {}
        self._depth = 0
        self._joint: _Joint | None = None

    def startElement(self, name: str, attrs: Any) -> None:  # noqa: N802 - the name that SAX gives it
        if name.startswith("xacro:"):
            raise RobotError(self._here(), f"the xacro tag <{_short(name)}>", "plain URDF", _XACRO_REMEDY)
        if self._depth == 0 and name != "robot":
            raise RobotError(self._here(), f"the root element <{_short(name)}>", "<robot>, the root of a URDF")
        if self._depth == 1 and name == "link":
            self._add_link(dict(attrs))
        elif self._depth == 1 and name == "joint":
            self._add_joint(dict(attrs))
        elif self._depth == 2 and self._joint is not None and name in _USED:
            if name in self._joint.parts:
                raise RobotError(self._joint.where, f"a second <{name}>", "one at most")
            self._joint.parts[name] = dict(attrs)
        self._depth += 1

    def endElement(self, name: str) -> None:  # noqa: N802 - the name that SAX gives it
        self._depth -= 1
        if self._depth == 1:
            self._joint = None

    def _add_link(self, attributes: Mapping[str, str]) -> None:
        name = self._name("link", attributes)
        if name in self.links:
            raise RobotError(self._here(), f"a second link {_quoted(name)}", "names that occur once")
        self.links[name] = self._here()

    def _add_joint(self, attributes: Mapping[str, str]) -> None:
        name = self._name("joint", attributes)
        where = f"{self._here()}, joint {_quoted(name)}"
        if name in self.joints:
            raise RobotError(where, "a second joint of this name", "names that occur once")
        self._joint = self.joints[name] = _Joint(name, attributes.get("type", ""), where)

    def _name(self, element: str, attributes: Mapping[str, str]) -> str:
        name = attributes.get("name", "")
        if not name:
            raise RobotError(self._here(), f"a {element} without a name", f'<{element} name="...">')
        if "${" in name or "$(" in name:
            raise RobotError(self._here(), f"the xacro expression {_quoted(name)}", "plain URDF", _XACRO_REMEDY)
        return name

    def _here(self) -> str:
        return f"{self._source}, line {self._line_number()}"


def _parse(content: str | bytes, source: str) -> _Elements:
    parser = create_parser(forbid_dtd=True, forbid_entities=True, forbid_external=True)
    elements = _Elements(source, parser.getLineNumber)
    parser.setContentHandler(elements)
    try:
        parser.feed(content)
        parser.close()
    except DefusedXmlException as error:
        raise RobotError(
            f"{source}, line {parser.getLineNumber()}",
            "a document type declaration or an entity",
            "plain URDF, which needs neither",
            "remove the <!DOCTYPE ...> block",
        ) from error
    except SAXParseException as error:
        raise RobotError(
            f"{source}, line {error.getLineNumber()}",
            f"text that is not well-formed XML ({error.getMessage()})",
            "a URDF robot description",
        ) from error
    except (ValueError, LookupError) as error:  # an encoding that is not known or does not fit
        raise RobotError(source, f"text that cannot be decoded ({error})", "XML in UTF-8") from error
    return elements


def _chain(elements: _Elements, end_link: str | None, source: str) -> Chain:
    into = _tree(elements, source)
    end = _end(elements, into, end_link, source)
    path: list[_Joint] = []
    link = end
    while link in into:
        path.append(into[link])
        link = into[link].parent
    path.reverse()

    moving = [joint for joint in path if _kind(joint) != "fixed"]
    origins, pending = [], np.eye(4)
    for joint in path:
        pending = pending @ _origin(joint)
        if joint.kind != "fixed":
            origins.append(pending)
            pending = np.eye(4)
    limits = [_limits(joint) for joint in moving]
    return chain_from_axes(
        origins,
        [_axis(joint) for joint in moving],
        [joint.kind in _TURNING for joint in moving],
        pending,
        names=[joint.name for joint in moving],
        lower=[lower for lower, _ in limits],
        upper=[upper for _, upper in limits],
        source=f"{source}, to link {_quoted(end)}",
    )


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


def _end(elements: _Elements, into: Mapping[str, _Joint], end_link: str | None, source: str) -> str:
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
        return end_link
    leaves = [link for link in elements.links if moved[link] and link not in children]
    if not leaves:
        raise RobotError(source, "no moving joint", "a robot with revolute or prismatic joints")
    if len(leaves) > 1:
        raise RobotError(
            source,
            f"{len(leaves)} end links ({_listed(leaves)})",
            "one",
            _CHOOSE_END,
        )
    return leaves[0]


def _kind(joint: _Joint) -> str:
    """The type of a joint on the path, refused unless it is fixed or has one value of its own."""
    expected = "fixed, revolute, continuous or prismatic"
    if not joint.kind:
        raise RobotError(joint.where, "no joint type", expected)
    if joint.kind in ("planar", "floating"):
        raise RobotError(joint.where, f"a {joint.kind} joint between the root and the end link", expected)
    if joint.kind not in (*_MOVING, "fixed"):
        raise RobotError(joint.where, f"the unknown joint type {_quoted(joint.kind)}", expected)
    if joint.kind != "fixed" and "mimic" in joint.parts:
        raise RobotError(
            joint.where,
            "a joint that mimics another one, between the root and the end link",
            "joints that move by themselves",
            "choose an end link before it with end_link",
        )
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
    remedy = _XACRO_REMEDY if "${" in text or "$(" in text else ""
    raise RobotError(joint.where, f"{what} {_quoted(text)}", expected, remedy)


def _quoted(text: str) -> str:
    return repr(_short(text))


def _short(text: str) -> str:
    return text if len(text) <= 60 else f"{text[:57]}..."


def _listed(names: Iterable[str]) -> str:
    every = list(names)
    more = f" and {len(every) - 8} more" if len(every) > 8 else ""
    return ", ".join(_quoted(name) for name in every[:8]) + more
