"""Press, lift-off, release and pressure of a part that bends: as of a rigid one where it lies flat, else undecided."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.handover import words
from gripmargin.checks.handover.lift_off import lift_off
from gripmargin.checks.handover.preload import PRELOAD
from gripmargin.checks.handover.pressure import PRESSURE
from gripmargin.checks.handover.release import RELEASE
from gripmargin.checks.hold.check import HOLD
from gripmargin.checks.premises import (
    bending,
    handed_over_flat,
    let_go_flat,
    not_bent_in_between,
    pressed_flat,
    swinging,
)
from support.handed import Handed, plate_job

OUTLINE = np.array([[-0.1, -0.05], [0.1, -0.05], [0.1, 0.05], [-0.1, 0.05]])
OF_CONTACT = ("preload", "lift_off", "release", "pressure", "hold")
SLIDE = {"kind": "shear", "travel": 2e-3}


def sheet(thickness=0.0005, **more):
    """Of aluminium: an edge of its pads is used 3.2 times as much as by a rigid part."""
    mass = 2700.0 * 0.02 * thickness
    com, inertia = gm.uniform_plate(mass, OUTLINE, thickness)
    bends = {"youngs_modulus": 70e9, "poissons_ratio": 0.33} | more
    return gm.Part(
        mass=mass,
        com=com,
        inertia=inertia,
        outline=OUTLINE,
        thickness=thickness,
        face="plane",
        max_pressure=1e5,
        **bends,
    )


def job(part, pick=None, nest=None, **program):
    made = plate_job(pads=1, nest=nest)
    tray = gm.Pick(face=np.eye(4), **(pick or {}))
    targets = gm.Targets(hold=1.5, swing=0.5, release=1.0)
    return Handed(made).made(part=part, pick=tray, targets=targets, **(SLIDE | program))


def with_tables(case, pick=None, nest=None):
    """The case as worked out, with other words about tray and nest."""
    pickup = replace(case.pickup, pick=replace(case.pickup.pick, **(pick or {})))
    other = replace(case, pickup=pickup)
    vars(other)["_put_down"] = (
        tuple(replace(down, nest=replace(down.nest, **(nest or {}))) for down in case.putdowns),
        "",
    )
    return other


FLAT = {"bed": OUTLINE}


@pytest.fixture(scope="module")
def slid():
    return work_out(job(sheet(), FLAT, FLAT))


@pytest.fixture(scope="module")
def peeled():
    return work_out(job(sheet(), FLAT, FLAT, kind="peel", travel=np.deg2rad(12.0), hinge=(0.015, 0.0)))


def verdicts(case):
    found = [result for check in (PRELOAD, RELEASE, PRESSURE, HOLD) for result in check.answer(case).results]
    return {r.check: r for r in found if r.check in OF_CONTACT}


def test_on_a_bed_it_is_pressed_and_let_go_as_a_rigid_part(slid):
    assert {r.verdict for r in verdicts(slid).values()} == {gm.Verdict.PASS}


def test_nothing_passes_where_what_it_lies_on_is_not_known(slid):
    """With a press that is not known how it bonds, hold and lift-off neither."""
    bare = verdicts(with_tables(slid, {"bed": None}, {"bed": None}))
    assert len(bare) == len(OF_CONTACT)
    assert {r.verdict for r in bare.values()} == {gm.Verdict.UNDECIDED}
    assert "what it lies on in its tray is not known: state pick.bed" in bare["hold"].doubts[0]
    assert "what it lies on in its nest is not known: state nest.bed" in bare["release"].doubts[1]


@pytest.mark.parametrize("bed", [OUTLINE * [0.1, 1.0], OUTLINE * [0.7, 1.0]])
def test_a_bed_that_does_not_carry_it_beneath_its_pads(slid, bed):
    """One ends beneath a pad, the other lets it overhang by 30 mm and has the pad 55 mm inside."""
    found = with_tables(slid, {"bed": bed})
    for premise in (pressed_flat, bending, swinging, handed_over_flat, not_bent_in_between):
        assert "pick.bed has to reach beneath all pads" in premise(found).doubts[0]
    assert let_go_flat(found).doubts == ()
    assert "nest.bed has to reach" in let_go_flat(with_tables(slid, nest={"bed": bed})).doubts[0]


@pytest.mark.parametrize(
    ("nest", "stays"),
    [
        ({"hold_down": 500.0}, False),  # enough for a rigid part
        ({"hold_down": 500.0, "hold_down_even": True}, False),  # 25 kPa, less than the pads may pull at an edge
        ({"hold_down": 650.0, "hold_down_even": True}, True),  # 32.5 kPa against 30 kPa
    ],
)
def test_pads_that_peel_off_bend_it_unless_it_is_held_down_evenly(peeled, slid, nest, stays):
    doubts = let_go_flat(with_tables(peeled, nest=nest)).doubts
    assert (not doubts) is stays
    assert stays or "it bends with them, which is not followed" in doubts[0]
    assert let_go_flat(with_tables(slid, nest=nest)).doubts == ()


def test_a_tray_that_holds_it_may_hold_it_by_a_corner(slid):
    """An even pull of 2 N spares the pads; a corner that sticks peels them: what lies between is not known."""
    tried = SimpleNamespace(tried=lambda changes: None)
    ends = [lift_off(case, case.pickup, tried) for case in (slid, with_tables(slid, {"break_away": 2.0}))]
    (free, _), (found, (finding,)) = ends
    assert free.verdict is gm.Verdict.PASS
    assert found.verdict is gm.Verdict.UNDECIDED
    assert found.low < 1.5 < found.value
    assert words.HELD_SOMEWHERE in finding.because.undecided
    rigid = work_out(job(sheet(youngs_modulus=None, poissons_ratio=None, rigid=True), FLAT, FLAT))
    ends = lift_off(rigid, replace(rigid.pickup, pick=replace(rigid.pickup.pick, break_away=2.0)), tried)
    assert ends[0].verdict is gm.Verdict.PASS


def test_pads_that_pull_from_the_first_until_they_have_let_go():
    """Let go 4 um above its nest: the pads pull with 0.4 kPa all along, and with nothing once they are broken."""
    found = work_out(job(sheet(), FLAT, FLAT, seat=0.0, above=4e-6))
    assert found.putdowns[0].history.held_total[-1] == 0.0
    assert "it bends with them, which is not followed" in let_go_flat(found).doubts[0]
