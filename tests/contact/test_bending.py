"""By how much bending raises the stress at the pads' edges, against a plate of finite elements and closed forms."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.linalg import eigh

import gripmargin as gm
from gripmargin.checks.swing.vibration import modes_of, modes_of_sheet
from gripmargin.contact.backing import Backing
from gripmargin.contact.bending import are_level, edge_stress_factor, overhang
from gripmargin.contact.cells import cut_pads
from gripmargin.contact.sheet import Sheet

STIFFNESS = 1.2e8
FILM = gm.PadMaterial(pull_off_stress=75e3, shear_strength=65e3, normal_stiffness=STIFFNESS, shear_stiffness=4e7)
ALUMINIUM, GLASS = (2700.0, 70e9, 0.33), (2500.0, 70e9, 0.22)


def plate(size, thickness, material, **more):
    density, modulus, ratio = material
    outline = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.asarray(size) / 2
    mass = density * size[0] * size[1] * thickness
    com, inertia = gm.uniform_plate(mass, outline, thickness)
    given = {"mass": mass, "com": com, "inertia": inertia, "outline": outline, "thickness": thickness}
    return gm.Part(**{**given, "youngs_modulus": modulus, "poissons_ratio": ratio, **more})


def squares(side, *centres):
    return tuple(
        gm.Pad.rectangle(f"pad {i}", FILM, [side, side], gm.pose((x, y, 0))) for i, (x, y) in enumerate(centres)
    )


def corners_at(x, y):
    return (x, y), (-x, y), (-x, -y), (x, -y)


def factor(part, pads):
    patches = cut_pads(pads, part)
    return edge_stress_factor(patches, [(75e3, 65e3)] * len(patches), part)


class Hermite:
    """Cubic beams side by side: integrals of products of their shapes and derivatives.

    Products of two such sets are the conforming rectangle of Bogner, Fox & Schmit, 1965 (from memory).
    """

    def __init__(self, nodes):
        self.nodes = nodes

    def integral(self, one, other, within=(-np.inf, np.inf)):
        """Of two derivatives, over the elements that lie within; ``other`` None: of place to the powers 0 and 1."""
        count = 2 * len(self.nodes)
        out = np.zeros((count, 2 if other is None else count))
        place, weight = np.polynomial.legendre.leggauss(5)
        for i, (a, b) in enumerate(pairwise(self.nodes)):
            if within[0] - 1e-9 < a and b < within[1] + 1e-9:
                s, h = (place + 1) / 2, b - a
                second = [s**0, a + s * h] if other is None else self.shapes(s, h, other)
                part = np.array([[(weight * f * g).sum() * h / 2 for g in second] for f in self.shapes(s, h, one)])
                rows = slice(2 * i, 2 * i + 4)
                out[rows, slice(0, 2) if other is None else rows] += part
        return out

    @staticmethod
    def shapes(s, h, derived):
        cubics = ([2, -3, 0, 1], [h, -2 * h, h, 0], [-2, 3, 0, 0], [h, -h, 0, 0])
        return [np.polyval(np.polyder(np.array(c, dtype=float), derived), s) / h**derived for c in cubics]


def finite_elements(part, pads, cells, side):
    """Beams along both sides and the stiffness of a plate with its backing."""
    half = part.outline.max(axis=0)
    grids = []
    for axis in (0, 1):
        marks = {-half[axis], half[axis]}
        for pad in pads:
            marks |= {pad.pose_in_tool[axis, 3] - side / 2, pad.pose_in_tool[axis, 3] + side / 2}
        marks = np.array(sorted(marks))
        steps = [max(2, round((b - a) / cells)) for a, b in pairwise(marks)]
        pieces = [np.linspace(a, b, n + 1)[:-1] for a, b, n in zip(marks[:-1], marks[1:], steps, strict=True)]
        grids.append(Hermite(np.append(np.concatenate(pieces), marks[-1])))
    x, y = grids
    ratio, rigidity = part.poissons_ratio, part.youngs_modulus * part.thickness**3 / 12 / (1 - part.poissons_ratio**2)
    mixed = np.kron(x.integral(2, 0), y.integral(0, 2))
    matrix = np.kron(x.integral(2, 2), y.integral(0, 0)) + np.kron(x.integral(0, 0), y.integral(2, 2))
    matrix += ratio * (mixed + mixed.T) + 2 * (1 - ratio) * np.kron(x.integral(1, 1), y.integral(1, 1))
    matrix *= rigidity
    for pad in pads:
        spans = [(pad.pose_in_tool[a, 3] - side / 2, pad.pose_in_tool[a, 3] + side / 2) for a in (0, 1)]
        matrix += STIFFNESS * np.kron(x.integral(0, 0, spans[0]), y.integral(0, 0, spans[1]))
    return x, y, matrix


def worst_ratio(part, pads, cells, side):
    """Stress at the pads' corners over that of a rigid plate, for the loads that pull and tilt, by finite elements."""
    half = part.outline.max(axis=0)
    x, y, matrix = finite_elements(part, pads, cells, side)
    fx, fy = x.integral(0, None), y.integral(0, None)
    loads = np.stack([np.kron(fx[:, i], fy[:, j]) for i, j in ((0, 0), (1, 0), (0, 1))], axis=1)
    deflection = np.linalg.solve(matrix, loads)
    corners = [pad.pose_in_tool[:2, 3] + side / 2 * np.array(c) for pad in pads for c in corners_at(1, 1)]
    index = [
        [int(np.argmin(np.abs(grid.nodes - c))) for grid, c in zip((x, y), corner, strict=True)] for corner in corners
    ]
    bent = STIFFNESS * np.array([deflection[2 * i * 2 * len(y.nodes) + 2 * j] for i, j in index])
    size, count = 2 * half, len(pads)
    place = np.array(corners)
    area, loaded = count * side**2, size.prod()
    second = [sum(side**4 / 12 + side**2 * pad.pose_in_tool[a, 3] ** 2 for pad in pads) for a in (0, 1)]
    rigid = np.stack(
        [np.full(len(place), loaded / area), *(loaded * size[a] ** 2 / 12 * place[:, a] / second[a] for a in (0, 1))],
        axis=1,
    )
    scale = np.abs(rigid).max(axis=0)
    mixtures = np.concatenate([np.eye(3), np.random.default_rng(1).normal(size=(400, 3))]) / scale
    return float((np.abs(bent @ mixtures.T).max(axis=0) / np.abs(rigid @ mixtures.T).max(axis=0)).max()), bent[0, 0]


