"""The tables of the job file's page are what its keys declare.

`python tests/docs/test_job_page.py` writes their rows anew; a key that is new comes last in its table.
"""

import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "job-file.md"
sys.path.insert(0, str(ROOT / "tests"))  # as pytest does

from support.job_page import ROW, page  # noqa: E402


def test_the_tables_are_what_the_keys_declare() -> None:
    text = PAGE.read_text(encoding="utf-8")
    assert page(text) == text, "run 'python tests/docs/test_job_page.py' and read what changed"
    shown = ROW.findall(text)
    assert len(shown) == len(set(shown)) > 80


def test_a_key_that_is_new_or_gone_is_noticed() -> None:
    text = PAGE.read_text(encoding="utf-8")
    rows = {found[1]: found[0] for found in ROW.finditer(text)}
    less = text.replace(rows["targets.droop"], "")
    assert less != text
    assert page(less) == text
    more = text.replace(rows["part.mass"], rows["part.mass"] + "| `part.colour` | text | no | | names | its colour |\n")
    assert page(more) == text


if __name__ == "__main__":
    PAGE.write_text(page(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
