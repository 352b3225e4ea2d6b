"""Count where checker and simulator disagree: ``PYTHONPATH=tests python -m simulator --jobs 300``."""

import argparse
import sys

from simulator.against import both_sides, compare, table
from simulator.jobs import KINDS


def main():
    """Run it."""
    parser = argparse.ArgumentParser(prog="simulator", description=__doc__)
    parser.add_argument("--jobs", type=int, default=40, help="how many random jobs")
    parser.add_argument("--first", type=int, default=0, help="seed of the first")
    parser.add_argument("--kind", choices=KINDS, help="of one kind alone; else they take turns")
    parser.add_argument("--seed", type=int, help="replay one job and say what either side finds")
    asked = parser.parse_args()
    if asked.seed is not None:
        lines = both_sides(*compare(asked.seed, asked.kind))
    else:
        seeds = range(asked.first, asked.first + asked.jobs)
        lines = table([compare(seed, asked.kind)[1] for seed in seeds])
    sys.stdout.writelines(f"{line}\n" for line in lines)


if __name__ == "__main__":
    main()