@pytest.mark.parametrize(
    ("part", "pads", "cells", "side", "room"),
    [
        (plate((0.2, 0.2), 0.004, GLASS), squares(0.04, *corners_at(0.07, 0.07)), 0.01, 0.04, 1.25),
        (plate((0.2, 0.2), 0.004, GLASS), squares(0.05, *corners_at(0.05, 0.05)), 0.0125, 0.05, 1.45),
        (plate((0.18, 0.1), 0.003, GLASS), squares(0.02, *corners_at(0.07, 0.03)), 0.01, 0.02, 1.25),
        (plate((0.3, 0.2), 0.002, ALUMINIUM), squares(0.028, (0, 0)), 0.014, 0.028, 1.25),
        (plate((0.1, 0.1), 0.0005, ALUMINIUM), squares(0.05, (0, 0)), 0.00625, 0.05, 1.1),
        (plate((0.2, 0.2), 0.0005, ALUMINIUM), squares(0.05, (0, 0)), 0.0125, 0.05, 1.15),
    ],
)
def test_it_is_at_least_that_of_finite_elements_and_little_more(part, pads, cells, side, room):
    """For loads that pull and tilt; the rest is for loads along the face and for polynomials that are left out."""
    ratio, _ = worst_ratio(part, pads, cells, side)
    found = factor(part, pads)
    assert ratio <= found * (1 + 2e-4)
    assert found - 1.0 <= room * (ratio - 1.0)


