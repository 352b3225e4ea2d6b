"""A plate on pads against closed forms, published figures, and finite elements of others."""

import numpy as np
import pytest
import shapely
from scipy.linalg import eigh

import gripmargin as gm
from gripmargin.base.errors import BudgetError
from gripmargin.contact import plate_grid
from gripmargin.contact.backing import Backing
from gripmargin.contact.bonded import Bonded
from gripmargin.contact.cells import cut_pads
from gripmargin.contact.grip import MISSED, grip_of
from gripmargin.contact.sheet import Model, Sheet, contact_of
from gripmargin.kernels.face import Face
from gripmargin.kernels.utilisation import largest_utilisation, points_needed

STIFFNESS, SHEAR = 1.2e8, 4e7
FILM = gm.PadMaterial(pull_off_stress=75e3, shear_strength=65e3, normal_stiffness=STIFFNESS, shear_stiffness=SHEAR)
ALUMINIUM = {"density": 2700.0, "youngs_modulus": 70e9, "poissons_ratio": 0.33}
BOX = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) / 2


def plate(outline, thickness, density, **more):
    mass = density * shapely.Polygon(outline).area * thickness
    com, inertia = gm.uniform_plate(mass, outline, thickness)
    return gm.Part(mass=mass, com=com, inertia=inertia, outline=outline, thickness=thickness, **more)


def aluminium(side, turned=0.0):
    return plate(side * BOX, 0.0005, **ALUMINIUM).placed(gm.pose((0, 0, 0), (0, 0, turned)))


def on(part, *pads):
    return Sheet.on(Backing(cut_pads(pads, part)), part)


def square(side, at=(0.0, 0.0), turned=0.0, material=FILM):
    return gm.Pad.rectangle(f"{at}", material, [side, side], gm.pose((*at, 0), (0, 0, turned)))


def hanging(sheet, *places):
    """Normal traction at places of the first pad, for the weight of the part [Pa]."""
    weight = np.array([0, 0, sheet.part.mass * 9.80665, 0, 0, 0])
    at = np.array([(*place, 0.0) for place in places])
    return sheet.traction_maps(sheet.backing.patches[0], at)[0, 2] @ weight


class TestCorner:
    """0.5 mm of aluminium, 200 x 200 mm, on a pad of 50 x 50 mm in its middle.

    Conforming rectangles of Bogner, Fox & Schmit with 9,604 unknowns give 2243.064 Pa at the corner and 691.892 Pa at
    the middle of an edge; Morley's triangles, which do not conform, with 66,049 unknowns 2243.52 and 691.87 (both by
    scikit-fem 12.0.2).
    """

    def test_along_the_grid(self):
        corner, edge = hanging(on(aluminium(0.2), square(0.05)), (0.025, 0.025), (0.025, 0.0))
        assert corner == pytest.approx(2243.064, rel=5e-4)
        assert edge == pytest.approx(691.892, rel=2e-3)

    def test_across_the_grid(self):
        """The same turned by half a radian: outline and pad cut the cells."""
        c, s = np.cos(0.5), np.sin(0.5)
        turned = on(aluminium(0.2, 0.5), square(0.05, turned=0.5))
        corner, edge = hanging(turned, (0.025 * (c - s), 0.025 * (c + s)), (0.025 * c, 0.025 * s))
        assert corner == pytest.approx(2243.064, rel=5e-4)
        assert edge == pytest.approx(691.892, rel=2e-3)

    def test_a_finer_grid_changes_little_under_a_disc(self, monkeypatch):
        disc = gm.Pad.disc("disc", FILM, 0.05)
        coarse = hanging(on(aluminium(0.2), disc), (0.025, 0.0))
        monkeypatch.setattr(plate_grid, "FINE", plate_grid.FINE / 2)
        assert coarse == pytest.approx(hanging(on(aluminium(0.2), disc), (0.025, 0.0)), rel=1e-3)


