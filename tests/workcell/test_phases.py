"""Which samples are judged: what phases say, and what they leave out."""

import numpy as np
import pytest

from gripmargin.base.errors import InputErrors
from gripmargin.motion.trajectory import PoseTrajectory
from gripmargin.workcell import Phase
from gripmargin.workcell.phases import PhaseMap, phase_problems

MOVES = ("approach", "touch", "lift", "transfer", "lower", "twist", "return")


def program(moves=MOVES):
    n = len(moves)
    return PoseTrajectory(
        t=0.1 * np.arange(n), position=np.zeros((n, 3)), rotation=np.tile(np.eye(3), (n, 1, 1)), moves=moves
    )


def phases(**kinds):
    return tuple(Phase(kind=kind, moves=moves) for kind, moves in kinds.items())


@pytest.mark.parametrize(
    ("given", "carried"),
    [
        ({"carry": ("lift", "transfer", "lower")}, ("lift", "transfer", "lower")),
        ({"carry": ("lift", "lower")}, ("lift", "transfer", "lower")),
        ({"preload": ("touch",), "carry": ("lower",)}, ("lift", "transfer", "lower")),
        ({"carry": ("lift",), "release": ("twist",)}, ("lift", "transfer", "lower")),
        ({"preload": ("touch",), "release": ("twist",)}, ("lift", "transfer", "lower")),
        ({"preload": ("touch",), "carry": ("lift",), "release": ("twist",)}, ("lift", "transfer", "lower")),
    ],
)
def test_a_gap_in_which_the_part_must_be_on_the_pads_is_carried(given, carried):
    found = PhaseMap(phases(**given), program())
    assert tuple(np.array(MOVES)[found.covers("carry")]) == carried
    assert found.kinds()[-1] == "free"
    assert found.kinds()[0] == "free"


def test_a_second_pick_is_free_in_between():
    moves = ("touch", "lift", "twist", "return", "touch", "lift", "twist")
    found = PhaseMap(phases(preload=("touch",), carry=("lift",), release=("twist",)), program(moves))
    assert found.kinds() == ("preload", "carry", "release", "free", "preload", "carry", "release")


def test_a_free_phase_with_the_part_in_the_air_is_refused():
    given = phases(carry=("lift", "lower"), free=("transfer",), release=("twist",))
    (problem,) = phase_problems(given, program())
    assert str(problem) == (
        "program.phases: found a free phase from 0.3 s to 0.3 s between phases that have the part on the pads, "
        "expected carry there, or a release before it"
    )


def test_every_sample_has_one_kind():
    found = PhaseMap(phases(preload=("touch",), carry=("lift",), release=("twist",)), program())
    masks = np.sum([found.covers(kind) for kind in ("preload", "carry", "release", "free")], axis=0)
    assert (masks == 1).all()


def test_problems_are_all_told():
    given = (Phase(kind="carry", moves=("lfit",)), Phase(kind="release", start=5.0, end=6.0))
    problems = phase_problems(given, program())
    assert len(problems) == 2
    assert "did you mean 'lift'?" in str(InputErrors(problems))
