"""A release from pads that hold unevenly: they let go one after the other, and the last one turns the part."""

from dataclasses import replace

import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.handover import words
from gripmargin.checks.handover.release import RELEASE
from support.handed import Handed, plate_job

STRENGTH, AREA, APART = 3e4, 0.03**2, 0.06
TURN = STRENGTH * AREA * APART / 2  # shear of one pad by its arm to the middle of both [N m]
PRESS, STIFFNESS, FULL = 2e-4, 1e8, 1e4


def slid(raised, takes, *, press=PRESS):
    """Two pads beside each other, slid off along their faces; the second one is pressed on less deep.

    Args:
        raised: By which the second lies back [m].
        takes: What the nest takes, over what one pad turns.
        press: Depth of the press, in the tray and in the nest [m].
    """
    job = plate_job(
        strength=STRENGTH, stiffness=STIFFNESS, apart=APART, nest={"hold_down": 500.0, "lateral_force": 500.0}
    )
    job = replace(job, nest=replace(job.nest, moment=takes * TURN))
    places = ((0.0, APART / 2, 0.0), (0.0, -APART / 2, -raised))
    pads = tuple(replace(pad, pose_in_tool=gm.pose(at)) for pad, at in zip(job.gripper.pads, places, strict=True))
    job = replace(job, gripper=gm.Gripper(pads=pads))
    return work_out(Handed(job=job, press=press, seat=press, kind="shear", travel=0.003).made(), trial=True)


def answer(case):
    """The result, and what is not known of a finding."""
    out = RELEASE.answer(case)
    return out.results[0], [finding.because["cause"] for finding in out.findings]


def test_even_pads_let_go_at_once_and_turn_nothing():
    result, _ = answer(slid(0.0, 1.0))
    assert result.verdict == "pass"


@pytest.mark.parametrize("takes", [1.0, 2.0])
def test_the_pad_that_holds_last_turns_the_part_alone(takes):
    # the second holds 0.4 of its strength at most, and is off by the time that the first one is used up
    case = slid(PRESS - 0.4 * FULL / STIFFNESS, takes)
    (release,) = case.putdowns
    assert release.least(case.job) == pytest.approx(takes, rel=5e-3)
    result, why = answer(case)
    assert result.verdict == ("undecided" if takes < 1.5 else "pass")
    assert why == ([words.HELD_BEFORE["uneven"][0]] if takes < 1.5 else [])


def test_what_falls_short_however_the_pads_hold_fails():
    case = slid(PRESS - 0.4 * FULL / STIFFNESS, 1.0)
    nest = replace(case.job.nest, lateral_force=0.8 * 2 * STRENGTH * AREA)
    result, _ = answer(work_out(replace(case.job, nest=nest), trial=True))
    assert result.verdict == "fail"
    assert result.value == pytest.approx(0.8, rel=5e-3)


def test_the_worse_of_both_is_so_by_what_is_asked():
    """Within its slip the part goes along with the pads: neither bond asks anything sideways."""
    case = slid(PRESS - 0.4 * FULL / STIFFNESS, 1.0)
    nest = replace(case.job.nest, lateral_force=10.0, slip=5e-3)
    job = replace(case.job, nest=nest)
    (release,) = work_out(job, trial=True).putdowns
    assert release.least(job) > 5.0
    assert release.restraint(job, release.history.wrench).least("slide") < 0.4
