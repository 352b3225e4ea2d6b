"""How much memory the check of a long program takes, in a process of its own; run by hand.

python tests/bench/memory.py --samples 1000000
"""

import argparse
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

import gripmargin as gm


def arm() -> gm.Chain:
    """Six turning joints with the twists of a common arm: 0, -90, 0, -90, 90, -90 deg."""
    half = np.pi / 2
    twists = [0, -half, 0, -half, half, -half, 0]
    links = [gm.pose((0.3 * (i % 2), 0, 0.2 * (i % 3)), (twist, 0, 0)) for i, twist in enumerate(twists)]
    return gm.Chain(links=np.stack(links), revolute=(True,) * 6)


def peak() -> float:
    """Most resident memory of this process so far [MB]; by Linux."""
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) / 1024.0


def program(samples: int, *, given: bool) -> gm.JointTrajectory:
    """A swing of all six joints at 250 Hz that begins at rest, joint by joint, so that making it takes no more."""
    t = np.arange(samples) * 0.004
    columns = {name: np.zeros((samples, 6)) for name in (("q", "qd", "qdd") if given else ("q",))}
    for joint, (size, omega) in enumerate(zip(np.linspace(0.2, 0.7, 6), np.linspace(0.7, 2.0, 6), strict=True)):
        for order, rows in enumerate(columns.values()):
            for share, times in ((0.75, 1.0), (-0.25, 3.0)):  # the cube of a sine
                rows[:, joint] += (
                    share * size * (times * omega) ** order * np.sin(times * omega * t + order * np.pi / 2)
                )
    return gm.JointTrajectory(t=t, **columns)


def measure(samples: int, *, given: bool) -> None:
    """Check one program and print what it took."""
    film = gm.PadMaterial(
        pull_off_stress=5e4, shear_strength=5e4, normal_stiffness=1e8, shear_stiffness=3.3e7, damping_ratio=0.02
    )
    part = gm.Part(face="plane", rigid=True, mass=1.0, com=[0.01, 0.02, 0.03], inertia=[1e-3, 2e-3, 2.5e-3, 1e-5, 0, 0])
    asked = {"gripper": gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [0.1, 0.1]),)), "part": part, "robot": arm()}
    made = program(samples, given=given)
    before, start = peak(), time.process_time()
    report = gm.check(trajectory=made, targets=gm.Targets(hold=1e-6), **asked)
    spent = time.process_time() - start
    kind = "rates given" if given else "positions alone"
    sys.stdout.write(f"{samples} samples, {kind}: {peak():.0f} MB at most, {before:.0f} before the check; ")
    sys.stdout.write(f"{1e6 * spent / samples:.0f} us a sample, {report.verdict}\n")


def main() -> None:
    """Measure both kinds."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--samples", type=int, default=1_000_000)
    parser.add_argument("--kind", choices=("rates", "positions"))
    asked = parser.parse_args()
    if asked.kind:
        measure(asked.samples, given=asked.kind == "rates")
        return
    for kind in ("rates", "positions"):
        subprocess.run([sys.executable, __file__, "--samples", str(asked.samples), "--kind", kind], check=True)


if __name__ == "__main__":
    main()
