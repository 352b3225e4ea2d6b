"""Pads with a bond that differs from place to place: the margin counts on cells that surely hold."""

import numpy as np
import pytest

from gripmargin.contact.backing import Backing
from gripmargin.contact.cells import cut_pads
from gripmargin.contact.effective import NOTHING, choices
from gripmargin.contact.limit import limit_factor
from gripmargin.kernels.utilisation import peak_utilisation
from gripmargin.workcell import Pad, PadMaterial, Part

S, T, SIDE = 60e3, 50e3, 0.04
FILM = PadMaterial(pull_off_stress=S, shear_strength=T, normal_stiffness=1e8, shear_stiffness=3e7)
PART = Part(mass=1.0, com=[0, 0, 0], inertia=1e-3 * np.eye(3))


@pytest.fixture(scope="module")
def whole():
    return Backing(cut_pads((Pad.rectangle("pad", FILM, [SIDE, SIDE]),), PART))


def best(whole, held, load):
    found = [
        (1 / peak_utilisation(c.backing.edge_maps(c.strengths)[0], load[:, None])[0][0], c)
        for c in choices(whole, [(S, T)], [held])
    ]
    return max(found, key=lambda pair: pair[0])


def test_full_bond_is_the_whole_pad(whole):
    (only,) = choices(whole, [(S, T)], None)
    assert (only.backing, only.level, only.share) == (whole, 1.0, 1.0)
    (same,) = choices(whole, [(S, T)], [np.ones(whole.patches[0].areas.size)])
    assert same.backing is whole


def test_half_a_pad_holds_as_a_pad_of_half_the_size(whole):
    # N/A + M y/I of the half that is left, about its own centre (strength of materials)
    held = (whole.patches[0].points[:, 0] > 0).astype(float)
    load = np.array([0, 0, 10.0, 0, 0, 0])
    margin, counted = best(whole, held, load)
    half = Backing(
        cut_pads(
            (Pad.polygon("half", FILM, [[0, -SIDE / 2], [SIDE / 2, -SIDE / 2], [SIDE / 2, SIDE / 2], [0, SIDE / 2]]),),
            PART,
        )
    )
    expected = 1 / peak_utilisation(half.edge_maps([(S, T)])[0], load[:, None])[0][0]
    assert margin == pytest.approx(expected, rel=1e-9)
    assert counted.share == pytest.approx(0.5)
    # 10 N at 10 mm from the centre of an area of 8 cm^2: N/A + 6 N e/(b h^2) with e = h/2 ... = 4 N/A
    assert margin == pytest.approx(S / (4 * 10.0 / (SIDE * SIDE / 2)), rel=1e-9)


def test_a_hardly_pressed_rim_costs_its_area_not_the_whole_margin(whole):
    r = np.abs(whole.patches[0].points[:, :2]).max(axis=1)
    held = np.where(r > 0.0134, 0.01, 1.0)
    margin, counted = best(whole, held, np.array([0, 0, 10.0, 0, 0, 0]))
    assert counted.level == 1.0
    assert margin == pytest.approx(S * (8 / 12 * SIDE) ** 2 / 10.0, rel=1e-9)


def test_weak_everywhere_is_weak(whole):
    margin, counted = best(whole, np.full(whole.patches[0].areas.size, 0.25), np.array([0, 0, 10.0, 0, 0, 0]))
    assert counted.level == 0.25
    assert margin == pytest.approx(0.25 * S * SIDE**2 / 10.0, rel=1e-9)


def test_no_bond_holds_nothing(whole):
    (only,) = choices(whole, [(S, T)], [np.zeros(whole.patches[0].areas.size)])
    assert only.strengths == [(S * NOTHING, T * NOTHING)]


def test_a_pad_without_bond_is_gone(whole):
    two = Backing(cut_pads((Pad.rectangle("a", FILM, [SIDE, SIDE]), Pad.disc("b", FILM, 0.02)), PART))
    held = [np.ones(two.patches[0].areas.size), np.zeros(two.patches[1].areas.size)]
    for counted in choices(two, [(S, T)] * 2, held):
        assert [patch.pad.name for patch in counted.backing.patches] == ["a"]


@pytest.mark.parametrize("seed", range(8))
def test_no_choice_claims_more_than_the_limit_analysis_of_all_cells_allows(whole, seed):
    rng = np.random.default_rng(seed)
    slope = rng.normal(size=2) / SIDE
    held = np.clip(0.6 + whole.patches[0].points[:, :2] @ slope, 0.0, 1.0)
    load = np.concatenate([rng.normal(size=3), 0.02 * rng.normal(size=3)])
    margin, _ = best(whole, held, load)
    upper = limit_factor(whole, [(S * held + 1e-9, T * held + 1e-9)], load).upper
    assert margin <= upper * (1 + 1e-6)


def test_corners_of_the_triangles_are_found_again(whole):
    patch = whole.patches[0]
    corners = patch.corners
    assert np.abs(corners[:, :2]).max() == pytest.approx(SIDE / 2, rel=1e-12)
    a, b, c = corners.reshape(-1, 3, 3).transpose(1, 0, 2)
    area = np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2
    np.testing.assert_allclose(area, patch.areas.reshape(-1, 3).sum(axis=1), rtol=1e-9)
    assert patch.only(np.ones(patch.areas.size, dtype=bool)) is patch
    assert patch.only(np.zeros(patch.areas.size, dtype=bool)) is None
