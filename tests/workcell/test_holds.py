"""Which holds a program has: from the order of its phases, with the parts and places that these name."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.motion.program import ProgramMotion
from gripmargin.motion.stretch import stretch_of
from gripmargin.workcell.holds import cut_between, single
from gripmargin.workcell.windows import asked_in
from support.handed import plate_job

FREE = "free"


def job(moves, phases, **fields):
    """A job whose program has a second of each move, three samples long."""
    n = 3 * len(moves)
    program = gm.PoseTrajectory(
        t=np.arange(n) / 3.0,
        position=np.zeros((n, 3)),
        rotation=np.tile(np.eye(3), (n, 1, 1)),
        moves=tuple(move for move in moves for _ in range(3)),
    )
    return replace(plate_job(), trajectory=program, phases=tuple(phases), **fields)


def phase(kind, *moves, **names):
    return gm.Phase(kind={"P": "preload", "C": "carry", "R": "release", "F": FREE}[kind], moves=moves, **names)


ONE = (phase("P", "touch"), phase("C", "over"), phase("R", "tilt"))
PART, PLACE, NEST = plate_job().part, plate_job().pick, plate_job().nest
PARTS = {"cover": PART, "slip": PART}
TWO = (
    phase("P", "touch", part="cover"),
    phase("C", "over"),
    phase("R", "tilt"),
    phase("P", "touch", part="slip"),
    phase("C", "over"),
    phase("R", "tilt"),
)
CYCLE = ("touch", "over", "tilt", "back")


def told(made):
    """Name of each hold, with the moves of its phases by the seconds in which they are."""
    return [(hold.name, [(first // 3, last // 3, i) for first, last, i in hold.stretches]) for hold in made.holds]


def test_a_list_of_phases_counts_for_each_cycle():
    assert told(job(3 * CYCLE, ONE)) == [
        ("1", [(0, 0, 0), (1, 1, 1), (2, 2, 2)]),
        ("2", [(4, 4, 0), (5, 5, 1), (6, 6, 2)]),
        ("3", [(8, 8, 0), (9, 9, 1), (10, 10, 2)]),
    ]
    assert [hold.pick_use for hold in job(3 * CYCLE, ONE).holds] == [0, 1, 2]


def test_labels_that_recur_go_through_the_list_in_order_and_again():
    made = job(3 * CYCLE, TWO, part=None, parts=PARTS)
    assert told(made) == [
        ("1 cover", [(0, 0, 0), (1, 1, 1), (2, 2, 2)]),
        ("2 slip", [(4, 4, 3), (5, 5, 4), (6, 6, 5)]),
        ("3 cover", [(8, 8, 0), (9, 9, 1), (10, 10, 2)]),
    ]
    kinds = made.phase_map.kinds()[::3]
    assert kinds == 3 * ("preload", "carry", "release", "free")


def test_a_label_that_comes_back_within_a_cycle_belongs_to_it():
    """Lifted, over, lifted again: the second lift is that of the cover, not of the slip that follows."""
    lifts = tuple(replace(each, moves=("lift", "over")) if each.kind == "carry" else each for each in TWO)
    once = ("touch", "lift", "wait", "over", "lift", "tilt", "back")
    made = job(2 * once, lifts, part=None, parts=PARTS)
    assert [{i for *_, i in hold.stretches} for hold in made.holds] == [{0, 1, 2}, {3, 4, 5}]


def test_phases_by_times():
    spans = (("P", 0, 1, "cover"), ("C", 1, 2, None), ("R", 2, 3, None), ("P", 4, 5, "slip"), ("C", 5, 6, None))
    phases = [gm.Phase(kind=phase(kind, "x").kind, start=a, end=b, part=name) for kind, a, b, name in spans]
    assert [hold.name for hold in job(2 * CYCLE, phases, part=None, parts=PARTS).holds] == ["1 cover", "2 slip"]


@pytest.mark.parametrize(
    ("moves", "phases", "message"),
    [
        (("touch", "over", "touch", "over", "tilt"), ONE, "while the part of the preload .* is still on the pads"),
        ((*CYCLE, "over", "tilt"), ONE, r"the carry program.phases\[1\] .* after the release .*, without a preload"),
        ((*CYCLE, "tilt", *CYCLE), ONE, r"the release program.phases\[2\] .* without a preload between them"),
        (2 * CYCLE, (*ONE[:2], phase("F", "tilt")), "between phases that have the part|is still on the pads"),
        (("touch", "back", "touch", "over", "tilt", "back"), TWO, "does not make again after"),
        (CYCLE, TWO, "does not make again after"),
        (2 * CYCLE, (*TWO[:3], replace(TWO[3], part="slop"), *TWO[4:]), "'slop', expected one of cover, slip; did you"),
        (2 * CYCLE, (*TWO[:4], replace(TWO[4], part="cover"), TWO[5]), "'cover', and 'slip' in a phase of the same"),
        (2 * CYCLE, (*TWO[:3], replace(TWO[3], part="cover"), *TWO[4:]), r"parts.slip: found a part that no phase"),
        (2 * CYCLE, ONE, "parts.cover: found a part that no phase names"),
        (2 * CYCLE, (*TWO[:2], replace(TWO[2], nest="box"), *TWO[3:]), r"nest: found 'box', expected no name"),
    ],
)
def test_refused(moves, phases, message):
    alone = phases[:2] == ONE[:2] and "parts" not in message
    with pytest.raises(gm.InputError, match=message):
        job(moves, phases, **({} if alone else {"part": None, "parts": PARTS}))


def test_one_part_beside_several_is_refused():
    with pytest.raises(gm.InputError, match="parts beside part"):
        job(2 * CYCLE, TWO, part=replace(PART, mass=9.0), parts=PARTS)
    with pytest.raises(gm.InputError, match="part: found nothing"):
        job(CYCLE, ONE, part=None)


def test_what_belongs_to_another_kind_of_phase_is_refused():
    for kind, names in (("C", {"pick": "a"}), ("P", {"nest": "a"}), ("F", {"part": "a"})):
        with pytest.raises(gm.InputError, match="expected a phase "):
            phase(kind, "over", **names)


def test_a_name_is_left_out_where_there_is_but_one():
    made = job(2 * CYCLE, ONE, pick=None, picks={"tray": PLACE}, nest=None, nests={"box": NEST})
    assert [(hold.pick, hold.nest) for hold in made.holds] == 2 * [("tray", "box")]


def test_what_asks_for_one_hold_refuses_several_and_takes_one_that_has_names():
    with pytest.raises(gm.InputError, match=r"a program of 2 holds \(1, 2\), expected a job with one part"):
        single(job(2 * CYCLE, ONE))
    made = single(job(CYCLE, TWO[:3], part=None, parts={"cover": PART}))
    assert made.part is PART
    assert not made.parts
    assert made.phases == tuple(replace(each, part=None) for each in TWO[:3])
    plain = job(CYCLE, ONE)
    assert single(plain) is plain


def test_each_use_of_a_place_lies_further():
    """A pallet of two places a layer, tilted by a right angle: offsets are along its own axes."""
    tilted = gm.pose((1.0, 0.0, 0.0), (np.pi / 2, 0.0, 0.0))
    pallet = replace(PLACE, face=tilted, places=[[0, 0, 0], [0.1, 0, 0]], step=[0, 0, -0.01])
    made = job(5 * CYCLE, ONE, pick=pallet)
    faces = [hold.job(made).pick for hold in made.holds]
    along = np.array([tilted[:3, :3].T @ (pick.face[:3, 3] - tilted[:3, 3]) for pick in faces])
    np.testing.assert_allclose(
        along, [[0, 0, 0], [0.1, 0, 0], [0, 0, -0.01], [0.1, 0, -0.01], [0, 0, -0.02]], atol=1e-15
    )
    assert all(pick.step is None and pick.places is None for pick in faces)
    short = replace(PLACE, places=[[0, 0, 0], [0.1, 0, 0]])
    with pytest.raises(gm.InputError, match=r"pick.places: found 2 places, used 3 times"):
        [hold.job(job(3 * CYCLE, ONE, pick=short)) for hold in job(3 * CYCLE, ONE, pick=short).holds]
    assert single(job(CYCLE, ONE, pick=replace(short, places=[[0.1, 0, 0]]))).pick.face[0, 3] == 0.1


def test_each_hold_has_one_pick_more_on_its_pads():
    made = job(3 * CYCLE, ONE, gripper=replace(plate_job().gripper, cycles_since_cleaning=7))
    assert [hold.job(made).gripper.cycles_since_cleaning for hold in made.holds] == [7, 8, 9]


@pytest.mark.parametrize(
    ("rest", "speed", "cut"),
    [(0.6, 0.0, 5), (0.6, 0.9e-3, 5), (0.6, 1.1e-3, 7), (0.6, 1.8e-3, 7), (0.45, 0.0, 7), (0.3, 0.0, 7)],
)
def test_a_program_is_cut_far_from_both_parts_and_rather_at_rest(rest, speed, cut):
    """Away from both by 1 m at sample 7; at sample 5 by less, where it stands still."""
    made = job(2 * CYCLE, ONE)
    there = np.full(made.trajectory.samples, 0.0)
    there[[9, 10, 11]] = rest, 0.1, 1.0  # of the three samples between the release and the next preload
    position = np.column_stack([there, 0 * there, 0 * there])
    speeds = np.where(np.arange(there.size) == 9, speed, 1.0)
    found = cut_between(made, *made.holds, position, speeds)
    assert found == {5: 9, 7: 11}[cut]


def test_a_cleaning_move_starts_the_count_of_picks_anew():
    """Cleaned after the second of four: what was on the pads before the program is gone, too; a cut leaves it whole."""
    moves = (*CYCLE, *CYCLE[:3], "roll", "roll on", "back", *CYCLE, *CYCLE)
    roller = gm.Cleaner(name="roller", face=np.eye(4))
    phases = (*ONE, gm.Phase(kind="clean", moves=("roll", "roll on")))
    gripper = replace(plate_job().gripper, cycles_since_cleaning=7, cleanings=20)
    made = job(moves, phases, gripper=gripper, cleaners=(roller,))
    pads = [hold.job(made).gripper for hold in made.holds]
    assert [(each.cycles_since_cleaning, each.cleanings) for each in pads] == [(7, 20), (8, 20), (0, 21), (1, 21)]
    assert [len(hold.stretches) for hold in made.holds] == [3, 3, 3, 3]
    still = np.zeros(made.trajectory.samples)
    cut = cut_between(made, made.holds[1], made.holds[2], made.trajectory.position, still)
    assert cut >= 3 * 9 - 1
    first, _ = stretch_of(made.trajectory, ProgramMotion.of(made.trajectory, None), 12, cut)
    asked = asked_in(made, made.holds[1], first, 12)
    assert asked.phase_map.covers("clean").sum() == 6
    last = made.trajectory.samples - 1
    after, _ = stretch_of(made.trajectory, ProgramMotion.of(made.trajectory, None), cut, last)
    other = asked_in(made, made.holds[2], after, cut)
    assert not other.phase_map.covers("clean").any()
    assert other.cleaners == ()  # which are that other hold's affair


def test_pads_that_are_cleaned_before_the_only_pick_are_clean():
    made = job(
        ("roll", *CYCLE), (gm.Phase(kind="clean", moves=("roll",)), *ONE), cleaners=(gm.Cleaner(face=np.eye(4)),)
    )
    dirty = replace(made, gripper=replace(made.gripper, cycles_since_cleaning=7))
    assert single(dirty).gripper.cycles_since_cleaning == 0


def test_a_cleaning_move_with_the_part_on_the_pads_is_refused():
    with pytest.raises(gm.InputError, match="a clean phase from"):
        job(("touch", "over", "roll", "over", "tilt"), (*ONE, gm.Phase(kind="clean", moves=("roll",))))
