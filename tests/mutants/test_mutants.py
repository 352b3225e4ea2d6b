"""The list of changes itself: long enough, each one a change, the same after the code has moved."""

import ast
import json
from collections import Counter

from mutants.changes import mutants
from mutants.chosen import EQUIVALENT, NEAR, ROOMS, ROOT, chosen, modules, nearest
from mutants.trials import Record, in_order

TEXT = b'''"""What it is for."""


def use(stress: float, limit: float = 0.5) -> float:
    """The larger of both."""
    return max(stress / limit, 0.0) if stress > -limit else 1.0
'''


def test_at_least_two_hundred_changes_are_tried_in_all_rooms():
    several = chosen()
    assert len(several) >= 200
    assert {room for room in ROOMS for mutant in several if mutant.module.startswith(room + "/")} == set(ROOMS)


def test_each_change_can_be_read_and_changes_something():
    for mutant in chosen():
        assert mutant.old != mutant.new
        ast.parse(mutant.applied(modules()[mutant.module]))


def test_changes_of_a_line_worked_by_hand():
    found = {(mutant.what, mutant.old, mutant.new) for mutant in mutants("use.py", TEXT)}
    assert found == {
        ("halved", "0.5", "0.25"),
        ("doubled", "0.5", "1.0"),
        ("halved", "1.0", "0.5"),
        ("doubled", "1.0", "2.0"),
        ("swapped", "max(stress / limit, 0.0)", "min(stress / limit, 0.0)"),
        ("operator", "stress / limit", "stress * limit"),
        ("factor dropped", "stress / limit", "stress"),
        ("comparison", "stress > -limit", "stress < -limit"),
        ("sign", "-limit", "limit"),
    }
    swapped = next(mutant for mutant in mutants("use.py", TEXT) if mutant.what == "swapped")
    assert b"return (min(stress / limit, 0.0)) if" in swapped.applied(TEXT)


def test_a_change_keeps_its_name_when_the_code_moves():
    moved = b"import math\n\n\ndef other():\n    return 2.0 * math.pi\n\n\n" + TEXT
    before, after = ({m.key for m in mutants(path, text)} for path, text in (("a/use.py", TEXT), ("b/use.py", moved)))
    assert before < after


def test_every_change_has_a_name_of_its_own_and_tests():
    several = chosen()
    assert max(Counter((mutant.module, mutant.key) for mutant in several).values()) == 1
    assert all(nearest(mutant.module) for mutant in several)


def test_every_place_where_tests_are_looked_for_is_there():
    assert [path for paths in NEAR.values() for path in paths if not (ROOT / path).exists()] == []


def test_the_fastest_tests_come_first_as_long_as_there_is_time():
    names = "test_a.py::slow", "test_b.py::quick", "test_a.py::quick", "test_b.py::other", "test_a.py::slower"
    seconds = dict(zip((f"t/{name}" for name in names), (50.0, 0.001, 0.01, 0.002, 59.0), strict=True))
    assert in_order(seconds, "t/a.py", enough=60.0) == [f"t/{names[k]}" for k in (2, 1, 3, 0)]


def test_a_change_is_tried_by_the_tests_that_run_its_line_else_its_function(tmp_path):
    module = "kernels/modes.py"
    several = {mutant.place: mutant for mutant in mutants(module, modules()[module])}
    change = several["natural_modes"]
    source = modules()[module]
    line = source.decode().splitlines()[source[: change.span[0]].count(b"\n")].strip()
    found = {}
    for name, lines in {"line": {line: ["a"], "other": ["b"]}, "function": {"other": ["b"]}, "none": {}}.items():
        file = {"seconds": {"a": 1.0, "b": 2.0}, "lines": {module: {"natural_modes": lines, "another": {"far": ["c"]}}}}
        (tmp_path / name).write_text(json.dumps({"file": file}))
        found[name] = Record(tmp_path / name).tests_of(change, ["file"])
    assert found == {"line": {"a": 1.0}, "function": {"b": 2.0}, "none": {}}


def test_a_function_that_keeps_its_answers_is_tried_by_all_tests_of_its_module(tmp_path):
    """Only the first test that asks for one runs its lines."""
    module = "kernels/pieces.py"
    change = next(mutant for mutant in mutants(module, modules()[module]) if mutant.place == "_weights")
    lines = {module: {"_weights": {"a line": ["first"]}, "piece_bounds": {"far": ["first", "second"]}}}
    (tmp_path / "record").write_text(json.dumps({"file": {"seconds": {"first": 1.0, "second": 2.0}, "lines": lines}}))
    assert Record(tmp_path / "record").tests_of(change, ["file"]) == {"first": 1.0, "second": 2.0}


def test_what_is_said_to_change_nothing_is_still_there():
    keys = {mutant.key for module, source in modules().items() for mutant in mutants(module, source)}
    assert set(EQUIVALENT) <= keys
    assert all(EQUIVALENT.values())
