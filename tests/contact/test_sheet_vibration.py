"""Load-dependent Ritz vectors against all modes of the same plate."""

from functools import lru_cache

import numpy as np
import pytest
from scipy.linalg import eigh
from scipy.signal import lsim

import gripmargin as gm
from gripmargin.contact import sheet_vibration
from gripmargin.contact.backing import Backing
from gripmargin.contact.bonded import Bonded
from gripmargin.contact.cells import cut_pads
from gripmargin.contact.grip import grip_of
from gripmargin.contact.sheet import Sheet
from gripmargin.contact.sheet_vibration import left_out, shaken, vibrations

FILM = gm.PadMaterial(pull_off_stress=75e3, shear_strength=65e3, normal_stiffness=1.2e8, shear_stiffness=4e7)
BOX = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) / 2


@lru_cache
def board(thickness):
    """A board of glass fibre on two pads under its middle."""
    outline = BOX * [0.16, 0.1]
    mass = 1900.0 * 0.016 * thickness
    com, inertia = gm.uniform_plate(mass, outline, thickness)
    given = {"mass": mass, "com": com, "inertia": inertia, "outline": outline, "thickness": thickness}
    part = gm.Part(**given, youngs_modulus=20e9, poissons_ratio=0.2)
    pads = [gm.Pad.rectangle(f"{x}", FILM, [0.025, 0.025], gm.pose((x, 0, 0))) for x in (-0.04, 0.04)]
    return Sheet.on(Backing(cut_pads(pads, part)), part)


@lru_cache
def modes(thickness, count=80):
    """Squares of circular frequencies of the whole plate, and its modes."""
    model = board(thickness).model
    return eigh(model.stiffness(model.rigidities[0]).toarray(), model.mass.toarray(), subset_by_index=[0, count - 1])


def largest(sheet, frequency, ways, rise, t):
    """The largest tension on the first pad's edge under a load along the normal that rises in a time."""
    patch = sheet.backing.patches[0]
    pull = sheet.model.traction(patch, patch.edge, ways)[2] * (ways.T @ sheet.model.load[:, 2])
    w = frequency[:, None]
    late = np.maximum(t - rise, 0.0)
    return (pull @ ((t - late - (np.sin(w * t) - np.sin(w * late)) / w) / rise)).max()


@pytest.mark.parametrize("rise", [1e-4, 0.01, 0.05])
def test_eighteen_ways_of_bending_are_nearly_all(rise):
    sheet = board(0.0008)
    square, shapes = modes(0.0008)
    t = np.linspace(0.0, 0.5, 10_001)
    all_of_them = largest(sheet, np.sqrt(square), shapes / np.sqrt(square), rise, t)
    for blocks, within in ((1, 5e-2), (3, 2e-2)):
        assert largest(sheet, *vibrations(sheet, blocks), rise, t) == pytest.approx(all_of_them, rel=within)


def test_slowest_vibrations_are_those_of_all_modes():
    sheet = board(0.0008)
    square = modes(0.0008)[0][:4]
    found = vibrations(sheet, 3)[0][:4]
    assert found == pytest.approx(np.sqrt(square), rel=1e-3)
    assert (found >= np.sqrt(square) * (1 - 1e-9)).all()


def test_less_is_left_out_of_a_stiffer_board():
    pads = ((75e3, 65e3),) * 2
    found = []
    for thickness in (0.0008, 0.0016, 0.0032):
        sheet = board(thickness)
        grip = grip_of(Bonded(whole=sheet.backing, full=pads, part=sheet.part), np.zeros((6, 0)))
        found.append(left_out(sheet, grip))
    assert 1.02 < found[0] < 1.3
    assert found[2] < 1.01


