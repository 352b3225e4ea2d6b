"""Screws between poses, against the matrix exponential."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import expm
from scipy.spatial.transform import Rotation

from gripmargin.kernels.screw import along, twist_between


def as_matrix(twist):
    x, y, z = twist[3:]
    out = np.zeros((4, 4))
    out[:3, :3] = [[0, -z, y], [z, 0, -x], [-y, x, 0]]
    out[:3, 3] = twist[:3]
    return out


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.integers(0, 10_000), st.sampled_from([0.0, 1e-9, 1e-5, 0.99e-4, 1.01e-4, 1e-2, 1.0, 3.0]))
def test_along_is_the_exponential_and_between_its_inverse(seed, angle):
    random = np.random.default_rng(seed)
    axis = random.normal(size=3)
    twist = np.append(random.normal(size=3), angle * axis / np.linalg.norm(axis))
    rotation, position = Rotation.random(rng=random).as_matrix()[None], random.normal(size=(1, 3))
    for share in (0.0, 0.3, 1.0):
        turned, moved = along(rotation, position, twist[None], np.array([share]))
        exact = expm(share * as_matrix(twist))
        np.testing.assert_allclose(turned[0], exact[:3, :3] @ rotation[0], rtol=0, atol=1e-12)
        np.testing.assert_allclose(moved[0], exact[:3, :3] @ position[0] + exact[:3, 3], rtol=0, atol=1e-12)
    np.testing.assert_allclose(twist_between(rotation, position, turned, moved)[0], twist, rtol=0, atol=1e-9)