def strip(length, overhang, thickness=0.0005, modulus=70e9, stiffness=6e7):
    """A narrow strip without lateral contraction on a long pad, wide as the strip."""
    material = gm.PadMaterial(
        pull_off_stress=75e3, shear_strength=65e3, normal_stiffness=stiffness, shear_stiffness=2e7
    )
    half, width = length / 2 + overhang, 0.01
    outline = np.array([[-half, -width / 2], [half, -width / 2], [half, width / 2], [-half, width / 2]])
    part = plate(outline, thickness, 2700.0, youngs_modulus=modulus, poissons_ratio=0.0)
    return on(part, gm.Pad.rectangle("pad", material, [length, width]))


@pytest.mark.parametrize("overhang", [0.01, 0.05])
def test_edge_of_a_long_pad_under_a_strip(overhang):
    """Beyond the even load q the edge has ``2 beta q a (1 + beta a / 2)`` (Hetenyi 1946, from memory)."""
    found = strip(0.2, overhang)
    q = 2700.0 * 0.0005 * 9.80665
    beta = (6e7 / 4 / (70e9 * 0.0005**3 / 12)) ** 0.25
    due = q + 2 * beta * q * overhang * (1 + beta * overhang / 2)
    assert hanging(found, (0.1, 0.0), (0.1, 0.005)) == pytest.approx(due, rel=2e-3)


@pytest.mark.parametrize("axis", [0.0, np.pi / 2])
def test_edge_of_a_strip_cut_either_way(axis):
    """As above, with the stiffness of the direction that it was cut along: its own twist does not matter."""
    along, across, overhang = 7e-4, 2e-4, 0.03
    outline = np.array([[-0.08, -0.005], [0.08, -0.005], [0.08, 0.005], [-0.08, 0.005]])
    stiff = {"bending_stiffness": [along, across], "poissons_ratio": 0.0, "stiffness_axis": axis}
    found = on(plate(outline, 1e-4, 800.0, **stiff), gm.Pad.rectangle("pad", FILM, [0.1, 0.01]))
    q = 0.08 * 9.80665
    beta = (STIFFNESS / 4 / (along if axis == 0.0 else across)) ** 0.25
    due = q + 2 * beta * q * overhang * (1 + beta * overhang / 2)
    for maps in found.bent:
        assert found.model.traction(found.backing.patches[0], np.array([[0.05, 0.0, 0.0]]), maps)[2] @ [
            0,
            0,
            found.part.mass * 9.80665,
            0,
            0,
            0,
        ] == pytest.approx(due, rel=3e-3)


def test_a_board_whose_twist_is_not_known_counts_with_what_may_be():
    """Between a tenth and 1.5 times Huber's twisting stiffness the pad's corner is used no more than at both ends."""
    given = {"bending_stiffness": [8.2, 5.0], "poissons_ratio": 0.2}
    huber = np.sqrt(8.2 * 5.0) / 2 / 1.2
    weight = np.array([[0, 0, 1.0, 0.0, 0, 0], [0, 0, 1, 0.05, 0, 0], [0, 0, 1, 0, 0.05, 0], [0, 0, 1, 0.05, 0.05, 0]])

    def corners(**twist):
        sheet = on(plate(BOX * [0.24, 0.16], 0.0016, 1900.0, **given, **twist), square(0.04))
        return (sheet.traction_maps(sheet.backing.patches[0], sheet.backing.patches[0].edge)[:, 2] @ weight.T).max(
            axis=(0, 1)
        )

    unknown = corners()
    for share in (0.1, 0.3, 1.0, 1.5):
        found = corners(twisting_stiffness=share * huber)
        assert (found <= unknown * (1 + 1e-9)).all()
        assert (found > 0.85 * unknown).all()


def test_the_constant_of_a_ribbon():
    """An end force P per width alone: edge stress ``2 beta P``, so ``P / p0 = 0.3799 (E t^3 y0 / E1)^(1/4)``.

    Bikerman, J. Appl. Phys. 28:1484, 1957, abstract: 0.3799, for k = E1 / y0. Of a strip on a long pad, what the load
    of a short overhang far from its edge adds is that of a force once its lever is short.
    """
    overhang, q = 1e-4, 2700.0 * 0.0005 * 9.80665
    edge = hanging(strip(0.2, overhang), (0.1, 0.0))[0] - q
    assert q * overhang / edge / (70e9 * 0.0005**3 / 6e7) ** 0.25 == pytest.approx(0.3799, rel=1e-2)


