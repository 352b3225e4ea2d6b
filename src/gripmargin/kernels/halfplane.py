"""What the pads allow of path acceleration u and squared path speed x, as straight rows.

The load along a path is ``C + A u + B x``, so the pairs (u, x) that every place on the pads allows form a convex set.
It holds the origin where gravity alone is allowed. Rays are shot from there; each ends at the nearest root over all
places, and the chords between neighbouring ends bound a polygon inside the set: exact at the rays.
"""

from __future__ import annotations

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.face import Face
from gripmargin.kernels.utilisation import first_crossing


def chord_rows(
    face: Face,
    loads: tuple[FloatArray, FloatArray, FloatArray],
    limit: FloatArray,
    box: tuple[FloatArray, FloatArray],
    rays: int,
) -> tuple[FloatArray, FloatArray]:
    """Return rows ``a u + b x <= 1`` that the pads allow, at every grid point.

    Args:
        face: The judged points.
        loads: C, A and B, each of shape (6, n).
        limit: Largest utilisation at each grid point [-], shape (n,); C alone is below it.
        box: Largest path acceleration of either sign and largest squared speed that matter, each of shape (n,).
        rays: Number of rays, without the two to the corners of the box.

    Returns:
        a and b, each of shape (n, rays + 1); rows of zeros stand for chords that lie outside the box or that repeat
        their neighbour.
    """
    u_box, x_box = box
    n = limit.size
    forms = _Forms(face, loads, limit)
    # extents of the set along the axes make the rays spread evenly over its edge
    one, none = np.ones(n), np.zeros(n)
    ahead, back, fast = forms.root(one, none), forms.root(-one, none), forms.root(none, one)
    u_size = np.minimum(np.maximum(ahead, back), u_box)
    x_size = np.minimum(fast, x_box)
    angle = np.linspace(0.0, np.pi, rays)
    du = u_size[:, None] * np.cos(angle)
    dx = x_size[:, None] * np.sin(angle)
    dx[:, -1] = 0.0
    du = np.concatenate([du, u_box[:, None], -u_box[:, None]], axis=1)
    dx = np.concatenate([dx, x_box[:, None], x_box[:, None]], axis=1)
    order = np.argsort(np.arctan2(dx / x_size[:, None], du / u_size[:, None]), axis=1)
    du, dx = np.take_along_axis(du, order, axis=1), np.take_along_axis(dx, order, axis=1)
    with np.errstate(divide="ignore"):
        edge = np.minimum(u_box[:, None] / np.abs(du), x_box[:, None] / np.abs(dx)) * 1.05  # a little beyond the box
    far = np.stack([forms.root(du[:, k], dx[:, k]) for k in range(du.shape[1])], axis=1)
    capped = ~(far < edge)
    far = np.minimum(far, edge)
    u, x = far * du, far * dx
    row_a, row_b = np.diff(x, axis=1), -np.diff(u, axis=1)
    offset = row_a * u[:, :-1] + row_b * x[:, :-1]
    # two rays of one direction end at one place, and what lies between them says nothing
    length = np.hypot(row_a / x_size[:, None], row_b / u_size[:, None])
    idle = (capped[:, :-1] & capped[:, 1:]) | ~(offset > 0) | (length < 1e-6)
    row_a, row_b = (np.divide(r, offset, out=np.zeros_like(r), where=~idle) for r in (row_a, row_b))
    scaled = np.stack([row_a * u_size[:, None], row_b * x_size[:, None]])
    same = np.abs(np.diff(scaled, axis=2)).max(axis=0) < 1e-6
    row_a[:, 1:][same], row_b[:, 1:][same] = 0.0, 0.0
    return row_a, row_b


class _Forms:
    """The quadratics of all places: along a ray they take three numbers from each."""

    def __init__(self, face: Face, loads: tuple[FloatArray, FloatArray, FloatArray], limit: FloatArray) -> None:
        c, a, b = (face.maps @ load for load in loads)
        shear, left = slice(0, 2), face.left[:, None] * limit
        if face.start is not None:
            c = c + face.start[:, :, None] * limit
        if not face.plain:
            left = left - face.allowed_for(loads[0])
        self.face, self.loads, self.left = face, loads, left
        self.normal = c[2], a[2], b[2]
        self.aa, self.ab, self.bb = ((p[shear] * q[shear]).sum(axis=0) for p, q in ((a, a), (a, b), (b, b)))
        self.ca, self.cb = ((c[shear] * q[shear]).sum(axis=0) for q in (a, b))
        self.rest = (c[shear] ** 2).sum(axis=0) - left * np.abs(left)

    def root(self, du: FloatArray, dx: FloatArray) -> FloatArray:
        """Distance along rays to the edge of the set, inf where there is none; shape (n,)."""
        square = du**2 * self.aa + 2.0 * du * dx * self.ab + dx**2 * self.bb
        half = du * self.ca + dx * self.cb
        if self.face.slack is not None:  # what is allowed for grows no faster than along the ray: the inner side
            grows = self.face.allowed_for(du * self.loads[1] + dx * self.loads[2])
            square, half = square - grows**2, half + self.left * grows
        still, slope = self.normal[0], du * self.normal[1] + dx * self.normal[2]
        return np.asarray(first_crossing(square, half, self.rest, still, slope).min(axis=0))
