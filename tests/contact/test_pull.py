"""A tool that leaves straight, cell by cell, against closed forms."""

import numpy as np
import pytest

from gripmargin.contact.press_engine import PressEngine
from gripmargin.contact.pull import straight_pull

S = 9e4


@pytest.mark.parametrize("raised", [0.0, 2e-5])
def test_cells_of_unlike_strength_let_go_from_the_weakest(pad_face, move, raised):
    """Before a cell that holds the share s goes, all those that hold more pull by s S each; from wherever it leaves."""
    face, motion = pad_face(across=4), move([0, 1], z=[0, raised])
    share = np.random.default_rng(0).uniform(0.2, 1.0, face.patch.areas.size)
    engine = PressEngine([face], 0.0, motion.rotation[0], motion.position[0], [share])
    engine.advance(motion.t[1:], motion.rotation[1:], motion.position[1:], np.array([[0, 0, raised, 0, 0, 0]]))
    found, order = straight_pull(engine), np.argsort(share)
    areas = np.cumsum(face.patch.areas[order][::-1])[::-1]
    np.testing.assert_allclose(found[:, 2], share[order] * S * areas, rtol=1e-9)
    place = engine.states.anchor[order]
    for row, axis, sign in ((3, 1, 1.0), (4, 0, -1.0)):  # r x F
        moments = np.cumsum((face.patch.areas[order] * place[:, axis])[::-1])[::-1]
        np.testing.assert_allclose(found[:, row], sign * share[order] * S * moments, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(found[:, [0, 1, 5]], 0.0, atol=1e-12)
