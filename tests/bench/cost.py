"""What the checker costs beside one call of Pinocchio's rnea in a loop of Python (R), side by side; run by hand.

PYTHONPATH=src:tests python tests/bench/cost.py
PYTHONPATH=src:tests python tests/bench/cost.py --rows whole loops remedies contact cold
GRIPMARGIN_CORE=off PYTHONPATH=src:tests python tests/bench/cost.py
"""

import argparse
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

import gripmargin as gm
from bench import remedies, speed
from gripmargin.contact.activation import pad_faces
from gripmargin.contact.cells import cut_pads
from gripmargin.contact.relative import RelativeMotion
from gripmargin.contact.simulation import simulate
from gripmargin.kernels import core

ROUNDS, LOOP = 7, 5_000
WINDOW = Path(__file__).parents[2] / "trajectories/window.toml"
PART = gm.Part(face="plane", rigid=True, mass=1.0, com=[0.01, 0.02, 0.03], inertia=[1e-3, 2e-3, 2.5e-3, 1e-5, 0, 0])
FILM = gm.PadMaterial(
    pull_off_stress=5e4, shear_strength=5e4, normal_stiffness=1e8, shear_stiffness=3.3e7, damping_ratio=0.05
)
SQUARE = gm.Gripper(pads=(gm.Pad.rectangle("pad", FILM, [0.1, 0.1]),))
Row = tuple[str, float, str]  # what, its cost over that of its base, the bar


def seconds(task: Callable[[], object]) -> float:
    """Processor time of a task [s]."""
    start = time.process_time()
    task()
    return time.process_time() - start


def one_call() -> Callable[[], object]:
    """So many calls of rnea."""
    robot, (_, *rows) = speed.arm(), speed.program(LOOP)
    return lambda: speed.pinocchio_loop(robot, PART, *rows)


def over_calls(task: Callable[[], object], rounds: int = ROUNDS) -> float:
    """Median cost of a task over that of one call of rnea, both in turns."""
    calls, shares = one_call(), []
    task()
    for _ in range(rounds):
        shares.append(seconds(task) / (seconds(calls) / LOOP))
    return statistics.median(shares)


def swinging(samples: int, *, rates: bool, stops: bool = False) -> Callable[[], object]:
    """A check of a swing of six joints."""
    t, q, qd, qdd = speed.program(samples)
    made = gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd) if rates else gm.JointTrajectory(t=t, q=q)
    asked = {
        "trajectory": made,
        "robot": speed.arm(),
        "gripper": SQUARE,
        "part": PART,
        "targets": gm.Targets(hold=1e-6),
    }
    return lambda: gm.check(**asked, **({"stop": gm.Stop(time=0.3)} if stops else {}))


def whole() -> Iterator[Row]:
    """Long programs, a sample."""
    for what, bar, kind in (
        ("whole check with swing, rates given, a sample", "R/3", {"rates": True}),
        ("the same, positions only", "R/2", {"rates": False}),
        ("the same as the first, with stops along the path", "R", {"rates": True, "stops": True}),
    ):
        yield what, over_calls(swinging(speed.SAMPLES, **kind), rounds=3) / speed.SAMPLES, bar


def loops() -> Iterator[Row]:
    """Short programs, a check."""
    yield "check of 2,000 samples, carry only, in a loop", over_calls(swinging(2_000, rates=True)), "2,500 R"
    yield "pick and place (window.toml), in a loop", over_calls(lambda: gm.check_file(WINDOW)), "50,000 R"


def failing() -> Iterator[Row]:
    """Checks that fail over those that pass."""
    groups = (("hold",), ("swing",), ("stop",), ("hold", "swing", "stop"))
    for moves in (1, 5, 15, 60):
        passing = remedies.job(moves, ())
        shares: list[list[float]] = [[] for _ in groups]
        for _ in range(3):
            base = seconds(lambda: gm.check_job(passing))  # noqa: B023
            for found, short in zip(shares, groups, strict=True):
                job = remedies.job(moves, short)
                found.append(seconds(lambda: gm.check_job(job)) / base)  # noqa: B023
        for found, short in zip(shares, groups, strict=True):
            yield f"{moves} moves failing in {' + '.join(short)}, over passing", statistics.median(found), "3"


def contact() -> Iterator[Row]:
    """The contact of four pads at 1 kHz: 20 s of it, for more is beyond the budget, times three."""
    t = np.arange(20_000) * 1e-3
    pads = tuple(
        gm.Pad.rectangle(f"{x} {y}", FILM, [0.03, 0.03], gm.pose((x, y, 0)))
        for x in (-0.05, 0.05)
        for y in (-0.05, 0.05)
    )
    faces = pad_faces(cut_pads(pads, PART), PART, None)
    breaks = FILM.pull_off_stress / FILM.normal_stiffness
    down, wave = np.diag([1.0, -1.0, -1.0]), np.sin(2.0 * np.pi * t)
    kinds = {  # way along x, height, turn about x
        "at rest, pressed": (0 * t, np.where(t < 0.1, 2e-3 * (1.0 - t / 0.1), 0.0) - breaks, 0 * t),
        "pressed harder and less": (0 * t, breaks * (0.5 * wave - 1.0), 0 * t),
        "torn off and pressed on again": (0 * t, breaks * 4.0 * wave, 0 * t),
        "dragged to and fro": (8.0 * breaks * wave, 0 * t - breaks, 0 * t),
        "rocked": (0 * t, 0 * t - breaks, 20.0 * breaks * wave),
    }
    for what, (x, z, turn) in kinds.items():
        cos, sin, one = np.cos(turn), np.sin(turn), np.ones_like(t)
        rotation = np.moveaxis(np.array([[one, 0 * t, 0 * t], [0 * t, cos, -sin], [0 * t, sin, cos]]), 2, 0) @ down
        motion = RelativeMotion(t=t, rotation=rotation, position=np.stack([x, 0 * t, z], axis=1))
        bar = "150,000 R" if "rest" in what else "700,000 R"
        yield f"contact of 4 pads, 60 s at 1 kHz, {what}", 3.0 * over_calls(lambda: simulate(faces, motion), 1), bar  # noqa: B023


def cold() -> Iterator[Row]:
    """The command from its start, its modules compiled once before as an installed package has them."""

    def spent(*arguments: str) -> float:
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, *arguments], check=True, stdout=subprocess.DEVNULL, env=compiled)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime

    command, imports = ("-m", "gripmargin", "check", str(WINDOW)), ("-c", "import numpy, scipy.linalg")
    with tempfile.TemporaryDirectory() as place:
        compiled = {**os.environ, "PYTHONPYCACHEPREFIX": place, "PYTHONDONTWRITEBYTECODE": ""}
        spent(*command)
        shares = [spent(*command) / spent(*imports) for _ in range(ROUNDS)]
    yield "gripmargin check window.toml, over importing numpy and scipy.linalg", statistics.median(shares), "2.2"


ROWS = {"whole": whole, "loops": loops, "remedies": failing, "contact": contact, "cold": cold}


def main() -> None:
    """Print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", nargs="*", choices=list(ROWS), default=list(ROWS))
    say = sys.stdout.write
    say(f"R: {statistics.median(seconds(one_call()) for _ in range(ROUNDS)) / LOOP * 1e6:.2f} us\n")
    say(f"kernels: {'numpy alone' if core.kernel('follow') is None else 'in C'}\n")
    for name in parser.parse_args().rows:
        for what, share, bar in ROWS[name]():
            say(f"{what:75s} {share:12,.2f}   wanted: {bar}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
