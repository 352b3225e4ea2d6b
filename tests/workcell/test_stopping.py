"""Stops that make no sense."""

import numpy as np
import pytest

import gripmargin as gm


@pytest.mark.parametrize(
    ("given", "where"),
    [
        ({}, "stop"),
        ({"floor": 0.0}, "stop"),
        ({"time": 0.3, "floor": np.nan}, "stop.floor"),
        ({"time": 0.3, "ramp": -0.1}, "stop.ramp"),
        ({"time": 0.3, "ramp": 0.3}, "stop.ramp"),
        ({"time": 0.3, "ramp": 0.1, "reaction": 0.2}, "stop.reaction"),
        ({"time": 0.3, "load": 0.5}, "stop.load"),
        ({"category": 1, "axis_deceleration": [1.0]}, "stop.category"),
        ({"time": 0.3, "measured": (gm.StopFigure(speed=1.0, time=0.3),)}, "stop.measured"),
    ],
)
def test_stops_that_make_no_sense_are_refused(given, where):
    with pytest.raises(gm.InputError) as caught:
        gm.Stop(**given)
    assert caught.value.where == where


@pytest.mark.parametrize(
    "given", [{"speed": 0.0}, {"speed": 33.0}, {"time": np.inf}, {"load": -1.0}, {"distance": 0.0}, {"axis": 0}]
)
def test_published_stops_that_make_no_sense_are_refused(given):
    with pytest.raises(gm.InputError):
        gm.StopFigure(**({"speed": 1.0, "time": 0.3} | given))
