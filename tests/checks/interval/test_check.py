"""Picks between cleanings: against the noncentral t distribution by hand, and attempts at a pass of dirty pads."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.interval.check import INTERVAL

PICKS = np.repeat([0.0, 50.0, 100.0, 200.0, 400.0], 6)
PULLS = 75e3 * np.exp(-8e-4 * PICKS + 0.08 * np.tile(stats.norm.ppf((np.arange(6) + 0.5) / 6), 5))
RECORD = np.column_stack([PICKS, PULLS])
SIDE, G = 0.04, 9.80665


def job(stress_of_part, interval=100.0, job=None, **material):
    """A block that hangs still from a square pad by this mean stress [Pa], its centre of mass on the pad's axis."""
    given = {"pull_off_stress": 75e3, "shear_strength": 75e3, "normal_stiffness": 1.2e8, "shear_stiffness": 4e7}
    film = gm.PadMaterial(**given | material)
    t, mass = np.linspace(0.0, 0.2, 41), stress_of_part * SIDE**2 / G
    inertia = mass * 0.02**2 * np.array([1, 1, 1, 0, 0, 0])
    return gm.Job(
        name="hangs",
        trajectory=gm.PoseTrajectory(
            t=t, position=np.zeros((t.size, 3)), rotation=np.broadcast_to(np.diag([1.0, -1.0, -1.0]), (t.size, 3, 3))
        ),
        part=gm.Part(mass=mass, com=[0, 0, 0.01], inertia=inertia, face="plane", rigid=True),
        gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [SIDE, SIDE]),)),
        targets=gm.Targets(hold=2.0, swing=0.5, interval=interval),
        accept=("density", "inertia"),
        **(job or {}),
    )


def answer(job):
    outcome = INTERVAL.answer(work_out(job))
    return outcome.results[0], outcome.findings


def bound(n):
    """What 99 % hold with a confidence of 95 % [Pa], by scipy's noncentral t."""
    fit = stats.linregress(PICKS, np.log(PULLS))
    rest = np.log(PULLS) - fit.intercept - fit.slope * PICKS
    height = np.sqrt(1 / 30 + (n - PICKS.mean()) ** 2 / ((PICKS - PICKS.mean()) ** 2).sum())
    factor = height * stats.nct.ppf(0.95, 28, stats.norm.ppf(0.99) / height)
    return np.exp(fit.intercept + fit.slope * n - factor * np.sqrt(rest @ rest / 28))


def test_picks_at_which_the_bound_of_the_pulls_reaches_what_the_target_asks():
    """At 24 kPa a margin of 2 takes 48 kPa: the last pick with as much, counted on the published bound."""
    last = np.flatnonzero([bound(n) >= 48e3 for n in range(401)])[-1]
    assert 200 < last < 300
    passed, _ = answer(job(24e3, interval=float(last), pulls=RECORD))
    assert (passed.verdict, passed.value) == ("pass", last)
    failed, findings = answer(job(24e3, interval=float(last) + 1, pulls=RECORD))
    assert (failed.verdict, failed.value) == ("fail", last)
    assert (findings[0].remedies[0].shown, findings[0].remedies[0].figures["picks"]) == (True, last)
    assert failed.details.margin == pytest.approx(bound(last + 1) / 24e3, rel=1e-6)


def test_a_loss_by_pick_reaches_the_target_where_its_logarithm_says():
    """S (1 - f)^n >= 2 x 24 kPa: n <= ln(48/75)/ln(1 - f)."""
    last = np.floor(np.log(48 / 75) / np.log(0.998))
    found, _ = answer(job(24e3, fouling_per_cycle=0.002))
    assert (found.verdict, found.value) == ("pass", last)
    worn, _ = answer(replaced(job(24e3, fouling_per_cycle=0.002, recovery=0.99), cleanings=10))
    assert worn.value == np.floor(np.log(48 / 75 / 0.99**10) / np.log(0.998))


def replaced(job, **gripper):
    return replace(job, gripper=replace(job.gripper, **gripper))


class TestNothingIsPassedThatIsNotShown:
    def test_beyond_what_was_pulled(self):
        """At 10 kPa the margin lasts far beyond 400 picks, yet nobody pulled such pads."""
        found, findings = answer(job(10e3, interval=401, pulls=RECORD))
        assert (found.verdict, found.value) == ("undecided", 400)
        assert "pulled after up to" in found.lines[-1]
        assert findings[0].remedies[0].figures["picks"] == 400

    def test_pads_of_which_nothing_says_how_they_get_dirty(self):
        found, _ = answer(job(10e3))
        assert found.verdict == "undecided"
        assert "nothing says how" in found.text

    def test_clean_pads_known_less_well_than_dirty_ones(self):
        """A line that hardly falls: its bound is least for clean pads, which therefore decide."""
        picks = np.repeat([0.0, 100.0, 300.0, 400.0], 3)
        pulls = 75e3 * np.exp(0.06 * np.tile([-1.0, 0.0, 1.0], 4))
        clean, dirty = (
            answer(job(23e3, interval=n, pulls=np.column_stack([picks, pulls])))[0].details.margin for n in (1, 200)
        )
        assert dirty == pytest.approx(clean, rel=1e-9)

    def test_picks_made_so_far_do_not_count_as_all(self):
        """A job judged with fresh pads is asked for the end of the interval, and one at the end for its beginning."""
        for so_far in (0.0, 300.0):
            found, _ = answer(replaced(job(24e3, interval=300.0, pulls=RECORD), cycles_since_cleaning=so_far))
            assert found.verdict == "fail"

    def test_a_loss_read_further_than_anybody_believes(self):
        found, _ = answer(job(1e3, interval=1000.0, fouling_per_cycle=0.002))
        assert found.verdict == "undecided"
        assert 0.5 <= 0.998**found.value < 0.502

    def test_no_number_of_picks_where_clean_pads_fall_short(self):
        found, findings = answer(job(40e3, fouling_per_cycle=0.002))
        assert (found.verdict, found.value) == ("fail", None)
        assert "with clean pads first" in findings[0].remedies[0].text

    def test_whatever_else_holds_up_the_margins(self):
        """A face that may not be plane leaves hold undecided, and with it how long the pads hold enough."""
        doubtful = job(10e3, pulls=RECORD)
        doubtful = replace(doubtful, part=replace(doubtful.part, face=None))
        assert answer(doubtful)[0].verdict == "undecided"


def test_a_job_that_does_not_ask_is_not_told():
    assert INTERVAL.answer(work_out(job(10e3, interval=None, pulls=RECORD))).results == ()


def test_stops_and_swing_count_as_well():
    """A stop asks for more than the hold: the interval is the one that it leaves."""
    still = job(10e3, interval=390.0, pulls=RECORD)
    stopped = replace(still, stop=gm.Stop(time=0.1), targets=replace(still.targets, stop=7.0))
    found, _ = answer(stopped)
    assert found.details.limit == "stop"
    assert found.verdict != "pass"
