"""Poses of the job file in every convention."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from gripmargin.base.errors import InputError
from gripmargin.files.job_keys import Face, Frame

TURN = Rotation.from_euler("ZYX", [0.3, -0.4, 0.5])


@pytest.mark.parametrize(
    "given",
    [
        {"rpy": [0.5, -0.4, 0.3]},
        {"angles": [0.3, -0.4, 0.5], "convention": "intrinsic ZYX"},
        {"angles": [0.5, -0.4, 0.3], "convention": "extrinsic xyz"},
        {"angles": TURN.as_rotvec(), "convention": "rotation vector"},
        {"quaternion": TURN.as_quat(), "convention": "quaternion xyzw"},
        {"quaternion": TURN.as_quat(scalar_first=True), "convention": "quaternion wxyz"},
    ],
)
def test_one_orientation_in_every_convention(given):
    np.testing.assert_allclose(Frame(**given).matrix[:3, :3], TURN.as_matrix(), atol=1e-14)
    np.testing.assert_array_equal(Face(xyz=[1, 2, 3], **given).matrix[:3, 3], [1, 2, 3])


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"angles": [0, 0, 0]}, "found angles without their convention"),
        ({"quaternion": [1, 0, 0, 0]}, "found quaternion without their convention"),
        ({"angles": [0, 0, 0], "rpy": [0, 0, 0]}, "found rpy and angles, expected one orientation"),
        ({"angles": [0, 0, 0], "convention": "quaternion wxyz"}, "found the convention quaternion wxyz without quater"),
        ({"xyz": [0, 0, 0], "convention": "rotation vector"}, "found the convention rotation vector without angles"),
        ({"rpy": [0, 0, 0], "convention": "rotation vector"}, "found the convention rotation vector without angles"),
        ({"quaternion": [1, 1, 0, 0], "convention": "quaternion wxyz"}, "found a quaternion of length 1.414"),
    ],
)
def test_orientations_that_are_not_said(given, says):
    with pytest.raises(InputError, match=says):
        Frame(**given)
