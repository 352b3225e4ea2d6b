"""The check that DEVELOPERS.md builds: one room and a line in the registry, and it is everywhere."""

import json
import re
import sys
import types
from pathlib import Path

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks import registry

PAGE = Path(__file__).parents[2] / "DEVELOPERS.md"


@pytest.fixture
def lean(monkeypatch):
    """The module of the example, with its check in the registry."""
    (code,) = re.findall(r"```python\n(\"\"\"Do the pads lean.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)
    module = types.ModuleType("gripmargin.checks.lean.check")
    monkeypatch.setitem(sys.modules, module.__name__, module)
    exec(compile(code, str(PAGE), "exec"), module.__dict__)  # noqa: S102 - our own page
    monkeypatch.setattr(registry, "CHECKS", (*registry.CHECKS, module.LEAN))
    return module


@pytest.fixture
def leaning(film):
    """A part carried along x on a tool that leans by 25 degrees."""
    t = np.linspace(0.0, 1.0, 251)
    s = 10 * t**3 - 15 * t**4 + 6 * t**5
    turned = gm.pose(rpy=(np.pi + np.deg2rad(25.0), 0, 0))[:3, :3]
    return {
        "trajectory": gm.PoseTrajectory(
            t=t,
            position=np.column_stack([0.1 * s, 0 * t, 0 * t]),
            rotation=np.broadcast_to(turned, (t.size, 3, 3)),
        ),
        "gripper": gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [0.05, 0.05]),)),
        "part": gm.Part(face="plane", rigid=True, mass=0.2, com=[0, 0, 0.002], inertia=[1e-4, 1e-4, 2e-4, 0, 0, 0]),
    }


def test_it_is_in_every_report(lean, leaning):
    report = gm.check(**leaning)
    result = next(check for check in report.checks if check.check == "lean")
    assert report.verdict == "fail"
    assert result.value == pytest.approx(20 / 25)
    assert result.text == "allowed lean over the largest"
    (finding,) = (finding for finding in report.findings if finding.check == "lean")
    assert finding.worst["lean"] == pytest.approx(np.deg2rad(25.0))
    assert "lean 1" in next(sentence for sentence in report.assumed if sentence.startswith("Targets in force"))
    assert "Lean of the pads: geometry." in report.references
    text = gm.report_text(report)
    assert "the pads lean by up to 25.0 deg" in text
    assert "carry the part more nearly level" in text
    tree = json.loads(gm.report_json(report))
    assert tree["checks"][-1]["details"]["lean"] == pytest.approx(np.deg2rad(25.0))
    assert "lean" in gm.junit_xml([gm.Judgement(job_file="a.toml", report=report)])
    assert "the pads lean by up to 25.0 deg" in gm.report_html(report)


def test_it_passes_what_leans_less(lean, leaning):
    leaning["trajectory"] = gm.PoseTrajectory(
        t=leaning["trajectory"].t,
        position=leaning["trajectory"].position,
        rotation=np.broadcast_to(gm.pose(rpy=(np.pi, 0, 0))[:3, :3], (251, 3, 3)),
    )
    result = next(check for check in gm.check(**leaning).checks if check.check == "lean")
    assert (result.verdict, result.value) == ("pass", None)
