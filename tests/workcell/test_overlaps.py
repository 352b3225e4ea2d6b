"""Pads that would hold the same place on the part are refused."""

import re

import numpy as np
import pytest

import gripmargin as gm

FILM = gm.PadMaterial(pull_off_stress=75e3, shear_strength=65e3, normal_stiffness=1.2e8, shear_stiffness=4e7)


def square(name, xyz=(0, 0, 0), rpy=(0, 0, 0), side=0.05):
    return gm.Pad.rectangle(name, FILM, [side, side], gm.pose(xyz, rpy))


def refused(*pads):
    with pytest.raises(gm.InputError) as caught:
        gm.Gripper(pads=pads)
    return str(caught.value)


def test_the_same_pad_twice():
    assert refused(square("left"), square("right")) == (
        "gripper.pads: found pads 'left' and 'right', which overlap by 2500 mm^2 at x 0.0, y 0.0, z 0.0 mm in the tool "
        "frame, expected pads beside each other, for each place on the part is held once; correct their places or "
        "sizes, or leave one of them out"
    )


def test_area_and_place_of_an_overlap():
    """50 x 50 mm, 40 mm and 30 mm apart: 10 x 20 mm are held twice, about x 20 mm, y 15 mm."""
    text = refused(square("a"), square("b", (0.04, 0.03, 0)))
    assert "overlap by 200 mm^2" in text
    x, y = map(float, re.search(r"at x (\S+), y (\S+), z 0.0 mm", text).groups())
    assert 15 < x < 25
    assert 5 < y < 25


@pytest.mark.parametrize(
    "other",
    [
        square("other", (0.05, 0, 0)),  # side by side
        square("other", (0.05 - 4e-5, 0, 0)),  # 0.8 thousandths: rounding of lengths
        square("other", (0.05, 0.05, 0)),  # corner to corner
        square("other", (0, 0, 0.03), (np.pi, 0, 0)),  # from the other side of the part
        square("other", (0.025, 0, 0.025), (0, np.pi / 2, 0)),  # around an edge
    ],
)
def test_what_is_no_overlap(other):
    assert len(gm.Gripper(pads=(square("pad"), other)).pads) == 2


@pytest.mark.parametrize(
    "other",
    [
        square("other", (0.05 - 1e-4, 0, 0)),  # two thousandths
        square("other", (0.01, 0, 0.002)),  # behind the other by 2 mm: seen along their normals
        square("other", (0.01, 0, 0.3)),
        square("other", (0.01, 0, 0), (0, 0, 0.7)),
        square("other", (0.01, 0, 0), (0.1, 0, 0)),
        square("other", (0, 0, 0), side=0.01),  # wholly within
        gm.Pad.disc("other", FILM, 0.02, gm.pose((0.03, 0, 0))),
    ],
)
@pytest.mark.parametrize("turn", [(0, 0, 0), (0.4, 1.2, -0.8)])
def test_overlaps_however_the_tool_frame_lies(other, turn):
    frame = gm.pose((0.1, -0.2, 0.3), turn)
    pads = [gm.Pad.polygon(p.name, FILM, p.outline, frame @ p.pose_in_tool) for p in (square("pad"), other)]
    assert "overlap by" in refused(*pads)


def test_round_pads_that_touch():
    gm.Gripper(pads=tuple(gm.Pad.disc(f"{i}", FILM, 0.02, gm.pose((0.02 * i, 0, 0))) for i in range(5)))


def test_many_pads_in_rows():
    pads = tuple(square(f"{i} {j}", (0.01 * i, 0.01 * j, 0), side=0.01) for i in range(9) for j in range(11))
    assert len(gm.Gripper(pads=pads).pads) == 99
    assert "'8 10'" in refused(*pads, square("one more", (0.08, 0.10, 0), side=0.01))


def test_more_pads_than_any_gripper_has():
    pads = tuple(square(f"{i}", (0.01 * i, 0, 0), side=0.01) for i in range(101))
    assert refused(*pads) == "gripper.pads: found 101 values, expected at most 100"
