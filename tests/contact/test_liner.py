"""A label that is peeled off its liner on the pads, against Kendall, Rivlin and beams on a layer."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from contact.test_film import FILM, KN, S, part, rectangle
from gripmargin.contact.backing import Backing
from gripmargin.contact.bond import holding_strength
from gripmargin.contact.bonded import Bonded
from gripmargin.contact.cells import cut_pads
from gripmargin.contact.grip import grip_of
from gripmargin.contact.liner import Crossing, Peel, crossing, interfaces

NONE = np.zeros(6)


def grip(label, *pads):
    whole = Backing(cut_pads(pads, label))
    gripper = gm.Gripper(pads=pads)
    full = tuple(holding_strength(p.pad, label, gripper) for p in whole.patches)
    return grip_of(Bonded(whole=whole, full=full, part=label), np.array([[0, 0, 0.01, 0, 0, 0.0]]).T)


def middle(x, y):
    return gm.Pad.rectangle("pad", FILM, [x, y])


@pytest.mark.parametrize(("cn", "energy"), [(5, 2.0), (10, 4.0), (20, 8.0), (50, 20.0)])
def test_force_of_a_standard_peel_test(cn, energy):
    """180 degrees on strips of 50 mm, in cN (test method FTM 3 of FINAT): ``2 F/b``; a right angle asks twice that."""
    width = 0.05
    flat, square = (Peel(energy=energy, angle=angle, direction=0.0) for angle in (np.pi, np.pi / 2))
    assert flat.force * width == pytest.approx([cn / 100, 0, 0], abs=1e-12)  # along the way of the front
    assert square.force * width == pytest.approx([0, 0, 2 * cn / 100], abs=1e-12)


@pytest.mark.parametrize("degrees", [1e-6, 30, 75, 120, 180])
def test_work_of_the_liner_is_its_energy(degrees):
    """A front that crosses a label moves the liner by ``1 - cos`` of its way: force times that is energy times area."""
    label = part(rectangle(-0.03, 0.03, 0.02))
    peel = Peel(energy=4.0, angle=np.deg2rad(degrees), direction=0.0)
    assert np.linalg.norm(peel.force) * 0.04 * peel.way(label) == pytest.approx(4.0 * 0.06 * 0.04)
    assert np.arctan2(peel.force[2], -peel.force[0]) == pytest.approx(np.deg2rad(degrees))  # along the liner


def test_the_weaker_interface_opens_first():
    """Kendall: a pad lets go at ``S^2 / 2 k`` = 46.9 J/m^2; of an eighth of that the liner is that much weaker."""
    held = grip(part(rectangle(-0.03, 0.03, 0.02)), middle(0.06, 0.04))
    assert interfaces(held, S**2 / 2 / KN / 8) == pytest.approx(8.0)
    weaker = replace(FILM, peel_energy=5.0)
    held = grip(part(rectangle(-0.03, 0.03, 0.02)), gm.Pad.rectangle("pad", weaker, [0.06, 0.04]))
    assert interfaces(held, 2.5) == pytest.approx(2.0)


def test_a_rigid_label_bears_the_force_times_its_distance_from_the_pad():
    """90 degrees, 4 N/m on 40 mm: 0.16 N, at the rim 29.97 mm from the middle of a pad of 20 mm; N/A + M c/I."""
    held = grip(
        replace(part(rectangle(-0.03, 0.03, 0.02), thickness=0.005, youngs_modulus=70e9), rigid=True),
        middle(0.02, 0.02),
    )
    found = crossing(held, held.bonded.part, Peel(energy=4.0, angle=np.pi / 2, direction=0.0), NONE)
    force, arm = 4.0 * 0.04, 0.03 - 1e-3 * 0.06
    tension = force / 0.02**2 + force * arm * 0.01 / (0.02**4 / 12)
    assert found.use.max() * S == pytest.approx(tension, rel=1e-6)
    assert found.known
    assert found.load[:, 0] == pytest.approx([0, 0, force, 0, force * arm, 0], abs=1e-9)
    assert found.load[:, -1] == pytest.approx([0, 0, force, 0, -force * arm, 0], abs=1e-9)
    assert found.place[[0, -1]] == pytest.approx([6e-5, 0.06 - 6e-5])
    turned = crossing(held, held.bonded.part, Peel(energy=4.0, angle=np.pi / 2, direction=np.pi / 2), NONE)
    assert turned.load[2] == pytest.approx(np.full(turned.place.size, 4.0 * 0.06))
    assert turned.load[3, 0] == pytest.approx(-4.0 * 0.06 * (0.02 - 4e-5))


@pytest.mark.parametrize(("side", "b"), [(0.008, 0.052), (0.014, 0.060)])
def test_a_front_that_grows_narrower_uses_the_pad_most_on_the_way(side, b):
    """A kite, 40 mm across and 2 b long, on a pad in its middle: ``F (1 - s/b) (1/A + s c/I)`` at s from the middle.

    It is largest at ``(b - side/6) / 2``; with half as many fronts 5.6e-4 of it are missed.
    """
    kite = part([[-b, 0.0], [0.0, -0.02], [b, 0.0], [0.0, 0.02]], thickness=0.005, youngs_modulus=70e9)
    held = grip(replace(kite, rigid=True), middle(side, side))
    found = crossing(held, held.bonded.part, Peel(energy=4.0, angle=np.pi / 2, direction=0.0), NONE)
    s = (b - side / 6) / 2
    most = 4.0 * 0.04 * (1 - s / b) * (1 + 6 * s / side) / side**2 / S
    assert most * (1 - 3e-4) < found.use.max() <= most * (1 + 1e-9)


@pytest.mark.parametrize("reach", [0.0, 0.006])
def test_the_edge_of_a_pad_bears_a_line_of_force_as_a_beam_does(reach):
    """At the edge of a long pad ``2 beta (F + beta F a)`` per width (Hetenyi 1946, from memory)."""
    label = part(rectangle(-0.03 - reach, 0.03, 0.01), thickness=2e-4, poissons_ratio=0.0)
    held = grip(label, middle(0.06, 0.02))
    found = crossing(held, label, Peel(energy=1.0, angle=np.pi / 2, direction=0.0), NONE)
    beta = (KN / 4 / (5e9 * 8e-12 / 12)) ** 0.25
    assert found.known
    assert found.use.max() * S == pytest.approx(2 * beta * (1.0 + beta * reach), rel=0.02)
    flat = crossing(held, label, Peel(energy=1.0, angle=np.pi, direction=0.0), NONE)
    assert flat.use.max() < 0.2 * found.use.max()  # along the pads it has their whole area


def test_a_label_that_is_stretched_is_bounded():
    """A corner that sticks out on two sides bends two ways: from 20 times the force on only a bound is known."""
    label = part(rectangle(-0.03, 0.03, 0.02))
    held = grip(label, middle(0.04, 0.024))
    small, large = (crossing(held, label, Peel(energy=g, angle=np.pi / 2, direction=0.0), NONE) for g in (0.02, 2.0))
    assert small.known
    assert not large.known
    assert large.use == pytest.approx(100.0 * small.use, rel=1e-6)
    assert (large.most > large.use).all()
    assert large.owner[large.worst] == 0
    assert np.abs(large.spot[large.worst]).max() <= 0.0201


def test_of_several_pads_the_weakest_counts_wherever_it_is():
    """Two pads, of which the one that no load uses most is the one that lets go first by energy."""
    weak = replace(FILM, pull_off_stress=S / 2, name="weak")
    pads = (
        gm.Pad.rectangle("long", FILM, [0.01, 0.04], gm.pose((-0.02, 0, 0))),
        gm.Pad.rectangle("weak", weak, [0.024, 0.024], gm.pose((0.01, 0, 0))),
    )
    label = part(rectangle(-0.03, 0.03, 0.02), thickness=1e-3, youngs_modulus=2e9)
    held = grip(label, *pads)
    assert interfaces(held, 1.0) == pytest.approx((S / 2) ** 2 / 2 / KN)
    found = crossing(held, label, Peel(energy=1.0, angle=np.pi / 2, direction=0.3), NONE)
    assert np.isfinite(found.most).all()
    assert set(found.owner) <= {0, 1}


@pytest.mark.parametrize(
    ("most", "worst"), [((0.5, 0.9, 1.0), 2), ((1.0 - 1e-12, 0.9, 1.0), 0), ((0.999, 0.5, 1.0), 2)]
)
def test_the_worst_front_is_the_first_of_those_that_differ_by_rounding(most, worst):
    most, spots = np.array(most), np.zeros((3, 3))
    found = Crossing(place=most, load=np.zeros((6, 3)), use=most, most=most, owner=np.zeros(3, dtype=int), spot=spots)
    assert found.worst == worst
