"""The light look at a program says what the checker says; what is found by it is on target."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.motion.interpolate import quintic_between
from gripmargin.tuning.override import at_speed
from gripmargin.tuning.quick import QuickCheck, largest


def coarse(job):
    """The job by every second of its samples."""
    return replace(job, trajectory=job.trajectory.taken(np.arange(0, job.trajectory.samples, 2)))


@pytest.mark.parametrize(("factor", "positions_only"), [(0.9, False), (1.7, False), (1.2, True)])
def test_a_look_says_what_the_check_says(random_path_job, factor, positions_only):
    job = replace(
        coarse(random_path_job(2)),
        targets=gm.Targets(hold=1.5, peel=2.0, one_pad_lost=0.7, stop=1.1),
        stop=gm.Stop(time=0.4, axis_deceleration=np.full(6, 6.0)),
    )
    if positions_only:
        job = replace(job, trajectory=replace(job.trajectory, qd=None, qdd=None))
    case = work_out(job)
    look = QuickCheck(case).look(np.full(case.job.trajectory.samples - 1, factor)).nearest()
    checked = {c.check: (c.low or 0.0) / c.target for c in gm.check_job(at_speed(job, factor)).checks}
    assert {"hold", "peel", "one_pad_lost", "swing", "stop"} <= set(checked)
    assert look.ratio == pytest.approx(min(checked.values()), rel=1e-6)
    assert look.check == min(checked, key=checked.get)


def test_stops_limit_the_speed_and_are_named(random_path_job):
    """At a deceleration that stays, a faster program is stopped with the same force, from a larger load of its own."""
    targets = gm.Targets(hold=1.0, swing=0.1, stop=1.0)
    job = replace(coarse(random_path_job(2)), targets=targets, stop=gm.Stop(deceleration=6.0))
    found = gm.tune(job).override
    assert found.limit.by == "stop"
    assert found.report.passed
    assert not gm.check_job(at_speed(job, 1.02 * found.factor)).passed


def test_stops_that_no_speed_softens_are_said(random_path_job):
    job = replace(coarse(random_path_job(2)), stop=gm.Stop(deceleration=500.0))
    found = gm.tune(job)
    assert not found.passed
    assert found.override.factor is None
    assert found.override.limit.by == "stop"


def test_a_program_that_passes_is_never_refused(random_path_job):
    job = random_path_job(3)
    low = {c.check: c.low for c in gm.check_job(job).checks}
    just = gm.Targets(hold=0.9999 * low["hold"], swing=0.9999 * low["swing"])
    found = gm.tune(replace(job, targets=just))
    assert found.passed
    assert found.override.factor >= 1.0
    assert all(row.factor >= 1.0 for row in found.moves.rows)


@pytest.mark.parametrize("edge", [0.07, 0.4, 1.0, 2.37, 9.0])
def test_the_largest_factor_of_a_falling_ratio_is_found(edge):
    looked = []

    def ratio(k):
        looked.append(k)
        return (edge / k) ** 2

    found = largest(ratio, 10.0, 0.05)
    assert found is not None
    assert found <= edge < 1.02 * found
    assert len(looked) < 20


def test_nothing_is_made_up_where_nothing_is_on_target():
    assert largest(lambda k: 0.5, 10.0, 0.05) is None
    assert largest(lambda k: float("nan"), 10.0, 0.05) is None
    assert largest(lambda k: 2.0, 10.0, 0.05) == 10.0


def test_a_look_at_fewer_samples_sees_as_much(random_path_job):
    """Given rates say what lies between: every fourth of 1 kHz is enough, and no less strict."""
    job = random_path_job(2)
    t = np.arange(0.0, job.trajectory.t[-1], 1e-3)
    q, qd, qdd = quintic_between(job.trajectory.t, job.trajectory.q, job.trajectory.qd, job.trajectory.qdd, t)
    case = work_out(replace(job, trajectory=gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd)))
    size = case.job.trajectory.samples
    factors = np.full(size - 1, 1.3)
    every, fewer = QuickCheck(case, spacing=0.0005).look(factors), QuickCheck(case, (7, 1001)).look(factors)
    assert every.samples.size == size
    assert fewer.samples.size < 0.3 * size
    assert {7, 1001, size - 1} <= set(fewer.samples.tolist())
    assert 0.98 < fewer.nearest().ratio / every.nearest().ratio < 1.0005
    assert fewer.nearest(7, 1001).ratio >= fewer.nearest().ratio