def test_the_finite_elements_find_the_edge_of_a_strip():
    """Long strip, overhang a: its edge sinks by 2 beta q a (1 + beta a / 2) / k (Hetenyi, from memory)."""
    part = plate((0.4, 0.002), 0.001, (2500.0, 70e9, 0.0))
    pad = gm.Pad.rectangle("pad", FILM, [0.3, 0.002])
    nodes = np.concatenate(
        [np.linspace(-0.2, -0.15, 6)[:-1], np.linspace(-0.15, 0.15, 121), np.linspace(0.15, 0.2, 6)[1:]]
    )
    beam = Hermite(nodes)
    rigidity = part.youngs_modulus * part.thickness**3 / 12
    matrix = rigidity * beam.integral(2, 2) + STIFFNESS * beam.integral(0, 0, (-0.15, 0.15))
    deflection = np.linalg.solve(matrix, beam.integral(0, None)[:, 0])
    beta, a = (STIFFNESS / 4 / rigidity) ** 0.25, 0.05
    edge = deflection[2 * int(np.argmin(np.abs(nodes - 0.15)))] - 1.0 / STIFFNESS  # the even load on the pad
    assert edge == pytest.approx(2 * beta * a * (1 + beta * a / 2) / STIFFNESS, rel=2e-3)
    assert pad.outline.max() == 0.15


@pytest.mark.parametrize("height", [0.00125, 0.01])
def test_a_heavy_component_raises_the_corner_of_the_pad_next_to_it(height):
    """40 g, a sixth of the plate, in its corner: conforming finite elements with a force there have 2.48 times as much.

    How high it is does not matter while the part hangs still.
    """
    size, pads, at = (0.2, 0.2), squares(0.04, *corners_at(0.05, 0.05)), (0.09, 0.08)
    outline, mass = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * 0.1, 2500.0 * 0.04 * 0.0025 + 0.04
    load = gm.Component(mass=0.04, at=[*at, height])
    com, inertia = gm.uniform_plate(mass, outline, 0.0025, [load])
    bare = plate(size, 0.0025, GLASS)
    part = plate(size, 0.0025, GLASS, mass=mass, com=com, inertia=inertia, components=[load])
    x, y, matrix = finite_elements(bare, pads, 0.01, 0.04)
    even = np.kron(x.integral(0, None)[:, 0], y.integral(0, None)[:, 0]) * 2500.0 * 0.0025
    node = [int(np.argmin(np.abs(grid.nodes - c))) for grid, c in zip((x, y), (0.07, 0.07), strict=True)]
    point = [int(np.argmin(np.abs(grid.nodes - c))) for grid, c in zip((x, y), at, strict=True)]
    assert (x.nodes[point[0]], y.nodes[point[1]]) == pytest.approx(at)
    place = {name: 2 * i * 2 * len(y.nodes) + 2 * j for name, (i, j) in (("corner", node), ("load", point))}
    force = np.zeros(even.size)
    force[place["load"]] = 0.04
    due, bare_due = (9.80665 * STIFFNESS * np.linalg.solve(matrix, f)[place["corner"]] for f in (even + force, even))
    assert due / bare_due == pytest.approx(2.482, abs=1e-3)
    sheet = Sheet.on(Backing(cut_pads(pads, part)), part)
    weight = 9.80665 * mass * np.array([0, 0, 1, com[1], -com[0], 0])
    corner = sheet.traction_maps(sheet.backing.patches[0], np.array([[0.07, 0.07, 0.0]]))[0, 2] @ weight
    assert corner == pytest.approx(due, rel=2e-3)


def test_a_ratio_that_is_not_given_counts_as_the_worst():
    given = [plate((0.18, 0.1), 0.0016, (1900.0, 20e9, nu)) for nu in (0.0, 0.25, 0.5)]
    pads = squares(0.012, *corners_at(0.07, 0.03))
    open_ = plate((0.18, 0.1), 0.0016, (1900.0, 20e9, None))
    assert factor(open_, pads) == max(factor(part, pads) for part in given)


