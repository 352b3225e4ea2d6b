"""Messages of planners at 1.15 times the target: how many are decided; run by hand.

PYTHONPATH=src:tests python tests/bench/planners.py --programs 50
"""

import argparse
import sys
from collections import Counter

from support.planned import KINDS, PLANNERS, decided


def main() -> None:
    """Print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--programs", type=int, default=50, help="of each planner and kind of message")
    parser.add_argument("--first", type=int, default=0, help="seed of the first")
    parser.add_argument("--factor", type=float, default=1.15, help="true margin over the target")
    asked = parser.parse_args()
    for planner in PLANNERS:
        for kind, step in KINDS.items():
            seeds = range(asked.first, asked.first + asked.programs)
            found = [decided(planner, kind, seed, asked.factor) for seed in seeds]
            verdicts = Counter(str(result.verdict) for result in found)
            low = min(result.low for result in found) / (2.0 * asked.factor)
            sys.stdout.write(f"{planner}, {kind} every {1e3 * step:g} ms: {dict(verdicts)}; least low/true {low:.3f}\n")


if __name__ == "__main__":
    main()
