"""The checker against the simulator, on random jobs: no pass where the simulated part is lost, tipped or crushed.

GRIPMARGIN_ATTACKS says how many (306, eighteen of each kind). ``python -m simulator`` prints the table, and with
``--seed`` replays a job.
"""

import os
from functools import cache

import pytest

import gripmargin as gm
from simulator.against import CHECKS, answers, asked, compare, found
from simulator.jobs import KINDS, draw

COUNT = int(os.environ.get("GRIPMARGIN_ATTACKS", "306"))


@cache
def compared(seed):
    """What both sides find in a job."""
    return compare(seed)[1]


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_passes_that_falls_short_nor_fails_that_holds(kind):
    seeds = [seed for seed in range(COUNT) if KINDS[seed % len(KINDS)] == kind]
    sides = [(seed, side) for seed in seeds for side in compared(seed).sides]
    assert [(seed, compared(seed).error) for seed in seeds if compared(seed).error] == []
    assert [(seed, side) for seed, side in sides if side.false_pass] == []
    assert [(seed, side) for seed, side in sides if side.false_fail] == []


def test_strained_pads_that_buckle_one_after_the_other_do_not_pass():
    """Pads that were slid while one of them held; all are pressed until they buckle, and one does it first."""
    (side,) = [side for side in compared(6139).sides if side.check == "release"]
    assert (side.verdict, side.false_pass) == ("undecided", False)


def test_the_jobs_lie_on_both_sides_of_the_target():
    sides, wanted = set(), {(check, reached) for check in CHECKS for reached in (True, False)}
    for job in map(draw, range(40)):
        sides |= {(check, found(check, goal, job.whole)[0] >= goal) for check, goal in asked(job.job).items()}
        if sides == wanted:
            return
    assert sides == wanted


@pytest.mark.parametrize("seed", [0, 11, 17])
def test_a_job_is_judged_alike_without_advice(seed):
    job = draw(seed).job
    alone, whole = (
        {(r.check, r.verdict, r.value, r.low, r.high) for r in results if r.check in CHECKS}
        for results in (answers(job), gm.check_job(job).checks)
    )
    assert alone == whole
