"""Where gravity alone is too much: by how much, and which tilt is enough."""

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.tuning.demands import Demands
from gripmargin.tuning.standing import standstill


def standing(tool_axis_up, film_, part):
    """A program that hardly moves, the tool's z axis level or down."""
    t = np.linspace(0, 1, 101)
    rotation = gm.pose(rpy=tool_axis_up)[:3, :3]
    return gm.Job(
        name="standing",
        trajectory=gm.PoseTrajectory(
            t=t, position=np.column_stack([0 * t, 0 * t, 1e-3 * t]), rotation=np.broadcast_to(rotation, (101, 3, 3))
        ),
        gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", film_, [0.05, 0.05]),)),
        part=part,
    )


@pytest.mark.parametrize("share", [0.51, 0.7, 0.95])
def test_least_tilt_of_a_part_held_sideways_is_in_closed_form(even_film, flat_part, share):
    # Level tool: all weight is shear. Leaned back by b the part lies on the pad: shear m g cos b, the rest presses.
    mass, area, target = 1.0, 0.05**2, 2.0
    strength = share * target * mass * 9.80665 / area
    job = standing((0.0, np.pi / 2, 0.0), even_film(strength, pull=1e3), flat_part(mass))
    tuning = gm.tune(job)
    assert tuning.verdict == "fail"
    assert tuning.override is None
    found = tuning.standstill
    assert found.margin == pytest.approx(share * target, rel=1e-6)
    assert np.degrees(found.tilt) == pytest.approx(np.ceil(np.degrees(np.arccos(share))))
    assert "tilt of the tool by" in found.text


def test_the_tilt_named_is_enough_and_a_little_less_is_not(even_film):
    part = gm.Part(face="plane", rigid=True, mass=1.0, com=[0.004, 0.002, 0.03], inertia=[1e-3, 1e-3, 2e-3, 0, 0, 0])
    job = standing((0.3, np.pi / 2, 0.1), even_film(1.2e4), part)
    found = gm.tune(job).standstill
    axis, level = np.array(found.tilt_axis), gm.pose(rpy=(0.3, np.pi / 2, 0.1))[:3, :3]
    from scipy.spatial.transform import Rotation

    margins = []
    for tilt in (found.tilt, found.tilt - np.deg2rad(2.0)):
        turned = level @ Rotation.from_rotvec(tilt * axis).as_matrix()
        t = job.trajectory.t
        moved = gm.PoseTrajectory(
            t=t, position=job.trajectory.position, rotation=np.broadcast_to(turned, (t.size, 3, 3))
        )
        case = work_out(gm.Job(name="tilted", trajectory=moved, gripper=job.gripper, part=part))
        margins.append(2.0 * Demands.of(case).standing_ratio()[0])
    assert margins[0] >= 2.0 - 1e-6
    assert margins[1] < 2.0


def test_no_tilt_helps_pads_that_are_far_too_small(even_film):
    part = gm.Part(face="plane", rigid=True, mass=50.0, com=[0.05, 0.0, 0.3], inertia=[1, 1, 1, 0, 0, 0])
    found = gm.tune(standing((0.0, np.pi / 2, 0.0), even_film(1e3), part)).standstill
    assert found.tilt is None
    assert found.best_margin < 2.0
    assert "no tilt" in found.text


def test_a_job_that_stands_has_none(even_film, flat_part):
    case = work_out(standing((np.pi, 0.0, 0.0), even_film(5e4), flat_part(0.2)))
    assert standstill(case, Demands.of(case)) is None
