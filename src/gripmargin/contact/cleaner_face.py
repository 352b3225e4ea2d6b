"""The face of a cleaner, plane or round: how deep a place of a pad lies in it, and how it is pressed there.

A layer of springs against a rigid round face: the pressure of a place is the stiffness times how deep it would lie
below the face. What gives way is the pad, along the normal of the face as a cell that slides freely, and the cleaner's
own layer behind it.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.workcell import Cleaner, PadMaterial

BESIDE: Final = -1e30  # [m]; of a place beside the cleaner: no part of a step on which it comes there counts


def depth_in(cleaner: Cleaner, places: FloatArray) -> FloatArray:
    """Return how deep places lie below the face of a cleaner [m], below 0 above it; `BESIDE` where it does not reach.

    Args:
        cleaner: With its size.
        places: In its frame [m], shape (..., 3).
    """
    x, y, z = np.moveaxis(places, -1, 0)
    if cleaner.radius is None:
        inside = _inside(x, y, cleaner.outline)
        return np.where(inside, -z, BESIDE)
    inside = np.abs(x) <= (cleaner.length or 0.0) / 2.0
    return np.where(inside, cleaner.radius - np.hypot(y, z + cleaner.radius), BESIDE)


def _inside(x: FloatArray, y: FloatArray, outline: FloatArray | None) -> FloatArray:
    if outline is None:
        return np.zeros(x.shape, dtype=bool)
    inside = np.ones(x.shape, dtype=bool)
    for (x0, y0), (x1, y1) in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        inside &= (x1 - x0) * (y - y0) - (y1 - y0) * (x - x0) >= 0.0
    return inside


def normal_of(cleaner: Cleaner, places: FloatArray) -> FloatArray:
    """Return the normal of the face, out of it, where places are next to it, shape (..., 3), as their own.

    Args:
        cleaner: Plane or round.
        places: In its frame [m], shape (..., 3).
    """
    out = np.zeros_like(places)
    if cleaner.radius is None:
        out[..., 2] = 1.0
        return out
    y, z = places[..., 1], places[..., 2] + cleaner.radius
    radius = np.maximum(np.hypot(y, z), 1e-12)
    out[..., 1], out[..., 2] = y / radius, z / radius
    return out


def stiffness_on(cleaner: Cleaner, material: PadMaterial, cosine: FloatArray) -> FloatArray:
    """Return the stiffness of pad and cleaner along the normal of its face, per area [Pa/m].

    Args:
        cleaner: With its layer.
        material: Of the pad.
        cosine: Between the normals of pad and face, any shape.
    """
    slope2 = 1.0 - cosine**2
    compliance = cosine**2 / material.normal_stiffness + slope2 / material.shear_stiffness
    if cleaner.normal_stiffness is not None:
        compliance = compliance + 1.0 / cleaner.normal_stiffness
    return np.asarray(1.0 / compliance)
