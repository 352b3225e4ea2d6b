"""The geometric Jacobian of the tool frame over whole arrays, one recursion in tool axes from tool to base."""

from __future__ import annotations

import numpy as np

from gripmargin.base.arrays import FloatArray


def tool_jacobian(links: FloatArray, revolute: tuple[bool, ...], q: FloatArray) -> FloatArray:
    """Return what one unit of each joint's rate gives the tool frame.

    Source: Whitney, IEEE Trans. Man-Mach. Syst. 10:47-53, 1969 (from memory).

    Args:
        links: Constant transforms, shape (n + 1, 4, 4), as in `gripmargin.motion.chain.Chain`.
        revolute: For each joint whether it turns.
        q: Joint positions, shape (samples, n).

    Returns:
        Shape (n, 6, samples): linear part, then angular part, in tool axes, of the tool origin.
    """
    samples, joints = q.shape
    out = np.zeros((joints, 6, samples))
    axes = np.zeros((3, 3, samples))  # axis, component in tool axes
    axes[0, 0] = axes[1, 1] = axes[2, 2] = 1.0
    origin = np.zeros((3, samples))  # of the current frame, seen from the tool origin
    for i in range(joints, 0, -1):
        rotation, offset = links[i][:3, :3], links[i][:3, 3]
        axes = np.einsum("jk,kcn->jcn", rotation, axes)
        origin = origin - np.einsum("j,jcn->cn", offset, axes)
        z = axes[2]
        if revolute[i - 1]:
            for a, b, c in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
                out[i - 1, a] = z[c] * origin[b] - z[b] * origin[c]
            out[i - 1, 3:] = z
            cosine, sine = np.cos(q[:, i - 1]), np.sin(q[:, i - 1])
            axes = np.stack([cosine * axes[0] - sine * axes[1], sine * axes[0] + cosine * axes[1], z])
        else:
            out[i - 1, :3] = z
            origin = origin - z * q[:, i - 1]
    return out
