"""Count where checker and simulator disagree: ``PYTHONPATH=src:tests python -m simulator --jobs 300``.

The exit status is 1 where something passes falsely, or stops with an error.
"""

import argparse
import multiprocessing
import os
import sys
from functools import partial

from simulator.against import both_sides, compare, converged, judged, table
from simulator.jobs import KINDS


def main():
    """Run it."""
    parser = argparse.ArgumentParser(prog="simulator", description=__doc__)
    parser.add_argument("--jobs", type=int, default=40, help="how many random jobs")
    parser.add_argument("--first", type=int, default=0, help="seed of the first")
    parser.add_argument("--kind", choices=KINDS, help="of one kind alone; else they take turns")
    parser.add_argument("--workers", type=int, default=1, help="processes")
    parser.add_argument("--seed", type=int, help="replay one job and say what either side finds")
    parser.add_argument("--halved", action="store_true", help="no checker: what finer cells and steps change")
    asked = parser.parse_args()
    seeds, jobs = range(asked.first, asked.first + asked.jobs), []
    if asked.seed is not None:
        lines = both_sides(*compare(asked.seed, asked.kind))
    elif asked.halved:
        lines = converged(seeds, asked.kind)
    elif asked.workers == 1:
        jobs = [judged(seed, asked.kind) for seed in seeds]
    else:
        for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
            os.environ[name] = "1"  # of each worker; they are started anew and read it
        with multiprocessing.get_context("spawn").Pool(asked.workers) as pool:
            jobs = pool.map(partial(judged, kind=asked.kind), seeds, chunksize=5)
    sys.stdout.writelines(f"{line}\n" for line in (table(jobs) if jobs else lines))
    sys.exit(any(job.error or any(side.false_pass for side in job.sides) for job in jobs))


if __name__ == "__main__":
    main()
