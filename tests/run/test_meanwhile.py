"""Stations side by side: pads without a part come down on the level where another station presses or lets go."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.motion.program import ProgramMotion
from gripmargin.run.meanwhile import elsewhere_pressed
from support.cycles import NEST, kit
from support.handed import DOWN, plate_job

ASIDE = 0.15  # [m] of each station from the middle of the tool; parts are 0.2 m long
OFF = {"A": np.array([-ASIDE, 0.0, 0.0]), "B": np.array([ASIDE, 0.0, 0.0])}
PICKS = {"A": np.array([0.0, 0.0, 0.0]), "B": np.array([0.0, 0.5, 0.0])}
NESTS = {"A": np.array([0.3, 0.0, 0.0]), "B": np.array([0.3, 0.5, 0.0])}


def beside(*, picks=PICKS, **part):
    """A part on each station, one after the other, all taken and left on one level.

    Args:
        picks: Where.
        part: What is said otherwise of the parts.
    """
    cycles, phases = [], []
    for name, off in OFF.items():
        labels = [f"{move} {name}" for move in ("touch", "press", "off", "over", "seat", "leave", "home")]
        cycles.append((picks[name] - DOWN @ off, NESTS[name] - DOWN @ off, {"labels": labels}))
        for kind, moves in (("preload", labels[:3]), ("carry", labels[3:4]), ("release", labels[4:6])):
            place = {"preload": {"pick": name}, "release": {"nest": name}}.get(kind, {})
            phases.append(gm.Phase(kind=kind, moves=tuple(moves), station=name, **place))
    own = plate_job()
    pads = tuple(replace(pad, name=f"{name} {pad.name}", station=name) for name in OFF for pad in own.gripper.pads)
    frames = tuple(gm.Station(name=name, pose_in_tool=gm.pose(off)) for name, off in OFF.items())
    return kit(
        *cycles,
        phases=tuple(phases),
        gripper=gm.Gripper(pads=pads, stations=frames),
        part=replace(own.part, **part),
        pick=None,
        nest=None,
        picks={name: gm.Pick(face=gm.pose(at)) for name, at in picks.items()},
        nests={name: gm.Nest(face=gm.pose(at), **NEST) for name, at in NESTS.items()},
    )


def test_pads_that_come_down_beside_what_another_station_presses_take_nothing():
    """Neither before their own pick, nor after their release."""
    report = gm.check_job(beside())
    assert report.passed
    assert not any(hold.report.causes for hold in report.holds)


BELOW = PICKS["A"] + DOWN @ (OFF["B"] - OFF["A"])
LONG = [[-0.35, -0.05], [0.35, -0.05], [0.35, 0.05], [-0.35, 0.05]]


@pytest.mark.parametrize("given", [{"picks": PICKS | {"B": BELOW}}, {"outline": LONG}])
def test_pads_that_come_down_on_a_part_do_not_pass(given):
    """On the part that they take later, or on that which the other station presses: it reaches below them."""
    _, other = gm.check_job(beside(**given), checks=["hold"]).holds
    (cause,) = other.report.causes
    assert cause.code == "unnamed_moves"
    assert "the phases of that pick, or a free phase of station 'B' there" in cause.text


def test_a_station_that_presses_and_never_lets_go_is_told_what_to_name():
    made = beside()
    pressed = replace(made.phases[3], moves=made.phases[3].moves[:2])
    with pytest.raises(gm.InputError) as error:
        gm.check_job(replace(made, phases=(*made.phases[:3], pressed), nests={"A": made.nests["A"]}))
    assert str(error.value) == (
        "hold 2 on B: program.phases of station 'B': found a preload with no carry and no release after it, so nothing "
        "to check, expected the release, or a carry until the program ends; name the moves in which its part is let "
        "go: what a station does not name before these is carried"
    )


@pytest.mark.parametrize(("given", "spans"), [({}, 2), ({"outline": LONG}, 0)])
def test_a_part_that_reaches_below_the_pads_counts_where_no_place_is_described(given, spans):
    made = beside(**given)
    motion = ProgramMotion.of(made.trajectory, None).regripped(made.gripper.frame_of("B"))
    assert len([*elsewhere_pressed(made, "B", motion, ())]) == spans
