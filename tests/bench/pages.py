"""How large the page of a long program is, and how long it takes to write and to open; run by hand.

python tests/bench/pages.py
"""

import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

import gripmargin as gm

SAMPLES, ROUNDS = 60_001, 5
FLAGS = ("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking")


def report() -> gm.Report:
    """A minute at a kilohertz: four pads swing a plate to and fro."""
    t = 1e-3 * np.arange(SAMPLES)
    place = np.column_stack([0.3 * np.sin(3 * t), 0.2 * np.sin(4.3 * t), 0.3 + 0.1 * np.sin(1.7 * t)])
    film = gm.PadMaterial(pull_off_stress=6e4, shear_strength=5e4, normal_stiffness=1e8, shear_stiffness=4e7)
    pads = tuple(gm.Pad.disc(f"{x} {y}", film, 0.03, gm.pose([x, y, 0])) for x in (-0.05, 0.05) for y in (-0.04, 0.04))
    return gm.check(
        trajectory=gm.PoseTrajectory(
            t=t, position=place, rotation=np.broadcast_to(np.diag([1.0, -1.0, -1.0]), (SAMPLES, 3, 3))
        ),
        gripper=gm.Gripper(pads=pads),
        part=gm.Part(face="plane", rigid=True, mass=2.0, com=[0.01, 0.02, 0.02], inertia=1e-2 * np.eye(3)),
    )


def opened(browser: str, page: Path) -> float:
    """Time to start the browser, open a page, run its script and take the drawn page out again [s]."""
    with tempfile.TemporaryDirectory() as profile:
        start = time.perf_counter()
        command = [browser, *FLAGS, f"--user-data-dir={profile}", "--dump-dom", f"file://{page}"]
        run = subprocess.run(command, capture_output=True, text=True, check=True)
        taken = time.perf_counter() - start
    if "<body" not in run.stdout or (page.stat().st_size > 1000 and 'data-ready="yes"' not in run.stdout):
        raise SystemExit("the page did not run")
    return taken


def main() -> None:
    browser = shutil.which("chromium")
    made = report()
    start = time.perf_counter()
    text = gm.report_html(made)
    taken = time.perf_counter() - start
    say = sys.stdout.write
    say(f"{len(text.encode()) / 1e6:8.2f} MB  page of {SAMPLES} samples\n")
    say(f"{taken:8.2f} s   to write\n")
    if browser is None:
        raise SystemExit("no chromium: opening is not measured")
    with tempfile.TemporaryDirectory() as name:
        page, empty = Path(name) / "page.html", Path(name) / "empty.html"
        page.write_text(text, encoding="utf-8")
        empty.write_text("<!DOCTYPE html><title>empty</title>", encoding="utf-8")
        pairs = [(opened(browser, page), opened(browser, empty)) for _ in range(ROUNDS)]
    more = statistics.median(a - b for a, b in pairs)
    say(f"{more:8.2f} s   to open, over an empty page, median of {ROUNDS} rounds\n")
    say(f"{statistics.median(a for a, _ in pairs):8.2f} s   to open, start of the browser included\n")


if __name__ == "__main__":
    main()
