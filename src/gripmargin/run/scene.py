"""The scene that drawings of a report need, out of a case.

Nothing is worked out here that a check has not worked out already, but for the restraint of a nest, which is cheap.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks import premises
from gripmargin.checks.case import Case
from gripmargin.checks.resting import raised
from gripmargin.checks.setting import moves_at
from gripmargin.contact.handover import Release
from gripmargin.contact.loads import air_load
from gripmargin.contact.pickup import Pickup
from gripmargin.results.scene import HandoverRecord, PadState, Scene

PRESSED = 300  # samples at which the spreading contact is looked at


def scene_of(case: Case, loads: Mapping[str, FloatArray]) -> Scene:
    """Return what drawings of a case need, with what the pads carry at every sample by the results that say so."""
    handovers = [] if case.pickup is None else [_preload(case.pickup)]
    handovers += [_release(case, release) for release in case.putdowns if isinstance(release, Release)]
    job, moves = case.job, () if case.trial else moves_at(case, 1.0)
    return Scene(
        part=job.part,
        gravity=case.motion.at.in_tool(job.gravity).T,
        axis=case.motion.at.axis,
        airborne=case.airborne,
        pads=_pads(case),
        compliance=case.grip.compliance,
        face=case.grip.face,
        points=case.grip.points,
        owner=case.grip.owner,
        asked=case.grip.asked,
        handovers=tuple(sorted(handovers, key=lambda handover: float(handover.t[0]))),
        flatness=0.0 if job.pick is None else job.pick.flatness,
        loads=loads,
        sheet=case.grip.bonded.sheet,
        air=None if job.part.drag_area is None else np.stack(air_load(job.part, case.motion.at, job.air_density)),
        moves=moves,
        pushed=case.pushed(slice(None)) if case.pushes else None,
        raised=raised(case, premises.ALL),
        doubts=tuple(doubt for premise in premises.ALL for doubt in case.shared(premise).doubts),
    )


def _pads(case: Case) -> tuple[PadState, ...]:
    grip, pads = case.grip, []
    for i, (patch, bond) in enumerate(zip(grip.whole.patches, grip.bonded.shares, strict=True)):
        pull, shear = grip.bonded.full[i]
        own = grip.owner == i
        pads.append(
            PadState(
                patch=patch,
                bond=bond,
                counted=grip.kept[i],
                edge=grip.points[own],
                edge_bond=grip.pull[own] / pull,
                pull_off_stress=pull,
                shear_strength=shear,
            )
        )
    return tuple(pads)


def _preload(pickup: Pickup) -> HandoverRecord:
    history = pickup.history
    return HandoverRecord(
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


def _release(case: Case, release: Release) -> HandoverRecord:
    history, forces = release.history, release.restraint(case.job, release.history.wrench)
    return HandoverRecord(
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
