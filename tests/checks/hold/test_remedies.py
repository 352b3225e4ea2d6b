"""Changes of the pads that a carry which falls short is advised to make."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from support.handed import Handed, plate_job


def test_pads_of_which_one_is_hardly_bonded():
    """One pad stands 0.08 mm back: which of both a margin counts on changes with their size."""
    job = Handed(plate_job(full_preload=4.05e4, apart=0.08)).made(press=1.51e-4, tilt=3e-4, kind="torsion", travel=0.2)
    first, second = job.gripper.pads
    second = replace(second, pose_in_tool=gm.pose((0.04, 0.0, -8e-5)))
    report = gm.check_job(
        replace(
            job,
            nest=None,
            phases=job.phases[:2],
            gripper=gm.Gripper(pads=(first, second)),
            part=replace(job.part, com=[-0.0205, 0.0, 0.004]),
            targets=gm.Targets(hold=6.6, swing=0.01),
            accept=("never_released", "unnamed_moves"),
        )
    )
    assert next(check for check in report.checks if check.check == "hold").verdict == "fail"
    assert any(remedy.shown for finding in report.findings for remedy in finding.remedies)


@pytest.mark.parametrize(("apart", "outline", "room"), [(0.075, 0.2, 1.5), (0.2, 0.055, 1.1), (0.2, 0.2, 3.0)])
def test_pads_grow_as_far_as_there_is_room(slide, even_film, apart, outline, room):
    """Squares of 50 mm: up to each other 75 mm apart, or up to the edge of a part 55 mm across; else three times.

    A weight of 1.2 times A S / 4 pulled straight off at target 4 asks for the root of 1.2 in length, of 2.1 for 1.45.
    """
    for weight, factor in ((1.2, np.sqrt(1.2)), (2.1, np.sqrt(2.1)), (4.0, 2.0)):
        pads = tuple(
            gm.Pad.rectangle(f"{x}", even_film(5e4), [0.05, 0.05], gm.pose((x, 0, 0))) for x in (-apart / 2, apart / 2)
        )
        half = apart / 2 + 0.1
        plate = [[-half, -outline / 2], [half, -outline / 2], [half, outline / 2], [-half, outline / 2]]
        mass = weight * 2 * 0.05**2 * 5e4 / 4.0 / 9.80665
        job = gm.Job(
            name="still",
            robot=slide(),
            trajectory=gm.JointTrajectory(t=[0.0, 0.5, 1.0], **dict.fromkeys(("q", "qd", "qdd"), np.zeros((3, 1)))),
            gripper=gm.Gripper(pads=pads),
            part=gm.Part(
                face="plane",
                rigid=True,
                mass=mass,
                com=[0, 0, 0],
                inertia=mass * np.array([1e-3, 1e-3, 2e-3, 0, 0, 0]),
                outline=plate,
            ),
            targets=gm.Targets(hold=4.0, swing=0.1),
        )
        report = gm.check_job(job)
        found = [r for f in report.findings if f.check == "hold" for r in f.remedies if r.action == "larger pads"]
        if factor > room:
            assert not found
        else:
            assert found[0].shown
            assert found[0].figures["factor"] == pytest.approx(factor, abs=0.011)
            assert found[0].figures["factor"] >= factor


def test_round_pads_are_advised_where_they_are_enough():
    """Finite elements of others have the corner of a square pad under a sheet 3.2 times as high as its edge's middle.

    A disc of the same area has no corner: it holds the sheet with the margin that its edge allows.
    """
    film = gm.PadMaterial(pull_off_stress=75e3, shear_strength=65e3, normal_stiffness=1.2e8, shear_stiffness=4e7)
    outline = np.array([[-0.1, -0.1], [0.1, -0.1], [0.1, 0.1], [-0.1, 0.1]])
    mass = 2700.0 * 0.04 * 0.0005
    com, inertia = gm.uniform_plate(mass, outline, 0.0005)
    given = {"outline": outline, "thickness": 0.0005, "youngs_modulus": 70e9, "poissons_ratio": 0.33, "face": "plane"}
    t, down = np.linspace(0.0, 0.2, 41), np.broadcast_to(np.diag([1.0, -1.0, -1.0]), (41, 3, 3))
    job = gm.Job(
        name="sheet",
        trajectory=gm.PoseTrajectory(t=t, position=np.zeros((41, 3)), rotation=down),
        part=gm.Part(mass=mass, com=com, inertia=inertia, **given),
        gripper=gm.Gripper(pads=[gm.Pad.rectangle("pad", film, [0.05, 0.05])]),
        targets=gm.Targets(hold=45.0, swing=1.0),
    )
    report = gm.check_job(job, checks=["hold"])
    (finding,) = report.findings
    shown = [remedy.action for remedy in finding.remedies if remedy.shown]
    assert "round pads" in shown
    disc = replace(job, gripper=gm.Gripper(pads=[gm.Pad.disc("pad", film, 0.05 * 2 / np.sqrt(np.pi))]))
    assert gm.check_job(disc, checks=["hold"]).checks[0].low >= 45.0
