"""How hard the pads press: only where every press that may be there was looked at does it pass."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.handover.pressure import PRESSURE, Peak
from gripmargin.checks.handover.release import RELEASE
from support.pushed import AREA, lowered, push

STIFFNESS, PRESSED, SEATED, TAKES = (
    1.2e8,
    1e-4,
    1e-5,
    5e3,
)  # [Pa/m], [m], [m], [Pa]: 12 kPa at the pick, 1.2 at the nest


def picked():
    """Pressed on by 0.1 mm, carried up and down, set down by 0.01 mm, twisted off by 30 degrees."""
    film = gm.PadMaterial(
        pull_off_stress=75e3, shear_strength=65e3, normal_stiffness=STIFFNESS, shear_stiffness=4e7, full_preload=1e4
    )
    places = {"touch": (0.01, -PRESSED), "carry": (-PRESSED, 0.02), "lower": (0.02, -SEATED)}
    z = [np.linspace(*way, 10) for way in places.values()] + [np.full(20, -SEATED), np.linspace(-SEATED, 0.02, 10)]
    turned = np.concatenate([np.zeros(30), np.linspace(0, np.deg2rad(30), 20), np.full(10, np.deg2rad(30))])
    z, x = np.concatenate(z), 0.15 * (1 - np.cos(np.pi * np.clip((np.arange(60) - 10) / 19, 0, 1)))
    return gm.Job(
        name="pressed",
        trajectory=gm.PoseTrajectory(
            t=0.02 * np.arange(60),
            position=np.column_stack([x, 0 * z, z]),
            rotation=Rotation.from_rotvec(np.outer(turned, [0, 0, 1])).as_matrix() @ np.diag([1.0, -1.0, -1.0]),
            moves=("touch",) * 10 + ("carry",) * 10 + ("lower",) * 10 + ("twist",) * 20 + ("leave",) * 10,
        ),
        gripper=gm.Gripper(pads=(gm.Pad.disc("pad", film, 0.024),)),
        part=gm.Part(
            face="plane", rigid=True, mass=0.02, com=[0, 0, 1e-3], inertia=1e-4 * np.eye(3), max_pressure=TAKES
        ),
        phases=(
            gm.Phase(kind="preload", moves=("touch",)),
            gm.Phase(kind="carry", moves=("carry", "lower")),
            gm.Phase(kind="release", moves=("twist", "leave")),
        ),
        pick=gm.Pick(face=gm.pose()),
        nest=gm.Nest(face=gm.pose((0.3, 0, 0)), hold_down=10, lateral_force=1e3, moment=1e3),
    )


def outcome(job):
    return PRESSURE.answer(work_out(job, trial=True))


def test_a_press_that_no_phase_names_is_not_passed_by_a_soft_release():
    """What the part takes lies between the two: with the press it fails, by the ratio 5 / 12."""
    job = picked()
    whole = outcome(job)
    assert whole.not_checked == ()
    (found,) = whole.results
    assert (found.verdict, found.details["during"]) == ("fail", "preload")
    assert found.value == pytest.approx(TAKES / STIFFNESS / PRESSED, rel=1e-6)
    (found,) = outcome(replace(job, phases=job.phases[1:])).results
    assert found.verdict == "undecided"
    assert "but no preload phase" in found.lines[0]
    weak = replace(job, phases=job.phases[1:], part=replace(job.part, max_pressure=0.5 * STIFFNESS * SEATED))
    assert outcome(weak).results[0].verdict == "fail"  # whatever the press that no phase names does
    assert (
        "or leave [pick] out: every pad then counts as fully pressed on, and the press is not checked" in found.lines[0]
    )


def test_without_a_tray_or_a_nest_the_other_one_passes_by_itself_and_the_report_says_so():
    job = replace(picked(), part=replace(picked().part, max_pressure=2e4), accept=("never_released",))
    for without, phases, name in (("pick", job.phases[1:], "preload"), ("nest", job.phases[:2], "release")):
        found = outcome(replace(job, phases=phases, **{without: None}))
        assert found.results[0].verdict == "pass"
        assert [item.check for item in found.not_checked] == [f"pressure in the {name}"]
    assert outcome(replace(job, phases=job.phases[:2])).results[0].verdict == "undecided"


def test_the_lower_of_two_limits_counts():
    """What the part takes, and what the face of the pads takes."""
    peak = Peak(
        pressure=1.0, surely=1.0, sample=0, pad=0, point=np.zeros(3), stiffness=1.0, usual=1.0,
        samples=np.arange(1), over_time=np.ones(1), during="process", buckles=4.0,
    )  # fmt: skip
    assert [peak.allowed(part) for part in (3.0, 5.0, None)] == [3.0, 4.0, 4.0]
    assert [replace(peak, buckles=None).allowed(part) for part in (3.0, None)] == [3.0, None]


def test_what_forces_surely_press_is_the_most_of_all_samples():
    """20 N less the weight on the pad at rest; from before it has come to after it has gone it is less."""
    job = lowered(push((0, 0, -20)), move=0.0, targets=gm.Targets(pressure=0.1))
    (found,) = outcome(replace(job, part=replace(job.part, max_pressure=1e4))).results
    assert found.high == pytest.approx(1e4 * AREA / (20.0 - 0.2 * 9.80665), rel=2e-3)


def test_a_release_that_falls_short_is_ranked_by_its_share_of_the_target():
    job = replace(
        picked(),
        targets=gm.Targets(release=2.0),
        nest=gm.Nest(face=gm.pose((0.3, 0, 0)), hold_down=0.01, moment=1e-4, lateral_force=0.01),
    )
    answer = RELEASE.answer(work_out(job, trial=True))
    (result,) = answer.results
    assert result.verdict == "fail"
    assert 0.0 < answer.findings[0].share == pytest.approx(result.value / 2.0)
