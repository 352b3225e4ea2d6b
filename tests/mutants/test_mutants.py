"""The list of changes itself: long enough, each one a change, the same after the code has moved."""

import ast
from collections import Counter

from mutants.changes import mutants
from mutants.chosen import EQUIVALENT, ROOMS, chosen, modules, nearest

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


def test_what_is_said_to_change_nothing_is_still_there():
    keys = {mutant.key for module, source in modules().items() for mutant in mutants(module, source)}
    assert set(EQUIVALENT) <= keys
    assert all(EQUIVALENT.values())
