"""Programs of poses: what moves across a gap, and what is noise."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import gripmargin as gm
from gripmargin.motion.poses import Poses


@pytest.mark.parametrize(("turned", "doubted"), [(0.0, False), (0.05, True)])
def test_noise_about_one_axis_is_no_motion_across_a_gap(turned, doubted):
    """A tool at rest, or turned meanwhile, whose orientation is known far worse about x than about y and z."""
    t = np.delete(np.arange(200) * 0.004, np.arange(90, 110))
    noise = np.random.default_rng(1).normal(size=(t.size, 3)) * [2e-3, 1e-7, 1e-7]
    turn = np.outer(t > 0.4, [turned, 0, 0]) + noise
    poses = gm.PoseTrajectory(t=t, position=np.zeros((t.size, 3)), rotation=Rotation.from_rotvec(turn).as_matrix())
    assert bool(Poses(poses).rates(None).doubts) == doubted
