"""Programs of positions alone: false passes among attacks, and how many are decided; run by hand.

PYTHONPATH=src:tests python tests/bench/positions.py --attacks 3000 --programs 100
"""

import argparse
import sys
from collections import Counter

from support.positions import attack, decided
from support.steps import LAWS


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--attacks", type=int, default=3000, help="programs that fall short by 3 %%")
    parser.add_argument("--first", type=int, default=0, help="seed of the first")
    parser.add_argument("--programs", type=int, default=100, help="programs of each law that have room")
    asked = parser.parse_args()
    tried: Counter[str] = Counter()
    passed = []
    for seed in range(asked.first, asked.first + asked.attacks):
        how, false = attack(seed)
        tried[how] += 1
        passed += [(seed, how)] if false else []
    sys.stdout.write(f"{asked.attacks} programs that fall short: {len(passed)} passed {passed} {dict(tried)}\n")
    for kind in LAWS:
        for factor in (1.2, 1.5):
            verdicts = Counter(str(decided(kind, seed, factor)) for seed in range(asked.programs))
            sys.stdout.write(f"{kind}, true margin {factor} times the target, 4 ms, 1 um: {dict(verdicts)}\n")


if __name__ == "__main__":
    main()
