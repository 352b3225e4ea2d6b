"""A job file as a tree of plain values, and the files that it names."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from gripmargin.base.errors import InputError
from gripmargin.files.job_schema import JobFile, table_at
from gripmargin.files.source import parse_json, printable, read_text
from gripmargin.workcell.kinds import PATH

MAX_BYTES = 1_000_000
DEEPEST = 16  # dots of a key, four times what a job has: the parser's memory grows with their square
_TEXT = re.compile(  # of TOML: strings and comments, to the end of the file or line where they are not closed
    r'"""(?:\\.|(?!""")[^\\])*+(?:""")?' + r"|'''(?:(?!''').)*+(?:''')?"
    r'|"(?:\\[^\n]|[^"\\\n])*+"?' + r"|'[^'\n]*+'?|#[^\n]*+",
    re.DOTALL,
)
_NUMBER = r"[+-]?\d[\d.]*"
_SLIPS = {  # what a line looks like that is not TOML, without its quoted text, and what to do
    "==": "write one =",
    rf"=\s*{_NUMBER}\s*%": "write a share, such as 0.8 for 80 %",
    r"=\s*(?:null|None|nil)\b": "leave the key out",
    "[\u201c\u201d\u201e\u2018\u2019]": "use straight quotes",
    rf"=\s*{_NUMBER},\d": "write decimals with a point, and a value with a unit in quotes",
    rf"=\s*(?P<value>{_NUMBER}\s*[A-Za-z°µ%][^\s#,]*)": 'put it in quotes: "{}"',
    rf"=\s*\[.*?(?<![\"'\w.])(?P<value>{_NUMBER}\s*[A-Za-z°µ%][^\s#,\]]*)": 'put each value in quotes, as in ["{}"]',
    r"=\s*(?:True|TRUE|Yes|yes)\b": "write true",
    r"=\s*(?:False|FALSE|No|no)\b": "write false",
    r"=\s*(?P<value>[A-Za-z][\w./-]*)\s*(?:#.*)?$": 'put it in quotes: "{}"',
    r"=\s*(?:#.*)?$": "write a value after the =",
    r"^\s*\[\[(?P<value>[\w.]+)\]\]": "write [[{}]] above each of its tables",
    r"^\s*[A-Za-z_]\w*\s*:": "write = between key and value",
}
_REASONS = {  # how the parser's own words start, and what to do
    "Invalid statement": "start a line with a key, a [table] or #",
    "Cannot overwrite": "leave one of the two",
    "Cannot declare": "leave one of the two",
    "Duplicate inline": "leave one of the two",
    "Unescaped": "write / between folders, or put it in single quotes",
    "Illegal character '\\n'": "close the quotes",
    "Unclosed array": "put commas between the values, and ] after the last",
    "Expected ']'": "close the bracket",
    "Expected '='": "write _ for a blank in a key, and = after it",
    "Expected newline": "end the line after the value; # starts a comment",
    "Invalid initial": "write a table in { } on one line, without a comma after its last value",
    "Invalid value": "write text in quotes, numbers as 0.5 or 2.0",
}
_KEYS = re.compile(r"[\w. \t-]+")


def read_tree(file: Path) -> Any:
    """Return what a job file holds, as it stands there.

    Raises:
        InputError: Another ending than .toml and .json, no such text, or not to be read.
    """
    ending = file.suffix.lower()
    if ending not in (".toml", ".json"):
        found = f"the ending '{ending}'" if ending else "a name without an ending"
        raise InputError(str(file)[:200], found, "a job file, .toml or .json")
    text = read_text(file, MAX_BYTES)
    if ending == ".json":
        return parse_json(file, text)
    return parse_toml(str(file), text)


def parse_toml(file: str, text: str) -> dict[str, Any]:
    """Return what a text of TOML holds.

    Args:
        file: What to call it in an error.
        text: The text.

    Raises:
        InputError: It is none, or not to be read.
    """
    _refuse_deep_keys(file, text)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        line = re.search(r"\(at line (\d+), column (\d+)\)", str(error))
        place = f", line {line[1]}, column {line[2]}" if line else ""
        reason = re.sub(r" \(at .*\)$", "", str(error))
        remedy = _mend(text.split("\n")[int(line[1]) - 1], reason) if line else ""
        found = f"text that is not TOML ({printable(reason, 160)})"
        raise InputError(f"{file}{place}", found, "valid TOML", remedy) from error
    except RecursionError as error:
        raise InputError(file, "values nested too deep", "a flat file") from error
    except ValueError as error:
        raise InputError(file, f"a value that cannot be read ({printable(str(error), 160)})", "valid TOML") from error


def _mend(line: str, reason: str) -> str:
    """What to do about a line that is not TOML, where that is one of the usual slips."""
    bare = "" if reason == "Invalid statement" else re.sub(r"\"[^\"]*\"|'[^']*'", '""', line[:500])
    for slip, remedy in _SLIPS.items():
        found = re.search(slip, bare)
        if found:
            return remedy.format(printable((found.groupdict().get("value") or "").strip()))
    return next((remedy for start, remedy in _REASONS.items() if reason.startswith(start)), "")


def _refuse_deep_keys(file: str, text: str) -> None:
    bare = _TEXT.sub(lambda found: "s" + "\n" * found[0].count("\n"), text)
    for keys in _KEYS.finditer(bare):
        if keys[0].count(".") > DEEPEST:
            line = bare.count("\n", 0, keys.start()) + 1
            found, due = f"a key of {keys[0].count('.') + 1} parts", f"at most {DEEPEST + 1}, as in job.name"
            raise InputError(f"{file}, line {line}", found, due)


def files_read(file: Path) -> list[Path]:
    """Return the files that a job reads: its own, those it names, and those in a folder that it names.

    Of a job that cannot be read: as far as it can.
    """
    files = [file]
    try:
        tree = read_tree(file)
    except InputError:
        return files
    for name in _named(tree):
        named = file.parent / name
        try:
            files += [named, *(named.iterdir() if named.is_dir() else ())]
            files += _included(named, file.parent, tree) if named.suffix == ".xacro" else ()
        except (OSError, ValueError, InputError):
            continue
    return files


def _included(named: Path, folder: Path, tree: dict[str, Any]) -> list[Path]:
    """The files that a xacro file reads."""
    from gripmargin.files.urdf import described  # noqa: PLC0415 - XML is only needed here

    robot = tree["robot"]
    packages = {name: folder / str(each) for name, each in dict(robot.get("packages") or {}).items()}
    return described(named, arguments=robot.get("xacro_arguments"), packages=packages)[1]


def _named(tree: Any) -> Iterator[str]:
    """What stands at the keys that are declared as paths."""
    for name in JobFile.model_fields:
        table, given = table_at((name,)), tree.get(name) if isinstance(tree, dict) else None
        for field, key in getattr(table, "declared", {}).items():
            path = given.get(key.spelled or field) if isinstance(given, dict) and key.kind == PATH else None
            if isinstance(path, str):
                yield path
