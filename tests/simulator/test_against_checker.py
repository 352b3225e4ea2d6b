"""The checker against the simulator, on random jobs: no pass where the simulated part is lost, tipped or crushed.

GRIPMARGIN_ATTACKS says how many jobs (300 in a pipeline, else 50); ``python -m simulator`` prints the table, ``--seed`` replays a job.
"""

import os
from dataclasses import dataclass
from functools import cache

import pytest

from simulator.against import CHECKS, compare
from simulator.jobs import KINDS

COUNT = int(os.environ.get("GRIPMARGIN_ATTACKS", "300" if os.environ.get("CI") else "50"))


@dataclass(frozen=True)
class Wrong:
    """What the checker does not see yet: a job that shows it, the check, what it says, and why."""

    seed: int
    check: str
    said: str
    why: str

    @property
    def kind(self):
        """The kind of jobs whose check is so excused."""
        return KINDS[self.seed % len(KINDS)]


WRONG = ()  # each turns when the checker sees it


@cache
def compared(seed):
    """What both sides find in a job."""
    return compare(seed)[1]


def disagreements(seed):
    """The checks of a job that pass or fail falsely, with what they say."""
    return {side.check: side for side in compared(seed).sides if side.false_pass or side.false_fail}


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_passes_that_falls_short_nor_fails_that_holds(kind):
    excused = {(wrong.check, wrong.said) for wrong in WRONG if wrong.kind == kind}
    seeds = [seed for seed in range(COUNT) if KINDS[seed % len(KINDS)] == kind]
    jobs = {seed: compared(seed) for seed in seeds}
    assert [f"seed {seed}: {job.error}" for seed, job in jobs.items() if job.error] == []
    found = [(seed, side) for seed in seeds for side in disagreements(seed).values()]
    assert [(seed, side) for seed, side in found if (side.check, side.verdict) not in excused] == []


@pytest.mark.parametrize(
    "wrong",
    [pytest.param(w, marks=pytest.mark.xfail(strict=True, reason=w.why), id=f"{w.seed}-{w.check}") for w in WRONG],
)
def test_known_disagreements(wrong):
    side = disagreements(wrong.seed).get(wrong.check)
    assert side is None or side.verdict != wrong.said


@pytest.mark.parametrize("check", CHECKS)
def test_the_jobs_lie_on_both_sides_of_the_target(check):
    sides = [side for seed in range(len(KINDS)) for side in compared(seed).sides if side.check == check]
    assert {side.mine >= side.target for side in sides} == {True, False}
