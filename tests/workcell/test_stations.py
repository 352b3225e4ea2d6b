"""A gripper with stations: which holds there are, in which order places are used, and what is refused."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from support.exchanged import BLANK_PHASES, STATIONS, exchange, gripper
from support.handed import plate_job

STACK = {"stack": gm.Pick(face=np.eye(4), step=[0, 0, -0.004])}
BOX = {"box": gm.Nest(face=np.eye(4), step=[0, 0, 0.004])}


def phase(kind, move, station, **names):
    return gm.Phase(kind=kind, moves=(move,), station=station, **names)


def job(moves, phases, **fields):
    """A job whose program has a second of each move, three samples long, on a tool that stands still."""
    n = 3 * len(moves)
    program = gm.PoseTrajectory(
        t=np.arange(n) / 3.0,
        position=np.zeros((n, 3)),
        rotation=np.tile(np.eye(3), (n, 1, 1)),
        moves=tuple(move for move in moves for _ in range(3)),
    )
    plate = plate_job()
    known = {"name": "still", "gripper": gripper(), "part": plate.part, "picks": STACK, "nests": BOX}
    return gm.Job(**(known | {"trajectory": program, "phases": tuple(phases)} | fields))


BOTH = (
    phase("preload", "press A", "A"),
    phase("preload", "press B", "B"),
    phase("release", "leave B", "B"),
    phase("release", "leave A", "A"),
)
ROUND = ("press A", "press B", "over", "leave B", "leave A", "back")


def test_holds_of_two_stations_are_numbered_as_they_begin_and_use_places_as_they_come():
    made = job(2 * ROUND, BOTH)
    assert [hold.name for hold in made.holds] == ["1 on A", "2 on B", "3 on A", "4 on B"]
    assert [hold.pick_use for hold in made.holds] == [0, 1, 2, 3]
    assert [hold.nest_use for hold in made.holds] == [1, 0, 3, 2]  # B leaves first
    assert [hold.picks for hold in made.holds] == [0, 0, 1, 1]  # dirt is that of the pads of a station
    taken = [hold.job(made.stations[hold.station]).pick.face[2, 3] for hold in made.holds]
    assert taken == pytest.approx([0.0, -0.004, -0.008, -0.012])


def test_what_a_station_does_not_name_between_press_and_release_is_carried():
    """Over, and while the other station presses and lets go."""
    kinds = job(ROUND, BOTH).stations["A"].phase_map.kinds()[::3]
    assert kinds == ("preload", "carry", "carry", "carry", "release", "free")


def test_a_station_is_a_job_of_its_own_in_its_frame():
    made = exchange(flange=gm.Flange(payload=3.0, wrist=gm.pose((0.0, 0.0, 0.1))))
    for name, frame in STATIONS.items():
        own = made.stations[name]
        assert [pad.station for pad in own.gripper.pads] == [None, None]
        np.testing.assert_allclose(own.robot.links[-1], made.robot.links[-1] @ frame, atol=1e-15)
        np.testing.assert_allclose(frame @ own.flange.wrist, made.flange.wrist, atol=1e-15)
        np.testing.assert_allclose(frame[:3, :3] @ own.gripper.com + frame[:3, 3], made.gripper.com, atol=1e-15)
        turned = frame[:3, :3] @ own.gripper.inertia @ frame[:3, :3].T
        np.testing.assert_allclose(turned, made.gripper.inertia, atol=1e-15)


@pytest.mark.parametrize(
    ("phases", "said"),
    [
        (
            (*BOTH, phase("carry", "press B", "A"), phase("preload", "over", "A")),
            "program.phases: found the preload program.phases[5] (2.000 to 2.667 s) while the part of the preload "
            "program.phases[0] (0.000 to 0.667 s) is still on the pads, expected a release of the one part before the "
            "preload of the next; check the order of the phases; a release has to be named even where it has no move "
            "of its own",
        ),
        (
            (*BOTH[:3], phase("release", "leave B", "A"), gm.Phase(kind="release", start=3.2, end=3.6, station="B")),
            "program.phases[4]: found a release phase that overlaps the release phase program.phases[2], expected "
            "phases that do not overlap",
        ),
        (
            (*BOTH, gm.Phase(kind="free", moves=("over",))),
            "program.phases: found a free phase from 2 s to 2.66667 s between phases that have the part on the pads, "
            "expected carry there, or a release before it",
        ),
    ],
)
def test_an_overlap_within_one_station_is_refused(phases, said):
    with pytest.raises(gm.InputError) as error:
        job(ROUND, phases)
    assert str(error.value).split("\n")[0] == said


def test_what_needs_one_part_on_the_pads_says_so():
    for ask in (gm.tune, gm.limits):
        with pytest.raises(gm.InputError, match=r"a gripper with stations \(A, B\), expected a job with one part on"):
            ask(exchange())


def test_a_station_that_no_phase_names_is_refused_and_one_of_free_phases_is_empty():
    alone = tuple(replace(each, pick=None, nest=None) for each in BLANK_PHASES)
    given = {"parts": {"blank": exchange().parts["blank"]}, "nests": {}, "picks": {}}
    with pytest.raises(gm.InputError, match=r"program\.phases: found none of station 'B', expected phases of every"):
        exchange(phases=alone, **given)
    made = exchange(phases=(*alone, phase("free", alone[-1].moves[0], "B")), **given)
    assert [hold.name for hold in made.holds] == ["1 blank on A"]
    report = gm.check_job(made, checks=["hold"])
    assert "Station B of the gripper has free phases alone: nothing hangs on it." in report.assumed


def test_phases_that_name_no_station_or_free_ones_alone_are_refused():
    for phases in ((), (phase("free", "over", "A"),)):
        with pytest.raises(
            gm.InputError, match=r"program\.phases: found none, on a gripper with stations, expected phases"
        ):
            job(ROUND, phases)


def test_a_station_whose_pads_are_cleaned_and_nothing_else_has_a_report_of_its_own():
    cleaner = gm.Cleaner(name="roller", face=gm.pose((9.0, 0.0, 0.0)))
    phases = (phase("carry", "over", "A"), phase("clean", "back", "B"))
    report = gm.check_job(job(ROUND, phases, picks={}, nests={}, cleaners=(cleaner,)), checks=["hold", "cleaning"])
    assert [hold.name for hold in report.holds] == ["1 on B", "2 on A"]
    assert {c.check for c in report.holds[0].report.checks} == {"cleaning", "cleaner"}
    assert {c.check for c in report.holds[1].report.checks} == {"hold"}


def test_places_and_cleaners_that_only_another_station_comes_to_are_not_asked_about():
    """A part that is on its pads all along is not taken anywhere, whatever the other station does."""
    cleaner = gm.Cleaner(name="roller", face=np.eye(4))
    phases = (phase("carry", "over", "B"), BOTH[0], BOTH[3], phase("clean", "back", "A", cleaner="roller"))
    made = job(ROUND, phases, cleaners=(cleaner,))
    one, other = made.stations["A"], made.stations["B"]
    assert (list(one.picks), list(one.nests), list(one.cleaners)) == (["stack"], ["box"], [cleaner])
    assert (list(other.picks), list(other.nests), list(other.cleaners)) == ([], [], [])
    assert {hold.name: hold.pick for hold in made.holds} == {"1 on A": "stack", "2 on B": ""}
    both = job(ROUND, BOTH, cleaners=(cleaner,)).stations  # of which no phase tells: that is undecided for all
    assert [list(each.cleaners) for each in both.values()] == [[cleaner], [cleaner]]
