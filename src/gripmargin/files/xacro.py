"""A xacro file into the elements that it stands for, worked out here so that a file runs no code and has bounds.

What is expanded is the language as its documentation has it (https://wiki.ros.org/xacro): properties, arguments, macros
with defaults and blocks, conditions, includes, expressions. Expressions are those of `expressions`; the environment is
not read, and of files only those that are included or loaded.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import yaml

from gripmargin.base.errors import InputError, RobotError
from gripmargin.files.expressions import GLOBALS, LONGEST, ExpressionError, Space, as_text, evaluate
from gripmargin.files.source import printable, read_text
from gripmargin.files.xml_tree import Element, parse, read_content

MAX_ELEMENTS: Final = 200_000  # in all, as expanded; a robot with two arms and hands has some 5,000
MAX_FILES: Final = 1_000
MAX_TABLE: Final = 1_000_000  # [bytes] of a file of YAML
_PREFIX: Final = "xacro:"
_PIECES: Final = re.compile(r"(\$\$+(?=[{(]))|\$\{([^}]*)\}|\$\(([^)]*)\)|([^$]+|\$)")
_PARAMETER: Final = re.compile(
    r"\s*([^\s:=]+)(?:\s*:?=\s*(\^\|?)?(\$\{.*?\}|\$\(.*?\)|(?:'.*?'|\".*?\"|[^\s'\"]+)+|))?(?=\s|$)"
)
_UNITS: Final = {
    "!radians": 1.0,
    "!degrees": 0.017453292519943295,
    "!meters": 1.0,
    "!millimeters": 1e-3,
    "!foot": 0.3048,
    "!inches": 0.0254,
}


@dataclass(frozen=True)
class _Later:
    """A text that is worked out when it is asked for, or why that failed."""

    text: str
    error: ExpressionError | None = None


class _Inner(Space):
    """What lies in a name space, worked out when it is asked for."""

    def __init__(self, scope: _Scope, value: Callable[[str], Any]) -> None:
        super().__init__()
        self._scope, self._value = scope, value

    def __contains__(self, name: object) -> bool:
        return name in self._scope

    def __getitem__(self, name: str) -> Any:
        return self._value(name)


class _Scope(dict[str, Any]):
    """Names of a macro or of a file, within those around it."""

    def __init__(self, parent: _Scope | None = None) -> None:
        super().__init__()
        self.parent = parent

    def owner(self, name: str) -> _Scope | None:
        scope: _Scope | None = self
        while scope is not None and name not in scope:
            scope = scope.parent
        return scope

    @property
    def outermost(self) -> _Scope:
        return self if self.parent is None else self.parent.outermost


@dataclass
class _Macro:
    body: Element
    parameters: dict[str, tuple[bool, str | None]]  # name -> whether it is passed on from outside, default


@dataclass
class _Place:
    """Where an element stands: names and macros that it sees, its file."""

    names: _Scope
    macros: _Scope
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
    place = _Place(_Scope(), _Scope(), file)
    try:
        whole = expander.copied(root, place)
    except RecursionError as error:
        raise RobotError(root.where, "macros within each other without end", "a description that ends") from error
    unknown = next((name for name in arguments or {} if name not in expander.asked), None)
    if unknown is not None:
        known = ", ".join(f"'{printable(name)}'" for name in sorted(expander.asked)[:12]) or "none"
        where = f"{root.where}, argument '{printable(unknown)}'"
        raise RobotError(where, "an argument that the description does not have", f"one of its own: {known}")
    return whole, expander.files


class _Expander:
    def __init__(self, file: Path | None, arguments: dict[str, str], packages: dict[str, Path]) -> None:
        self.top = file
        self.arguments = arguments
        self.packages = packages
        self.files: list[Path] = []
        self.asked: set[str] = set()
        self.count = 0
        self.working_out: list[str] = []
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
            return as_text(self._text(text, place.names, place.file))
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
            value = _literal(self._text(text, place.names, place.file))
        except ExpressionError as error:
            raise _refused(element, text, error) from error
        if isinstance(value, str):
            found = f"<{element.name}> with the value '{printable(value)}'"
            raise RobotError(element.where, found, "true, false or a number")
        return bool(value)

    def _argument(self, element: Element, place: _Place) -> None:
        name = self._needed(element, "name", place)
        self.asked.add(name)
        if name not in self.arguments and "default" in element.attributes:
            self.arguments[name] = self._needed(element, "default", place)

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
            scope[name] = _literal(text, later=True)
        else:
            scope[name] = self._tried(text, place)

    def _flag(self, element: Element, name: str, place: _Place, *, default: bool) -> bool:
        if name not in element.attributes:
            return default
        return self._needed(element, name, place).lower() in ("true", "1")

    def _tried(self, text: str, place: _Place) -> Any:
        """The value of a text now; what cannot be worked out is an error only where it is used."""
        try:
            return _literal(self._text(text, place.names, place.file))
        except ExpressionError as error:
            return _Later(text, error)

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
                if inner is None or outer is None or not isinstance(inner[space], _Scope):
                    break
                macros, names = inner[space], outer[space]
            owner = macros.owner(last)
        macro = None if owner is None else owner[last]
        if not isinstance(macro, _Macro):
            known = "a macro that is defined before it is used"
            raise RobotError(element.where, f"the macro '{printable(name)}', which is not defined", known)
        inside = _Place(_Scope(names), _Scope(macros), place.file)
        self._fill(element, macro, inside.names, place)
        yield from self._expand(macro.body.children, inside, into)

    def _fill(self, element: Element, macro: _Macro, names: _Scope, place: _Place) -> None:
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
        path = self._path(named, place.file)
        optional = self._flag(element, "optional", place, default=False)
        paths = sorted(path.parent.glob(path.name)) if re.search(r"[*?\[]", path.name) else [path]
        inside = place
        if "ns" in element.attributes:
            space = self._needed(element, "ns", place)
            inside = replace(place, names=_Scope(place.names), macros=_Scope())
            place.names[space], place.macros[space] = inside.names, inside.macros
        for each in paths:
            if optional and not each.is_file():
                continue
            self._note(each, element.where)
            try:
                root = parse(read_content(each, str(each), "a xacro file"), str(each))
            except RobotError as error:
                if error.where != str(each):
                    raise
                where = f"{element.where}, {element.name} of {printable(named, 200)}"
                raise RobotError(where, error.found, error.expected, error.remedy) from error
            yield from self._expand(root.children, replace(inside, file=each), into)

    def _note(self, path: Path, where: str) -> None:
        if len(self.files) >= MAX_FILES:
            raise RobotError(where, f"more than {MAX_FILES} files", "a description that ends")
        self.files.append(path)

    def _path(self, name: str, file: Path | None) -> Path:
        return Path(name) if file is None else file.parent / name

    def _table(self, name: Any, file: Path | None) -> Any:
        """What a file of YAML holds."""
        path = self._path(as_text(name), file)
        self._note(path, str(path))
        try:
            return yaml.load(read_text(path, MAX_TABLE), Loader=_Tables)  # noqa: S506 - a safe loader
        except InputError as error:
            raise ExpressionError(f"the file {printable(str(path), 200)}: {error.found}") from error
        except (yaml.YAMLError, ExpressionError, RecursionError, ValueError, TypeError) as error:
            reason = printable(str(error).partition("\n")[0], 160)
            raise ExpressionError(f"the file {printable(str(path), 200)}: no plain YAML ({reason})") from error

    def _package(self, name: str) -> str:
        """The folder of a package: as given, else the nearest of that name beside or above the description."""
        if name in self.packages:
            return str(self.packages[name])
        around = () if self.top is None else self.top.absolute().parents
        found = next((folder / name for folder in around if (folder / name).is_dir()), None)
        if found is None or not re.fullmatch(r"[\w.-]+", name) or not name.strip("."):
            known = printable(name)
            remedy = f'say where it is: robot.packages = {{ {known} = "folder" }}'
            raise ExpressionError(f"the package '{known}', whose folder is not known", "its folder", remedy)
        return str(found)

    # ---- texts ----

    def _text(self, text: str, names: _Scope, file: Path | None) -> Any:
        """The value of a text: that of its only expression, else the pieces side by side."""
        values: list[Any] = []
        for found in _PIECES.finditer(text):
            dollars, expression, command, plain = found.groups()
            if expression is not None:
                inner = as_text(self._text(expression, names, file))
                values.append(evaluate(inner, lambda name: self._named(name, names, file)))
            elif command is not None:
                values.append(self._command(as_text(self._text(command, names, file)), file))
            else:
                values.append(plain if dollars is None else dollars[1:])
        if len(values) == 1:
            return values[0]
        joined = "".join(map(as_text, values))
        if len(joined) > LONGEST:
            raise ExpressionError(f"a text of {len(joined)} characters")
        return joined

    def _named(self, name: str, names: _Scope, file: Path | None) -> Any:
        owner = names.owner(name)
        if owner is None:
            own = self._own(file)
            return own if name == "xacro" else own[name]
        value = owner[name]
        if isinstance(value, _Later):
            if value.error is not None:
                raise value.error
            if name in self.working_out:
                raise ExpressionError(f"the property '{name}', which is defined by itself")
            self.working_out.append(name)
            try:
                value = owner[name] = _literal(self._text(value.text, owner, file))
            finally:
                self.working_out.pop()
        if isinstance(value, _Scope):
            return _Inner(value, lambda inner: self._named(inner, value, file))
        return value

    def _own(self, file: Path | None) -> Space:
        own = {
            "load_yaml": lambda name: self._table(name, file),
            "abs_filename": lambda name: str(self._path(as_text(name), file)),
            "arg": self._given,
            "dotify": dict,
            "tokenize": GLOBALS["tokenize"],
            **dict.fromkeys(("message", "warning", "print_location"), lambda *_: ""),
        }
        return Space({**own, "error": _refuse, "fatal": _refuse})

    def _given(self, name: Any) -> str:
        self.asked.add(as_text(name))
        if name not in self.arguments:
            known = printable(as_text(name))
            remedy = f'give it: robot.xacro_arguments = {{ {known} = "..." }}'
            raise ExpressionError(f"the argument '{known}', which has no value", "a text for it", remedy)
        return self.arguments[name]

    def _command(self, text: str, file: Path | None) -> Any:
        command, _, rest = text.strip().partition(" ")
        rest = rest.strip()
        match command:
            case "arg":
                return self._given(rest)
            case "find":
                return self._package(rest)
            case "dirname":
                return str(self._path("", file))
            case "optenv" if rest:
                return rest.partition(" ")[2].strip()  # the environment is not read
            case "eval":
                return evaluate(rest, lambda name: _literal(self.arguments[name]))
        raise ExpressionError(f"'$({printable(text)})', which is not known here")


def _refuse(*said: Any) -> str:
    raise ExpressionError(" ".join(map(as_text, said)))


def _refused(element: Element, text: str, error: ExpressionError) -> RobotError:
    found = f"'{printable(text)}' in <{element.name}>: {printable(str(error), 200)}"
    return RobotError(element.where, found, error.due, error.remedy)


def _literal(value: Any, *, later: bool = False) -> Any:
    """What a text says: a number, true or false, or itself; what has expressions in it may be worked out later."""
    if not isinstance(value, str):
        return value
    if len(value) >= 2 and value[0] == value[-1] == "'":
        return value[1:-1]
    if "_" not in value:
        for read in (int, float):
            try:
                return read(value)
            except ValueError:
                continue
        if value in ("true", "True", "false", "False"):
            return value in ("true", "True")
    return _Later(value) if later and "$" in value else value


class _Tables(yaml.SafeLoader):
    """Plain YAML, and quantities by their units."""


def _quantity(loader: Any, suffix: str, node: Any) -> float:
    tag = f"!{suffix}"
    if tag not in _UNITS:
        raise ExpressionError(f"the tag {printable(tag)}")
    return float(evaluate(str(loader.construct_scalar(node)), _nothing)) * _UNITS[tag]


def _nothing(name: str) -> Any:
    raise KeyError(name)


_Tables.add_multi_constructor("!", _quantity)
