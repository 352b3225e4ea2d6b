"""What another processor changes: sums in another order, so the last digits."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

DEMO = Path(__file__).parents[2] / "trajectories" / "sensor.toml"
# What numpy has faster code for than any processor of its kind: it takes no more names than it knows.
ASKED = """
from numpy._core._multiarray_umath import __cpu_dispatch__ as known, __cpu_features__ as has
print(" ".join(name for name in known if has.get(name)))
"""


def checks(place, **env):
    command = [sys.executable, "-m", "gripmargin", "check", str(DEMO), "--json", str(place)]
    subprocess.run(command, env={**os.environ, **env}, check=False, capture_output=True)
    return json.loads(place.read_text(encoding="utf-8"))["checks"]


def test_figures_are_alike_on_a_processor_without_wide_registers(tmp_path):
    """Values to nine digits; bounds, which rest on the noise found in a file, to three."""
    found = subprocess.run([sys.executable, "-c", ASKED], check=True, capture_output=True, text=True).stdout.strip()
    here = checks(tmp_path / "here.json")
    there = checks(tmp_path / "there.json", NPY_DISABLE_CPU_FEATURES=found, OPENBLAS_CORETYPE="Nehalem")
    assert len(here) > 4
    for one, other in zip(here, there, strict=True):
        assert (one["check"], one["verdict"]) == (other["check"], other["verdict"])
        assert one["value"] == pytest.approx(other["value"], rel=1e-9)
        assert [one["low"], one["high"]] == pytest.approx([other["low"], other["high"]], rel=2e-3)
