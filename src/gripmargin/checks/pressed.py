"""How hard forces of the process, or the part itself, press the pads on it while it is carried.

A bonded layer takes pressure as well as tension: under a force F at a distance e from the middle of a pad of area A and
second moment I its edges bear ``-F / A +- F e y / I`` (any text on strength of materials). Pressed beyond what it bears
the face buckles, and holds a share of its strength from then on. What a press during the carry may add to the bond is
not counted on while the part is carried, and counts where it is let go. A force that pulls and goes at once throws the
part back onto the pads: the swing that is left presses them as long as it has not faded.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import by_parts, columns, parts, stored
from gripmargin.contact.cells import Patch
from gripmargin.contact.loads import load_per_acceleration
from gripmargin.contact.poked import poked
from gripmargin.contact.swung import Vibration, left, started, vibration_of

if TYPE_CHECKING:
    from gripmargin.checks.case import Case

AT_ONCE = 2_048  # samples whose pressures are worked out at a time: memory alone
SUDDEN = 2.0  # on a load that comes at once (Chopra, Dynamics of Structures, ch. 4, from memory)

Met = tuple[NDArray[np.intp], FloatArray, FloatArray]


@dataclass(frozen=True, eq=False, kw_only=True)
class Pressed:
    """Where one pad is pressed hardest.

    Attributes:
        pad: Index of the pad.
        samples: At which something presses or may, indices into the program, rising, shape (m,).
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
    whole = case.whole
    mass = -load_per_acceleration(case.job.part, case.job.air_density)
    pads = np.stack([whole.patch_stiffness(patch) for patch in whole.patches])
    modes = vibration_of(whole, whole.stiffness, mass, pads)
    met, shaken = tuple(_met(case, modes)), whole.stiffness @ modes.shapes
    return tuple(_pressed(case, i, patch, shaken, met) for i, patch in enumerate(whole.patches))


def pressed_by_the_load(case: Case) -> tuple[Pressed, ...]:
    """Return how hard weight and inertia of the part press each pad while it is carried, as where it stands on them.

    Where the motion is not known there is no most.

    Args:
        case: The job.
    """
    out, load = [], columns(case.own_load, case.carried)
    if not load.size:
        return ()
    known = by_parts(lambda some: np.isfinite(some).all(axis=1), load.T, kind=bool)
    for i, patch in enumerate(case.whole.patches):
        points, maps = _presses(case, patch)
        surely, most, worst, highest = stored(load.shape[1:]), stored(load.shape[1:]), 0, 0.0
        locked = _locked_in(case, i)
        for some in parts(surely.size, size=AT_ONCE):
            there, open_ = _at_rest(case, patch, maps, np.where(known[some], load[:, some], 0.0))
            surely[some] = np.maximum((there - open_).max(axis=0), 0.0)
            there = there + open_
            most[some] = np.where(known[some], SUDDEN * np.maximum(there.max(axis=0), 0.0) + locked, np.inf)
            if there.max() > highest:
                worst, highest = int(np.unravel_index(int(np.argmax(there)), there.shape)[0]), float(there.max())
        out.append(Pressed(pad=i, samples=case.carried, most=most, surely=surely, point=points[worst]))
    return tuple(out)


def _at_rest(case: Case, patch: Patch, maps: FloatArray, load: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Pressure at places of a pad by loads at rest, and by how much it may differ [Pa], shape (p, k) each.

    Pads that are bonded unevenly are as soft as what surely holds of them at most, and as stiff as all of them at
    least; what only touches presses in between (`gripmargin.contact.grip`: Loewner's order, Cauchy and Schwarz).
    """
    stiff, soft = case.grip.backings[0], case.grip.backings[-1]
    if case.grip.bonded.sheet is not None or soft is stiff:
        return maps @ load, np.zeros((1, 1))
    more = soft.compliance - stiff.compliance
    more = (more + more.T) / 2.0
    rows = maps @ stiff.stiffness  # of a unit of displacement
    wide = np.sqrt(np.maximum(np.einsum("pi,ij,pj->p", rows, more, rows), 0.0))
    size = np.sqrt(np.maximum(np.einsum("ik,ij,jk->k", load, more, load), 0.0))
    return rows @ (stiff.compliance + more / 2.0) @ load, 0.5 * np.outer(wide, size)


def pressed_in_the_carry(case: Case) -> tuple[float, ...]:
    """Return the most that each pad may be pressed with while the part hangs on it or stands on it [Pa]."""
    out = np.zeros(len(case.whole.patches))
    for pressed in (*case.shared(pressed_by_the_load), *case.shared(pressed_by_forces)):
        out[pressed.pad] = max(out[pressed.pad], float(pressed.most.max(initial=0.0)))
    return tuple(out.tolist())


def _locked_in(case: Case, i: int) -> float:
    """The most that a pad is pressed without any load [Pa]."""
    locked = case.grip.bonded.locked
    return 0.0 if locked is None else float(np.maximum(-locked.traction[i][:, 2], 0.0).max(initial=0.0))


def _met(case: Case, modes: Vibration) -> Iterator[Met]:
    """Yield every combination of forces, and none once they have gone, with the swing that there may be of each mode.

    Samples, shape (m,), what the forces add to the load, shape (6, m), and amplitudes, shape (modes, m).
    """
    begun = [started(modes, push)[:, None] for push in case.pushes]
    over = np.zeros((len(case.pushes), modes.frequency.size, case.airborne.size))
    for run in np.split(case.carried, np.flatnonzero(np.diff(case.carried) > 1) + 1):
        for i, push in enumerate(case.pushes):
            if run.size and run[0] <= push.samples[0] <= run[-1]:
                over[i, :, run] = left(modes, push, case.job.trajectory.t[run], int(push.samples[-1] - run[0])).T
    gone = np.flatnonzero(over.any(axis=(0, 1)))
    yield gone, np.zeros((6, gone.size)), over[:, :, gone].sum(axis=0)
    for more in case.added:
        swings = (begun[i] if factor else over[i][:, more.samples] for i, factor in enumerate(more.factors))
        yield more.samples, more.wrench, np.zeros((modes.frequency.size, more.samples.size)) + sum(swings)


def _pressed(case: Case, i: int, patch: Patch, shaken: FloatArray, met: Sequence[Met]) -> Pressed:
    points, maps = _presses(case, patch)
    by_mode, bonded = np.abs(maps @ shaken), case.grip.bonded
    most, surely = np.full((2, case.airborne.size), -np.inf)
    worst, highest = 0, -np.inf
    for every, wrench, swing in met:
        for first in range(0, every.size, AT_ONCE):
            some = slice(first, first + AT_ONCE)
            at, own, rest = every[some], maps @ case.own_load[:, every[some]], maps @ wrench[:, some]
            there = SUDDEN * np.maximum(own, 0.0) + np.maximum(rest + by_mode @ swing[:, some], 0.0)
            most[at] = np.maximum(most[at], there.max(axis=0))
            surely[at] = np.maximum(surely[at], np.maximum(own, own + rest).max(axis=0))
            if there.max(initial=-np.inf) > highest:
                worst, highest = int(np.unravel_index(int(np.argmax(there)), there.shape)[0]), float(there.max())
    if bonded.sheet is not None:  # a force at one place dents a part that bends
        most += SUDDEN * poked(bonded.sheet, bonded.full, case.pushes)[i][1] * bonded.full[i][0]
    samples = np.flatnonzero(most != -np.inf)
    return Pressed(
        pad=i,
        samples=samples,
        most=most[samples] + _locked_in(case, i),
        surely=np.maximum(surely[samples], 0.0),
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
