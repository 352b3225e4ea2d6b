"""What the swing checks know, by the keys of the JSON, and how it is said."""

import numpy as np

from gripmargin.checks.swing import words
from gripmargin.checks.swing.figures import PlacingCause, Ringing, SettleDetails, SwingDetails, WorstPlacing
from gripmargin.results.findings import CheckResult, Place


def result(check, value=1.0):
    return CheckResult(check=check, verdict="pass", value=value, low=value, high=value, target=1.0, at=None)


def swing_details(**more):
    figures = {"frequencies": (12.0, 30.0), "shapes": ("twist", "pull"), "damping": (0.0, 0.0), "ringing": ()}
    figures |= {"sway_angle": np.deg2rad(0.4), "sway": 2e-4, "too_far": False}
    return SwingDetails(**figures | {"amplification": None, "quasi_static_margin": None} | more)


def settle_details(**more):
    figures = {"amplitude": 3e-5, "amplitude_high": None, "tolerance": 2e-5, "settles": False}
    return SettleDetails(**figures | {"last_stop": None, "settling_time": None, "time_available": None} | more)


def test_keys_of_the_json():
    assert set(swing_details()) == {
        *("frequencies", "shapes", "damping", "amplification", "quasi_static_margin", "ringing"),
        *("sway_angle", "sway"),
    }
    assert set(Ringing(shape="pull", frequency=30.0, use=0.1)) == {"shape", "frequency", "use"}
    assert set(settle_details()) == {
        *("amplitude", "amplitude_high", "tolerance", "last_stop", "settling_time", "time_available", "settles")
    }
    worst = WorstPlacing(at=Place(t=1.0, sample=9, move=None), amplitude=3e-5, tolerance=2e-5, allowed=1e-5)
    assert dict(worst) == {"t": 1.0, "sample": 9, "move": None, "amplitude": 3e-5, "tolerance": 2e-5}


def test_the_swing_in_words():
    text, (line, sways) = words.swing_result(result("swing", None), swing_details())
    assert text.endswith("no load on the pads, so the margin has no value")
    assert line == "the part swings on its pads at 12 Hz twist, 30 Hz pull; undamped"
    assert sways == "it turns by up to 0.4 deg against the tool and moves by 0.2 mm"
    more = swing_details(damping=(0.02, 0.1), amplification=1.5, quasi_static_margin=3.0)
    _, (modes, use, _) = words.swing_result(result("swing"), more)
    assert modes.endswith("damping ratio 0.02 to 0.1")
    assert "1.50 times as far as without swing (margin 3.00 there)" in use
    far = swing_details(sway_angle=np.deg2rad(12.0), too_far=True)
    assert words.swing_result(result("swing"), far)[1][1].endswith(f"moves by 0.2 mm; {words.TOO_FAR}")


def test_the_placing_in_words():
    _, (swings, stop) = words.settle_result(result("settle"), settle_details())
    assert "by 0.030 mm to either side" in swings
    assert "allowed 0.020 mm" in swings
    assert stop == "the tool does not come to rest before the placing"
    stopped = {"last_stop": 1.0, "time_available": 0.2}
    assert "never dies down" in words.settle_result(result("settle"), settle_details(**stopped))[1][1]
    settles = settle_details(**stopped, settling_time=0.5, settles=True)
    assert "in 500 ms; 200 ms are left" in words.settle_result(result("settle"), settles)[1][1]
    worst = WorstPlacing(at=Place(t=1.0, sample=9, move="lower"), amplitude=3e-5, tolerance=2e-5, allowed=1e-5)
    text, _ = words.settle_finding(None, worst, PlacingCause(cause=words.STILL_SWINGS))
    assert text == "move 'lower', 1.000 s: the part still swings by 0.030 mm when it is placed, allowed 0.010 mm"


def test_how_the_carry_begins():
    some = words.assumed(pads=3, undamped=2, tray=False, break_away=True)
    assert "for 2 of 3 pads" in some[0]
    assert "stretched by the break-away force" in some[1]
    (alone,) = words.assumed(pads=3, undamped=0, tray=False, break_away=False)
    assert "in balance but for the acceleration then" in alone
