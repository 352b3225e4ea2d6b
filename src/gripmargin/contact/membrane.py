"""What it takes to stretch a plate where small deflections bend it two ways at once.

It is the most that a function of Airy's takes, ``-w_K phi - (lap phi)^2 / 2 E t`` over the plate, of the curvature w_K
of Gauss of the linear deflection (von Karman: Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, art. 101,
from memory); over the whole grid it is an upper bound.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.linalg import SuperLU

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.plate import Pieces, Splines, factored, isotropic


@dataclass(frozen=True, eq=False, kw_only=True)
class Membrane:
    """A plate as it is stretched.

    Attributes:
        form: Its splines.
        plate: Its cells.
        stiffness: E t [N/m].
    """

    form: Splines
    plate: Pieces
    stiffness: float

    def each(self, deflections: FloatArray, rigidity: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the energies that stretch and that bend the plate in deflections, shape (splines, k).

        Args:
            deflections: Coefficients of its splines [m].
            rigidity: Moments per curvature, shape (3, 3) [N m].

        Returns:
            Both [J], shape (k,).
        """
        over, curved = np.empty((2, deflections.shape[1]))
        for k, (xx, yy, xy) in enumerate(self._curvatures(deflections)):
            pull = self._pull((xx * yy - xy * xy)[None])
            over[k] = (pull * self._airy.solve(pull)).sum()
            both = np.stack([xx, yy, 2.0 * xy])
            curved[k] = 0.5 * (self.plate.weights * (both * np.tensordot(rigidity, both, 1)).sum(axis=0)).sum()
        return 0.5 * self.stiffness * over, curved

    def of_pairs(self, deflections: FloatArray) -> FloatArray:
        """Return the energy that stretches it as a form of pairs of deflections, shape (k (k + 1) / 2, the same).

        Args:
            deflections: As of `each`.
        """
        xx, yy, xy = np.stack(list(self._curvatures(deflections)), axis=1)
        i, j = np.triu_indices(deflections.shape[1])
        pull = self._pull((xx[i] * yy[j] + xx[j] * yy[i]) / 2.0 - xy[i] * xy[j])
        return np.asarray(0.5 * self.stiffness * pull.T @ self._airy.solve(pull))

    def _curvatures(self, deflections: FloatArray) -> list[FloatArray]:
        """Second derivatives xx, yy and xy at the points of the plate, for each deflection, shape (3, pieces, q)."""
        own = deflections[self.form.numbers(self.plate.cells)]
        return list(np.moveaxis(np.stack([values @ own for values in self._second]), -1, 0))

    @cached_property
    def _second(self) -> list[FloatArray]:
        orders = ((2, 0), (0, 2), (1, 1))
        return [self.form.values(self.plate.points, self.plate.cells, *order) for order in orders]

    def _pull(self, gauss: FloatArray) -> FloatArray:
        """What curvatures of Gauss, shape (k, pieces, q), pull at splines that vanish with their slope at the rim."""
        return self.form.integral(self.plate, gauss)[self._inside]

    @cached_property
    def _inside(self) -> NDArray[np.intp]:
        inside = [(np.arange(n) > 1) & (np.arange(n) < n - 2) for n in (self.form.x.size + 2, self.form.y.size + 2)]
        return np.flatnonzero(np.outer(*inside).ravel())

    @cached_property
    def _airy(self) -> SuperLU:
        laplace = self.form.bending(self.form.every(), isotropic(1.0, 1.0))
        return factored(laplace[self._inside][:, self._inside].tocsc())
