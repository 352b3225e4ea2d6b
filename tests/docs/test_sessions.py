"""Pages that are one session: a reader writes files, runs scripts and commands in one folder, in order.

A block marked `session NAME` is the file NAME, `session NAME+` is added to its end; Python is run as well. What the
commands of a console block print has to be what the page shows.

`python tests/docs/test_sessions.py` writes the outputs shown in the pages anew.
"""

import contextlib
import io
import os
import re
import shlex
import tempfile
from pathlib import Path
from typing import Any

import pytest

from gripmargin import cli

ROOT = Path(__file__).parents[2]
BLOCK = re.compile(r"^```(\w+) session ?([\w.]*)(\+?)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
PAGES = [page for page in sorted((ROOT / "docs").glob("*.md")) if BLOCK.search(page.read_text(encoding="utf-8"))]
NUMBER = re.compile(r"(?<![\w.])[-+]?\d+\.\d+(?:[eE][-+]?\d+)?")


def printed(arguments: list[str]) -> tuple[str, int]:
    """Run the command in this process; return what a terminal would show, and the exit status."""
    shown = io.StringIO()
    with contextlib.redirect_stdout(shown), contextlib.redirect_stderr(shown):
        status = cli.main(arguments)
    return shown.getvalue(), status


def replay(page: Path) -> list[tuple[re.Match[str], str]]:
    """Do what the page says; return its console blocks with what they should show."""
    found: list[tuple[re.Match[str], str]] = []
    names: dict[str, Any] = {"__name__": "__main__"}
    status, before = 0, Path.cwd()
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        try:
            for block in BLOCK.finditer(page.read_text(encoding="utf-8")):
                kind, name, added, text = block.groups()
                if name:
                    with Path(name).open("a" if added else "w", encoding="utf-8") as file:
                        file.write(("\n" if added else "") + text)
                if kind == "python":
                    exec(compile(text, f"{page.name} {name}", "exec"), names)  # noqa: S102 - our own pages
                if kind == "console":
                    out = ""
                    for line in text.splitlines():
                        if line == "$ echo $?":
                            out += f"{line}\n{status}\n"
                        elif line.startswith("$ gripmargin "):
                            call, _, head = line.removeprefix("$ gripmargin ").partition(" | head -n ")
                            shown, status = printed(shlex.split(call))
                            lines = shown.rstrip().splitlines()
                            out += "\n".join([line, *lines[: int(head or len(lines))]]).rstrip() + "\n"
                    found.append((block, out))
        finally:
            os.chdir(before)
    return found


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_session(page: Path) -> None:
    replayed = replay(page)
    assert replayed
    for block, output in replayed:
        shown = " ".join(block[4].split())
        now = " ".join(output.split())
        assert NUMBER.sub("#", now) == NUMBER.sub("#", shown), (
            "run 'python tests/docs/test_sessions.py', read the change"
        )
        for a, b in zip(NUMBER.findall(now), NUMBER.findall(shown), strict=True):
            assert float(a) == pytest.approx(float(b), rel=0.02, abs=0.011)


def test_there_is_a_session() -> None:
    assert "tutorial.md" in [page.name for page in PAGES]


def refresh() -> None:
    """Write the outputs shown in the pages anew."""
    for page in PAGES:
        text = page.read_text(encoding="utf-8")
        for block, output in reversed(replay(page)):
            text = text[: block.start(4)] + output + text[block.end(4) :]
        page.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    refresh()
