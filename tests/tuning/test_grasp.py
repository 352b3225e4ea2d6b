"""A better grasp: closed forms, and the advice tried."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.base.poses import pose
from gripmargin.checks.case import work_out
from gripmargin.checks.changes import resized, shifted_pads
from gripmargin.results.findings import Verdict
from gripmargin.tuning import grasp
from gripmargin.tuning.demands import Demands
from gripmargin.tuning.grasp import better_grasp

PLATE = [[-0.15, -0.1], [0.15, -0.1], [0.15, 0.1], [-0.15, 0.1]]


def lifted(smooth, slide, pads, part):
    """A part that is lifted straight up."""
    return gm.Job(
        name="lifted",
        trajectory=smooth(length=0.3, duration=1.0),
        robot=slide((0, 0, 1)),
        gripper=gm.Gripper(pads=pads),
        part=part,
    )


def test_pads_go_under_the_centre_of_mass(smooth, slide, even_film):
    part = gm.Part(
        face="plane", rigid=True, mass=1.0, com=[0.03, -0.02, 0.003], inertia=[3e-3, 7e-3, 1e-2, 0, 0, 0], outline=PLATE
    )
    job = lifted(smooth, slide, (gm.Pad.rectangle("pad", even_film(6e4), [0.05, 0.05]),), part)
    case = work_out(job)
    found = better_grasp(case, Demands.of(case))
    assert found.shift == pytest.approx((0.03, -0.02), abs=0.0021)
    assert found.region == pytest.approx((-0.05, 0.05, -0.05, 0.05))  # the pad's size bounds the search
    moved = work_out(
        lifted(smooth, slide, job.gripper.pads, part.placed(pose(xyz=[-found.shift[0], -found.shift[1], 0])))
    )
    assert Demands.of(moved).ratios([1.0])[0] == pytest.approx(found.ratio_shifted)
    assert found.ratio_shifted > 2 * found.ratio_now


def test_the_region_given_and_the_outline_bound_the_shift(smooth, slide, even_film):
    part = gm.Part(
        face="plane", rigid=True, mass=1.0, com=[0.03, -0.02, 0.003], inertia=[3e-3, 7e-3, 1e-2, 0, 0, 0], outline=PLATE
    )
    job = lifted(smooth, slide, (gm.Pad.rectangle("pad", even_film(6e4), [0.05, 0.05]),), part)
    case = work_out(job)
    found = better_grasp(case, Demands.of(case), (-0.01, 0.01, -0.005, 0.005))
    assert found.shift == pytest.approx((0.01, -0.005), abs=1e-9)
    edge = gm.Pad.rectangle("pad", even_film(6e4), [0.05, 0.05], gm.pose((0.11, 0.0, 0.0)))
    case = work_out(lifted(smooth, slide, (edge,), part))
    assert better_grasp(case, Demands.of(case)).region[1] == pytest.approx(0.15 - 0.135)


def test_area_of_a_centred_pull_grows_with_the_load(smooth, slide, even_film, flat_part):
    # pull alone on a centred pad: margin = A S / F, so the area needed is the target over the margin
    job = lifted(smooth, slide, (gm.Pad.rectangle("pad", even_film(6e4), [0.05, 0.05]),), flat_part(2.0))
    case = work_out(job)
    found = better_grasp(case, Demands.of(case))
    assert found.area_factor == pytest.approx(1.0 / found.ratio_now, abs=0.02)
    assert found.shift == (0.0, 0.0)


def test_tilt_turns_a_shear_into_a_press(smooth, slide, even_film, flat_part):
    # a part pulled off by its weight and pushed sideways: leaning the tool lets the pads press
    job = lifted(smooth, slide, (gm.Pad.rectangle("pad", even_film(6e4, pull=2.5e4), [0.05, 0.05]),), flat_part(2.0))
    case = work_out(job)
    found = better_grasp(case, Demands.of(case))
    # u^2 = (F cos b / A S)^2 + (F sin b / A T)^2 with T > S: the steepest tilt looked at is the best
    use = np.hypot(np.cos(found.tilt), np.sin(found.tilt) * 2.5 / 6.0)
    assert np.degrees(found.tilt) == pytest.approx(30.0)
    assert found.ratio_tilted == pytest.approx(found.ratio_now / use, rel=1e-3)


def test_what_is_advised_passes_the_check(smooth, slide, even_film):
    """The part swings: the area that the margins alone ask for falls short, the one that is named does not."""
    part = gm.Part(
        face="plane", rigid=True, mass=1.0, com=[0.012, 0.0, 0.02], inertia=[3e-3, 7e-3, 1e-2, 0, 0, 0], outline=PLATE
    )
    pad = gm.Pad.rectangle("pad", even_film(6e4, shear_stiffness=2e6), [0.05, 0.05])
    job = replace(
        lifted(smooth, slide, (pad,), part), trajectory=smooth(length=0.3, duration=0.35), targets=gm.Targets(hold=1.5)
    )
    case = work_out(job)
    demands = Demands.of(case)
    found = better_grasp(case, demands)
    assert found.area_factor is not None
    assert "swing does not pass" in found.text[-1]
    assert gm.check_job(resized(job, np.sqrt(found.area_factor))).passed
    by_margins = found.area_factor * 0.8
    assert not gm.check_job(resized(job, np.sqrt(by_margins))).passed
    moved = gm.check_job(shifted_pads(job, *found.shift))
    assert moved.passed == ("still short" not in found.text[1])
    assert found.shift != (0.0, 0.0)


def test_a_shift_that_another_check_forbids_is_not_advised(smooth, slide, even_film, monkeypatch):
    """The margins ask for it; the whole check has the last word."""
    part = gm.Part(
        face="plane", rigid=True, mass=1.0, com=[0.03, -0.02, 0.003], inertia=[3e-3, 7e-3, 1e-2, 0, 0, 0], outline=PLATE
    )
    job = lifted(smooth, slide, (gm.Pad.rectangle("pad", even_film(6e4), [0.05, 0.05]),), part)
    case = work_out(job)
    real = grasp.judged

    def strict(changed, **more):
        found = real(changed, **more)
        if changed.part is job.part:
            return found
        worse = tuple(replace(r, check="release", verdict=Verdict.FAIL) for r in found.report.checks[:1])
        return replace(found, report=replace(found.report, checks=worse))

    monkeypatch.setattr(grasp, "judged", strict)
    assert better_grasp(case, Demands.of(case)).shift == (0.0, 0.0)
