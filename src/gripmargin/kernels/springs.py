"""Cells as springs between a rigid plate and a plane face: indentation, elongation, force, energy.

A cell is a spring from its root (fixed to the tool) to its anchor (a point of the part's face). Its
stiffness is k_n along the pad's normal and k_t across it; the axes turn with the tool, so that the energy
depends on the relative pose alone and the forces balance for finite rotations.

A cell that touches without holding slides freely along the face: its anchor is where the spring has no
force along the face. The spring then acts as one along the face normal, of stiffness
``1 / (cos^2 / k_n + sin^2 / k_t)`` with the tilt of the pad against the face; untilted that is k_n.

Shapes: s knots, c cells. Face frame: +z out of the part. Tool frame: +z into the part.
"""

from __future__ import annotations

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.face import squared
from gripmargin.kernels.utilisation import first_crossing


def free_contact(
    rotation: FloatArray, normal: FloatArray, normal_stiffness: float, shear_stiffness: float
) -> tuple[FloatArray, FloatArray]:
    """Return stiffness and lean of a cell that slides freely along the face.

    Args:
        rotation: Tool axes in the face frame, shape (s, 3, 3).
        normal: Pad normal in the tool frame, shape (3,).
        normal_stiffness: [Pa/m].
        shear_stiffness: [Pa/m].

    Returns:
        Stiffness per area along the face normal [Pa/m], shape (s,), and from root to anchor for a unit of
        indentation, face axes, shape (s, 3); its third component is 1.
    """
    face_normal = rotation[:, 2]  # in tool axes
    lean = face_normal @ normal
    along = face_normal / shear_stiffness + (1 / normal_stiffness - 1 / shear_stiffness) * lean[:, None] * normal
    compliance = (along * face_normal).sum(axis=1)
    return 1.0 / compliance, np.einsum("sij,sj->si", rotation, along) / compliance[:, None]


def elongation(rotation: FloatArray, position: FloatArray, anchor: FloatArray, root: FloatArray) -> FloatArray:
    """Return from root to anchor in tool axes [m], shape (s, c, 3).

    Args:
        rotation: Shape (s, 3, 3).
        position: [m], shape (s, 3).
        anchor: Face frame [m], shape (s, c, 3) or (1, c, 3).
        root: Tool frame [m], shape (c, 3).
    """
    return (anchor - position[:, None]) @ rotation - root


def utilisation2(
    stretch: FloatArray,
    normal: FloatArray,
    normal_stiffness: FloatArray,
    shear_stiffness: FloatArray,
    pull: FloatArray,
    shear: FloatArray,
) -> FloatArray:
    """Return the squared utilisation of a full bond, (max(sigma, 0)/S)^2 + (tau/T)^2, shape (..., c).

    Args:
        stretch: From root to anchor, tool axes [m], shape (..., c, 3).
        normal: Pad normals in the tool frame, shape (c, 3).
        normal_stiffness: [Pa/m], shape (c,).
        shear_stiffness: [Pa/m], shape (c,).
        pull: Pull-off stress S [Pa], shape (c,).
        shear: Shear strength T [Pa], shape (c,).
    """
    opening = np.einsum("...i,...i->...", stretch, normal)
    across2 = np.maximum(np.einsum("...i,...i->...", stretch, stretch) - opening * opening, 0.0)
    return squared(across2 * (shear_stiffness / shear) ** 2, opening * (normal_stiffness / pull))


def crossing(
    start: FloatArray, end: FloatArray, normal: FloatArray, rates: tuple[FloatArray, FloatArray], limit2: FloatArray
) -> FloatArray:
    """Return where on a straight path of elongation the squared utilisation first reaches a limit.

    Along a line it is convex, so from below the limit it crosses once.

    Args:
        start: From root to anchor, tool axes [m], shape (c, 3).
        end: The same at the end of the path, beyond the limit.
        normal: Pad normals in the tool frame, shape (c, 3).
        rates: k_n/S and k_t/T [1/m], shape (c,) each.
        limit2: Shape (c,).

    Returns:
        Share of the path, 0 to 1, shape (c,); 0 where it starts beyond the limit.
    """
    opening0, opening1 = (start * normal).sum(axis=1), (end * normal).sum(axis=1)
    across0, across1 = start - opening0[:, None] * normal, end - opening1[:, None] * normal
    n0, dn = opening0 * rates[0], (opening1 - opening0) * rates[0]
    t0, dt = across0 * rates[1][:, None], (across1 - across0) * rates[1][:, None]
    shear2 = (t0 * t0).sum(axis=1)
    share = first_crossing((dt * dt).sum(axis=1), (dt * t0).sum(axis=1), shear2 - limit2, n0, dn)
    return np.where(squared(shear2, n0) >= limit2, 0.0, np.clip(share, 0.0, 1.0))


