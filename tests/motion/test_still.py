"""A part that hangs still."""

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.base.errors import InputError


@pytest.mark.parametrize("gravity", [[0, 0, -9.8], [0, 0, 9.8], [3.0, -4.0, 5.0], [0, 0, 0]])
def test_the_tool_hangs_along_gravity(gravity):
    still = gm.hanging_still(gravity)
    down = np.array(gravity) / np.linalg.norm(gravity) if any(gravity) else [0, 0, -1]
    assert still.rotation[0][:, 2] == pytest.approx(down)
    assert np.linalg.det(still.rotation[0]) == pytest.approx(1.0)
    assert not still.velocity.any()


def test_no_gravity_of_this_world():
    with pytest.raises(InputError, match="gravity"):
        gm.hanging_still([0, 0, np.nan])
