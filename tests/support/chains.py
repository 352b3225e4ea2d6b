"""Chains of joints against forward kinematics of another library, and how refused ones are told."""

from __future__ import annotations

import math

import numpy as np

TOLERANCE = 1e-9
BY_FILE = "hand in its URDF file instead"  # how each refusal of the toolbox's own model ends


def end_pose(chain, q):
    end = chain.links[0]
    for turns, value, link in zip(chain.revolute, q, chain.links[1:], strict=True):
        joint = np.eye(4)
        if turns:
            joint[:2, :2] = [[math.cos(value), -math.sin(value)], [math.sin(value), math.cos(value)]]
        else:
            joint[2, 3] = value
        end = end @ joint @ link
    return end


def assert_agrees(chain, fkine, seed=3):
    random = np.random.default_rng(seed)
    for _ in range(5):
        q = random.uniform(-2.5, 2.5, chain.joints)
        np.testing.assert_allclose(end_pose(chain, q), fkine(q).A, rtol=TOLERANCE, atol=TOLERANCE)