def test_short_pads_are_not_long_ones():
    """By beam finite elements 1 N and 0.02 N m ask 6322 Pa of the edge of a pad of 200 mm, 6301 Pa of one of 50 mm.

    Here as a ratio; the overhang has that force and moment.
    """
    q, overhang = 2700.0 * 0.0005 * 9.80665, 0.04  # P = q a, M = q a^2 / 2: M / P is 20 mm
    long, short = (hanging(strip(length, overhang), (length / 2, 0.0))[0] - q for length in (0.2, 0.05))
    assert short / long == pytest.approx(6300.911 / 6322.308, rel=1e-3)


def test_tractions_of_a_plate_balance_its_load():
    part = plate(np.array([[-0.1, -0.08], [0.12, -0.08], [0.12, 0.02], [0.03, 0.09], [-0.1, 0.05]]), 0.001, **ALUMINIUM)
    sheet = on(part, square(0.03, (0.06, -0.03)), gm.Pad.disc("disc", FILM, 0.04, gm.pose((-0.05, 0.0, 0))))
    model = sheet.model
    assert model.rigid.T @ model.springs @ sheet.bent[0] == pytest.approx(np.eye(6), abs=1e-9)
    load = np.array([3.0, -2.0, 5.0, 0.2, -0.1, 0.3])
    carried = np.zeros(6)
    for patch in sheet.backing.patches:
        wrench = sheet.pad_wrench(patch, load)
        force, moment = patch.rotation @ wrench[:3], patch.rotation @ wrench[3:]
        carried += np.concatenate([force, moment + np.cross(patch.centre, force)])
    assert carried == pytest.approx(load, rel=2e-3, abs=2e-3)


def test_a_stiff_plate_has_the_tractions_of_a_rigid_part():
    part = plate(0.2 * BOX * [1, 0.5], 0.03, 2500.0, youngs_modulus=1e15, poissons_ratio=0.2)
    sheet = on(part, square(0.02, (0.06, 0.03)), square(0.02, (-0.05, 0.01), 0.3))
    for patch in sheet.backing.patches:
        rigid = sheet.backing.traction_maps(patch, patch.points)
        apart = np.abs(sheet.traction_maps(patch, patch.points)[0] - rigid).max(axis=(0, 1))
        assert (apart < 1e-7 * np.abs(rigid).max(axis=(0, 1))).all()


def test_stress_falls_with_thickness_to_that_of_a_rigid_part():
    found = [
        hanging(on(plate(0.2 * BOX, t, **ALUMINIUM), square(0.05)), (0.025, 0.025))[0] / t
        for t in (5e-4, 2e-3, 8e-3, 3e-2)
    ]
    assert (np.diff(found) < 0).all()
    assert found[-1] == pytest.approx(2700.0 * 9.80665 * 16, rel=3e-3)  # over 16 times the pad's area


def test_places_that_are_judged_stand_for_all():
    """Of a sheet of paper, which bends within millimetres, on two kinds of pad."""
    paper = plate(
        np.array([[-0.06, -0.02], [0.06, -0.02], [0.06, 0.02], [-0.06, 0.02]]), 1e-4, 800.0, youngs_modulus=5e9
    )
    sheet = on(paper, square(0.02, (-0.04, 0.0)), gm.Pad.disc("disc", FILM, 0.02, gm.pose((0.04, 0.0, 0))))
    grip = grip_of(Bonded(whole=sheet.backing, full=((75e3, 65e3),) * 2, part=paper), np.zeros((6, 0)))
    held = np.array([65e3, 65e3, 75e3])[:, None, None]
    every = [maps / held for p in sheet.backing.patches for maps in sheet.traction_maps(p, sheet.places(p))]
    every = Face(np.concatenate(every, axis=1))
    assert grip.face.points < every.points / 5
    assert grip.asked < 1.03
    assert (set(grip.pull), set(grip.shear)) == ({75e3}, {65e3})
    random = np.random.default_rng(3).normal(size=(6, 500)) * np.array([0.1, 0.1, 0.1, 0.01, 0.01, 0.01])[:, None]
    for pull in (0.0, 1.0, -1.0):  # pressed, where hardly anything is used, too
        load = random + pull * np.eye(6)[:, [2]]
        ratio = largest_utilisation(grip.face, load) / largest_utilisation(every, load)
        assert ratio.min() >= 1.0
        assert ratio.max() < grip.asked * (1 + 1e-9)


