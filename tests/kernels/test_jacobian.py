"""The Jacobian of the tool frame against Pinocchio."""

import numpy as np
import pinocchio
from hypothesis import given, settings
from hypothesis import strategies as st

from gripmargin.kernels.jacobian import tool_jacobian


@given(seed=st.integers(0, 2**32 - 1), joints=st.integers(1, 8))
@settings(derandomize=True, deadline=None, max_examples=60)
def test_columns_are_those_of_the_local_frame_jacobian(random_chain, pinocchio_arm, seed, joints):
    random = np.random.default_rng(seed)
    chain = random_chain(random, joints)
    q = random.uniform(-3, 3, (5, joints))
    found = tool_jacobian(chain.links, chain.revolute, q)
    arm = pinocchio_arm(chain)
    data = arm.model.createData()
    for i in range(len(q)):
        expected = pinocchio.computeFrameJacobian(arm.model, data, q[i], arm.tool, pinocchio.LOCAL).reshape(6, joints)
        np.testing.assert_allclose(found[:, :, i].T, expected, rtol=0, atol=1e-12)