def bonded_force(
    stretch: FloatArray,
    rotation: FloatArray,
    normal: FloatArray,
    normal_stiffness: FloatArray,
    shear_stiffness: FloatArray,
    areas: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Return what bonded cells do to the part, face axes [N], shape (..., c, 3), and their energy [J], (..., c).

    Args:
        stretch: From root to anchor, tool axes [m], shape (..., c, 3).
        rotation: Tool axes in the face frame, shape (..., 3, 3).
        normal: Pad normals in the tool frame, shape (c, 3).
        normal_stiffness: [Pa/m], shape (c,).
        shear_stiffness: [Pa/m], shape (c,).
        areas: [m^2], shape (c,).
    """
    opening = np.einsum("...i,...i->...", stretch, normal)
    extra = (normal_stiffness - shear_stiffness) * opening
    pull = shear_stiffness[:, None] * stretch + extra[..., None] * normal
    energy = 0.5 * areas * np.einsum("...i,...i->...", pull, stretch)
    return -(areas[:, None] * pull) @ np.swapaxes(rotation, -1, -2), energy


def second_moments(anchor: FloatArray, root: FloatArray, areas: FloatArray) -> FloatArray:
    """Return the area moments of (anchor, root, 1) that carry the reaction of a fixed set of bonded cells.

    Args:
        anchor: Face frame, from any point [m], shape (c, 3).
        root: Tool frame, from any point [m], shape (c, 3).
        areas: [m^2], shape (..., c).

    Returns:
        Shape (..., 7, 7).
    """
    columns = np.concatenate([anchor, root, np.ones((len(root), 1))], axis=1)
    i, j = np.triu_indices(7)
    each = areas @ (columns[:, i] * columns[:, j])
    out = np.empty((*areas.shape[:-1], 7, 7))
    out[..., i, j] = out[..., j, i] = each
    return out


def bonded_reaction(
    moments: FloatArray,
    centre: tuple[FloatArray, FloatArray],
    rotation: FloatArray,
    position: FloatArray,
    normal: FloatArray,
    normal_stiffness: float,
    shear_stiffness: float,
) -> tuple[FloatArray, FloatArray]:
    """Return the reaction of a fixed set of bonded cells of one pad, at a cost that does not grow with the cells.

    Args:
        moments: As `second_moments` returns them, shape (7, 7), or of each pose, shape (s, 7, 7).
        centre: The points in the face and in the tool frame from which anchors and roots were counted [m].
        rotation: Shape (s, 3, 3).
        position: [m], shape (s, 3).
        normal: Pad normal in the tool frame, shape (3,).
        normal_stiffness: [Pa/m].
        shear_stiffness: [Pa/m].

    Returns:
        Force [N] and moment about the face origin [N m] on the part, face axes, shape (s, 6), and the elastic
        energy [J], shape (s,).
    """
    knots = len(rotation)
    to_stretch = np.empty((knots, 3, 7))  # (anchor, root, 1) -> from root to anchor in tool axes
    to_stretch[:, :, :3] = rotation.transpose(0, 2, 1)
    to_stretch[:, :, 3:6] = -np.eye(3)
    to_stretch[:, :, 6] = np.einsum("sji,sj->si", rotation, centre[0] - position) - centre[1]
    stiffness = shear_stiffness * np.eye(3) + (normal_stiffness - shear_stiffness) * np.outer(normal, normal)
    weighted = to_stretch @ moments  # sums of area x stretch x (anchor, root, 1)
    pull = -(rotation @ stiffness) @ weighted
    force = pull[:, :, 6]
    arms = pull[:, :, :3]  # sum of force_k x anchor_j, from the centre
    moment = np.stack(
        [arms[:, 2, 1] - arms[:, 1, 2], arms[:, 0, 2] - arms[:, 2, 0], arms[:, 1, 0] - arms[:, 0, 1]], axis=1
    )
    moment += np.cross(centre[0], force)
    stretches = weighted @ to_stretch.transpose(0, 2, 1)
    energy = 0.5 * np.einsum("ij,sji->s", stiffness, stretches)
    return np.concatenate([force, moment], axis=1), energy