def test_loads_that_hardly_use_a_sheet_use_no_other_places_much_more():
    """Drawn back from the most used place until many are used alike; with half as many steps 3 % are missed."""
    soft = gm.PadMaterial(pull_off_stress=75e3, shear_strength=75e3, normal_stiffness=6e7, shear_stiffness=2e7)
    outline = np.array([[-0.06, -0.03], [0.06, -0.03], [0.06, 0.03], [-0.06, 0.03]])
    paper = plate(outline, 2e-4, 800.0, youngs_modulus=5e9, poissons_ratio=0.3)
    sheet = on(paper, *(square(0.02, (x, 0.0), material=soft) for x in (-0.03, 0.03)))
    places = [maps for p in sheet.backing.patches for maps in sheet.traction_maps(p, sheet.places(p)) / 75e3]
    every = Face(np.concatenate(places, axis=1))
    few, missed = points_needed(every, 1e-3)
    scale = np.linalg.norm(every.maps, axis=(0, 1))[:, None]
    load = np.random.default_rng(7).normal(size=(6, 2000)) / scale
    for _ in range(12):
        pulled = every.maps @ load
        pulled[2] = np.maximum(pulled[2], 0.0)
        k = np.square(pulled).sum(axis=0).argmax(axis=0), np.arange(2000)
        slope = np.einsum("cki,ck->ik", every.maps[:, k[0]], pulled[:, *k]) / scale
        load = load - 0.5 * np.square(pulled[:, *k]).sum(axis=0) / np.square(slope).sum(axis=0) * slope / scale
    more = largest_utilisation(every, load) / largest_utilisation(every.only(few), load) - 1.0
    assert 0.0 < more.max() < missed <= 0.01


@pytest.mark.parametrize("width", [0.0005, 0.001])
def test_between_places_of_the_rim_a_sheet_asks_for_little_more(width):
    """A tongue as narrow as that hangs out half a millimetre beside a pad: the largest use is at its root alone."""
    half, w = 0.02, width
    outline = [[-half, -half], [half, -half], [half, -w], [0.05, -w], [0.05, w], [half, w], [half, half], [-half, half]]
    soft = gm.PadMaterial(pull_off_stress=75e3, shear_strength=75e3, normal_stiffness=6e7, shear_stiffness=2e7)
    part = plate(np.array(outline), 5e-4, 800.0, youngs_modulus=5e9, poissons_ratio=0.3)
    sheet, load = on(part, square(0.0395, material=soft)), np.array([0.0, 0.0, 1.0, 0.0, -part.com[0], 0.0])
    (patch,) = sheet.backing.patches
    looked, most = (
        float((sheet.traction_maps(patch, at)[0, 2] @ load).max())
        for at in (sheet.places(patch), sheet.rim(patch, 0.03))
    )
    assert 1.0 + MISSED / 2.0 < most / looked < 1.0 + MISSED


def test_contact_is_where_pad_and_part_overlap():
    part = plate(0.1 * BOX, 0.001, **ALUMINIUM)
    (patch,) = cut_pads([square(0.04, (0.045, 0.0))], part)
    assert contact_of(patch, part).bounds == pytest.approx((0.025, -0.02, 0.05, 0.02))
    assert contact_of(patch, part).area == pytest.approx(patch.area)


