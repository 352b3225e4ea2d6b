"""Forward kinematics to second order over whole arrays, one recursion in link axes from base to tool.

Eight vectors are carried along and re-expressed in each link's axes: linear velocity, angular velocity,
angular acceleration and linear acceleration of the link's origin, the position of that origin seen from
the world's origin, and the three world axes. The rotation matrix of the tool is then the world axes, and
the world position is the position dotted with them; no 4 x 4 product is ever formed.

Source of the recursion: Luh, Walker & Paul, J. Dyn. Sys. Meas. Control 102:69-76, 1980 (from memory);
Craig, Introduction to Robotics, ch. 6 (from memory). The acceleration is the classical one of the point.
"""

from __future__ import annotations

import numpy as np

from gripmargin.base.arrays import FloatArray

V, W, AL, A, P, EX, EY, EZ = range(8)  # the eight vectors carried
CYCLES = ((0, 1, 2), (1, 2, 0), (2, 0, 1))
BLOCK = 4096  # below this the cost of a call outweighs that of leaving the cache (measured)


def tool_motion(
    links: FloatArray, revolute: tuple[bool, ...], q: FloatArray, qd: FloatArray, qdd: FloatArray
) -> FloatArray:
    """Return the motion of the tool frame for all samples.

    Args:
        links: Constant transforms, shape (n + 1, 4, 4); joint i turns about or slides along z after links[i].
        revolute: For each joint whether it turns.
        q: Joint positions, shape (samples, n).
        qd: Joint speeds, shape (samples, n).
        qdd: Joint accelerations, shape (samples, n).

    Returns:
        Shape (3, 8, samples), all in tool axes: velocity of the tool origin [m/s], angular velocity [rad/s],
        angular acceleration [rad/s^2], acceleration of the tool origin without gravity [m/s^2], position of
        the tool origin from the world origin [m], and the world's x, y and z axes.
    """
    samples = q.shape[0]
    out = np.empty((3, 8, samples))
    rotations = [_sparse_rotation(link[:3, :3].T) for link in links]
    offsets = [tuple(float(component) for component in link[:3, 3]) for link in links]
    # Two buffers, so that a rotation never overwrites what it still reads.
    state, spare = np.empty((3, 8, BLOCK)), np.empty((3, 8, BLOCK))
    work = np.empty((4, 8, BLOCK))
    for first in range(0, samples, BLOCK):
        last = min(first + BLOCK, samples)
        size = last - first
        x: FloatArray = state[:, :, :size]
        y: FloatArray = spare[:, :, :size]
        tmp = work[:, :, :size]
        x[...] = 0.0
        x[0, EX], x[1, EY], x[2, EZ] = 1.0, 1.0, 1.0
        qb = np.ascontiguousarray(q[first:last].T)
        qdb = np.ascontiguousarray(qd[first:last].T)
        qddb = np.ascontiguousarray(qdd[first:last].T)
        sine, cosine = np.sin(qb), np.cos(qb)
        for i, turns in enumerate(revolute):
            _shift(x, offsets[i], tmp)
            x, y = _rotate(x, rotations[i], y, tmp)
            if turns:
                x, y = _turn(x, y, sine[i], cosine[i], qdb[i], qddb[i], tmp)
            else:
                _slide(x, qb[i], qdb[i], qddb[i], tmp)
        _shift(x, offsets[-1], tmp)
        x, y = _rotate(x, rotations[-1], y, tmp)
        out[:, :, first:last] = x
    return out


def moved(state: FloatArray, frame: FloatArray) -> FloatArray:
    """Return the motion of another frame that is fixed to the tool.

    Args:
        state: As `tool_motion` returns it, shape (3, 8, n).
        frame: Pose of the other frame in the tool frame, shape (4, 4).
    """
    out = np.array(state)
    _shift(out, tuple(float(component) for component in frame[:3, 3]), np.empty((4, *state.shape[1:])))
    return np.asarray(np.einsum("ji,jkn->ikn", frame[:3, :3], out))


