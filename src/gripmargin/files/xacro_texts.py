"""Texts of a xacro file: properties in their scopes, expressions, arguments, packages, tables of YAML."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import yaml

from gripmargin.base.errors import InputError, RobotError
from gripmargin.files.expressions import GLOBALS, LONGEST, ExpressionError, Space, as_text, evaluate
from gripmargin.files.source import printable, read_text

MAX_FILES: Final = 1_000
MAX_TABLE: Final = 1_000_000  # [bytes] of a file of YAML
_UNITS: Final = {
    "!radians": 1.0,
    "!degrees": 0.017453292519943295,
    "!meters": 1.0,
    "!millimeters": 1e-3,
    "!foot": 0.3048,
    "!inches": 0.0254,
}
_PIECES: Final = re.compile(r"(\$\$+(?=[{(]))|\$\{([^}]*)\}|\$\(([^)]*)\)|([^$]+|\$)")


@dataclass(frozen=True)
class Later:
    """A text that is worked out when it is asked for, or why that failed."""

    text: str
    error: ExpressionError | None = None


class _Inner(Space):
    """What lies in a name space, worked out when it is asked for."""

    def __init__(self, scope: Scope, value: Callable[[str], Any]) -> None:
        super().__init__()
        self._scope, self._value = scope, value

    def __contains__(self, name: object) -> bool:
        return name in self._scope

    def __getitem__(self, name: str) -> Any:
        return self._value(name)


class Scope(dict[str, Any]):
    """Names of a macro or of a file, within those around it."""

    def __init__(self, parent: Scope | None = None) -> None:
        super().__init__()
        self.parent = parent

    def owner(self, name: str) -> Scope | None:
        """Return the nearest scope that has a name; None: it is not defined."""
        scope: Scope | None = self
        while scope is not None and name not in scope:
            scope = scope.parent
        return scope

    @property
    def outermost(self) -> Scope:
        """The scope of the whole description."""
        return self if self.parent is None else self.parent.outermost


class Texts:
    """Works out texts.

    Args:
        file: The file of the description, around which packages are looked for; None: it is in none.
        arguments: Texts by the names of its arguments; its defaults are added.
        packages: Folders by the names of packages.

    Attributes:
        files: The further files that were read.
        asked: Names of arguments that the description has.
    """

    def __init__(self, file: Path | None, arguments: dict[str, str], packages: dict[str, Path]) -> None:
        self.arguments = arguments
        self.files: list[Path] = []
        self.asked: set[str] = set()
        self._top = file
        self._packages = packages
        self._working_out: list[tuple[int, str]] = []  # scope and name

    def note(self, path: Path, where: str) -> None:
        """Note a file that is read."""
        if len(self.files) >= MAX_FILES:
            raise RobotError(where, f"more than {MAX_FILES} files", "a description that ends")
        self.files.append(path)

    def path(self, name: str, file: Path | None) -> Path:
        """Return the path that a name in a file stands for."""
        return Path(name) if file is None else file.parent / name

    def value(self, text: str, names: Scope, file: Path | None) -> Any:
        """The value of a text: that of its only expression, else the pieces side by side."""
        values: list[Any] = []
        for found in _PIECES.finditer(text):
            dollars, expression, command, plain = found.groups()
            if expression is not None:
                inner = as_text(self.value(expression, names, file))
                values.append(evaluate(inner, lambda name: self._named(name, names, file)))
            elif command is not None:
                values.append(self._command(as_text(self.value(command, names, file)), file))
            else:
                values.append(plain if dollars is None else dollars[1:])
        if len(values) == 1:
            return values[0]
        joined = "".join(map(as_text, values))
        if len(joined) > LONGEST:
            raise ExpressionError(f"a text of {len(joined)} characters")
        return joined

    def _named(self, name: str, names: Scope, file: Path | None) -> Any:
        owner = names.owner(name)
        if owner is None:
            own = self._own(file)
            return own if name == "xacro" else own[name]
        value = owner[name]
        if isinstance(value, Later):
            if value.error is not None:
                raise value.error
            if (id(owner), name) in self._working_out:
                raise ExpressionError(f"the property '{name}', which is defined by itself")
            self._working_out.append((id(owner), name))
            try:
                value = owner[name] = literal(self.value(value.text, owner, file))
            finally:
                self._working_out.pop()
        if isinstance(value, Scope):
            return _Inner(value, lambda inner: self._named(inner, value, file))
        return value

    def _own(self, file: Path | None) -> Space:
        own = {
            "load_yaml": lambda name: self._table(name, file),
            "abs_filename": lambda name: str(self.path(as_text(name), file)),
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
                return str(self.path("", file))
            case "optenv" if rest:
                return rest.partition(" ")[2].strip()  # the environment is not read
            case "eval":
                return evaluate(rest, lambda name: literal(self.arguments[name]))
        raise ExpressionError(f"'$({printable(text)})', which is not known here")

    def _table(self, name: Any, file: Path | None) -> Any:
        """What a file of YAML holds."""
        path = self.path(as_text(name), file)
        self.note(path, str(path))
        try:
            return yaml.load(read_text(path, MAX_TABLE), Loader=_Tables)  # noqa: S506 - a safe loader
        except InputError as error:
            raise ExpressionError(f"the file {printable(str(path), 200)}: {error.found}") from error
        except (yaml.YAMLError, ExpressionError, RecursionError, ValueError, TypeError) as error:
            reason = printable(str(error).partition("\n")[0], 160)
            raise ExpressionError(f"the file {printable(str(path), 200)}: no plain YAML ({reason})") from error

    def _package(self, name: str) -> str:
        """The folder of a package: as given, else the nearest of that name beside or above the description."""
        if name in self._packages:
            return str(self._packages[name])
        around = () if self._top is None else self._top.absolute().parents
        found = next((folder / name for folder in around if (folder / name).is_dir()), None)
        if found is None or not re.fullmatch(r"[\w.-]+", name) or not name.strip("."):
            known = printable(name)
            remedy = f'say where it is: robot.packages = {{ {known} = "folder" }}'
            raise ExpressionError(f"the package '{known}', whose folder is not known", "its folder", remedy)
        return str(found)


def _refuse(*said: Any) -> str:
    raise ExpressionError(" ".join(map(as_text, said)))


def literal(value: Any, *, later: bool = False) -> Any:
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
    return Later(value) if later and "$" in value else value


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
