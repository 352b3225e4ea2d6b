"""Holds after a cleaning move: what they count on has to be shown, whatever is asked."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.workcell.holds import single
from support.cycles import kit

PICK, LEFT, SHEET = np.zeros(3), np.array([0.3, 0.0, 0.0]), np.array([0.0, -0.3, 0.0])
DIRTY = {"fouling_per_cycle": 0.05}
ROLL = ("roll", "roll", "way", "way", "way", "way", "way")


def cleaned(least=12e3, pads=None, first=True, **more):
    """Two picks, with the pads pressed onto a tacky sheet between them by 30 kPa, more than onto the part.

    Without the first pick the program begins with that.
    """
    made = kit(*first * [(PICK, LEFT)], (SHEET, SHEET, {"labels": ROLL, "press": 3e-4}), (PICK, LEFT))
    sheet = gm.Cleaner(face=gm.pose(SHEET), outline=0.1 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]), rigid=True)
    sheet = replace(sheet, least_pressure=least, tack=1e3, fixing_force=100.0, fixing_moment=10.0)
    changed = tuple(
        replace(pad, material=replace(pad.material, **(DIRTY if pads is None else pads))) for pad in made.gripper.pads
    )
    named = gm.Phase(kind="clean", moves=("roll",)), gm.Phase(kind="free", moves=("way",))
    return replace(
        made,
        gripper=replace(made.gripper, pads=changed, cycles_since_cleaning=2),
        phases=(*made.phases, *named),
        cleaners=(sheet,),
        **more,
    )


@pytest.mark.parametrize(("least", "second"), [(12e3, "pass"), (40e3, "undecided"), (None, "undecided")])
def test_a_hold_counts_on_a_cleaning_move_that_is_shown(least, second):
    """Pads that a move presses too lightly, or on what nobody knows, are no cleaner: no hold after it passes.

    The check cleaning, which says so, is not asked for.
    """
    held = [hold.report.checks[0] for hold in gm.check_job(cleaned(least=least), checks=["hold"]).holds]
    assert [str(check.verdict) for check in held] == ["pass", second]
    assert [f"{doubt:.41}" for doubt in held[1].doubts] == (
        [] if second == "pass" else ["the pads are counted as cleaned at 6.805 "]
    )


def test_pads_that_do_not_get_dirty_need_no_cleaning():
    assert gm.check_job(cleaned(least=40e3, pads={}), checks=["hold"]).passed


@pytest.mark.parametrize(("overload", "verdict"), [(35e3, "pass"), (25e3, "undecided")])
def test_pads_pressed_too_hard_on_their_cleaner_are_weaker_for_good(overload, verdict):
    """The press on the part stays below by itself; a share of clean faces that is asked does not help."""
    material = {"overload_pressure": overload, "overload_residual": 0.5}
    made = cleaned(pads=material, targets=gm.Targets(hold=2.0, cleaning=0.01))
    held = [hold.report.checks[0] for hold in gm.check_job(made, checks=["hold"]).holds]
    assert [str(check.verdict) for check in held] == ["pass", verdict]
    assert ["weaker for good" in doubt for doubt in held[1].doubts] == ([] if verdict == "pass" else [True])


@pytest.mark.parametrize(("least", "known"), [(12e3, True), (40e3, False)])
def test_before_the_only_pick_and_before_limits_it_counts_too(least, known):
    material = DIRTY | {"damping_ratio": 0.08}
    made = cleaned(least=least, pads=material, first=False)
    assert gm.check_job(made, checks=["hold"]).passed == known
    found = gm.limits(made, tilts=[0.0], ramps=[0.1])
    assert ("the pads are counted as cleaned" in " ".join(found.blocked)) != known
    assert np.isfinite(found.linear["any"]).all() == known


def test_cleanings_and_picks_are_counted_once():
    """However often a job of one hold is asked for: recovery of 0.9 for one cleaning, not for each look at it."""
    made = cleaned(pads={"recovery": 0.9})
    second = [each.job(made) for each in made.holds][1]
    assert (second.gripper.cleanings, single(second).gripper.cleanings) == (1, 1)
    assert single(single(second)) is single(second)
