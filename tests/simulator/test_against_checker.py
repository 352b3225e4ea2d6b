"""The checker against the simulator, on random jobs: no pass where the simulated part is lost, tipped or crushed.

GRIPMARGIN_ATTACKS says how many jobs; ``python -m simulator`` prints the table, ``--seed`` replays a job.
"""

import os
from functools import cache

import pytest

from simulator.against import CHECKS, compare
from simulator.jobs import KINDS

COUNT = int(os.environ.get("GRIPMARGIN_ATTACKS", "40"))

# What the checker does not see yet, with a job that shows it: when it does, these turn.
WRONG = {}


@cache
def compared(seed):
    """What both sides find in a job."""
    return compare(seed)[1]


def _each():
    for kind in KINDS:
        for check in CHECKS:
            seed, reason = WRONG.get((kind, check), (None, None))
            marks = [pytest.mark.xfail(strict=True, reason=reason)] if reason else []
            yield pytest.param(kind, check, seed, marks=marks, id=f"{kind}-{check}")


@pytest.mark.parametrize(("kind", "check", "seed"), _each())
def test_nothing_passes_that_falls_short(kind, check, seed):
    seeds = [k for k in range(COUNT) if KINDS[k % len(KINDS)] == kind] + [seed] * (seed is not None)
    sides = {k: side for k in seeds for side in compared(k).sides if side.check == check}
    assert [f"seed {k}: {side.value}" for k, side in sides.items() if side.false_pass] == []


def test_every_job_is_judged():
    jobs = [compared(seed) for seed in range(COUNT)]
    assert [f"seed {job.seed}: {job.error}" for job in jobs if job.error] == []


@pytest.mark.parametrize("check", CHECKS)
def test_the_jobs_lie_on_both_sides_of_the_target(check):
    verdicts = {side.verdict for seed in range(COUNT) for side in compared(seed).sides if side.check == check}
    assert {"pass", "fail"} <= verdicts
