"""Every name and code that a report may have is explained, and nothing else is."""

import pytest

from gripmargin import cli
from gripmargin.checks import likely, plausible, premises, registry
from gripmargin.checks.meanings import MEANINGS


def test_every_code_has_a_meaning():
    rules = {*likely.RULES, *plausible.RULES, "target", premises.BEGINS}
    causes = {"above_the_face", "no_bond"}
    assert set(MEANINGS) == {judged.name for judged in registry.judged()} | rules | causes


@pytest.mark.parametrize("code", MEANINGS)
def test_each_says_what_why_and_what_helps(code, capsys):
    assert cli.main(["explain", code]) == 0
    out = capsys.readouterr().out
    assert out.startswith(f"{code}\n  what   ")
    for text in (MEANINGS[code].what, MEANINGS[code].why, MEANINGS[code].helps):
        assert text.endswith(".")
        assert text in " ".join(out.split())


def test_all_of_them_are_listed_and_a_wrong_one_is_told(capsys):
    assert cli.main(["explain"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines if line[2] != " "] == list(MEANINGS)
    assert cli.main(["explain", "swng"]) == 2
    assert "did you mean 'swing'?" in capsys.readouterr().err
