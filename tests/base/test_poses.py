"""Orientations by every convention, against scipy, spatialmath and what the names say."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import gripmargin as gm
from gripmargin.base.errors import InputError
from gripmargin.base.poses import CONVENTIONS, QUATERNIONS, rotations

ANGLES = np.random.default_rng(0).uniform(-3, 3, (5, 3))


def about(axis, angle):
    """Textbook matrix of a turn about x, y or z."""
    c, s = np.cos(angle), np.sin(angle)
    i, j = {"x": (1, 2), "y": (2, 0), "z": (0, 1)}[axis.lower()]
    matrix = np.eye(3)
    matrix[i, i] = matrix[j, j] = c
    matrix[i, j], matrix[j, i] = -s, s
    return matrix


@pytest.mark.parametrize("convention", [c for c in CONVENTIONS if c.split()[0] in ("intrinsic", "extrinsic")])
def test_turns_one_after_the_other(convention):
    """About axes that turn along each new turn is multiplied from the right, about fixed ones from the left."""
    kind, axes = convention.split()
    for row in ANGLES:
        due = np.eye(3)
        for axis, angle in zip(axes, row, strict=True):
            due = due @ about(axis, angle) if kind == "intrinsic" else about(axis, angle) @ due
        np.testing.assert_allclose(rotations(row, convention), due, atol=1e-14)


def test_there_are_twelve_orders_of_each_kind():
    assert len(CONVENTIONS) == 28 == len(set(CONVENTIONS))


def test_a_rotation_vector_is_axis_times_angle():
    angle = np.linalg.norm(ANGLES[0])
    axis = ANGLES[0] / angle
    turned = rotations(ANGLES[0], "rotation vector")
    np.testing.assert_allclose(turned @ axis, axis, atol=1e-14)
    assert np.trace(turned) == pytest.approx(1 + 2 * np.cos(angle))
    np.testing.assert_allclose(
        rotations(ANGLES, "rotation vector"), Rotation.from_rotvec(ANGLES).as_matrix(), atol=1e-14
    )


def test_quaternions_with_the_scalar_last_and_first():
    due = Rotation.from_rotvec(ANGLES)
    xyzw = due.as_quat()
    for convention, values in zip(QUATERNIONS, (xyzw, xyzw[:, [3, 0, 1, 2]]), strict=True):
        np.testing.assert_allclose(rotations(values, convention), due.as_matrix(), atol=1e-14)


def test_names_agree_with_spatialmath():
    """Its ``rpy`` of order "zyx" is ours; its Euler angles are ZYZ."""
    base = pytest.importorskip("spatialmath.base")
    for row in ANGLES:
        np.testing.assert_allclose(gm.pose(rpy=row)[:3, :3], base.rpy2r(row, order="zyx"), atol=1e-14)
        np.testing.assert_allclose(rotations(row, "extrinsic xyz"), base.rpy2r(row, order="zyx"), atol=1e-14)
        np.testing.assert_allclose(rotations(row[::-1], "intrinsic ZYX"), base.rpy2r(row, order="zyx"), atol=1e-14)
        np.testing.assert_allclose(rotations(row, "intrinsic ZYZ"), base.eul2r(row), atol=1e-14)


@pytest.mark.parametrize(
    ("values", "convention", "says"),
    [
        ((0, 0, 0), "ZYX", "convention: found 'ZYX', expected such as 'rotation vector'"),
        ((0, 0, 0), "intrinsic zyx", "did you mean 'intrinsic"),
        ((0, 0, 0), "quaternion wxyz", r"rpy: found an array of shape \(3,\)"),
        ((0, 0, 0, 0), "quaternion wxyz", "found a quaternion of length 0, expected unit length"),
        ((0, 0, 0), None, "convention: found nothing"),
    ],
)
def test_poses_of_no_convention(values, convention, says):
    with pytest.raises(InputError, match=says):
        gm.pose((0, 0, 0), values, convention=convention)
