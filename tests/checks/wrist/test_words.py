"""What the check of the wrist knows, by the keys of the JSON, and how it is said."""

import pytest

from gripmargin.checks.wrist import words
from gripmargin.checks.wrist.figures import Cause, FlangeDetails, Missing, RatedValue, WorstRated
from gripmargin.results.findings import CheckResult, Place

ENTRY = {"limit": "moment", "axis": "axis 6", "asked": 4.0, "asked_most": 5.0, "rated": 8.0, "ratio": 2.0, "t": 0.5}


def rated(**more):
    return RatedValue(**ENTRY | {"asked_least": 4.0} | {"missing": None} | more)


def details(*values):
    return FlangeDetails(limits=values, gripper_mass=2.0, part_mass=1.0, worst=values[0])


def lines(*values):
    found = CheckResult(check="flange", verdict="pass", value=1.0, low=1.0, high=1.0, target=1.0, at=None)
    return words.result(found, details(*values))


def test_keys_of_the_json():
    assert dict(rated()) == ENTRY
    assert set(details(rated())) == {"limits", "gripper_mass", "part_mass"}
    worst = WorstRated(at=Place(t=0.5, sample=5, move=None), value=rated(), short=(rated(),), target=1.0)
    assert dict(worst) == ENTRY | {"sample": 5, "move": None}
    assert dict(Cause(cause="why")) == {"cause": "why"}


def test_the_result_in_words():
    text, (line,) = lines(rated())
    assert text == "rated value over what gripper and part ask: static moment about axis 6"
    assert line == "static moment about axis 6: at most 4 N m of 8 N m, ratio 2.00"
    assert lines(rated(ratio=99.0))[1][0].endswith("ratio 99.00")
    assert lines(rated(ratio=101.0))[1][0].endswith("ratio above 100")
    assert lines(rated(asked=0.0, ratio=None))[1][0].endswith("at most 0 N m of 8 N m, ratio above 100")


@pytest.mark.parametrize("missing", Missing)
def test_what_is_missing_is_said(missing):
    text, (line,) = lines(rated(asked=None, asked_most=None, ratio=None, missing=missing))
    assert text.endswith(f"; {words.NOT_KNOWN[missing]}")
    assert line == f"static moment about axis 6: not known, rated 8 N m; {words.NOT_KNOWN[missing]}"
    assert words.wanted([missing]) == words.WANTED[missing]


@pytest.mark.parametrize(
    ("value", "target", "says"),
    [
        (rated(asked_most=4.01), 1.0, "static moment about axis 6 4.01 N m, rated 8 N m"),
        (rated(), 1.0, "static moment about axis 6 4 to 5 N m, rated 8 N m"),
        (rated(asked_most=None), 2.0, "static moment about axis 6 4 to inf N m, rated 8 N m, 4 by the target"),
        (rated(missing=Missing.COM), 1.0, "static moment about axis 6 not known, rated 8 N m"),
    ],
)
def test_the_finding_in_words(value, target, says):
    worst = WorstRated(at=Place(t=0.5, sample=5, move="lift"), value=value, short=(value, rated()), target=target)
    text, found = words.finding(None, worst, Cause(cause=""))
    assert text == f"move 'lift', 0.500 s: {says}; and 1 more of its rated values"
    assert found[0] == ("rated", says)


def test_axes_are_named_by_number_or_from_the_end():
    assert [words.axis(place, 6) for place in range(3)] == ["axis 6", "axis 5", "axis 4"]
    assert [words.axis(place, None) for place in range(3)] == ["last axis", "second last axis", "third last axis"]


def test_which_robot_to_take():
    assert words.robot([("payload", None, 3.0), ("inertia", "axis 6", 0.2)]) == (
        "take a robot rated for: payload 3 kg, moment of inertia about axis 6 0.2 kg m^2"
    )
    assert words.robot([("payload", None, 3.0)], at_least=True) == "take a robot rated for: payload above 3 kg"
