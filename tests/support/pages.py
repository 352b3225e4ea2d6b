"""The project's pages as text: their fenced blocks and the rows of their tables."""

import itertools
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]
FENCE = re.compile(r"^( *)```(\w*) *(\w*)[ \w.+]*\n(.*?)^\1```$", re.MULTILINE | re.DOTALL)


@dataclass(frozen=True)
class Block:
    """A fenced block of a page."""

    page: Path
    line: int
    start: int
    end: int
    kind: str
    mark: str
    text: str

    @property
    def name(self) -> str:
        return f"{self.page.name}:{self.line}"


def blocks_of(page: Path) -> list[Block]:
    text = page.read_text(encoding="utf-8")
    return [
        Block(page, text.count("\n", 0, m.start()) + 1, m.start(4), m.end(4), m[2], m[3], m[4])
        for m in FENCE.finditer(text)
    ]


BLOCKS = [block for page in PAGES for block in blocks_of(page)]


def of_kind(*kinds: str) -> list[Any]:
    """Blocks that stand for themselves; those of a session are run in order by test_sessions.py."""
    return [pytest.param(block, id=block.name) for block in BLOCKS if block.kind in kinds and block.mark != "session"]


def page_text(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def rows(name: str) -> list[list[str]]:
    """The cells of all table rows of a page, without headers and rules."""
    lines = page_text(name).splitlines()
    found = []
    for line, following in itertools.pairwise([*lines, ""]):
        if line.startswith("|") and not line.startswith("|---") and not following.startswith("|---"):
            found.append([cell.strip() for cell in line.strip("|").split("|")])
    return found


def job_blocks() -> list[Block]:
    return [b for b in BLOCKS if b.page.name == "job-file.md" and b.kind == "toml" and not b.mark]