@pytest.mark.parametrize(("hertz", "more"), [(None, True), (8.0, False)])
def test_a_plate_that_is_shaken_at_the_rate_of_a_flap_asks_for_what_all_its_modes_tell(hertz, more):
    """Against 30 modes of the whole plate, each followed by scipy's lsim, exact for loads that are straight."""
    sheet = board(0.0008)
    few, many = (vibrations(sheet, blocks)[0] for blocks in (1, 3))
    flap = next(w for w in many if np.abs(few / w - 1.0).min() > 0.05)  # the slowest that six ways do not have
    w = flap if hertz is None else 2 * np.pi * hertz
    t = np.arange(0.0, 1.0, 2 * np.pi / max(w, flap) / 24)
    load = np.zeros((6, t.size))
    load[2] = 1.0 + 0.2 * np.sin(w * t)
    grip = grip_of(Bonded(whole=sheet.backing, full=((75e3, 65e3),) * 2, part=sheet.part), np.zeros((6, 0)))
    found = shaken(sheet, grip, t, load)
    assert (found > 1.1) == more

    def asked(square, ways):
        felt, none, one = ways.T @ (sheet.model.load @ load), np.zeros((square.size,) * 2), np.eye(square.size)
        free, forced = np.block([[none, one], [-np.diag(square), none]]), np.vstack([none, np.diag(square)])
        system = free, forced, np.hstack([one, none]), none
        answer = lsim(system, felt.T, t, np.append(felt[:, 0], 0 * square))[1].T
        pulls = []
        for i, patch in enumerate(sheet.backing.patches):
            own = grip.owner == i
            pulls.append(sheet.model.traction(patch, grip.points[own], ways)[2] / grip.pull[own, None])
        return (np.concatenate(pulls) @ answer).max()

    square, shapes = (each[..., :30] for each in modes(0.0008))
    six, ways = vibrations(sheet, 1)
    assert found == pytest.approx(max(1.0, asked(square, shapes / np.sqrt(square)) / asked(six**2, ways)), rel=0.1)


def glass_fibre(side, at, share=None, ratio=0.2):
    """A board on pads beside both axes at a distance, its twisting stiffness a share of Huber's."""
    outline, places = BOX * [0.24, 0.16], {(i * at[0], j * at[1]) for i in (-1, 1) for j in (-1, 1)}
    given = {"poissons_ratio": ratio, "bending_stiffness": [8.2, 5.0]}
    twist = {} if share is None else {"twisting_stiffness": share * np.sqrt(8.2 * 5.0) / 2 / (1 + ratio)}
    mass = 1900.0 * 0.24 * 0.16 * 0.0016
    com, inertia = gm.uniform_plate(mass, outline, 0.0016)
    part = gm.Part(mass=mass, com=com, inertia=inertia, outline=outline, thickness=0.0016, **given, **twist)
    pads = [gm.Pad.rectangle(f"{x} {y}", FILM, [side, side], gm.pose((x, y, 0))) for x, y in sorted(places)]
    backing = Backing(cut_pads(pads, part))
    bonded = Bonded(whole=backing, full=((75e3, 65e3),) * len(pads), part=part)
    return Sheet.on(backing, part), grip_of(bonded, np.zeros((6, 0)))


def test_a_board_of_which_little_is_known_is_left_out_of_as_much_as_any_that_it_may_be():
    first, worst = (left_out(*glass_fibre(0.02, (0.07, 0.045), 0.1, ratio)) for ratio in (0.0, 0.5))
    assert worst - 1.0 > 2.0 * (first - 1.0)
    assert left_out(*glass_fibre(0.02, (0.07, 0.045), ratio=None)) == pytest.approx(worst, abs=2e-3)


def test_a_board_whose_twist_is_not_known_counts_with_the_one_that_flaps_most():
    """Shaken at the rate of a flap that it has at one end alone of what its twisting stiffness may be."""

    ends, unknown = [glass_fibre(0.04, (0, 0), share) for share in (0.1, 1.5)], glass_fibre(0.04, (0, 0))
    for stiff in (0, 1):
        few, many = (vibrations(ends[stiff][0], blocks)[0] for blocks in (1, 3))
        flap = next(w for w in many if np.abs(few / w - 1.0).min() > 0.05)
        t = np.arange(0.0, 0.5, 2 * np.pi / flap / 24)
        load = np.zeros((6, t.size))
        load[2] = 1.0 + 0.2 * np.sin(flap * t)
        found = [shaken(*each, t, load) for each in (*ends, unknown)]
        assert found[stiff] > 1.1 * found[1 - stiff]
        assert found[2] == pytest.approx(found[stiff], rel=1e-2)


def test_what_is_left_out_is_known_to_a_third_of_a_percent(monkeypatch):
    """Against twice as many periods, of four times as many instants."""
    sheet = board(0.0012)
    grip = grip_of(Bonded(whole=sheet.backing, full=((75e3, 65e3),) * 2, part=sheet.part), np.zeros((6, 0)))
    found = left_out(sheet, grip)
    monkeypatch.setattr(sheet_vibration, "FOLLOWED", 12.0)
    monkeypatch.setattr(sheet_vibration, "STEPS", 48)
    assert found == pytest.approx(left_out.__wrapped__(sheet, grip), abs=3e-3)
