"""On a terminal as wide as it is and with verdicts in colour; elsewhere neither."""

import os

import pytest

from gripmargin.cli import terminal

TEXT = """FAIL  plate

  preload       pass       margin 3
  hold          undecided  margin 2
  swing         fail       margin 1

  why          what passes  pass  and what fails
IN ALL  2 jobs: 1 pass
"""


@pytest.fixture
def a_terminal(monkeypatch):
    monkeypatch.setattr("sys.stdout.isatty", lambda: True, raising=False)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.delenv("NO_COLOR", raising=False)


def test_verdicts_are_coloured_on_a_terminal_and_nothing_else(a_terminal):
    """Codes by ECMA-48, Control Functions for Coded Character Sets, 5th edition 1991, 8.3.117."""
    shown = terminal.coloured(TEXT)
    assert shown.startswith("\x1b[31mFAIL\x1b[0m  plate\n")
    assert "  preload       \x1b[32mpass\x1b[0m       margin" in shown
    assert "  hold          \x1b[33mundecided\x1b[0m  margin" in shown
    assert "  swing         \x1b[31mfail\x1b[0m       margin" in shown
    assert shown.count("\x1b[0m") == 4


@pytest.mark.parametrize("variable", [{"NO_COLOR": "1"}, {"TERM": "dumb"}])
def test_colours_can_be_kept_away(a_terminal, monkeypatch, variable):
    for name, value in variable.items():
        monkeypatch.setenv(name, value)
    assert terminal.coloured(TEXT) == TEXT


def test_neither_in_a_pipe(monkeypatch):
    monkeypatch.setattr("sys.stdout.isatty", lambda: False, raising=False)
    assert terminal.coloured(TEXT) == TEXT
    assert terminal.width() == 100


@pytest.mark.parametrize(("columns", "shown"), [(80, 80), (20, 60), (300, 120)])
def test_lines_are_as_wide_as_the_terminal_within_reason(a_terminal, monkeypatch, columns, shown):
    monkeypatch.setattr("shutil.get_terminal_size", lambda _: os.terminal_size((columns, 24)))
    assert terminal.width() == shown
