"""The jobs to run of the folder: what their reports say, and the same job with something changed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from gripmargin.files.job_file import read_job

FOLDER = Path(__file__).parents[2] / "trajectories"


def worst_finding(report, name="hold"):
    found = [f for f in report.findings if f.check == name]
    return min(found, key=lambda f: f.worst["margin"]) if name == "hold" else found[0]


def remedies(report, check, action):
    return [r for f in report.findings if f.check == check for r in f.remedies if r.action == action]


def result(report, name="hold"):
    return next(c for c in report.checks if c.check == name)


def held_only(name):
    """A job without faces: its pads hold fully, as its preload leaves them, and nothing else is checked."""
    return replace(read_job(FOLDER / f"{name}.toml"), pick=None, nest=None)


def with_program(tmp_path, job, trajectory, text, *changes):
    """Write a job with another program and changed lines; return the path."""
    content = (FOLDER / f"{job}.toml").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in content
        content = content.replace(old, new)
    (tmp_path / f"{job}.toml").write_text(content, encoding="utf-8")
    (tmp_path / "arm.urdf").write_bytes((FOLDER / "arm.urdf").read_bytes())
    if isinstance(text, bytes):
        (tmp_path / trajectory).write_bytes(text)
    else:
        (tmp_path / trajectory).write_text(text, encoding="utf-8")
    return tmp_path / f"{job}.toml"
