"""Slips of figures that make a part light, the air thin or a pad hold by a touch: on both sides of every bound."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks import likely
from gripmargin.checks.case import work_out

FILM = {"pull_off_stress": 5e4, "shear_strength": 5e4, "normal_stiffness": 1e8, "shear_stiffness": 3.3e7}


@pytest.fixture(scope="module")
def good():
    """A glass plate of 100 x 100 x 4 mm on two pads, lifted straight up by exact rates."""
    t = np.linspace(0.0, 0.4, 41)
    s = t / 0.4
    law = 10 * s**3 - 15 * s**4 + 6 * s**5, 30 * s**2 * (1 - s) ** 2 / 0.4, 60 * s * (1 - s) * (1 - 2 * s) / 0.4**2
    q, qd, qdd = (0.1 * row[:, None] for row in law)
    slide = gm.chain_from_axes([np.eye(4)], [(0, 0, 1)], [False], gm.pose(rpy=(np.pi, 0, 0)))
    film = gm.PadMaterial(**FILM, full_preload=1e4)
    pads = tuple(gm.Pad.rectangle(f"{x}", film, [0.03, 0.03], gm.pose((x, 0, 0))) for x in (-0.03, 0.03))
    inertia = 0.1 * np.array([0.1**2 / 12, 0.1**2 / 12, 0.1**2 / 6, 0, 0, 0])
    return gm.Job(
        name="lift",
        trajectory=gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd),
        robot=slide,
        gripper=gm.Gripper(pads=pads),
        part=gm.Part(
            mass=0.1,
            com=[0, 0, 0.002],
            inertia=inertia,
            outline=[[-0.05, -0.05], [0.05, -0.05], [0.05, 0.05], [-0.05, 0.05]],
            thickness=0.004,
            face="plane",
            rigid=True,
        ),
    )


def films(job, **figures):
    """The job with other figures of its pads' material."""
    pads = tuple(replace(pad, material=replace(pad.material, **figures)) for pad in job.gripper.pads)
    return replace(job, gripper=replace(job.gripper, pads=pads))


def wide(job, x):
    """The job with one square pad of so wide [m] in the middle of the part of 0.1 m."""
    film = job.gripper.pads[0].material
    return replace(job, gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [x, x]),)))


def lump(job, radius):
    """The job with a part of no outline, of a radius of gyration [m], on pads of 90 x 30 mm."""
    inertia = job.part.mass * radius**2 * np.array([1, 1, 1, 0, 0, 0])
    return replace(job, part=replace(job.part, outline=None, thickness=None, inertia=inertia))


def long(job, radius):
    """The job with a part on its outline, of a radius of gyration [m]."""
    inertia = job.part.mass * radius**2 * np.array([1, 1, 1, 0, 0, 0])
    return replace(job, part=replace(job.part, inertia=inertia))


def downward(job, size):
    """The job with another gravity [m/s^2]."""
    return replace(job, gravity=[0.0, 0.0, -size])


# The least and the largest gravity on the earth, 9.7639 and 9.8337 m/s^2 (Hirt et al., Geophys. Res. Lett. 40:4279,
# 2013); the standard atmosphere, 1.225 kg/m^3 on the ground and 0.364 at 11 km (ISO 2533:1975); both from memory.
BORDERS = [  # the code, what is changed, what it lets go, what it names
    ("gravity", downward, (0.0, 9.7639, 9.80665, 9.8337, 10.0), (9.80665e-3, 0.98, 9.7, 10.1, 29.0)),
    ("air_density", lambda job, x: replace(job, air_density=x), (0.0, 0.364, 1.225), (1.225e-3, 0.29)),
    ("pad_material", lambda job, x: films(job, full_preload=x), (10.1, 9.9e6), (1.5, 9.9, 1.01e7)),
    ("pad_places", wide, (0.09, 0.446), (0.448, 3.0)),  # sqrt(20) times as wide is 20 times the area
    ("inertia", lump, (0.0021, 0.05, 2.9), (0.0018, 5e-5, 3.1)),  # 0.02 times sqrt(90^2 + 30^2) mm are 1.90 mm
    ("inertia", long, (2.8,), (2.86,)),  # 20 times the diagonal of 100 x 100 mm are 2.83 m
]


@pytest.mark.parametrize(("code", "change", "right", "wrong"), BORDERS, ids=lambda x: x if isinstance(x, str) else "")
def test_figures_on_both_sides_of_their_bounds(good, code, change, right, wrong):
    for value in right:
        assert likely.found(work_out(change(good, value))) == {}, value
    for value in wrong:
        assert list(likely.found(work_out(change(good, value)))) == [code], value


def test_gravity_in_a_wrong_unit_passes_only_where_it_is_accepted(good):
    """9.80665 mm/s^2 that were meant as m/s^2: the part weighs a thousandth."""
    slip = downward(good, 9.80665e-3)
    report = gm.check_job(slip)
    assert {check.verdict for check in report.checks} == {gm.Verdict.UNDECIDED}
    assert report.causes[0].text == (
        "job.gravity is 0.00981 m/s^2, and on earth it is 9.76 to 9.84 m/s^2: check it, and its unit; if it is meant, "
        'job.accept = ["gravity"]'
    )
    assert gm.check_job(replace(slip, accept=("gravity",))).passed
