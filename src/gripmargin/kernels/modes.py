"""Natural vibrations of a rigid body on springs (Rayleigh; any text on vibration)."""

from __future__ import annotations

import numpy as np

from gripmargin.base.arrays import FloatArray


def natural_modes(stiffness: FloatArray, mass: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return natural frequencies and shapes: ``M x'' + K x = 0``.

    A motion whose period squared is below 1e-12 of the longest one's has no mass to swing but rounding, and is left
    out: it follows its load at once.

    Args:
        stiffness: K against (translation [m], rotation [rad]), positive definite, shape (6, 6).
        mass: M, positive semi-definite, shape (6, 6).

    Returns:
        Circular frequencies [rad/s], rising, shape (modes,), and shapes as columns x with x' K x = 1, shape (6, modes):
        a load w is carried by mode x as K x (x' w).
    """
    root = np.linalg.cholesky(stiffness)
    inner = np.linalg.solve(root, np.linalg.solve(root, mass).T)
    squares, vectors = np.linalg.eigh((inner + inner.T) / 2.0)  # 1/w^2
    kept = np.flatnonzero(squares > 1e-12 * squares[-1])[::-1]
    return 1.0 / np.sqrt(squares[kept]), np.linalg.solve(root.T, vectors[:, kept])
