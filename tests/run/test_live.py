"""The meter against whole programs, closed forms and its own laws."""

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.contact.backing import Backing
from gripmargin.contact.cells import cut_pads
from gripmargin.contact.film import STRETCHED
from gripmargin.contact.sheet import Sheet
from gripmargin.workcell import STANDARD_GRAVITY


@pytest.fixture
def film():
    return gm.PadMaterial(pull_off_stress=60e3, shear_strength=50e3, normal_stiffness=1e8, shear_stiffness=3.3e7)


@pytest.fixture
def gripper(film):
    return gm.Gripper(
        pads=(
            gm.Pad.rectangle("left", film, [0.03, 0.02], gm.pose(xyz=[-0.05, 0.0, 0.0])),
            gm.Pad.disc("right", film, 0.024, gm.pose(xyz=[0.05, 0.01, 0.0])),
        )
    )


@pytest.fixture
def part():
    return gm.Part(
        face="plane",
        rigid=True,
        mass=0.6,
        com=[0.004, 0.0, 0.003],
        inertia=[1.5e-3, 2.5e-3, 4e-3, 0, 0, 0],
        surface_factor=0.8,
    )


def test_reads_what_the_check_of_a_whole_program_says(gripper, part):
    t = np.linspace(0.0, 0.8, 401)
    s = t / 0.8
    along = 10 * s**3 - 15 * s**4 + 6 * s**5
    samples = gm.check(
        trajectory=gm.PoseTrajectory(
            t=t,
            position=np.column_stack([0.3 * along, 0.1 * along, 0.2 * along]),
            rotation=np.broadcast_to(np.diag([1.0, -1.0, -1.0]), (401, 3, 3)),
        ),
        gripper=gripper,
        part=part,
    ).samples
    meter = gm.MarginMeter(gripper, part)
    np.testing.assert_allclose(meter.margins(samples.force, samples.moment), samples.hold_margin, rtol=1e-12)
    readings = [meter.read(f, m) for f, m in zip(samples.force, samples.moment, strict=True)]
    np.testing.assert_allclose([r.margin for r in readings], samples.hold_margin, rtol=1e-12)
    np.testing.assert_allclose([r.peel_index for r in readings], samples.peel_index, rtol=1e-12)


def test_a_centred_pull_is_force_over_area(film):
    """N/A: strength of materials, any text."""
    meter = gm.MarginMeter(
        gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [0.03, 0.02]),)),
        gm.Part(face="plane", rigid=True, mass=1.0, com=[0, 0, 0], inertia=[1e-3, 1e-3, 1e-3, 0, 0, 0]),
    )
    reading = meter.read([0, 0, STANDARD_GRAVITY], [0, 0, 0])
    assert reading.margin == pytest.approx(60e3 * 0.03 * 0.02 / STANDARD_GRAVITY)
    assert reading.pad == "pad"


def test_twice_the_load_is_half_the_margin(gripper, part):
    meter = gm.MarginMeter(gripper, part)
    once = meter.read([1.0, -2.0, 4.0], [0.01, 0.02, -0.03])
    twice = meter.read([2.0, -4.0, 8.0], [0.02, 0.04, -0.06])
    assert twice.margin == pytest.approx(once.margin / 2, rel=1e-12)
    assert twice.pad == once.pad
    assert np.array_equal(twice.point, once.point)


def test_no_load_and_pure_pressure_have_no_bound(gripper, part):
    meter = gm.MarginMeter(gripper, part)
    assert meter.read([0, 0, 0], [0, 0, 0]).margin == np.inf
    push = meter.read([0, 0, -5.0], np.cross([0.0, 0.005, 0.0], [0, 0, -5.0]))
    assert push.peel_index == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize("load", [([np.nan, 0, 0], [0, 0, 0]), ([0, 0, np.inf], [0, 0, 0]), ([0, 0], [0, 0, 0])])
def test_what_is_no_load_is_refused(gripper, part, load):
    with pytest.raises(gm.InputError):
        gm.MarginMeter(gripper, part).read(*load)
    with pytest.raises(gm.InputError):
        gm.MarginMeter(gripper, part).margins([load[0]], [load[1]])


def test_a_plate_that_bends_counts_its_edges(film):
    """The least margin of the whole check with the same plate, at rest: a pull alone, so that both see one load."""
    outline = [[-0.1, -0.1], [0.1, -0.1], [0.1, 0.1], [-0.1, 0.1]]
    pads = tuple(
        gm.Pad.rectangle(f"{x} {y}", film, [0.04, 0.04], gm.pose(xyz=[x, y, 0.0]))
        for x in (-0.07, 0.07)
        for y in (-0.07, 0.07)
    )
    com, inertia = gm.uniform_plate(0.4, outline, 0.004)
    given = {"mass": 0.4, "com": com, "inertia": inertia, "outline": outline, "thickness": 0.004, "face": "plane"}
    plate = gm.Part(**given, youngs_modulus=70e9, poissons_ratio=0.22)
    gripper = gm.Gripper(pads=pads)
    t = np.linspace(0.0, 0.2, 21)
    still = gm.PoseTrajectory(
        t=t, position=np.zeros((21, 3)), rotation=np.broadcast_to(np.diag([1.0, -1.0, -1.0]), (21, 3, 3))
    )
    report = gm.check(trajectory=still, gripper=gripper, part=plate)
    hold = next(check for check in report.checks if check.check == "hold")
    meter = gm.MarginMeter(gripper, plate)
    assert meter.margins(report.samples.force, report.samples.moment).min() == pytest.approx(hold.low, rel=1e-9)
    stated = gm.MarginMeter(gripper, gm.Part(**given, youngs_modulus=70e9, rigid=True))
    rigid = 60e3 * 4 * 0.04**2 / (0.4 * STANDARD_GRAVITY)  # N / A
    assert stated.margins(report.samples.force, report.samples.moment).min() == pytest.approx(rigid, rel=1e-9)
    assert hold.low < 0.9 * rigid


def test_a_sheet_that_is_stretched_as_well_as_bent_has_no_figure():
    """By the share of its energy that stretches it, as `Sheet.stretched` has it of single loads; paper on a pad."""
    outline = np.array([[-0.1, -0.07], [0.1, -0.07], [0.1, 0.07], [-0.1, 0.07]])
    com, inertia = gm.uniform_plate(2.24e-3, outline, 1e-4)
    paper = gm.Part(
        mass=2.24e-3, com=com, inertia=inertia, outline=outline, thickness=1e-4, youngs_modulus=3e9, face="plane"
    )
    soft = gm.PadMaterial(pull_off_stress=60e3, shear_strength=50e3, normal_stiffness=1e8, shear_stiffness=3.3e7)
    gripper = gm.Gripper(pads=(gm.Pad.rectangle("pad", soft, [0.03, 0.03]),))
    meter, sheet = gm.MarginMeter(gripper, paper), Sheet.on(Backing(cut_pads(gripper.pads, paper)), paper)
    load = np.array([0.0, 0.0, 1e-3, 1e-5, 2e-5, 0.0])
    edge = np.sqrt(STRETCHED / sheet.stretched(load))  # the share grows with the square of the load
    for factor, known in ((0.99 * edge, True), (1.01 * edge, False)):
        found = meter.read(factor * load[:3], factor * load[3:]).margin
        assert (found > 0.0) == known
        assert meter.margins(factor * load[None, :3], factor * load[None, 3:])[0] == found
