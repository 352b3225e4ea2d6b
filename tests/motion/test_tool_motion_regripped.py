"""The motion of another frame that is fixed to the tool: that of a robot whose tool ends there."""

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.motion import tool_motion
from gripmargin.motion.program import ProgramMotion

FRAME = gm.pose((0.1, -0.2, 0.05), (0.3, -1.2, 2.0))


@pytest.mark.parametrize("kept", [tool_motion.KEPT, 40])
def test_it_is_that_of_a_tool_that_ends_there(arm, exact_moves, kept, monkeypatch):
    """Two routes through the chain: the frame added to its end, and the motion of its end moved over.

    Its errors, too: what a unit of each joint's acceleration does is the Jacobian of the longer chain.
    """
    monkeypatch.setattr(tool_motion, "KEPT", kept)  # beyond it motion is worked out where it is asked for
    t = np.arange(0.0, 1.4, 0.01)
    q, *_ = exact_moves(6, (0.2, 0.9, [0.7, 0.2, -0.3, 0.4, 0.2, -0.5])).at(t)
    program = gm.JointTrajectory(t=t, q=q)
    there = ProgramMotion.of(program, arm).regripped(FRAME)
    longer = ProgramMotion.of(program, arm.mounted(tool=FRAME))
    np.testing.assert_allclose(there.at.state, longer.at.state, atol=1e-12)
    some = np.arange(3, 90, 7)
    np.testing.assert_allclose(there.error.directions(some), longer.error.directions(some), atol=1e-13)
    np.testing.assert_allclose(there.error.sizes(some), longer.error.sizes(some), rtol=1e-10)


def test_poses_moved_over_give_the_same(arm, exact_moves):
    """Given rates: the trajectory of the other frame, with its velocities and accelerations, or the motion moved."""
    t = np.arange(0.0, 1.4, 0.01)
    tool = tool_motion.joint_motion(arm, t, *exact_moves(6, (0.2, 0.9, [0.7, 0.2, -0.3, 0.4, 0.2, -0.5])).at(t))
    line, turn = (
        [np.einsum("nij,nj->ni", tool.rotation, rows) for rows in both]
        for both in ((tool.velocity, tool.acceleration), (tool.angular_velocity, tool.angular_acceleration))
    )
    rates = {name: np.hstack([line[i], turn[i]]) for i, name in enumerate(("velocity", "acceleration"))}
    poses = gm.PoseTrajectory(t=t, position=tool.position, rotation=tool.rotation, **rates)
    there = ProgramMotion.of(poses, None).regripped(FRAME)
    np.testing.assert_allclose(there.at.state, ProgramMotion.of(poses.regripped(FRAME), None).at.state, atol=1e-12)
