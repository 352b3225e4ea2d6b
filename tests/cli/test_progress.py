"""The bar: on a terminal where it takes a while, and nowhere else."""

import os
import pty
import subprocess
import sys
import termios

import pytest

COMMAND = [sys.executable, "-m", "gripmargin", "check", "--workers", "2", "--json", "x.json"]


def on_a_terminal(arguments, folder, **environment):
    """Run the command with a pseudo terminal as standard error; return what it showed there."""
    ours, theirs = pty.openpty()
    termios.tcsetwinsize(theirs, (24, 80))
    program = subprocess.Popen(
        [*COMMAND, *arguments],
        cwd=folder,
        stdout=subprocess.DEVNULL,
        stderr=theirs,
        env={**os.environ, "TERM": "xterm", **environment},
    )
    os.close(theirs)
    shown = b""
    while True:
        try:
            piece = os.read(ours, 65536)
        except OSError:  # the other end is closed
            break
        if not piece:
            break
        shown += piece
    os.close(ours)
    assert program.wait() == 0
    return shown.decode()


@pytest.fixture
def slow(write, watched, tmp_path):
    """Jobs that take 0.6 s each, in processes that are watched."""
    return [write(f"slow{i}") for i in range(4)]


def test_a_bar_on_a_terminal(slow, tmp_path):
    shown = on_a_terminal(slow, tmp_path).replace("a library that prints\r\n", "")
    assert "of 4 jobs [" in shown
    assert shown.rstrip(" ").endswith("\r")  # and it is gone at the end


def test_no_bar_for_one_job_or_a_dumb_terminal(write, tmp_path):
    assert on_a_terminal([write("a")], tmp_path) == ""
    assert on_a_terminal([write("a"), write("b"), "--workers", "1"], tmp_path, TERM="dumb") == ""
