"""What a program of many picks costs beside one pick: equal cycles, whose holds are judged once, and different ones.

PYTHONPATH=tests python tests/bench/holds.py
"""

import statistics
import sys
import time

import gripmargin as gm
from support.cycles import kit

ROUNDS = 3
PICK, LEFT = (0.0, 0.0, 0.0), (0.3, 0.0, 0.0)


def cycles(number: int, *, different: bool) -> list[tuple]:
    """From a tray into a nest, each on its way over in the same time or in another."""
    return [(PICK, LEFT, {"over": 1.5 + 0.005 * (k if different else 0)}) for k in range(number)]


def main() -> None:
    asked = [("1 pick", 1, False)]
    asked += [(f"{n} equal picks", n, False) for n in (10, 100, 500)]
    asked += [(f"{n} different picks", n, True) for n in (10, 40)]
    jobs = {name: kit(*cycles(number, different=different)) for name, number, different in asked}
    gm.check_job(jobs["1 pick"])
    taken: dict[str, list[float]] = {name: [] for name in jobs}
    for _ in range(ROUNDS):
        for name, job in jobs.items():
            start = time.perf_counter()
            gm.check_job(job)
            taken[name].append(time.perf_counter() - start)
    one = statistics.median(taken["1 pick"])
    for name, times in taken.items():
        now = statistics.median(times)
        sys.stdout.write(f"{name:<20}{now:8.2f} s {now / one:8.1f} times one pick\n")


if __name__ == "__main__":
    main()
