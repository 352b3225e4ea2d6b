"""How far pads are used under a part that bends by its load and by forces of the process, each at its place.

The load is that at the tool origin as of inertia and weight; of every force follows what it is as a load there, which
acts at its place (`gripmargin.contact.poked`). At rest that is all. A force that comes and goes swings the plate in
more ways than weight and inertia do: in those in which the force itself bends it, and in which the inertia of these
does, and so on (load-dependent Ritz vectors, as in `gripmargin.contact.sheet_vibration`). What these do at rest adds up
to what the force does, so no way of it is left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import KDTree

from gripmargin.base.arrays import FloatArray, Value
from gripmargin.contact.grip import MISSED, Grip
from gripmargin.contact.poked import Place, felt, moved_by, place_of
from gripmargin.contact.process import Added, Push
from gripmargin.contact.sheet import Sheet, contact_of, indented
from gripmargin.contact.sheet_vibration import vibrations
from gripmargin.contact.swung import MOST_DAMPED, Vibration, started
from gripmargin.kernels.face import Face, squared
from gripmargin.kernels.march import between
from gripmargin.kernels.modes import natural_modes
from gripmargin.kernels.utilisation import peak_utilisation

BLOCKS = 3  # sets of ways: what loads and forces do at rest, what its inertia does, and so on
AT_ONCE = 32_768  # places times samples: memory alone
PERIODS, INSTANTS = 12, 2_000  # of the slowest vibration over which a swing is followed, and at how many instants
TURN = 1.0  # [rad] from one of them to the next up to which a vibration is followed


@dataclass(frozen=True, eq=False, kw_only=True)
class Placed(Value):
    """Places of the pads, and what they feel of a load, of forces at their places, and of vibrations.

    Attributes:
        face: The places; a load has 6 rows at the tool origin, 6 for every force, and one for every vibration.
        nearest: The place of the grip that stands for each, shape (places,).
        vibrations: The plate's own ones as each force feels them, slowest first; none where it hangs at rest.
    """

    face: Face
    nearest: NDArray[np.intp]
    vibrations: tuple[Vibration, ...] = ()

    @classmethod
    def of(cls, grip: Grip, pushes: Sequence[Push], which: int | None = None, added_mass: float = 0.0) -> Placed | None:
        """Return the places of a grip; None where the part does not bend, or no force acts on it.

        Args:
            grip: The pads.
            pushes: The forces.
            which: Index of the rigidity whose vibrations are followed; None: it hangs at rest.
            added_mass: Of air that swings along [kg].
        """
        sheet, bonded = grip.bonded.sheet, grip.bonded
        if sheet is None or not pushes:
            return None
        places = [place_of(push.of, sheet) for push in pushes]
        swings, ways = _swings(sheet, places, which, added_mass)
        maps, nearest = [], []
        for i, patch in enumerate(bonded.whole.patches):
            own, on_pad = np.flatnonzero(grip.owner == i), contact_of(patch, sheet.part)
            here = [[*place, patch.edge[0, 2]] for place in places if on_pad.covers(shapely.Point(place))]
            at = np.concatenate([sheet.places(patch), np.reshape(here, (-1, 3))])
            held, near = bonded.held_at(i, at), own[KDTree(grip.points[own]).query(at)[1]]
            shaken = sheet.model.traction(patch, at, ways)
            for k, bent in enumerate(sheet.bent):
                moved = np.hstack([bent, *(moved_by(sheet, place)[k] for place in places)])
                traction = np.concatenate([sheet.model.traction(patch, at, moved), shaken], axis=2)
                maps.append(traction / held.T[[1, 1, 0], :, None])
                nearest.append(near)
        asked = (1.0 + MISSED) * (1.0 + indented(bonded.whole.patches, sheet.part))
        face = Face(np.ascontiguousarray(np.concatenate(maps, axis=1)) * asked)
        return cls(face=face, nearest=np.concatenate(nearest), vibrations=swings)

    @classmethod
    def drooping(
        cls, sheet: Sheet, at: FloatArray, pushes: Sequence[Push], which: int | None = None, added_mass: float = 0.0
    ) -> Placed:
        """Return places of a plate, which feel how far they leave the plane of its pads to either side [m].

        Args:
            sheet: The plate on its pads.
            at: Where, tool frame [m], shape (k, 2).
            pushes: As above, and what follows too.
            which: Index of the rigidity.
            added_mass: [kg].
        """
        places, sag = [place_of(push.of, sheet) for push in pushes], sheet.sagging(at)
        swings, ways = _swings(sheet, places, which, added_mass)
        maps = []
        for k, bent in enumerate(sheet.bent):
            moved = np.hstack([bent, *(moved_by(sheet, place)[k] for place in places), ways])
            maps.append(sag @ moved[:-3])
        both = np.concatenate([*maps, *(-own for own in maps)])
        face = Face(np.stack([np.zeros_like(both), np.zeros_like(both), both]))
        return cls(face=face, nearest=np.arange(len(both)), vibrations=swings)

    def loads(self, own: FloatArray, forces: FloatArray, response: FloatArray | None = None) -> FloatArray:
        """Return loads of the face, shape (rows, m).

        Args:
            own: At the tool origin, without forces, shape (6, m).
            forces: What each is there, shape (6 forces, m).
            response: Of the vibrations beside what they are at rest, shape (modes, m); None: none.
        """
        rest = np.zeros((self.face.maps.shape[2] - 6 - len(forces), own.shape[1])) if response is None else response
        return np.concatenate([own, forces, rest])

    def peak(self, loads: FloatArray) -> tuple[FloatArray, NDArray[np.intp], FloatArray, NDArray[np.intp]]:
        """Return the largest use and tension of every load, as `peak_utilisation`, with their places of the grip."""
        used, at, tension, there = peak_utilisation(self.face, loads)
        return used, self.nearest[at], tension, self.nearest[there]

    @property
    def ways(self) -> FloatArray:
        """What the places feel of a response of 1 of each vibration, shape (3, places, modes)."""
        return self.face.maps[:, :, self.face.maps.shape[2] - len(self.vibrations[0].frequency) :]

    def reach(self, push: Push, which: int) -> FloatArray | None:
        """Return the least and the largest that places feel of a force that comes and stays, beside what they do then.

        Vibrations too fast for the instants that are looked at count with their whole size.

        Args:
            push: One whose load stays as it is; None is returned of others.
            which: Which of the forces it is.

        Returns:
            Shape (2, 3, places).
        """
        if np.ptp(push.wrench, axis=1).max() > 0.0:
            return None
        modes, out = self.vibrations[which], np.zeros((2, *self.face.maps.shape[:2]))
        at_rest = modes.shapes.T @ push.wrench[:, 0]
        t = np.linspace(0.0, push.rise + PERIODS * 2.0 * np.pi / float(modes.frequency[0]), INSTANTS)
        slow, size = modes.frequency * t[1] <= TURN, started(modes, push)
        lasting = np.exp(-modes.damping * modes.frequency * (t[-1] - push.rise))  # what may be left at the end
        missed = np.abs(self.ways) @ (size * np.where(slow, between(modes.frequency * t[1]), 1.0))
        response = np.where(slow, at_rest, 0.0)[:, None] * (ramp_response(modes, t, push.rise) - 1.0)
        step = max(1, AT_ONCE // INSTANTS)
        for first in range(0, self.face.points, step):
            some = slice(first, first + step)
            there = self.ways[:, some] @ response
            out[:, :, some] = there.min(axis=2), there.max(axis=2)
        end = np.abs(self.ways) @ (size * lasting)
        return np.stack([np.minimum(out[0] - missed, -end), np.maximum(out[1] + missed, end)])

    def swung(self, loads: FloatArray, low: FloatArray, high: FloatArray, reach: FloatArray) -> FloatArray:
        """Return the most that pads may be used by loads with vibrations about them, however they meet, shape (m,).

        Args:
            loads: Shape (rows, m).
            low: Least response of each vibration beside that of the loads, 0 or less, shape (modes, m).
            high: Largest one, 0 or more.
            reach: The least and the largest that places feel beside that, shape (2, 3, places).
        """
        out, maps, ways = np.empty(loads.shape[1]), self.face.maps, self.ways
        up, down, (lowest, highest) = np.maximum(ways, 0.0), np.minimum(ways, 0.0), reach[..., None]
        step = max(1, AT_ONCE // self.face.points)
        for first in range(0, out.size, step):
            part = slice(first, first + step)
            rest = maps @ loads[:, part]
            most = rest + highest + up @ high[:, part] + down @ low[:, part]
            least = rest[:2] + lowest[:2] + up[:2] @ low[:, part] + down[:2] @ high[:, part]
            shear = np.square(np.maximum(np.abs(most[:2]), np.abs(least))).sum(axis=0)
            out[part] = np.sqrt(squared(shear, most[2]).max(axis=0))
        return out


def rows_of(more: Added, pushes: Sequence[Push], samples: NDArray[np.intp]) -> FloatArray:
    """Return what each force is in a combination of them at some of its samples, shape (6 forces, m)."""
    out = np.zeros((len(pushes), 6, samples.size))
    for own, push, factor in zip(out, pushes, more.factors, strict=True):
        if factor:
            own[:] = factor * push.wrench[:, samples - push.samples[0]]
    return out.reshape(6 * len(pushes), samples.size)


def ramp_response(modes: Vibration, t: FloatArray, rise: float) -> FloatArray:
    """Return damped oscillators, at rest before, under what rises to 1 in a time and stays, shape (modes, n).

    ``q'' + 2 z w q' + w^2 q = w^2 f`` (Chopra, Dynamics of Structures, ch. 4, from memory).

    Args:
        modes: Their frequencies and damping.
        t: Times [s], shape (n,).
        rise: The time [s]; 0: at once.
    """
    w, z = modes.frequency[:, None], modes.damping[:, None]
    damped = w * np.sqrt(1.0 - z * z)

    def rising(late: FloatArray) -> FloatArray:  # under f = t
        swing = 2.0 * z / w * np.cos(damped * late) + (2.0 * z * z - 1.0) / damped * np.sin(damped * late)
        return np.asarray(late - 2.0 * z / w + np.exp(-z * w * late) * swing)

    if rise > 0.0:
        return np.asarray((rising(t) - rising(np.maximum(t - rise, 0.0))) / rise)
    return np.asarray(1.0 - np.exp(-z * w * t) * (np.cos(damped * t) + z * w / damped * np.sin(damped * t)))


def _swings(
    sheet: Sheet, places: Sequence[Place], which: int | None, added_mass: float
) -> tuple[tuple[Vibration, ...], FloatArray]:
    """The plate's vibrations as forces at places feel them, and its unknowns for each, shape (n, modes)."""
    model = sheet.model
    if which is None:
        return (), np.zeros((len(model.load), 0))
    slow, ways = vibrations(sheet, BLOCKS, which, tuple(dict.fromkeys(places)))
    even = model.form.integral(model.plate, np.full((1, *model.plate.weights.shape), 1.0 / model.plate.area))
    along = even[:, 0] @ ways[:-3]
    frequency, mix = natural_modes(np.eye(slow.size), np.diag(slow**-2.0) + added_mass * np.outer(along, along))
    ways, damping = ways @ mix, np.zeros(frequency.size)
    for patch, springs in zip(sheet.backing.patches, model.springs_of_pads, strict=True):
        damping += (patch.pad.material.damping_ratio or 0.0) * np.einsum("nm,nm->m", ways, springs @ ways)
    damping = np.minimum(damping, MOST_DAMPED)
    shapes = [felt(sheet, place).T @ ways for place in places]
    return tuple(Vibration(frequency=frequency, damping=damping, shapes=own) for own in shapes), ways
