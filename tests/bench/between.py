"""What lies between samples with rates: peaks missed and widths over programs known at every time; run by hand.

PYTHONPATH=src:tests python tests/bench/between.py --programs 60
"""

import argparse
import sys

import numpy as np

from gripmargin.motion.between import law_of
from gripmargin.motion.trajectory import JointTrajectory
from gripmargin.tuning.peaks import peaks
from support.laws import LAWS, program, samples_of

STEPS = 0.001, 0.002, 0.004, 0.008, 0.02, 0.05
HIDDEN = 1e-9  # share of a peak that floating point may hide


def highest(found, first, last):
    """The largest acceleration of each joint over a time: at both sides of changes and at turning points."""
    sides = found.changes[:, None] + np.array([-1e-12, 1e-12])
    out = []
    for a in found.accelerations:
        at = np.concatenate([a.derivative().roots(extrapolate=False), sides.ravel(), [first, last]])
        out.append(np.abs(a(at[(at >= first) & (at <= last)])).max())
    return np.array(out)


def ratios(law, seed, step, digits=None):
    """Bound over truth of the highest acceleration of each joint, and the share of intervals that are loose."""
    found = program(law, seed)
    t = samples_of(found, seed, step)
    q, qd, qdd = (row if digits is None else row.round(digits) for row in found.at(t))
    given, between = law_of(JointTrajectory(t=t, q=q, qd=qd, qdd=qdd))
    return peaks(given, between).acceleration.max(axis=0) / highest(found, t[0], t[-1]), float(between.loose.mean())


def main() -> None:
    """Print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--programs", type=int, default=50, help="of each law at each step")
    parser.add_argument("--digits", type=int, default=None, help="decimals that all columns are rounded to")
    parser.add_argument("--first", type=int, default=0, help="seed of the first")
    asked = parser.parse_args()
    for law in LAWS:
        for step in STEPS:
            seeds = range(asked.first, asked.first + asked.programs)
            found = [ratios(law, seed, step, asked.digits) for seed in seeds]
            ratio, loose = np.concatenate([r for r, _ in found]), np.mean([share for _, share in found])
            wide = "  ".join(f"{x:.5f}" for x in np.quantile(ratio, [0.0, 0.5, 0.9, 1.0]))
            missed = int(sum((r < 1.0 - HIDDEN).any() for r, _ in found))
            sys.stdout.write(
                f"{law:15} {1e3 * step:4g} ms: {missed:3} of {len(found)} missed; bound/truth least, median, nine of "
                f"ten, most {wide}; loose {100 * loose:.3f} %\n"
            )


if __name__ == "__main__":
    main()
