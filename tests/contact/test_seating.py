"""Where a part is set down, and where a tool passes beside it."""

import numpy as np
import pytest

from gripmargin.contact.seating import seating

S, KN = 9e4, 1e8


class TestSeating:
    @pytest.mark.parametrize(("height", "seated"), [(0.015, True), (0.025, False)])
    def test_a_part_hardly_above_its_place_is_down(self, pad_face, move, height, seated):
        """In displacements that break a full bond, S/k."""
        found = seating([pad_face()], move(np.arange(3), z=[0.1, height * S / KN, 0.1]))
        assert (found.sample, found.seated) == (1, seated)

    def test_the_first_sample_on_the_face(self, pad_face, move):
        found = seating([pad_face()], move(np.arange(5), z=[0.1, 0.01, 1e-6, -1e-4, 0.1]))
        assert (found.sample, found.seated) == (2, True)
        assert found.height == pytest.approx(1e-6)

    def test_a_part_that_is_let_go_above_its_place(self, pad_face, move):
        found = seating([pad_face()], move(np.arange(4), z=[0.1, 2e-3, 1.5e-3, 0.1]))
        assert (found.sample, found.seated) == (2, False)
        assert found.height == pytest.approx(1.5e-3)
