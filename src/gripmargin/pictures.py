"""What drawings of a report need beyond its figures: pads with bond and backing, handovers over time.

Nothing is worked out here that a check has not worked out already, but for the restraint of a nest, which is cheap.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from gripmargin.arrays import FloatArray
from gripmargin.case import Case
from gripmargin.checks.restraint import restraint
from gripmargin.contact.cells import Patch
from gripmargin.loads import air_load
from gripmargin.workcell import Part

if TYPE_CHECKING:
    from gripmargin.handover import Pickup, Putdown

PRESSED = 300  # samples at which the spreading contact is looked at


@dataclass(frozen=True, eq=False, kw_only=True)
class PadPicture:
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
class HandoverPicture:
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
class Picture:
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
    pads: tuple[PadPicture, ...]
    compliance: FloatArray
    handovers: tuple[HandoverPicture, ...] = field(default=())
    flatness: float = 0.0
    air: FloatArray | None = None


def picture(case: Case) -> Picture:
    """Return what drawings of a case need."""
    handovers = [] if case.pickup is None else [_preload(case.pickup)]
    handovers += [_release(case, putdown) for putdown in case.putdowns if putdown.history is not None]
    job = case.job
    return Picture(
        part=job.part,
        gravity=case.standing[:3].T / job.part.mass,
        axis=case.motion.at.rotation[:, :, 2],
        airborne=case.airborne,
        pads=_pads(case),
        compliance=case.backing.compliance,
        handovers=tuple(sorted(handovers, key=lambda handover: float(handover.t[0]))),
        flatness=0.0 if job.pick is None else job.pick.flatness,
        air=None if job.part.drag_area is None else np.stack(air_load(job.part, case.motion.at, job.air_density)),
    )


def _pads(case: Case) -> tuple[PadPicture, ...]:
    counted = {patch.pad.name: i for i, patch in enumerate(case.backing.patches)}
    held = case.held or [np.ones(patch.areas.size) for patch in case.whole.patches]
    pads = []
    edge: FloatArray
    for patch, bond in zip(case.whole.patches, held, strict=True):
        i = counted.get(patch.pad.name)
        if i is None:
            kept, edge, strength = np.zeros(bond.size, dtype=bool), np.zeros((0, 3)), (0.0, 0.0)
        else:
            reduced, strength = case.backing.patches[i], case.strengths[i]
            enough = (bond >= case.counted.level).reshape(-1, 3).all(axis=1)  # as `Patch.only` reads them
            kept = np.ones(bond.size, dtype=bool) if reduced.areas.size == bond.size else np.repeat(enough, 3)
            edge = reduced.edge
        pads.append(
            PadPicture(
                patch=patch,
                bond=bond,
                counted=kept,
                edge=edge,
                pull_off_stress=strength[0],
                shear_strength=strength[1],
            )
        )
    return tuple(pads)


def _preload(pickup: Pickup) -> HandoverPicture:
    history = pickup.history
    return HandoverPicture(
        kind="preload",
        t=history.t,
        force=history.force,
        moment=history.moment,
        held=history.held,
        held_total=history.held_total,
        pressure=pickup.hard.pressure if pickup.hard.t.size == history.t.size else history.pressure,
        demand={"lift": np.maximum(history.force[:, 2], 0.0)},
        available={"lift": np.full(history.t.size, pickup.restraint)},
        pressed=_pressed(pickup),
    )


def _pressed(pickup: Pickup) -> FloatArray:
    """How the contact spreads while the tool comes down, at some samples and the deepest one."""
    relative = pickup.relative
    centre = np.stack([face.patch.centre for face in pickup.faces])
    deepest = int(np.argmin(relative.height(centre).sum(axis=1)))
    chosen = np.unique(np.append(np.linspace(0, relative.samples - 1, PRESSED).astype(int), deepest))
    pressed, given, whole = np.zeros(chosen.size), np.zeros(chosen.size), 0.0
    for face in pickup.faces:
        patch = face.patch
        depth = -(relative.rotation[chosen, 2] @ patch.points.T + relative.position[chosen, 2:]) - face.gap
        peak = np.maximum.accumulate(np.maximum(depth, 0.0), axis=0) * patch.pad.material.normal_stiffness
        pressed += (depth > 0) @ patch.areas
        given += np.where(peak > 0, face.law(peak), 0.0) @ patch.areas
        whole += patch.area
    return np.stack([relative.t[chosen], pressed / whole, given / whole])


def _release(case: Case, putdown: Putdown) -> HandoverPicture:
    history, nest = putdown.history, case.job.nest
    assert history is not None and nest is not None  # noqa: S101, PT018 - the caller has looked
    wrench = np.concatenate([history.force, history.moment], axis=1)
    at = putdown.relative
    forces = restraint(case.job.part, nest, case.job.gravity, wrench, at.rotation[0], at.position[0])
    return HandoverPicture(
        kind="release",
        t=history.t,
        force=history.force,
        moment=history.moment,
        held=history.held,
        held_total=history.held_total,
        pressure=history.pressure,
        demand=forces.demand,
        available=forces.available,
    )
