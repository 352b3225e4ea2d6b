"""How hard forces of the process press the pads on the part while it hangs on them.

A bonded layer takes pressure as well as tension: under a force F at a distance e from the middle of a pad of area A and
second moment I its edges bear ``-F / A +- F e y / I`` (any text on strength of materials). Pressed beyond what it bears
the face buckles, and holds a share of its strength from then on; what a press during the carry would add to the bond is
not counted on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.contact.cells import Patch
from gripmargin.contact.loads import load_per_acceleration
from gripmargin.contact.poked import poked
from gripmargin.contact.process import Push
from gripmargin.kernels.modes import natural_modes

SUDDEN = 2.0  # on a load that comes at once (Chopra, Dynamics of Structures, ch. 4, from memory)


@dataclass(frozen=True, eq=False, kw_only=True)
class Pressed:
    """Where forces press one pad hardest.

    Attributes:
        pad: Index of the pad.
        samples: At which forces act, indices into the program, rising, shape (m,).
        most: The most that there may be at each, swing included [Pa], shape (m,).
        surely: What there is at rest [Pa], shape (m,).
        point: Where it is largest, tool frame [m], shape (3,).
    """

    pad: int
    samples: NDArray[np.intp]
    most: FloatArray
    surely: FloatArray
    point: FloatArray


def pressed_by_forces(case: Case) -> tuple[Pressed, ...]:
    """Return how hard forces of the process press each pad; none where there are no forces.

    Args:
        case: The job.
    """
    if not case.pushes:
        return ()
    mass = -load_per_acceleration(case.job.part, case.job.air_density)
    frequency, shapes = natural_modes(case.whole.stiffness, mass)
    samples = np.unique(np.concatenate([push.samples for push in case.pushes]))
    return tuple(_pressed(case, i, patch, samples, frequency, shapes) for i, patch in enumerate(case.whole.patches))


def _pressed(
    case: Case, i: int, patch: Patch, samples: NDArray[np.intp], frequency: FloatArray, shapes: FloatArray
) -> Pressed:
    points, maps = _presses(case, patch)
    by_mode = maps @ (case.whole.stiffness @ shapes)
    own = maps @ case.own_load[:, samples]
    most, surely = SUDDEN * np.maximum(own, 0.0), own.copy()
    for more in case.added:
        k = np.searchsorted(samples, more.samples)
        rest, swing = maps @ more.wrench, np.zeros((len(maps), k.size))
        for factor, push in zip(more.factors, case.pushes, strict=True):
            if factor:
                felt = shapes.T @ push.wrench[:, more.samples - push.samples[0]]
                swing += np.abs(by_mode) @ (_share(push, frequency)[:, None] * np.abs(felt))
        most[:, k] = np.maximum(most[:, k], SUDDEN * np.maximum(own[:, k], 0.0) + rest + swing)
        surely[:, k] = np.maximum(surely[:, k], own[:, k] + rest)
    bonded, locked = case.grip.bonded, case.grip.bonded.locked
    if bonded.sheet is not None:  # a force at one place dents a part that bends
        most += SUDDEN * poked(bonded.sheet, bonded.full, case.pushes) * bonded.full[i][0]
    more_there = 0.0 if locked is None else float(np.maximum(-locked.traction[i][:, 2], 0.0).max(initial=0.0))
    worst = np.unravel_index(int(np.argmax(most)), most.shape)[0]
    return Pressed(
        pad=i,
        samples=samples,
        most=most.max(axis=0) + more_there,
        surely=np.maximum(surely.max(axis=0), 0.0),
        point=points[worst],
    )


def _presses(case: Case, patch: Patch) -> tuple[FloatArray, FloatArray]:
    """Places of a pad, and the pressure there for a unit of each load [Pa per N or N m], shape (p, 6)."""
    sheet = case.grip.bonded.sheet
    if sheet is None:
        return patch.edge, -case.whole.traction_maps(patch, patch.edge)[2]
    points = sheet.places(patch)
    rows = -sheet.traction_maps(patch, points)[:, 2]
    return np.tile(points, (len(rows), 1)), case.grip.asked * rows.reshape(-1, 6)


def _share(push: Push, frequency: FloatArray) -> FloatArray:
    """The swing that a force starts in each mode, over what it does at rest, shape (modes,)."""
    if push.rise == 0.0:
        return np.ones(frequency.size)
    return np.minimum(2.0 / (frequency * push.rise), 1.0)
