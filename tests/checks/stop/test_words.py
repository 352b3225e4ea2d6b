"""What the check of stops knows, by the keys of the JSON, and how it is said."""

import pytest

import gripmargin as gm
from gripmargin.checks.hold.figures import Load, Shares, Spot, Stresses
from gripmargin.checks.margin import WorstMargin
from gripmargin.checks.stop import words
from gripmargin.checks.stop.figures import Fall, Flight, StopDetails, StopShares, WorstInstant, WorstStop
from gripmargin.results.findings import CheckResult, Finding, Place

INSTANT = {"stop": "path", "after": 0.02, "braking_time": 0.2, "quasi_static": 3.0}
FALL = {"surely": False, "t": 0.5, "sample": 50, "speed": 2.0, "energy": 2.4}
UNKNOWN = {"height": None, "range": None, "landing": None, "impact_speed": None, "impact_energy": None}
LANDED = {"height": 1.5, "range": 1.106, "landing": (1.506, -1e-9), "impact_speed": 5.78, "impact_energy": 20.1}


def result(value=1.0):
    return CheckResult(check="stop", verdict="pass", value=value, low=value, high=value, target=1.0, at=None)


def details(**more):
    figures = {"path": 1.5, "axes": None, "lowest_frequency": 30.2, "damping_ratio": 0.0, "fall": None}
    return StopDetails(instant=WorstInstant(**INSTANT), **figures | {"axes_unknown": False} | more)


def worst_stop():
    return WorstStop(
        margin=WorstMargin(at=Place(t=0.5, sample=50, move="lift"), margin=1.2, margin_low=0.9, margin_high=1.4),
        spot=Spot(pad="left", point=(0.025, -0.025, 0.0), azimuth=-0.785),
        stresses=Stresses(
            normal_stress=2e4,
            shear_stress=5e3,
            pull_off_stress=5e4,
            shear_strength=4e4,
            mean_normal_stress=1e4,
            edge_amplification=2.0,
            peel_moment=0.1,
            pad_force=(1.0, 2.0, 3.0),
            pad_moment=(0.1, 0.2, 0.3),
        ),
        load=Load(force=(1.0, 2.0, 3.0), moment=(0.1, 0.2, 0.3)),
        instant=WorstInstant(**INSTANT),
    )


def because(**more):
    return StopShares(shares=Shares(causes={"gravity": 1.0}, ways={"pull": 1.0}, loads={}, **more), swing=0.25)


def test_keys_of_the_json():
    known = {"path", "axes", "lowest_frequency", "damping_ratio", "fall"}
    assert set(details()) == set(INSTANT) | known
    assert dict(Fall(**FALL, flight=Flight(**LANDED))) == FALL | LANDED | {"reason": None}
    worst = worst_stop()
    assert set(worst) == (
        {"t", "sample", "move", "margin", "margin_low", "margin_high", "pad", "point", "azimuth", "force", "moment"}
        | set(worst.stresses)
        | set(INSTANT)
    )
    assert set(because()) == {"causes", "ways", "loads", "swing"}
    assert set(because(undecided=("why",))) == {"causes", "ways", "loads", "swing", "undecided"}


def test_the_result_in_words():
    text, lines = words.result(result(), details())
    assert text == "grip margin over the carry if the robot stops"
    assert lines == (
        "worst 20 ms after a stop along the path began, which takes 200 ms; without the part's swing 3.00",
        "the part swings on its backing at 30 Hz and above, no damping",
    )
    text, lines = words.result(result(None), details(axes=1.2, damping_ratio=0.05, axes_unknown=True))
    assert text.endswith("; no load on the pads")
    assert lines[1] == "along the path 1.50, off the path 1.20"
    assert lines[2].endswith("damping ratio 0.05")
    assert lines[3] == words.AXES_NEED_JOINTS


def test_a_fall_in_words():
    _, (*_, thrown, lands) = words.result(result(), details(fall=Fall(**FALL, flight=Flight(**LANDED))))
    assert thrown == "a stop at 0.500 s may throw the part off: at 2.00 m/s, 2.40 J; keep people out of its way"
    assert "would land 1.11 m away, at x 1506, y 0 mm of the world, at 5.8 m/s (20.1 J)" in lands
    surely = Fall(**FALL | {"surely": True}, flight=Flight(reason=words.NO_FLOOR))
    _, (*_, thrown, lands) = words.result(result(), details(fall=surely))
    assert "would throw" in thrown
    assert lands == "where it would land is not known: stop.floor is not given"


def test_the_finding_in_words():
    found = Finding(
        check="stop",
        verdict=gm.Verdict.UNDECIDED,
        start=0.4,
        end=0.6,
        spans=((0.4, 0.6),),
        worst={},
        because={},
        remedies=(),
    )
    text, lines = words.finding(found, worst_stop(), because(undecided=("why",)))
    assert text == (
        "move 'lift', 0.400 to 0.600 s: margin 1.20, may be as low as 0.90 for a stop along the path that begins at "
        "0.500 s, on pad 'left'; swing on the backing 25 % of it, the rest gravity 100 %; acts as pull 100 %"
    )
    assert [word for word, _ in lines] == ["when", "where", "load", "unsure"]
    assert lines[0][1] == "20 ms after the stop began, which takes 200 ms"
    assert "without the swing tension 2.00 N/cm^2 of 5.00 N/cm^2" in lines[1][1]


@pytest.mark.parametrize(
    ("category", "given", "left_out"),
    [
        (None, {"time": 0.3, "axis_deceleration": [5.0]}, False),
        (0, {"axis_deceleration": [5.0]}, False),
        (0, {"time": 0.3, "axis_deceleration": [5.0]}, True),
        (1, {"time": 0.3}, False),
        (2, {"time": 0.3, "axis_deceleration": [5.0]}, True),
    ],
)
def test_figures_that_a_category_leaves_out_are_said(category, given, left_out):
    said = list(words.assumed(gm.Stop(category=category, **given), path=True, axes=False, damped=True))
    assert any("are not used" in sentence for sentence in said) == left_out


def test_what_is_taken_for_granted_of_the_kinds_that_are_judged():
    stop = gm.Stop(time=0.3, axis_deceleration=[5.0], ramp=0.1)
    path, axes, ramp, swing = words.assumed(stop, path=True, axes=True, damped=False)
    assert "along the path at a constant deceleration" in path
    assert "every axis brakes at its own constant rate" in axes
    assert "the ramp softens" in ramp
    assert swing.endswith("without damping (damping_ratio is not given for every pad).")
    (only,) = words.assumed(gm.Stop(time=0.3), path=False, axes=False, damped=True)
    assert only.endswith("as in `swing`.")


@pytest.mark.parametrize(
    ("stop", "says"),
    [
        (gm.Stop(time=0.3), "stop in 375 ms instead of 300 ms"),
        (gm.Stop(deceleration=3.0), "brake along the path at 2.40 m/s^2"),
        (gm.Stop(measured=(gm.StopFigure(speed=1.0, time=0.3),)), "stop along the path in 1.25 times the measured"),
    ],
)
def test_a_softer_stop_in_words(stop, says):
    assert words.softer(stop, 1.25, path=True, axes=False).startswith(says)
    both = words.softer(stop, 1.25, path=True, axes=True)
    assert " and brake the axes at 0.80 of their rates, where the robot" in both