def test_a_thick_plate_gives_way_right_below_its_pad():
    """Middle and rim of a half-space under even pressure p: 2 p a / E and 4 p a / (pi E) (Johnson 1985, nu = 0)."""
    part = plate((0.05, 0.05), 0.05, (1200.0, 2e8, 0.0))
    radius = 0.05 / np.sqrt(np.pi)
    assert factor(part, squares(0.05, (0, 0))) - 1.0 == pytest.approx(
        STIFFNESS * radius * (2 - 4 / np.pi) / 2e8, rel=3e-2
    )


def test_a_part_without_a_modulus_may_bend_at_will():
    assert factor(plate((0.1, 0.1), 0.01, GLASS, youngs_modulus=None), squares(0.05, (0, 0))) == np.inf


def test_a_stiff_part_is_rigid_under_loads_of_every_kind():
    """With a modulus out of all bounds nothing is left but the balance of a rigid part, which the six loads keep."""
    thick = plate((0.2, 0.1), 0.03, (2500.0, 1e15, 0.2))
    assert factor(thick, squares(0.02, (0.06, 0.03), (-0.05, 0.01))) == pytest.approx(1.0, abs=2e-6)


@pytest.mark.parametrize(
    ("pose", "level"),
    [
        (gm.pose((0.01, 0, 0), (0, 0, 0.3)), True),
        (gm.pose((0, 0, 1e-6)), True),  # the last of three decimals of a millimetre
        (gm.pose((0, 0, 1e-4)), False),
        (gm.pose(rpy=(0.01, 0, 0)), False),
        (gm.pose(rpy=(np.pi, 0, 0)), False),
    ],
)
def test_pads_in_the_plane(pose, level):
    pads = (gm.Pad.rectangle("pad", FILM, [0.02, 0.02], pose),)
    assert are_level(cut_pads(pads, plate((0.2, 0.2), 0.004, GLASS))) is level


def test_overhang_is_that_of_the_furthest_corner():
    patches = cut_pads(squares(0.05, (0, 0)), plate((0.6, 0.6), 0.0005, ALUMINIUM))
    assert overhang(patches, np.array([[-0.3, -0.3], [0.3, -0.3], [0.3, 0.3]])) == pytest.approx(0.275 * np.sqrt(2))


@pytest.mark.parametrize(
    ("size", "thickness", "side", "centres"),
    [((0.2, 0.2), 0.004, 0.05, [(0, 0)]), ((0.2, 0.15), 0.003, 0.04, corners_at(0.05, 0.035))],
)
def test_a_plate_swings_as_slowly_as_one_of_finite_elements(size, thickness, side, centres):
    part, pads = plate(size, thickness, GLASS), squares(side, *centres)
    x, y, matrix = finite_elements(part, pads, 0.0125, side)
    mass = part.mass / np.prod(size) * np.kron(x.integral(0, 0), y.integral(0, 0))
    slowest = np.sqrt(eigh(matrix, mass, eigvals_only=True, subset_by_index=[0, 2]))
    backing = Backing(cut_pads(pads, part))
    (found,) = modes_of_sheet(Sheet.on(backing, part))
    rigid = modes_of(backing, part).frequency
    normal = [name[:4] in ("pull", "rock") for name in found.names]
    assert found.frequency[normal] == pytest.approx(slowest, rel=5e-3)
    assert (found.frequency[normal] / rigid[normal]).min() < 0.98


def test_a_stiff_plate_swings_as_a_rigid_one():
    part = plate((0.2, 0.1), 0.03, (2500.0, 1e15, 0.2))
    backing = Backing(cut_pads(squares(0.02, (0.06, 0.03), (-0.05, 0.01)), part))
    (bent,), rigid = modes_of_sheet(Sheet.on(backing, part)), modes_of(backing, part)
    assert bent.frequency == pytest.approx(rigid.frequency, rel=1e-8)
    assert np.abs(bent.loads) == pytest.approx(np.abs(rigid.loads), rel=1e-5, abs=1e-5)
    assert bent.damping == pytest.approx(rigid.damping)
