"""Logs of a controller that was read at another rate, at 1.5 times the target: how many are decided; run by hand.

PYTHONPATH=src:tests python tests/bench/polled.py --logs 16 --rates 130 100
PYTHONPATH=src:tests python tests/bench/polled.py --logs 64     # controllers and pollers of any rate
"""

import argparse
import sys
from collections import Counter

from support.read import log, use_of, verdict_on


def main() -> None:
    """Print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--logs", type=int, default=16, help="of each kind")
    parser.add_argument("--first", type=int, default=0, help="seed of the first")
    parser.add_argument("--rates", type=float, nargs="*", help="of pollers of a controller of 125 Hz [Hz]")
    parser.add_argument("--jitter", type=float, nargs="*", default=[0.0, 1e-4, 3e-4], help="of the reads [s]")
    parser.add_argument("--laws", nargs="*", default=["ruckig", "quintic"], help="of the moves")
    parser.add_argument("--factor", type=float, default=1.5, help="true margin over the target")
    parser.add_argument("--seconds", type=float, default=6.0, help="of a log")
    parser.add_argument("--told", action="store_true", help="judge the controller's own samples, as if they were known")
    asked = parser.parse_args()
    for rate in asked.rates or [None]:
        for jitter in asked.jitter:
            tally, above, least, most, odd = Counter(), [], 9.0, 0.0, []
            for seed in range(asked.first, asked.first + asked.logs):
                made = log(seed, rate, jitter, laws=asked.laws, seconds=asked.seconds)
                use = use_of(made)
                found = verdict_on(made.told() if asked.told else made.trajectory, use, asked.factor)
                tally[str(found.verdict)] += 1
                low, high = (side / (2.0 * asked.factor) for side in (found.low, found.high))
                least, most = min(least, high), max(most, low)
                above += [seed] if low > 1.0 + 1e-3 or high < 1.0 - 1e-3 else []
                odd += [seed] if str(found.verdict) != "pass" else []
            sys.stdout.write(
                f"read at {rate or 'any'} Hz, jitter {1e3 * jitter:g} ms: {dict(tally)}; most low/true {most:.4f}, "
                f"least high/true {least:.4f}, wrong {above}, open {odd}\n"
            )
            sys.stdout.flush()


if __name__ == "__main__":
    main()
