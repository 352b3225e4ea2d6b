"""The checker against the simulator, on random jobs: no pass where the simulated part is lost, tipped or crushed.

GRIPMARGIN_ATTACKS says how many jobs (30); ``python -m simulator`` prints the table, and with
``--seed`` replays a job.
"""

import os
from dataclasses import dataclass
from functools import cache

import pytest

from simulator.against import CHECKS, compare
from simulator.jobs import KINDS

COUNT = int(os.environ.get("GRIPMARGIN_ATTACKS", "30"))


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


AGAIN = "how cells of a slid pad that broke bond again is not known; of a press the weaker way counts, and fails"
WRONG = (  # each turns when the checker sees it
    Wrong(22, "preload", "fail", AGAIN),
    Wrong(122, "preload", "fail", AGAIN),
)


@cache
def compared(seed):
    """What both sides find in a job."""
    return compare(seed)[1]


def amiss(seed):
    """The checks of a job that pass or fail falsely, with what they say and the figures of both sides."""
    job = compared(seed)
    found = {
        (side.check, side.verdict): (side.value, side.mine) for side in job.sides if side.false_pass or side.false_fail
    }
    return found | ({("job", "error"): job.error} if job.error else {})


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_passes_that_falls_short_nor_fails_that_holds(kind):
    excused = {(wrong.check, wrong.said) for wrong in WRONG if wrong.kind == kind}
    seeds = [seed for seed in range(COUNT) if KINDS[seed % len(KINDS)] == kind]
    found = {(seed, *said): figures for seed in seeds for said, figures in amiss(seed).items() if said not in excused}
    assert found == {}


@pytest.mark.parametrize(
    "wrong",
    [pytest.param(w, marks=pytest.mark.xfail(strict=True, reason=w.why), id=f"{w.seed}-{w.check}") for w in WRONG],
)
def test_known_disagreements(wrong):
    assert (wrong.check, wrong.said) not in amiss(wrong.seed)


def test_the_jobs_lie_on_both_sides_of_the_target():
    sides = [side for seed in range(30) for side in compared(seed).sides]
    assert {(side.check, side.mine >= side.target) for side in sides} == {(c, b) for c in CHECKS for b in (True, False)}
