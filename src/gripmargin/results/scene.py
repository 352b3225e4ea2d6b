"""What drawings of a report need beyond its figures: pads with bond and backing, handovers over time."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.cells import Patch
from gripmargin.workcell import Part


@dataclass(frozen=True, eq=False, kw_only=True)
class PadState:
    """One pad on the part.

    Attributes:
        patch: Its contact with the part.
        bond: Share of the full strength that each cell holds after the preload [-], shape (m,).
        counted: Whether margins count on a cell, shape (m,).
        edge: Corners of the convex hull of those cells, tool frame [m], shape (v, 3); empty where there are none.
        pull_off_stress: That each of those cells surely has [Pa].
        shear_strength: Likewise [Pa].
    """

    patch: Patch
    bond: FloatArray
    counted: NDArray[np.bool_]
    edge: FloatArray
    pull_off_stress: float
    shear_strength: float


@dataclass(frozen=True, eq=False, kw_only=True)
class HandoverRecord:
    """One preload or release over time, in the face frame of tray or nest.

    Attributes:
        kind: preload or release.
        t: Time of each row [s], shape (k,).
        force: Of the gripper on the part [N], shape (k, 3); a positive z lifts the part.
        moment: The same about the face frame's origin [N m], shape (k, 3).
        held: Share of each pad's full strength that is bonded [-], shape (k, pads).
        held_total: Of all pads together [-], shape (k,).
        pressure: Highest contact pressure of each pad [Pa], shape (k, pads).
        demand: For each way in which the part could leave its nest, what the pads ask [N or N m], shape (k,); of a
            preload the pull along the face normal alone, under "lift".
        available: What restrains it, likewise; NaN where the job does not say.
        pressed: Of a preload: times [s], the share of the contact area that is pressed then [-], and the mean share of
            full adhesion that the pressure so far gives by the pads' law, dwell not counted [-]; shape (3, p). None
            for a release.
    """

    kind: str
    t: FloatArray
    force: FloatArray
    moment: FloatArray
    held: FloatArray
    held_total: FloatArray
    pressure: FloatArray
    demand: dict[str, FloatArray]
    available: dict[str, FloatArray]
    pressed: FloatArray | None = None


@dataclass(frozen=True, eq=False, kw_only=True)
class Scene:
    """What drawings need; SI, tool axes unless said otherwise.

    Attributes:
        part: The part as gripped.
        gravity: At every sample [m/s^2], shape (n, 3).
        axis: The tool's z axis in the world at every sample, shape (n, 3).
        airborne: Whether the part hangs on the pads, sample by sample, shape (n,).
        pads: In the order of the job.
        compliance: Of the pads that count, from the load at the tool origin to the displacement there, shape (6, 6).
        handovers: Preload and releases that were simulated, in order of time.
        flatness: Of the part's face in its tray [m].
        air: Loads of the air at every sample, drag and added mass [N, N m], shape (2, 6, n); None without a drag area.
    """

    part: Part
    gravity: FloatArray
    axis: FloatArray
    airborne: NDArray[np.bool_]
    pads: tuple[PadState, ...]
    compliance: FloatArray
    handovers: tuple[HandoverRecord, ...] = field(default=())
    flatness: float = 0.0
    air: FloatArray | None = None
