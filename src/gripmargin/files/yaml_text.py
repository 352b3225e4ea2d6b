"""Plain YAML into tables and lists, with nothing that runs or multiplies."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import Any

import yaml

from gripmargin.base.errors import InputError
from gripmargin.files.source import printable


@cache
def _loader(base: Any) -> Any:
    """A safe loader for what JSON and YAML 1.2 have: no merge keys, no key twice; numbers stay text."""

    class Loader(base):  # type: ignore[misc]
        yaml_implicit_resolvers: dict[str, Any] = {}  # noqa: RUF012 - as the base class has it

        def flatten_mapping(self, node: Any) -> None:
            for key, _ in node.value:
                if key.value == "<<":
                    raise yaml.constructor.ConstructorError(None, None, "a merge key (<<)", key.start_mark)

        def construct_mapping(self, node: Any, deep: bool = False) -> Any:
            seen: set[str] = set()
            for key, _ in node.value:
                if isinstance(key.value, str):
                    if key.value in seen:
                        found = f"the key '{printable(key.value)}' twice"
                        raise yaml.constructor.ConstructorError(None, None, found, key.start_mark)
                    seen.add(key.value)
            return super().construct_mapping(node, deep=deep)

    Loader.add_implicit_resolver("tag:yaml.org,2002:null", re.compile(r"^(~|null|Null|NULL|)$"), ["~", "n", "N", ""])
    Loader.add_implicit_resolver("tag:yaml.org,2002:bool", re.compile(r"^(true|false)$"), list("tf"))
    return Loader


def parse_yaml(path: Path, text: str, what: str) -> Any:
    """Read one plain YAML document: no tags, no merge keys, no key twice; numbers stay text.

    Args:
        path: For errors.
        text: Content of the file.
        what: What it should hold, for errors, such as "message".

    Raises:
        InputError: Not plain YAML, nested too deep, or not one document.
    """
    expected = f"a {what} in plain YAML"
    loader = _loader(getattr(yaml, "CSafeLoader", yaml.SafeLoader))
    try:
        documents = [document for document in yaml.load_all(text, Loader=loader) if document is not None]
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        place = f", line {mark.line + 1}" if mark else ""
        found = f"text that is not plain YAML ({printable(str(error.problem or error.context), 160)})"
        raise InputError(f"{path}{place}", found, expected) from error
    except yaml.YAMLError as error:
        reason = printable(str(error).partition("\n")[0], 160)
        raise InputError(str(path), f"text that is not YAML ({reason})", expected) from error
    except RecursionError as error:
        raise InputError(str(path), "values nested too deep", expected) from error
    except (ValueError, TypeError, LookupError, ArithmeticError, AttributeError) as error:  # by tags of other kinds
        raise InputError(str(path), f"a value that cannot be read ({printable(str(error), 160)})", expected) from error
    if len(documents) != 1:
        found = f"{len(documents)} YAML documents"
        raise InputError(str(path), found, f"one {what}", "keep the one to be checked and remove the others (---)")
    return documents[0]
