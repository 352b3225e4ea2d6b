"""Count where checker and simulator disagree: ``PYTHONPATH=src:tests python -m simulator --jobs 300``.

What was found of each job is kept in a file as soon as it is known: an interrupted run goes on from there. The exit
status is 1 where something passes falsely, or stops with an error.
"""

import argparse
import hashlib
import json
import multiprocessing
import os
import sys
from dataclasses import asdict
from functools import partial
from pathlib import Path

from simulator.against import Compared, Side, both_sides, compare, converged, judged, table
from simulator.jobs import KINDS

ROOT = Path(__file__).parents[2]


class Kept:
    """What was found before by this checker and this simulator; a line a job, in a file that only grows."""

    def __init__(self, path, kind):
        """Read what of it belongs to jobs of a kind and to the sources as they are."""
        digest, mine = hashlib.sha256(str(kind).encode()), Path(__file__).parent
        for source in sorted([*(ROOT / "src").rglob("*.py"), *mine.glob("*.py")]):
            digest.update(source.read_bytes())
        self.path, self.state, self.jobs = path, digest.hexdigest()[:16], {}
        for line in path.read_text().splitlines() if path.exists() else ():
            try:
                state, job = json.loads(line)
            except ValueError:  # cut off as it was written
                continue
            if state == self.state:
                self.jobs[job["seed"]] = Compared(**job | {"sides": [Side(**side) for side in job["sides"]]})

    def add(self, job):
        """Keep what was found in a job."""
        self.jobs[job.seed] = job
        self.path.parent.mkdir(parents=True, exist_ok=True)
        with self.path.open("a") as file:
            file.write("\n" * bool(file.tell()) + json.dumps([self.state, asdict(job)], default=lambda x: x.item()))


def main():
    """Run it."""
    parser = argparse.ArgumentParser(prog="simulator", description=__doc__)
    parser.add_argument("--jobs", type=int, default=40, help="how many random jobs")
    parser.add_argument("--first", type=int, default=0, help="seed of the first")
    parser.add_argument("--kind", choices=KINDS, help="of one kind alone; else they take turns")
    parser.add_argument("--workers", type=int, default=1, help="processes")
    parser.add_argument("--seed", type=int, help="replay one job and say what either side finds")
    parser.add_argument("--keep", type=Path, default=ROOT / "build" / "simulator.jsonl", help="what was found before")
    parser.add_argument("--halved", action="store_true", help="no checker: what finer cells and steps change")
    asked = parser.parse_args()
    seeds, jobs = range(asked.first, asked.first + asked.jobs), []
    if asked.seed is not None:
        lines = both_sides(*compare(asked.seed, asked.kind))
    elif asked.halved:
        lines = converged(seeds, asked.kind)
    else:
        kept = Kept(asked.keep, asked.kind)
        left = [seed for seed in seeds if seed not in kept.jobs]
        for job in _found(left, asked.kind, asked.workers):
            kept.add(job)
        jobs = [kept.jobs[seed] for seed in seeds]
    sys.stdout.writelines(f"{line}\n" for line in (table(jobs) if jobs else lines))
    sys.exit(any(job.error or any(side.false_pass for side in job.sides) for job in jobs))


def _found(seeds, kind, workers):
    """What both sides find in jobs, in the order in which it is known."""
    if workers == 1:
        yield from (judged(seed, kind) for seed in seeds)
        return
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ[name] = "1"  # of each worker; they are started anew and read it
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        yield from pool.imap_unordered(partial(judged, kind=kind), seeds, chunksize=5)


if __name__ == "__main__":
    main()
