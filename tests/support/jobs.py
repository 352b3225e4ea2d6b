"""Small jobs by the dozen, and worker processes that write down what they judge."""

import os
import re
import signal
import threading
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import pytest

from gripmargin.run.many import judge_file

JOB = """
[job]
name = "NAME"

[materials.film]
pull_off_stress = "5 N/cm^2"
shear_strength = "5 N/cm^2"
normal_stiffness = "0.1 N/mm^3"
shear_stiffness = "0.03 N/mm^3"

[[gripper.pads]]
name = "pad"
material = "film"
shape = "rectangle"
size = ["50 mm", "50 mm"]

[part]
mass = "MASS"
com = ["0 mm", "0 mm", "2 mm"]
inertia = ["3e-4 kg*m^2", "3e-4 kg*m^2", "6e-4 kg*m^2", "0 kg*m^2", "0 kg*m^2", "0 kg*m^2"]
face = "plane"
rigid = true

[program]
trajectory = "FILE.csv"

[targets]
hold = TARGET
swing = 0.01
"""

# Runs in every process that is started with it on its path: what is judged, where, from when to when. Only workers
# need it, and they load the library anyway.
WATCH = """
import sys

def watch():
    import os, signal, time
    import gripmargin.run.one as checker

    real = checker.check_file

    def note(word, path):
        with open(LOG, "a") as log:
            log.write(f"{word} {os.getpid()} {os.path.basename(path)}\\n")

    def watched(path, **more):
        name = os.path.basename(path)
        note("begin", path)
        if name.startswith("slow"):
            time.sleep(0.6)
        if name.startswith("stuck"):  # the first time until it is killed
            with open(LOG) as log:
                time.sleep(60 if log.read().count(f" {name}") == 1 else 0)
        if name.startswith("deadly"):
            os.kill(os.getpid(), signal.SIGKILL)
        if name.startswith("crash"):
            raise ZeroDivisionError("a fault of ours")
        if name.startswith("big"):
            raise MemoryError
        print("a library that prints")
        report = real(path, **more)
        note("end", path)
        return report

    checker.check_file = watched

if any("gripmargin.run.workers" in word or "spawn_main" in word for word in sys.orig_argv):
    watch()
"""


def write_job(folder: Path, name: str, mass: str = "400 g", *, noise: float = 0.0, target: float = 2.0, job="") -> str:
    rows = ["t [s], x [mm], y [mm], z [mm], qx, qy, qz, qw, move"]
    for i in range(201):
        s = i / 200
        rise = 200 * (10 * s**3 - 15 * s**4 + 6 * s**5) + noise * (-1) ** (i * (i + 1) // 2)
        rows.append(f"{0.8 * s:.4f}, 0, 0, {rise:.9f}, 1, 0, 0, 0, lift")
    (folder / f"{name}.csv").write_text("\n".join(rows) + "\n")
    path = folder / f"{name}.toml"
    text = JOB.replace("MASS", mass).replace("FILE", name).replace("NAME", job or name)
    path.write_text(text.replace("TARGET", str(target)), encoding="utf-8")
    return str(path)


@pytest.fixture
def write(tmp_path):
    """Write a job that lifts a plate: 400 g pass, 8 kg fall short, noise of 0.3 mm at 2 kg leaves it undecided."""

    def make(name, mass="400 g", **more):
        return write_job(tmp_path, name, mass, **more)

    return make


@pytest.fixture(scope="session")
def reports(tmp_path_factory):
    """Reports of each verdict, made once."""
    folder = tmp_path_factory.mktemp("jobs")
    given = {"good": {}, "heavy": {"mass": "8 kg"}, "noisy": {"mass": "2 kg", "noise": 0.3}}
    paths = {name: write_job(folder, name, **more) for name, more in given.items()}
    made = {name: judge_file(path).report for name, path in paths.items()}
    assert [str(report.verdict) for report in made.values()] == ["pass", "fail", "undecided"]
    return made


@dataclass
class Watched:
    """What worker processes wrote down."""

    log: Path

    def lines(self):
        text = self.log.read_text() if self.log.exists() else ""
        return [line.split() for line in re.findall(r"^(.+)\n", text, re.MULTILINE)]

    def counted(self, word):
        """How often each job began or ended."""
        return Counter(line[2] for line in self.lines() if line[0] == word)

    def at_work(self, name):
        """The process that began a job and has not ended it, or None."""
        own = [line for line in self.lines() if line[2] == name]
        return int(own[-1][1]) if own and own[-1][0] == "begin" else None

    def kill_at_work(self, name, arrived=None):
        """In the background: end the process that works on a job, as soon as it does; returns how to wait for it.

        With the names of the results that have come back so far: not before all have that were worked out.
        """
        killed = []

        def wait_and_kill():
            end = time.monotonic() + 60.0
            while time.monotonic() < end and not killed:
                pid = self.at_work(f"{name}.toml")
                if pid is not None and (arrived is None or set(self.counted("end")) <= set(arrived)):
                    time.sleep(1.0 if arrived is not None else 0.0)  # until a scheduler has let go of them
                    os.kill(pid, signal.SIGKILL)
                    killed.append(pid)
                time.sleep(0.02)

        thread = threading.Thread(target=wait_and_kill)
        thread.start()

        def done():
            thread.join()
            return len(killed)

        return done


@pytest.fixture
def once():
    """Each of these jobs once."""
    return lambda *names: Counter(f"{name}.toml" for name in names)


@pytest.fixture
def outcomes():
    """The verdicts, or the kinds of errors, of judgements."""
    return lambda found: [str(j.report.verdict) if j.report is not None else type(j.error).__name__ for j in found]


@pytest.fixture
def watched(tmp_path, monkeypatch):
    """Every process started from now on writes down what it judges; names that begin with slow, deadly ... are so."""
    folder = tmp_path / "watch"
    folder.mkdir()
    log = folder / "log"
    (folder / "sitecustomize.py").write_text(f"LOG = {str(log)!r}\n{WATCH}")
    paths = [str(folder), *filter(None, [os.environ.get("PYTHONPATH")])]
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(paths))
    return Watched(log)


ALONE = ["--workers", "1"]


def names(tree):
    """The jobs in a JSON report, by name."""
    return [entry.get("job") or entry["job_file"] for entry in tree]
