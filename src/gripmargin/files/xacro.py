"""A xacro file into the elements that it stands for, worked out here so that a file runs no code and has bounds.

What is expanded is the language as its documentation has it (https://wiki.ros.org/xacro): properties, arguments, macros
with defaults and blocks, conditions, includes, expressions. Expressions are those of `expressions`; the environment is
not read, and of files only those that are included or loaded.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from gripmargin.base.errors import RobotError
from gripmargin.files.expressions import ExpressionError, as_text
from gripmargin.files.source import printable
from gripmargin.files.xacro_texts import Later, Scope, Texts, literal
from gripmargin.files.xml_tree import Element, parse, read_content

MAX_ELEMENTS: Final = 200_000  # in all, as expanded; a robot with two arms and hands has some 5,000
_PREFIX: Final = "xacro:"
_PARAMETER: Final = re.compile(
    r"\s*([^\s:=]+)(?:\s*:?=\s*(\^\|?)?(\$\{.*?\}|\$\(.*?\)|(?:'.*?'|\".*?\"|[^\s'\"]+)+|))?(?=\s|$)"
)


@dataclass
class _Macro:
    body: Element
    parameters: dict[str, tuple[bool, str | None]]  # name -> whether it is passed on from outside, default


@dataclass
class _Place:
    """Where an element stands: names and macros that it sees, its file."""

    names: Scope
    macros: Scope
    file: Path | None


def expanded(
    root: Element,
    *,
    file: Path | None = None,
    arguments: Mapping[str, str] | None = None,
    packages: Mapping[str, Path] | None = None,
) -> tuple[Element, list[Path]]:
    """Return what a description stands for, and the further files that it reads.

    Args:
        root: Its root element.
        file: Its file, from which relative names count; None: it is in no file.
        arguments: Texts by the names of its arguments.
        packages: Folders by the names of packages. Others are looked for in the folders around the file.

    Raises:
        RobotError: It cannot be expanded.
    """
    expander = _Expander(file, dict(arguments or {}), dict(packages or {}))
    place = _Place(Scope(), Scope(), file)
    try:
        whole = expander.copied(root, place)
    except RecursionError as error:
        raise RobotError(root.where, "macros within each other without end", "a description that ends") from error
    unknown = next((name for name in arguments or {} if name not in expander.texts.asked), None)
    if unknown is not None:
        known = ", ".join(f"'{printable(name)}'" for name in sorted(expander.texts.asked)[:12]) or "none"
        where = f"{root.where}, argument '{printable(unknown)}'"
        raise RobotError(where, "an argument that the description does not have", f"one of its own: {known}")
    return whole, expander.texts.files


class _Expander:
    def __init__(self, file: Path | None, arguments: dict[str, str], packages: dict[str, Path]) -> None:
        self.texts = Texts(file, arguments, packages)
        self.count = 0
        self.defining = {"property": self._property, "macro": self._macro, "arg": self._argument}

    # ---- elements ----

    def copied(self, element: Element, place: _Place) -> Element:
        """An element as it stands, its attributes worked out and what is within it expanded."""
        attributes = {
            name: self._attribute(text, element, place)
            for name, text in element.attributes.items()
            if not name.startswith((_PREFIX, "xmlns:"))
        }
        copy = Element(element.name, attributes, element.where)
        copy.children.extend(self._expand(element.children, place, copy))
        return copy

    def _attribute(self, text: str | RobotError, element: Element, place: _Place) -> str | RobotError:
        if isinstance(text, RobotError) or "$" not in text:
            return text
        try:
            return as_text(self.texts.value(text, place.names, place.file))
        except ExpressionError as error:
            return _refused(element, text, error)

    def _expand(self, elements: Iterable[Element], place: _Place, into: Element) -> Iterator[Element]:
        for element in elements:
            self.count += 1
            if self.count > MAX_ELEMENTS:
                raise RobotError(element.where, f"more than {MAX_ELEMENTS} elements", "a description that ends")
            if not element.name.startswith(_PREFIX):
                yield self.copied(element, place)
                continue
            name = element.name.removeprefix(_PREFIX)
            if name in self.defining:
                self.defining[name](element, place)
            else:
                yield from self._standing_for(name, element, place, into)

    def _standing_for(self, name: str, element: Element, place: _Place, into: Element) -> Iterator[Element]:
        """What stands in the place of an element that is worked out, such as the call of a macro."""
        match name:
            case "include":
                yield from self._include(element, place, into)
            case "if" | "unless":
                if self._condition(element, place) is (name == "if"):
                    yield from self._expand(element.children, place, into)
            case "insert_block":
                yield from self._block(element, place, into)
            case "element":
                yield self.copied(replace(element, name=self._needed(element, "xacro:name", place)), place)
            case "attribute":
                into.attributes[self._needed(element, "name", place)] = self._needed(element, "value", place)
            case "call":
                rest = {key: text for key, text in element.attributes.items() if key != "macro"}
                called = self._needed(element, "macro", place)
                yield from self._call(replace(element, attributes=rest), called, place, into)
            case _:
                yield from self._call(element, name, place, into)

    def _needed(self, element: Element, name: str, place: _Place) -> str:
        """An attribute that has to be there, worked out."""
        if name not in element.attributes:
            raise RobotError(element.where, f"<{element.name}> without '{name}'", f'<{element.name} {name}="...">')
        text = self._attribute(element.attributes[name], element, place)
        if isinstance(text, RobotError):
            raise text
        return text

    def _condition(self, element: Element, place: _Place) -> bool:
        text = element.texts().get("value", "")
        try:
            value = literal(self.texts.value(text, place.names, place.file))
        except ExpressionError as error:
            raise _refused(element, text, error) from error
        if isinstance(value, str):
            found = f"<{element.name}> with the value '{printable(value)}'"
            raise RobotError(element.where, found, "true, false or a number")
        return bool(value)

    def _argument(self, element: Element, place: _Place) -> None:
        name = self._needed(element, "name", place)
        self.texts.asked.add(name)
        if name not in self.texts.arguments and "default" in element.attributes:
            self.texts.arguments[name] = self._needed(element, "default", place)

    def _property(self, element: Element, place: _Place) -> None:
        given = element.texts()
        name = self._needed(element, "name", place)
        if not name.isidentifier() or name.startswith("__"):
            raise RobotError(element.where, f"the property '{printable(name)}'", "letters, digits and _")
        if self._flag(element, "remove", place, default=False):
            owner = place.names.owner(name)
            if owner is not None:
                del owner[name]
            return
        text = given.get("value")
        if "default" in given:
            if place.names.owner(name) is not None:
                return
            text = given["default"]
        scope, lazy = place.names, self._flag(element, "lazy_eval", place, default=True)
        if given.get("scope") == "global":
            scope, lazy = scope.outermost, False
        elif given.get("scope") == "parent" and scope.parent is not None:
            scope, lazy = scope.parent, False
        if text is None:
            scope[f"**{name}"] = element
        elif lazy:
            scope[name] = literal(text, later=True)
        else:
            scope[name] = self._tried(text, place)

    def _flag(self, element: Element, name: str, place: _Place, *, default: bool) -> bool:
        if name not in element.attributes:
            return default
        return self._needed(element, name, place).lower() in ("true", "1")

    def _tried(self, text: str, place: _Place) -> Any:
        """The value of a text now; what cannot be worked out is an error only where it is used."""
        try:
            return literal(self.texts.value(text, place.names, place.file))
        except ExpressionError as error:
            return Later(text, error)

    # ---- macros ----

    def _macro(self, element: Element, place: _Place) -> None:
        given = element.texts()
        name = given.get("name", "").removeprefix(_PREFIX)
        if not name:
            raise RobotError(element.where, "a macro without a name", '<xacro:macro name="...">')
        parameters: dict[str, tuple[bool, str | None]] = {}
        for found in _PARAMETER.finditer(given.get("params", "")):
            parameters[found[1]] = (found[2] is not None, found[3] or None)
        place.macros[name] = _Macro(element, parameters)

    def _call(self, element: Element, name: str, place: _Place, into: Element) -> Iterator[Element]:
        macros, names = place.macros, place.names
        owner, last = macros.owner(name), name
        if owner is None and "." in name:
            *spaces, last = name.split(".")
            for space in spaces:
                inner, outer = macros.owner(space), names.owner(space)
                if inner is None or outer is None or not isinstance(inner[space], Scope):
                    break
                macros, names = inner[space], outer[space]
            owner = macros.owner(last)
        macro = None if owner is None else owner[last]
        if not isinstance(macro, _Macro):
            known = "a macro that is defined before it is used"
            raise RobotError(element.where, f"the macro '{printable(name)}', which is not defined", known)
        inside = _Place(Scope(names), Scope(macros), place.file)
        self._fill(element, macro, inside.names, place)
        yield from self._expand(macro.body.children, inside, into)

    def _fill(self, element: Element, macro: _Macro, names: Scope, place: _Place) -> None:
        """Give the parameters of a macro their values."""
        open_ = dict(macro.parameters)
        for name, text in element.texts().items():
            if name.startswith("xmlns:"):
                continue
            if name not in open_:
                due = f"one of {', '.join(macro.parameters) or 'none'}"
                raise RobotError(element.where, f"the parameter '{printable(name)}' of {element.name}", due)
            del open_[name]
            names[name] = self._tried(text, place)
        holder = Element(element.name, {}, element.where)
        blocks = iter(list(self._expand(element.children, place, holder)))
        for name in [name for name in open_ if name.startswith("*")]:
            block = next(blocks, None)
            if block is None:
                raise RobotError(element.where, f"{element.name} without its block '{name.lstrip('*')}'", "an element")
            del open_[name]
            names[name] = block
        if next(blocks, None) is not None:
            raise RobotError(element.where, f"{element.name} with an element too many", "as many as it has blocks")
        for name, (passed_on, default) in open_.items():
            if passed_on and place.names.owner(name) is not None:
                names[name] = self._tried(f"${{{name}}}", place)
            elif default is not None:
                names[name] = self._tried(default, place)
            else:
                raise RobotError(element.where, f"{element.name} without '{printable(name)}'", "a value for it")

    def _block(self, element: Element, place: _Place, into: Element) -> Iterator[Element]:
        name = self._needed(element, "name", place)
        for key, content_only in ((f"**{name}", True), (f"*{name}", False)):
            owner = place.names.owner(key)
            if owner is not None:
                block = owner[key]
                yield from self._expand(block.children if content_only else [block], place, into)
                return
        raise RobotError(element.where, f"the block '{printable(name)}', which is not defined", "one that is")

    # ---- files ----

    def _include(self, element: Element, place: _Place, into: Element) -> Iterator[Element]:
        named = self._needed(element, "filename", place)
        path = self.texts.path(named, place.file)
        optional = self._flag(element, "optional", place, default=False)
        paths = sorted(path.parent.glob(path.name)) if re.search(r"[*?\[]", path.name) else [path]
        inside = place
        if "ns" in element.attributes:
            space = self._needed(element, "ns", place)
            inside = replace(place, names=Scope(place.names), macros=Scope())
            place.names[space], place.macros[space] = inside.names, inside.macros
        for each in paths:
            if optional and not each.is_file():
                continue
            self.texts.note(each, element.where)
            try:
                root = parse(read_content(each, str(each), "a xacro file"), str(each))
            except RobotError as error:
                if error.where != str(each):
                    raise
                where = f"{element.where}, {element.name} of {printable(named, 200)}"
                raise RobotError(where, error.found, error.expected, error.remedy) from error
            yield from self._expand(root.children, replace(inside, file=each), into)


def _refused(element: Element, text: str, error: ExpressionError) -> RobotError:
    found = f"'{printable(text)}' in <{element.name}>: {printable(str(error), 200)}"
    return RobotError(element.where, found, error.due, error.remedy)
