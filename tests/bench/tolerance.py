"""How often bounds of pads that are told apart keep their promise of 99 % with a confidence of 95 %; run by hand.

PYTHONPATH=src:tests python tests/bench/tolerance.py --draws 2000
"""

import argparse
import sys

import numpy as np
from scipy import stats

from gripmargin.kernels.tolerance import block_tolerance_bounds


def main() -> None:
    """Print a table: pads, pulls of each, scatter between pads over that within, and the share of bounds that hold."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--draws", type=int, default=2000)
    draws = parser.parse_args().draws
    sys.stdout.write("pads pulls between at: share that keeps 99 %\n")
    for count in (3, 5, 10):
        for each in (3, 5, 10):
            picks, pads = np.tile(np.linspace(0.0, 400.0, each), count), np.repeat(np.arange(count), each)
            for between in (0.0, 0.5, 1.0, 2.0, 10.0):
                random = np.random.default_rng(0)
                own, within = random.normal(size=(draws, count)), random.normal(size=(draws, picks.size))
                drawn = between * own[:, pads] + within
                for at in (200.0, 400.0):
                    asked = {"content": 0.99, "confidence": 0.95}
                    low = [block_tolerance_bounds(picks, values, pads, at, **asked)[0] for values in drawn]
                    kept = stats.norm.sf(np.array(low) / np.hypot(between, 1.0)) >= 0.99
                    sys.stdout.write(f"{count:4d} {each:5d} {between:7.1f} {at:5.0f}: {kept.mean():.3f}\n")


if __name__ == "__main__":
    main()
