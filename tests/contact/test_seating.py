"""Where a part is set down, and where a tool passes beside it."""

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.contact.seating import from_touch_down, over, seating, taken_up, within_reach

S, KN = 9e4, 1e8


class TestSeating:
    @pytest.mark.parametrize(("height", "seated"), [(0.015, True), (0.025, False)])
    def test_a_part_hardly_above_its_place_is_down(self, pad_face, move, height, seated):
        """In displacements that break a full bond, S/k."""
        found = seating([pad_face()], move(np.arange(3), z=[0.1, height * S / KN, 0.1]))
        assert (found.sample, found.seated) == (1, seated)

    @pytest.mark.parametrize(("share", "seated"), [(0.95, True), (1.05, False)])
    def test_a_part_hangs_below_pads_that_do_not_quite_come_down(self, pad_face, move, share, seated):
        """By its weight over the stiffness of the backing: 20 N on 80 x 50 mm of 100 N/cm^3 are 50 um."""
        sag = 20.0 / (0.08 * 0.05 * KN)
        found = seating([pad_face()], move(np.arange(3), z=[0.1, share * sag, 0.1]), weight=20.0)
        assert (found.sample, found.seated) == (1, seated)

    def test_the_first_sample_on_the_face(self, pad_face, move):
        found = seating([pad_face()], move(np.arange(5), z=[0.1, 0.01, 1e-6, -1e-4, 0.1]))
        assert (found.sample, found.seated) == (2, True)
        assert found.height == pytest.approx(1e-6)

    def test_a_part_that_is_let_go_above_its_place(self, pad_face, move):
        found = seating([pad_face()], move(np.arange(4), z=[0.1, 2e-3, 1.5e-3, 0.1]))
        assert (found.sample, found.seated) == (2, False)
        assert found.height == pytest.approx(1.5e-3)

    def test_of_two_places_the_one_at_the_face_counts(self, pad_face, move):
        """Down at 0.5 m, then at the origin, then at 0.3 m."""
        x = [0.5, 0.5, 0.5, 0.0, 0.0, 0.0, 0.3, 0.3, 0.3]
        found = seating([pad_face()], move(np.arange(9), x=x, z=[0.1, -1e-4, 0.1] * 3))
        assert found.sample == 4

    def test_it_may_come_down_before_it_is_said_to_be_let_go(self, pad_face, move):
        """And is dragged there from 0.2 m away; what came down at 0.5 m before that did not touch the place."""
        x, z = [0.5, 0.5, 0.2, 0.2, 0.1, 0.0, 0.0], [-1e-4, 0.1, 0.1, -1e-4, -1e-4, -1e-4, -1e-4]
        declared = np.arange(7) == 6
        assert seating([pad_face()], move(np.arange(7), x=x, z=z), declared).sample == 3
        assert seating([pad_face()], move(np.arange(7), x=x, z=z)).sample == 3

    @pytest.mark.parametrize(("lean", "flat"), [(0.02, True), (0.025, False)])
    def test_a_part_askew_in_its_place(self, pad_face, move, lean, flat):
        """Its middle is down; the edge 40 mm from there rises by 0.9 mm, which breaks a full bond, at 0.0225."""
        found = seating([pad_face()], move([0, 1], z=[0.1, 0.0], turn=[0, lean, 0]))
        assert (found.tilt, found.flat) == (pytest.approx(lean), flat)

    @pytest.mark.parametrize(("away", "sample"), [(0.04, 1), (0.06, 4)])
    def test_what_comes_down_within_the_part_is_in_its_place(self, pad_face, move, away, sample):
        """A part that reaches 50 mm from the middle of its pads."""
        part = gm.Part(
            mass=1.0,
            com=[0, 0, 0],
            inertia=[1, 1, 1, 0, 0, 0],
            outline=[[-0.03, -0.04], [0.03, -0.04], [0.03, 0.04], [-0.03, 0.04]],
        )
        motion = move(np.arange(5), x=[away] * 3 + [0.0] * 2, z=[0.1, 0.0, 0.1, 0.1, 0.0])
        assert seating([pad_face(size=(0.02, 0.02))], motion, np.arange(5) > 2, part).sample == sample


def test_the_motion_starts_where_the_middle_of_the_pads_passes_the_plane(pad_face, move):
    """3/4 down the way from 0.3 mm above to 0.1 mm below, and as far along."""
    face, motion = pad_face(), move(np.arange(4), x=[0, 0, 4e-3, 4e-3], z=[0.1, 3e-4, -1e-4, -1e-4])
    rest, sample = from_touch_down([face], motion, 2)
    assert (sample, rest.samples) == (1, 3)
    np.testing.assert_allclose(rest.t, [1.75, 2, 3])
    np.testing.assert_allclose(rest.position[0], [3e-3, 0, 0], atol=1e-12)
    assert from_touch_down([face], motion, 0)[1] == 0


@pytest.mark.parametrize(("away", "near"), [(0.0, True), (0.03, True), (0.2, False)])
def test_beside_the_part_nothing_is_touched(pad_face, move, away, near):
    face = pad_face(size=(0.02, 0.02))
    part = gm.Part(mass=1.0, com=[0, 0, 0], inertia=[1, 1, 1, 0, 0, 0])
    motion = move([0, 1], x=[0, away], z=[0.0, -0.01])
    lies = over([face], part, motion, 0)
    assert lies.tolist() == [True, near]
    assert within_reach([face], taken_up([face], motion, ~lies)).tolist() == [True, near]


@pytest.mark.parametrize(("beyond", "near"), [(-1e-4, True), (1e-4, False)])
@pytest.mark.parametrize("turned", [False, True])
def test_what_lies_beside_the_outline_of_a_part_is_as_far_as_a_bond_reaches(pad_face, move, beyond, near, turned):
    """Pads of 20 mm beside the long side of a part 200 mm long and 40 mm wide: within the circle around it."""
    face = pad_face(size=(0.02, 0.02))
    outline = np.array([[-0.1, -0.02], [0.1, -0.02], [0.1, 0.02], [-0.1, 0.02]])
    part = gm.Part(mass=1.0, com=[0, 0, 0], inertia=[1, 1, 1, 0, 0, 0], outline=outline[:, ::-1] if turned else outline)
    away = [0.0, 0.0, 0.03 + face.reach + beyond]
    x, y = (away, [0.0] * 3) if turned else ([0.0] * 3, away)
    motion = move(np.arange(3), x=x, y=y, z=[0.0, 0.1, -0.01])
    assert over([face], part, motion, 0).tolist() == [True, True, near]
