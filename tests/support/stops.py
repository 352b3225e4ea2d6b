"""What tests of stops share: what a check says of them, and a slide."""

import numpy as np

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.stop.check import results
from gripmargin.checks.stop.use import Stopping, stop_use

EASY = gm.Targets(stop=0.01, hold=0.01)  # nothing falls short, so no changes are sought
DOWN = np.diag([1.0, -1.0, -1.0])


def stop_of(report):
    (result,) = [check for check in report.checks if check.check == "stop"]
    return result


def judged(job):
    """What the check says, without what to change."""
    return next(results(work_out(job)))


def use_at(job, k):
    """The largest utilisation of the stop that begins at a sample, followed by itself."""
    stopping = Stopping(case=work_out(job), stop=job.stop)
    return float(stop_use(stopping, stopping.kinds[0], np.array([k])).value[0])


def minimum_jerk(s):
    return 10 * s**3 - 15 * s**4 + 6 * s**5


def slide(t, duration, travel):
    """Positions of a move from rest to rest along x."""
    s = np.clip(t / duration, 0.0, 1.0)
    x = travel * minimum_jerk(s)
    return np.column_stack([x, 0 * x, 0.5 + 0 * x])
