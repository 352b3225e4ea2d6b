"""A thin plate by Ritz's method: polynomials over its outline, and the energy that bends it.

Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 1959, art. 82 (from memory). A free edge asks nothing of
the polynomials, so any outline will do.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray


@dataclass(frozen=True, eq=False)
class Polynomials:
    """Products of Legendre polynomials over a box, up to a total degree, and their derivatives.

    Attributes:
        box: Least x and y, largest x and y [m], shape (4,).
        degree: Highest total degree.
    """

    box: FloatArray
    degree: int

    @property
    def degrees(self) -> NDArray[np.intp]:
        """Total degree of each polynomial, shape (k,)."""
        return np.asarray(np.sum(self._pairs(), axis=0))

    def _pairs(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        i, j = np.indices((self.degree + 1, self.degree + 1)).reshape(2, -1)
        return i[i + j <= self.degree], j[i + j <= self.degree]

    def at(self, points: FloatArray, dx: int = 0, dy: int = 0) -> FloatArray:
        """Return every polynomial, or a derivative of it, at points.

        Args:
            points: Shape (p, 2) [m].
            dx: How often to derive along x.
            dy: How often to derive along y.

        Returns:
            Shape (p, k).
        """
        i, j = self._pairs()
        along_x = self._along(points[:, 0], self.box[0], self.box[2], dx)
        along_y = self._along(points[:, 1], self.box[1], self.box[3], dy)
        return np.asarray(along_x[:, i] * along_y[:, j])

    def _along(self, place: FloatArray, first: float, last: float, derived: int) -> FloatArray:
        scale = 2.0 / (last - first)
        coefficients = legendre.legder(np.eye(self.degree + 1), derived, scl=scale, axis=0)
        return np.asarray(legendre.legval((place - first) * scale - 1.0, coefficients).T)

    def bending(self, points: FloatArray, areas: FloatArray, rigidity: float, poissons_ratio: float) -> FloatArray:
        """Return the matrix whose quadratic form is twice the bending energy of a plate.

        Args:
            points: Of a quadrature over the plate [m], shape (p, 2).
            areas: Its weights [m^2], shape (p,).
            rigidity: Of the plate, ``E t^3 / 12 (1 - nu^2)`` [N m].
            poissons_ratio: [-].

        Returns:
            Shape (k, k) [N/m].
        """
        xx, yy, xy = self.at(points, 2, 0), self.at(points, 0, 2), self.at(points, 1, 1)
        weights = rigidity * areas[:, None]
        straight = xx.T @ (weights * (xx + poissons_ratio * yy)) + yy.T @ (weights * (yy + poissons_ratio * xx))
        return np.asarray(straight + 2.0 * (1.0 - poissons_ratio) * xy.T @ (weights * xy))


def triangle_rule(corners: FloatArray, order: int) -> tuple[FloatArray, FloatArray]:
    """Return points and weights that integrate polynomials over triangles: Gauss's rule, one side drawn to a point.

    Args:
        corners: Of each triangle [m], shape (t, 3, 2).
        order: Points along each direction; polynomials up to degree ``2 order - 2`` are exact.

    Returns:
        Points [m], shape (t order^2, 2), and weights [m^2], shape (t order^2,).
    """
    place, weight = legendre.leggauss(order)
    u, v = np.meshgrid((place + 1.0) / 2.0, (place + 1.0) / 2.0)
    weights = np.outer(weight, weight) / 4.0 * (1.0 - u)
    a, b = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    points = corners[:, :1] + u.reshape(1, -1, 1) * a[:, None] + (v * (1.0 - u)).reshape(1, -1, 1) * b[:, None]
    area = np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
    return points.reshape(-1, 2), np.outer(area, weights.ravel()).ravel()
