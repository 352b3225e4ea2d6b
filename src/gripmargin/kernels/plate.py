"""A thin plate by finite elements: cubic splines on a grid around its outline, and the energy that bends it.

Products of cubic B-splines have continuous curvature, as a plate's bending asks (Kirchhoff's plate: Timoshenko &
Woinowsky-Krieger, Theory of Plates and Shells, 1959, art. 82, from memory). A free edge asks nothing of them, so the
outline need not follow the grid: integrals go over the cells as the outline cuts them, and what the splines do beyond
it is held by next to no stiffness (finite cells: Parvizian, Duester & Rank, Comput. Mech. 41, 2007, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray
from scipy.sparse import block_array, csc_array, csr_array
from scipy.sparse.linalg import SuperLU, splu

from gripmargin.base.arrays import FloatArray

IntArray = NDArray[np.intp]

ORDER = 4  # Gauss points along each side of a cell: products of cubics are exact
BEYOND = 1e-9  # share of the plate's stiffness that splines have beyond its outline


@dataclass(frozen=True, eq=False)
class Pieces:
    """Cells as an outline cuts them, each with a quadrature.

    Attributes:
        points: [m], shape (pieces, q, 2).
        weights: Areas [m^2], shape (pieces, q).
        cells: Column and row of the cell of each, shape (pieces, 2).
    """

    points: FloatArray
    weights: FloatArray
    cells: IntArray

    @property
    def area(self) -> float:
        """Of all pieces [m^2]."""
        return float(self.weights.sum())


@dataclass(frozen=True, eq=False)
class Splines:
    """Products of cubic B-splines along x and y.

    Attributes:
        x: Borders of the grid's columns [m], rising.
        y: Borders of its rows.
    """

    x: FloatArray
    y: FloatArray

    @property
    def size(self) -> int:
        """Number of splines."""
        return (self.x.size + 2) * (self.y.size + 2)

    @cached_property
    def rigid(self) -> FloatArray:
        """Coefficients of 1, x and y, shape (splines, 3): Greville's places, the means of a spline's knots."""
        x, y = (np.convolve(_knots(line)[1:-1], np.full(3, 1.0 / 3.0), "valid") for line in (self.x, self.y))
        x, y = np.repeat(x, y.size), np.tile(y, x.size)
        return np.stack([np.ones(self.size), x, y], axis=1)

    @cached_property
    def _cubics(self) -> tuple[FloatArray, FloatArray]:
        return _cubics(self.x), _cubics(self.y)

    def pieces(self, whole: IntArray, corners: FloatArray, cells: IntArray) -> Pieces:
        """Return cells, and triangles within cells, each with a quadrature.

        Args:
            whole: Column and row of the cells that are whole, shape (k, 2).
            corners: Of the triangles [m], shape (t, 3, 2).
            cells: Column and row of the cell of each triangle, shape (t, 2).
        """
        inside, (points, weights) = self._gauss(*whole.T), triangle_rule(corners, ORDER)
        return Pieces(
            points=np.concatenate([inside.points, points.reshape(-1, ORDER**2, 2)]),
            weights=np.concatenate([inside.weights, weights.reshape(-1, ORDER**2)]),
            cells=np.concatenate([whole, cells]),
        )

    def every(self) -> Pieces:
        """Return all cells of the grid, whole."""
        return self._gauss(*(a.ravel() for a in np.indices((self.x.size - 1, self.y.size - 1))))

    def _gauss(self, i: IntArray, j: IntArray) -> Pieces:
        place, weight = legendre.leggauss(ORDER)
        u, v = (a.ravel() for a in np.meshgrid((place + 1.0) / 2.0, (place + 1.0) / 2.0))
        w, wide, high = np.outer(weight, weight).ravel() / 4.0, np.diff(self.x)[i], np.diff(self.y)[j]
        x, y = self.x[i, None] + wide[:, None] * u, self.y[j, None] + high[:, None] * v
        return Pieces(
            points=np.stack([x, y], axis=-1), weights=(wide * high)[:, None] * w, cells=np.stack([i, j], axis=1)
        )

    def cells_of(self, points: FloatArray) -> IntArray:
        """Return column and row of the cell of each point [m], shape (p, 2); those beyond the grid have the next."""
        return np.stack(
            [
                np.clip(np.searchsorted(line, points[:, k], side="right") - 1, 0, line.size - 2)
                for k, line in enumerate((self.x, self.y))
            ],
            axis=1,
        )

    def values(self, points: FloatArray, cells: IntArray, dx: int = 0, dy: int = 0) -> FloatArray:
        """Return the 16 splines of a cell, or a derivative of them, at points in it.

        Args:
            points: [m], shape (cells, q, 2).
            cells: Column and row of each, shape (cells, 2).
            dx: How often to derive along x.
            dy: How often to derive along y.

        Returns:
            Shape (cells, q, 16).
        """
        sides = []
        for k, (line, cubics, derived) in enumerate(zip((self.x, self.y), self._cubics, (dx, dy), strict=True)):
            at, own = points[..., k] - line[cells[:, k], None], cubics[cells[:, k]]
            value = np.zeros((*at.shape, 4))
            for power in range(3, derived - 1, -1):
                factor = np.prod(np.arange(power, power - derived, -1.0)) if derived else 1.0
                value = value * at[..., None] + factor * own[:, None, :, power]
            sides.append(value)
        return np.asarray((sides[0][..., :, None] * sides[1][..., None, :]).reshape(*points.shape[:-1], 16))

    def numbers(self, cells: IntArray) -> IntArray:
        """Return which splines those of a cell are, shape (cells, 16)."""
        i, j = cells[:, 0, None] + np.arange(4), cells[:, 1, None] + np.arange(4)
        return np.asarray((i[:, :, None] * (self.y.size + 2) + j[:, None, :]).reshape(len(cells), 16))

    def rows(self, points: FloatArray, dx: int = 0, dy: int = 0) -> csr_array:
        """Return every spline, or a derivative of it, at points [m], shape (p, 2), as a matrix (p, splines)."""
        cells = self.cells_of(points)
        values = self.values(points[:, None], cells, dx, dy)[:, 0]
        start = np.arange(0, values.size + 1, 16)
        return csr_array((values.ravel(), self.numbers(cells).ravel(), start), (len(points), self.size))

    def integral(self, pieces: Pieces, factor: FloatArray, dx: int = 0, dy: int = 0) -> FloatArray:
        """Return the integrals of every spline, or a derivative of it, times functions.

        Args:
            pieces: Over which.
            factor: The functions at their points, shape (k, pieces, q).
            dx: How often to derive along x.
            dy: How often to derive along y.

        Returns:
            Shape (splines, k).
        """
        values = self.values(pieces.points, pieces.cells, dx, dy)
        parts = np.einsum("pqb,kpq->kpb", values, factor * pieces.weights, optimize=True)
        numbers = self.numbers(pieces.cells).ravel()
        return np.stack([np.bincount(numbers, part.ravel(), minlength=self.size) for part in parts], axis=1)

    def mass(self, pieces: Pieces, per_area: FloatArray | float, turning: float = 0.0) -> csr_array:
        """Return the matrix of ``integral of m (u v + turning grad u grad v)``, shape (splines, splines).

        Args:
            pieces: Over which.
            per_area: m at their points, shape (pieces, q), or everywhere.
            turning: Radius of gyration of the cross-sections, squared [m^2].
        """
        weights = np.broadcast_to(per_area, pieces.weights.shape) * pieces.weights
        each = self._products(pieces, weights, (0, 0), (0, 0))
        if turning:
            for slope in ((1, 0), (0, 1)):
                each = each + turning * self._products(pieces, weights, slope, slope)
        return self._summed(pieces, each)

    def bending(self, pieces: Pieces, rigidity: FloatArray) -> csr_array:
        """Return the matrix whose quadratic form is twice the bending energy of a plate that the pieces make up.

        Args:
            pieces: Of the plate.
            rigidity: Moments per curvature ``(w_xx, w_yy, 2 w_xy)``, symmetric, shape (3, 3) [N m].

        Returns:
            Shape (splines, splines) [N/m].
        """
        return self._bent(pieces, rigidity) + BEYOND * self._bent(self._beyond(pieces), rigidity)

    def stretching(self, pieces: Pieces, stiffness: FloatArray) -> csr_array:
        """Return the matrix whose quadratic form is twice the energy that stretches a sheet along its plane.

        Args:
            pieces: Of the sheet.
            stiffness: Membrane forces per strain ``(u_x, v_y, u_y + v_x)``, symmetric, shape (3, 3) [N/m].

        Returns:
            For displacements u, then v, shape (2 splines, 2 splines) [N/m].
        """
        return self._stretched(pieces, stiffness) + BEYOND * self._stretched(self._beyond(pieces), stiffness)

    def pulled(self, pieces: Pieces, force: FloatArray) -> csr_array:
        """Return the matrix of ``integral of grad w . N grad w`` of a sheet with membrane forces, shape (n, n) [N/m].

        Args:
            pieces: Of the sheet.
            force: N at their points, ``(N_xx, N_yy, N_xy)``, shape (3, pieces, q) [N/m].
        """
        slopes = [self.values(pieces.points, pieces.cells, *order) for order in ((1, 0), (0, 1))]
        xx, yy, xy = (force * pieces.weights)[..., None]
        forces = xx * slopes[0] + xy * slopes[1], xy * slopes[0] + yy * slopes[1]
        each = sum(one.swapaxes(1, 2) @ other for one, other in zip(slopes, forces, strict=True))
        return self._summed(pieces, np.asarray(each))

    def _beyond(self, pieces: Pieces) -> Pieces:
        """The cells of the grid that pieces do not fill."""
        covered = np.zeros((self.x.size - 1, self.y.size - 1))
        np.add.at(covered, tuple(pieces.cells.T), pieces.weights.sum(axis=1))
        every = self.every()
        part = covered.ravel() < (1.0 - 1e-9) * every.weights.sum(axis=1)
        return Pieces(every.points[part], every.weights[part], every.cells[part])

    def _stretched(self, pieces: Pieces, stiffness: FloatArray) -> csr_array:
        along = [self.values(pieces.points, pieces.cells, *order) for order in ((1, 0), (0, 1))]
        strains = ((along[0], None, along[1]), (None, along[1], along[0]))  # by u, and by v
        blocks: list[list[csr_array]] = []
        for one in strains:
            blocks.append([])
            for other in strains:
                each = np.zeros((len(pieces.cells), 16, 16))
                for strain, row in zip(one, stiffness, strict=True):
                    force = sum(float(r) * e for r, e in zip(row, other, strict=True) if e is not None and r)
                    if strain is not None and not isinstance(force, int):
                        each += strain.swapaxes(1, 2) @ (pieces.weights[..., None] * force)
                blocks[-1].append(self._summed(pieces, each))
        return csr_array(block_array(blocks))

    def _bent(self, pieces: Pieces, rigidity: FloatArray) -> csr_array:
        curved = [self.values(pieces.points, pieces.cells, *order) for order in ((2, 0), (0, 2), (1, 1))]
        curved[2] *= 2.0
        each = np.zeros((len(pieces.cells), 16, 16))
        for one, row in zip(curved, rigidity, strict=True):
            moment = sum(float(r) * other for r, other in zip(row, curved, strict=True) if r)
            if np.any(row):
                each += one.swapaxes(1, 2) @ (pieces.weights[..., None] * moment)
        return self._summed(pieces, each)

    def _products(
        self, pieces: Pieces, weights: FloatArray, one: tuple[int, int], other: tuple[int, int]
    ) -> FloatArray:
        values = self.values(pieces.points, pieces.cells, *one)
        second = values if one == other else self.values(pieces.points, pieces.cells, *other)
        return np.asarray(values.swapaxes(1, 2) @ (weights[..., None] * second))

    def _summed(self, pieces: Pieces, each: FloatArray) -> csr_array:
        numbers = self.numbers(pieces.cells)
        rows, columns = np.repeat(numbers, 16, axis=1), np.tile(numbers, (1, 16))
        return csr_array((each.ravel(), (rows.ravel(), columns.ravel())), (self.size, self.size))


def factored(matrix: csc_array) -> SuperLU:
    """Return a symmetric positive definite matrix ready to be solved."""
    return splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})


def isotropic(rigidity: float, poissons_ratio: float) -> FloatArray:
    """Return the moments per curvature of a plate that bends alike in all directions, for `Splines.bending`.

    Args:
        rigidity: ``E t^3 / 12 (1 - nu^2)`` [N m].
        poissons_ratio: nu [-].
    """
    nu = poissons_ratio
    return rigidity * np.array([[1.0, nu, 0.0], [nu, 1.0, 0.0], [0.0, 0.0, (1.0 - nu) / 2.0]])


def orthotropic(strips: tuple[float, float], poissons_ratio: float, twisting: float, axis: float = 0.0) -> FloatArray:
    """Return the moments per curvature of a plate with two directions square to each other, for `Splines.bending`.

    Args:
        strips: Bending stiffness over width of a strip along the first direction and of one along the other [N m].
        poissons_ratio: Root of the product of both ratios [-].
        twisting: Moment over width for each unit of ``2 w_xy`` in these directions [N m].
        axis: From x to the first direction [rad].
    """
    nu, (along, across) = poissons_ratio, np.asarray(strips) / (1.0 - poissons_ratio**2)
    between = nu * np.sqrt(along * across)
    own = np.array([[along, between, 0.0], [between, across, 0.0], [0.0, 0.0, twisting]])
    c, s = np.cos(axis), np.sin(axis)
    turned = np.array([[c * c, s * s, c * s], [s * s, c * c, -c * s], [-2.0 * c * s, 2.0 * c * s, c * c - s * s]])
    return np.asarray(turned.T @ own @ turned)


def _knots(line: FloatArray) -> FloatArray:
    return np.concatenate([line[:1].repeat(3), line, line[-1:].repeat(3)])


def _cubics(line: FloatArray) -> FloatArray:
    """The four B-splines of each interval as polynomials from its begin on, shape (intervals, 4, powers).

    From degree to degree (de Boor, A Practical Guide to Splines, ch. X, from memory).
    """
    knots, each = _knots(line), 3 + np.arange(line.size - 1)
    found = np.zeros((1, each.size, 4))
    found[0, :, 0] = 1.0
    for degree in range(1, 4):
        finer = np.zeros((degree + 1, each.size, 4))
        for k in range(degree):
            first, last = knots[each - degree + k + 1], knots[each + k + 1]
            share = found[k] / (last - first)[:, None]
            further = np.pad(share[:, :-1], ((0, 0), (1, 0)))  # times the way from the begin of the interval
            finer[k] += (last - knots[each])[:, None] * share - further
            finer[k + 1] += (knots[each] - first)[:, None] * share + further
        found = finer
    return np.ascontiguousarray(found.swapaxes(0, 1))


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
