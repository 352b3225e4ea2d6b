"""Stops that a change leaves as they are are not followed again: their use is of first degree in what pads hold."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.changes import resized, stiffer, stronger, with_material
from gripmargin.checks.stop.use import keep_stops, use_of_stops

STRONGER = 1.3


@pytest.fixture(scope="module")
def case(level):
    return work_out(level(gm.Stop(time=0.2), duration=0.5))


def changed(case, job):
    return work_out(job, motion=case.motion, trial=True)


def handed(case, tried):
    """The stops of a changed job after what can be had of the case is, and whether they come from there."""
    keep_stops(case, tried)
    stops = tried.shared(use_of_stops)
    return stops, stops.load is not None and stops.loads is case.shared(use_of_stops).loads


def test_those_of_stronger_pads_are_what_following_them_finds(case):
    job = stronger(case.job, STRONGER)
    (stops, known), own = handed(case, changed(case, job)), work_out(job).shared(use_of_stops)
    assert known
    assert stops.whole.value.max() == pytest.approx(own.whole.value.max(), rel=1e-9)
    assert stops.whole.most == pytest.approx(own.whole.most, rel=0.01)  # both within 1 % of what it may be
    assert np.all(stops.whole.high >= own.whole.low)
    assert stops.whole.grip.face.maps == pytest.approx(own.whole.grip.face.maps, rel=1e-12)


@pytest.mark.parametrize(
    "change",
    [
        lambda job: resized(job, 1.05),
        lambda job: stiffer(job, 1.5),
        lambda job: stronger(job, 0.9),
        lambda job: with_material(job, shear_strength=7e4),
        lambda job: with_material(job, damping_ratio=0.2),
        lambda job: replace(job, stop=gm.Stop(time=0.3)),
        lambda job: replace(job, part=replace(job.part, mass=1.3)),
        lambda job: replace(job, gravity=[0.0, 0.0, -9.0]),
    ],
    ids=["larger", "stiffer", "weaker", "in shear alone", "damped", "another stop", "heavier", "lighter"],
)
def test_those_of_another_change_are_followed(case, change):
    assert not handed(case, changed(case, change(case.job)))[1]
