"""What a trajectory takes for a rotation."""

import numpy as np
import pytest

import gripmargin as gm


@pytest.mark.parametrize(("length", "taken"), [(0.9985, True), (1.008, True), (1.015, False), (0.985, False)])
def test_a_quaternion_may_be_as_long_as_rounding_leaves_it(length, taken):
    """Three decimals leave it within 1.5 parts in a thousand; an exchanged column is far more than a hundredth off."""
    few = np.zeros((2, 3)), np.array([[0.0, 0.0, 0.6, 0.8]] * 2) * length
    if taken:
        made = gm.PoseTrajectory.from_quaternions([0.0, 1.0], *few)
        np.testing.assert_allclose(made.rotation[0, 0], [0.28, -0.96, 0.0], atol=1e-12)
        return
    with pytest.raises(gm.InputError, match="unit length"):
        gm.PoseTrajectory.from_quaternions([0.0, 1.0], *few)
