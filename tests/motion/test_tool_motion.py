"""The tool's motion on the same path at another speed, against joints that are slowed themselves."""

import numpy as np

from gripmargin.motion.tool_motion import joint_motion


def test_a_program_whose_time_slows_down_moves_the_tool_as_joints_that_brake_do(arm):
    """q(u(t)) with u' = s and u'' = -r: speeds s q', accelerations s^2 q'' - r q' (chain rule)."""
    random = np.random.default_rng(3)
    t, s, r = np.arange(5.0), random.uniform(0.1, 0.9, 5), 7.0
    q, qd, qdd = random.normal(size=(3, 5, 6))
    found = joint_motion(arm, t, q, qd, qdd).retimed(s, r)
    s = s[:, None]
    due = joint_motion(arm, t, q, s * qd, s**2 * qdd - r * qd)
    np.testing.assert_allclose(found.state, due.state, atol=1e-12)
