"""A carried part that comes down where the part of another hold lies: what its own hold says nothing of."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.motion.program import ProgramMotion
from gripmargin.run.elsewhere import comes_down, places_of
from support.cycles import HOME, NEST, kit
from support.exchanged import OUT, exchange, program
from support.handed import plate_job

PICKS = np.array([[0.0, 0.0, 0.0], [0.0, 0.5, 0.0]])
NESTS = np.array([[0.3, 0.0, 0.0], [0.3, 0.5, 0.0]])
THICK = 0.008
LONG, WIDE = 0.2, 0.1  # the outline of `plate_job`


def two(first=(), second=(), *, part=None, over="carry", home=None, start=HOME):
    """Two holds of a plate, each with a tray and a nest of its own, and where they go down on the way over.

    Args:
        first: Where the first goes down.
        second: Where the second does.
        part: What is said otherwise of the parts.
        over: The phase in which the way over lies.
        home: Where the tool goes within its releases, without a part.
        start: Where it begins.
    """
    cycles, phases = [], []
    for i, by in enumerate((first, second)):
        names = [f"{move} {i}" for move in ("touch", "press", "off", "over", "seat", "leave", "home")]
        cycles.append((PICKS[i], NESTS[i], {"labels": names, "by": by, "home": start if home is None else home}))
        kinds = ["preload"] * 3 + [over] + ["release"] * (2 if home is None else 3)
        for kind in dict.fromkeys(kinds):
            place = {"preload": {"pick": f"{i}"}, "release": {"nest": f"{i}"}}.get(kind, {})
            moves = tuple(name for name, each in zip(names, kinds, strict=False) if each == kind)
            phases.append(gm.Phase(kind=kind, moves=moves, **place))
    return kit(
        *cycles,
        start=start,
        phases=tuple(phases),
        part=replace(plate_job().part, **({"thickness": THICK} | (part or {}))),
        pick=None,
        nest=None,
        picks={f"{i}": gm.Pick(face=gm.pose(at)) for i, at in enumerate(PICKS)},
        nests={f"{i}": gm.Nest(face=gm.pose(at), **NEST) for i, at in enumerate(NESTS)},
    )


def found(job):
    """What is said of each hold."""
    motion = ProgramMotion.of(job.trajectory, None).at
    places = list(places_of(job, job.holds, motion))
    return [comes_down(job, hold, motion, places) for hold in job.holds]


def above(at, height, x=0.0, y=0.0):
    """A place of the tool over another."""
    return (at + np.array([x, y, height]),)


def test_a_part_put_down_at_the_nest_of_another_hold_is_no_pass():
    job = two(above(NESTS[1], -5e-5))
    report = gm.check_job(job)
    assert [str(hold.verdict) for hold in report.holds] == ["undecided", "pass"]
    assert "other_place" in str(report.holds[0].report.checks)
    assert gm.check_job(replace(job, accept=("other_place",))).passed
    assert gm.check_job(two(above(NESTS[1], 0.02))).passed


@pytest.mark.parametrize(("height", "said"), [(-1e-4, True), (1.1e-5, True), (3.9e-5, False)])
def test_an_empty_place_is_as_low_as_what_its_part_lies_on(height, said):
    one, other = found(two(above(NESTS[1], height)))
    assert ("nests.1" in one) == said
    assert not other


@pytest.mark.parametrize(("more", "low"), [(-1e-4, True), (1.1e-5, True), (1e-4, False)])
def test_a_part_that_lies_there_is_as_high_as_its_face(more, low):
    assert [bool(each) for each in found(two((), above(NESTS[0], THICK + more)))] == [False, low]
    assert [bool(each) for each in found(two(above(PICKS[1], THICK + more)))] == [low, False]
    # before it is put down there, and after it is taken away, that height is free
    assert found(two(above(NESTS[1], THICK + more))) == ["", ""]
    assert found(two((), above(PICKS[0], THICK + more))) == ["", ""]


def test_parts_of_no_known_thickness_are_taken_for_equally_thick():
    for height, said in ((-1e-4, True), (1e-4, False)):
        assert [bool(each) for each in found(two((), above(NESTS[0], height), part={"thickness": None}))] == [
            False,
            said,
        ]
        assert [bool(each) for each in found(two(above(NESTS[1], height), part={"thickness": None}))] == [said, False]


def test_thicknesses_count_as_far_as_they_are_known():
    job = two(above(NESTS[1], -1e-3))  # the part of the other hold is 3 mm thicker, and its place as much lower
    parts = {"thin": job.part, "thick": replace(job.part, thickness=THICK + 3e-3)}
    phases = [replace(phase, part="thick" if i > 2 else "thin") for i, phase in enumerate(job.phases)]
    job = replace(job, part=None, parts=parts, phases=tuple(phases))
    assert found(job) == ["", ""]
    unknown = {"thin": job.parts["thin"], "thick": replace(job.parts["thick"], thickness=None)}
    assert "nests.1" in found(replace(job, parts=unknown))[0]


@pytest.mark.parametrize(("share", "said"), [(0.007, False), (0.015, True)])
def test_outlines_that_hardly_overlap_lie_beside_each_other(share, said):
    job = two(above(NESTS[1], -1e-4, x=LONG * (1.0 - share)))
    assert bool(found(job)[0]) == said


def test_a_part_without_an_outline_ends_with_the_pads():
    # two squares of 30 mm, 60 mm apart: 90 mm in all
    for x, said in ((0.085, True), (0.095, False)):
        assert bool(found(two(above(NESTS[1], -1e-4, x=x), part={"outline": None}))[0]) == said


@pytest.mark.parametrize("over", ["preload", "release"])
def test_a_part_hangs_in_a_press_and_in_a_release_as_well(over):
    job = two(above(NESTS[1], -1e-4), over=over)
    assert "nests.1" in found(job)[0]


@pytest.mark.parametrize(("over", "one"), [("preload", "picks"), ("release", "nests")])
def test_how_long_it_hangs_in_them_is_known_by_its_own_places_alone(over, one):
    at, left = (NESTS[1], "nests.1") if one == "picks" else (PICKS[1] + [0.0, 0.0, THICK], "picks.1")
    job = two(above(at, -1e-4), over=over)
    assert left in found(job)[0]
    kind = {"picks": "preload", "nests": "release"}[one]
    phases = tuple(replace(phase, **{one[:-1]: None}) if phase.kind == kind else phase for phase in job.phases)
    assert found(replace(job, phases=phases, **{one: {}})) == ["", ""]


def test_pads_without_a_part_come_down_where_they_like():
    assert found(two(home=NESTS[1] - [0.0, 0.0, 1e-4])) == ["", ""]
    assert found(two(start=PICKS[1] + [0.0, 0.0, THICK / 2])) == ["", ""]


def test_a_part_stays_where_it_was_set_down():
    job = two(home=NESTS[0] + [0.05, 0.0, -1e-3])  # deeper, but later
    assert nest_of_the_first(job) == pytest.approx(NESTS[0][:2], abs=1e-9)
    # set down 1 mm beside the place, the pads dragged there along its face
    program = job.trajectory
    slid = program.position + np.array([1e-3, 0.0, 0.0]) * (program.t <= seated(program))[:, None]
    job = replace(job, trajectory=replace(program, position=slid, velocity=None, acceleration=None))
    assert nest_of_the_first(job) == pytest.approx([NESTS[0][0] + 1e-3, NESTS[0][1]], abs=1e-9)


def seated(program):
    """When the first part is down in its nest [s]."""
    return program.t[max(i for i, move in enumerate(program.moves) if move == "seat 0")]


def nest_of_the_first(job):
    """The middle of the first part in its nest, seen from above."""
    places = places_of(job, job.holds, ProgramMotion.of(job.trajectory, None).at)
    return next(place for place in places if place.one == "nest").outline.mean(axis=0)[:2]


@pytest.fixture
def leaning():
    """What is said of the first hold, as it goes down on a place that leans about x."""
    job = two(above(NESTS[1], 0.0))
    motion = ProgramMotion.of(job.trajectory, None).at
    other = next(each for each in places_of(job, job.holds, motion) if each.one == "nest" and each.holds == (2,))
    own = [each for each in places_of(job, job.holds, motion) if each.holds == (1,)]

    def said(angle, height):
        """Of a part whose lowest edge is so high above what the part of the place lies on."""
        normal = np.array([0.0, np.sin(np.deg2rad(angle)), np.cos(np.deg2rad(angle))])
        under = NESTS[1] @ normal - WIDE / 2 * normal[1] - THICK * normal[2]
        place = replace(other, normal=normal, level=float(under + THICK - height))
        return bool(comes_down(job, job.holds[0], motion, [*own, place]))

    return said


def test_the_lowest_edge_of_a_leaning_part_comes_down_first(leaning):
    assert leaning(20.0, -1e-4)
    assert not leaning(20.0, 1e-4)


def test_a_tool_that_looks_along_a_place_does_not_come_down_on_it(leaning):
    assert leaning(40.0, -1e-3)
    assert not leaning(50.0, -1e-3)


def in_a_row(picks, nests):
    """Three holds of a plate, whose places step on each time."""
    picks, nests = np.array(picks), np.array(nests)
    return kit(
        *((PICKS[0] + i * picks, NESTS[0] + i * nests) for i in range(3)),
        part=replace(plate_job().part, thickness=THICK),
        pick=gm.Pick(face=np.eye(4), step=picks),
        nest=gm.Nest(face=gm.pose(NESTS[0]), step=nests, **NEST),
    )


@pytest.mark.parametrize("job", [in_a_row((0, 0, -THICK), (0, 0, THICK)), in_a_row((0, -WIDE, 0), (0, WIDE, 0))])
def test_stacks_and_rows_of_parts_are_in_nobodys_way(job):
    assert found(job) == ["", "", ""]
    assert gm.check_job(job, checks=["hold"]).passed


def test_stations_stay_above_the_places_of_each_other():
    report = gm.check_job(exchange(trajectory=program(by=OUT)), checks=["hold"])
    assert [str(hold.verdict) for hold in report.holds] == ["undecided", "pass"]
    assert "comes down on nests.out, where that of hold 2 done on B lies" in str(report.holds[0].report.checks)