def _sparse_rotation(matrix: FloatArray) -> list[list[tuple[int, float]]] | None:
    """For each row its non-zero entries; None for the identity. Entries within rounding of 0 or 1 are snapped."""
    snapped = np.where(np.abs(matrix) < 1e-16, 0.0, matrix)
    snapped = np.where(np.abs(np.abs(snapped) - 1.0) < 1e-16, np.sign(snapped), snapped)
    if np.array_equal(snapped, np.eye(3)):
        return None
    return [[(j, float(row[j])) for j in range(3) if row[j] != 0.0] for row in snapped]


def _rotate(
    x: FloatArray, rotation: list[list[tuple[int, float]]] | None, y: FloatArray, tmp: FloatArray
) -> tuple[FloatArray, FloatArray]:
    if rotation is None:
        return x, y
    for i, row in enumerate(rotation):
        (j, factor), *rest = row
        np.multiply(x[j], factor, out=y[i])
        for j, factor in rest:
            np.multiply(x[j], factor, out=tmp[0])
            y[i] += tmp[0]
    return y, x


def _turn(
    x: FloatArray,
    y: FloatArray,
    sine: FloatArray,
    cosine: FloatArray,
    rate: FloatArray,
    acceleration: FloatArray,
    tmp: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """A revolute joint about z: express in the turned axes, then add its own rate."""
    np.multiply(x[0], cosine, out=y[0])
    np.multiply(x[1], sine, out=tmp[0])
    y[0] += tmp[0]
    np.multiply(x[1], cosine, out=y[1])
    np.multiply(x[0], sine, out=tmp[0])
    y[1] -= tmp[0]
    y[2] = x[2]
    # alpha' = R alpha + (R omega) x z qd + z qdd
    t = tmp[0, 0]
    np.multiply(y[1, W], rate, out=t)
    y[0, AL] += t
    np.multiply(y[0, W], rate, out=t)
    y[1, AL] -= t
    y[2, AL] += acceleration
    y[2, W] += rate
    return y, x


def _slide(x: FloatArray, travel: FloatArray, rate: FloatArray, acceleration: FloatArray, tmp: FloatArray) -> None:
    """A prismatic joint along z: the origin moves by z q, at z qd, with z qdd and Coriolis 2 omega x z qd."""
    wx, wy, wz = x[0, W], x[1, W], x[2, W]
    ax, ay = x[0, AL], x[1, AL]
    t = tmp[0, 0]
    # a += alpha x (z q) + omega x (omega x z q) + 2 omega x z qd + z qdd
    x[0, A] += ay * travel + wx * wz * travel + 2.0 * wy * rate
    x[1, A] += -ax * travel + wy * wz * travel - 2.0 * wx * rate
    np.multiply(wx, wx, out=t)
    t += wy * wy
    x[2, A] += acceleration - t * travel
    x[0, V] += wy * travel
    x[1, V] -= wx * travel
    x[2, V] += rate
    x[2, P] += travel


def _shift(x: FloatArray, offset: tuple[float, ...], tmp: FloatArray) -> None:
    """Move the point of reference by a constant offset in the link's axes."""
    if not any(offset):
        return
    w = x[:, W]
    # omega x p gives the velocity; alpha x p + omega x (omega x p) the acceleration
    crossed, t, u = tmp[:3, W : AL + 1], tmp[3, 0], tmp[3, 1]
    pair = x[:, W : AL + 1]
    for i, j, k in CYCLES:
        np.multiply(pair[j], offset[k], out=crossed[i])
        if offset[j]:
            np.multiply(pair[k], offset[j], out=tmp[3, :2])
            crossed[i] -= tmp[3, :2]
    swirl = crossed[:, 0]
    x[:, V] += swirl
    x[:, A] += crossed[:, 1]
    for i, j, k in CYCLES:
        np.multiply(w[j], swirl[k], out=t)
        np.multiply(w[k], swirl[j], out=u)
        t -= u
        x[i, A] += t
    for i, component in enumerate(offset):
        if component:
            x[i, P] += component
