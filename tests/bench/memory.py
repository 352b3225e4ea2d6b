"""How much memory the check of a long program takes, in a process of its own; run by hand.

python tests/bench/memory.py --samples 1000000
"""

import argparse
import subprocess
import sys
import tempfile
import time
import zipfile
from pathlib import Path

import numpy as np

import gripmargin as gm

BLOCK = 65_536  # samples that are written at a time


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


def write(path: Path, samples: int, *, given: bool) -> None:
    """Write a swing of all six joints at 250 Hz that begins at rest, block by block, so that it takes no memory."""
    names = ("q1", "q2", "q3", "q4", "q5", "q6")
    with zipfile.ZipFile(path, "w") as archive:
        with archive.open("t [s].npy", "w", force_zip64=True) as file:
            header = {"descr": "<f8", "fortran_order": False, "shape": (samples,)}
            np.lib.format.write_array_header_1_0(file, header)
            for first in range(0, samples, BLOCK):
                file.write((np.arange(first, min(first + BLOCK, samples)) * 0.004).tobytes())
        for order, (kind, unit) in enumerate(
            (("q", "rad"), ("qd", "rad/s"), ("qdd", "rad/s^2")) if given else (("q", "rad"),)
        ):
            header["shape"] = (samples, len(names))
            with archive.open(f"{kind} [{unit}].npy", "w", force_zip64=True) as file:
                np.lib.format.write_array_header_1_0(file, header)
                for first in range(0, samples, BLOCK):
                    file.write(swing(np.arange(first, min(first + BLOCK, samples)) * 0.004, order).tobytes())


def swing(t: np.ndarray, order: int) -> np.ndarray:
    """Return a derivative of the joints' swing, the cube of a sine each, shape (n, 6)."""
    rows = np.zeros((t.size, 6))
    for joint, (size, omega) in enumerate(zip(np.linspace(0.2, 0.7, 6), np.linspace(0.7, 2.0, 6), strict=True)):
        for share, times in ((0.75, 1.0), (-0.25, 3.0)):
            rows[:, joint] += share * size * (times * omega) ** order * np.sin(times * omega * t + order * np.pi / 2)
    return rows


def measure(samples: int, *, given: bool) -> None:
    """Check one program and print what it took."""
    film = gm.PadMaterial(
        pull_off_stress=5e4, shear_strength=5e4, normal_stiffness=1e8, shear_stiffness=3.3e7, damping_ratio=0.02
    )
    part = gm.Part(face="plane", rigid=True, mass=1.0, com=[0.01, 0.02, 0.03], inertia=[1e-3, 2e-3, 2.5e-3, 1e-5, 0, 0])
    asked = {"gripper": gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [0.1, 0.1]),)), "part": part, "robot": arm()}
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "program.npz"
        write(path, samples, given=given)
        start = time.process_time()
        made = gm.read_trajectory(path, robot=asked["robot"])
    before = peak()
    report = gm.check(trajectory=made, targets=gm.Targets(hold=1e-6), **asked)
    spent = time.process_time() - start
    kind = "rates given" if given else "positions alone"
    sys.stdout.write(f"{samples} samples, {kind}: {peak():.0f} MB at most, {before:.0f} when it was read; ")
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