def test_flaps_of_a_strip_beside_its_pad():
    """Strip of aluminium, 50 mm beyond a long pad on either side: 104.795 Hz.

    That is the first root of the beam's characteristic equation: a free end, and at the pad's edge deflection, slope,
    moment and shear of a beam that fades on its foundation, ``k - m w^2`` per area (Hetenyi, from memory). A clamped
    one has ``0.5595979 / a^2 sqrt(D / m)`` = 155.3 Hz.
    """
    outline = np.array([[-0.15, -0.005], [0.15, -0.005], [0.15, 0.005], [-0.15, 0.005]])
    part = plate(outline, 0.0005, 2700.0, youngs_modulus=70e9, poissons_ratio=0.0)
    long = on(part, gm.Pad.rectangle("pad", FILM, [0.2, 0.01]))
    stiffness, mass = long.model.stiffness(long.model.rigidities[0]).toarray(), long.model.mass.toarray()
    slowest = np.sqrt(eigh(stiffness, mass, eigvals_only=True, subset_by_index=[0, 1])) / (2 * np.pi)
    assert slowest == pytest.approx([104.795, 104.795], rel=5e-4)


def test_free_square_plate_vibrates_as_published():
    """A free square plate, nu 0.3, has ``w a^2 sqrt(m / D)`` = 13.468, 19.596, 24.270; its pad is too soft to matter.

    Hurlebaus, Gaul & Wang, J. Sound Vib. 244(5), 2001 (from memory). Leissa's older 13.49, 19.79, 24.43 (Vibration of
    Plates, NASA SP-160, 1969, from memory) are upper bounds.
    """
    soft = gm.PadMaterial(pull_off_stress=1e3, shear_strength=1e3, normal_stiffness=1.0, shear_stiffness=1.0)
    part = plate(0.2 * BOX, 0.0005, 2700.0, youngs_modulus=70e9, poissons_ratio=0.3)
    model = Model.of(Backing(cut_pads([square(0.05, material=soft)], part)), part)
    found = eigh(
        model.stiffness(model.rigidities[0]).toarray(), model.mass.toarray(), eigvals_only=True, subset_by_index=[0, 9]
    )
    scale = 0.04 * np.sqrt(2700.0 * 0.0005 / (70e9 * 0.0005**3 / 12 / 0.91))
    bending = scale * np.sqrt(found[found > 1e3])
    assert bending[:3] == pytest.approx([13.468, 19.596, 24.270], rel=5e-4)


@pytest.mark.parametrize(("times", "share"), [(1.0, 0.01377), (3.0, 0.1240)])
def test_stretching_grows_with_the_square_of_the_load(times, share):
    """Against own runs of von Karman's equations, which spare the corner 2 and 12 % at 1 and 3 times the weight.

    The energy of stretching is that of Airy's function for the curvature of Gauss, of this sheet 0.06 of that of
    bending where it droops by its thickness.
    """
    sheet = on(aluminium(0.2), square(0.05))
    load = times * np.array([0, 0, sheet.part.mass * 9.80665, 0, 0, 0])
    assert sheet.stretched(load) == pytest.approx(share, rel=5e-3)


def test_a_strip_that_bends_one_way_is_not_stretched():
    found = strip(0.02, 0.1)
    load = np.array([0, 0, found.part.mass * 9.80665, 0, 0, 0])
    assert found.droop(load) > 1e-4
    assert found.stretched(load) < 1e-3


def test_droop_of_a_strip():
    """A long one clamped by its pad: ``q a^4 / 8 D``, and what the slope at the edge adds (Hetenyi, from memory)."""
    found, overhang = strip(0.2, 0.05), 0.05
    q, rigidity = 2700.0 * 0.0005 * 9.80665, 70e9 * 0.0005**3 / 12
    beta = (6e7 / 4 / rigidity) ** 0.25
    force, moment = q * overhang, q * overhang**2 / 2
    slope = 2 * beta**2 * (force + 2 * beta * moment) / 6e7
    load = np.array([0, 0, found.part.mass * 9.80665, 0, 0, 0])
    due = q * overhang**4 / 8 / rigidity + slope * overhang
    assert found.droop(load) == pytest.approx(due, rel=2e-2)


def test_what_is_too_thin_is_refused():
    foil = plate(0.3 * BOX, 2e-6, **ALUMINIUM)
    with pytest.raises(BudgetError, match="a plate so thin on its pads"):
        on(foil, *(square(0.04, (x, y)) for x in (-0.1, 0.0, 0.1) for y in (-0.1, 0.0, 0.1)))
