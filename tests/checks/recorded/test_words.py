"""What is known of a recording, by the keys of the JSON, and how it is said."""

from dataclasses import fields

import pytest

from gripmargin.checks.recorded import words
from gripmargin.checks.recorded.figures import MoveComparison, RecordedDetails
from gripmargin.results.findings import CheckResult

RESULT = CheckResult(check="recorded", verdict="pass", value=2.0, low=2.0, high=2.0, target=1.0, at=None)


def move(label="up", ratio=1.25, **more):
    figures = {"programmed": 2.5, "recorded": 2.0, "recorded_low": 1.9, "recorded_high": 2.1, "t": 1.0, "lag": 0.01}
    figures |= {"joint_deviation": 0.012, "tool_deviation": 0.003}
    return MoveComparison(move=label, ratio=ratio, **figures | more)


def details(*moves, notes=()):
    return RecordedDetails(offset=0.5, misfit=0.01, rates=notes, moves=moves, source="log.csv", joint_unit="rad")


def test_keys_of_the_json():
    assert set(details()) == {"offset", "misfit", "rates", "moves"}
    assert set(move()) == {field.name for field in fields(MoveComparison)}


def test_moves_are_equal_by_their_figures():
    assert move() == move()
    assert hash(move()) == hash(move())
    assert move() != move(ratio=1.2)


def test_the_comparison_in_words():
    text, lines = words.result(RESULT, details(move(), move("down", recorded=3.0), notes=("Speeds estimated.",)))
    assert text.startswith("grip margin over the carry of the recorded motion")
    assert lines == (
        "in move 'up' the real motion takes 25 % more of the pads: margin 2.00 instead of 2.50",
        "move 'up': recorded 2.00 (1.90 to 2.10), programmed 2.50; off its way by 0.012 rad at a joint, 3 mm at the "
        "tool, 10.0 ms late",
        "move 'down': recorded 3.00 (1.90 to 2.10), programmed 2.50; off its way by 0.012 rad at a joint, 3 mm at the "
        "tool, 10.0 ms late",
        "log.csv: its clock leads the program's by 0.5000 s",
        "log.csv: speeds estimated.",
    )


@pytest.mark.parametrize(("ratio", "said"), [(0.8, "20 % less"), (1.004, "as much"), (1.006, "1 % more")])
def test_more_or_less(ratio, said):
    lines = words.result(RESULT, details(move(None, ratio, joint_deviation=None, lag=-0.01)))[1]
    assert lines[0].startswith(f"at 1.000 s the real motion takes {said} of the pads")
    assert lines[1].startswith("carry: ")
    assert lines[1].endswith("off its way by 3 mm at the tool, 10.0 ms early")


def test_without_a_load_no_move_is_the_worst():
    assert words.result(RESULT, details(move(recorded=None, ratio=None)))[1][0].startswith("move 'up': recorded -")
