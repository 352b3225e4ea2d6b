"""What happens to a bond, cell by cell: the most used one lets go, the others carry its load, and so on.

A cell that has let go stays so; pressed, it still pushes. Loads are followed in the order of the program at a factor,
for what let go before matters to what is carried later. The answer is whether the part is lost: not a bound, but what
the pads would do if they were just as described.
"""

from __future__ import annotations

from copy import copy

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.backing import displacement_rows
from gripmargin.contact.bonded import Bonded
from gripmargin.kernels.face import Face, half_width, squared
from gripmargin.kernels.utilisation import peak_utilisation

BoolArray = NDArray[np.bool_]

TOGETHER = 0.01  # cells used within this share of the most used one let go at once: time alone, 0 takes thrice
HALVINGS = 5  # of the search for the least factor at which the part is lost
NONE = 1e-10  # stiffness against some motion, over that against another, that is rounding
SETTLINGS = 40  # times the pressed cells are looked for anew
FEW, MANY = 8, 2048  # loads looked at together, at least and at most: time alone, no result depends on it


class Collapse:
    """The pads under one load after the other.

    Attributes:
        bonded: The pads.
        alive: Which cells hold, all pads one after the other, shape (cells,).
    """

    def __init__(self, bonded: Bonded) -> None:
        """Take pads as the press left them."""
        self.bonded = bonded
        patches = bonded.whole.patches
        rows = [displacement_rows(patch.points, patch.rotation) for patch in patches]
        stiff = [np.repeat(patch.stiffness_per_area()[:, None], patch.areas.size, axis=1) for patch in patches]
        self._rows, self._k = np.concatenate(rows, axis=1), np.concatenate(stiff, axis=1)
        self._areas = np.concatenate([patch.areas for patch in patches])
        left = zip(bonded.left, bonded.full, strict=True)
        self._holds = np.concatenate([share * np.array([[t], [t], [s]]) for share, (s, t) in left], axis=1)
        locked = bonded.offset
        traction = [np.zeros((patch.areas.size, 3)) for patch in patches] if locked is None else locked.traction
        self._start = np.concatenate(list(traction)).T
        self._free = not self._start.any()  # of locked-in stress
        self._released = None if locked is None or self._free else locked.released(bonded.whole)
        self.alive: BoolArray = self._holds[2] > 0
        self._pressed = np.zeros_like(self.alive)
        length = max(float(np.abs(patch.points).max()) for patch in patches)
        self._scale = np.array([1.0, 1.0, 1.0, *(1.0 / length,) * 3])
        flat = self._rows * (self._k * self._areas)[:, :, None]
        self._normal = np.einsum("mi,mj->mij", self._rows[2], flat[2])
        self._whole = np.einsum("cmi,cmj->mij", self._rows, flat)
        bears = np.where(self.alive, self._holds, 1.0)  # of what never held only the side counts
        self._share = np.ascontiguousarray(((self._k / bears)[:, :, None] * self._rows).reshape(-1, 6).T)
        self._locked = None if self._free else self._start / bears
        self._bonded = self._whole[self.alive].sum(axis=0)
        self._held = self._carried_by(self.alive)

    def again(self) -> Collapse:
        """Return the same pads to be loaded: what they share is never changed in place."""
        return copy(self)

    def lost_at(self, load: FloatArray, factor: float) -> int | None:
        """Return at which of some loads the part is lost, when each comes so many times as large; None at none.

        Args:
            load: At the tool origin, in the order of time, shape (6, n).
            factor: On the load.
        """
        first, step = 0, FEW
        while first < load.shape[1]:
            block = factor * load[:, first : first + step]
            try:
                safe = self._surely_below(block)
            except np.linalg.LinAlgError:
                safe = np.zeros(block.shape[1], dtype=bool)
            if safe.all():
                first, step = first + step, min(2 * step, MANY)
                continue
            at = int(np.argmin(safe))
            self.carry(block[:, at])
            if not self.alive.any():
                return first + at
            first, step = first + at + 1, FEW
        return None

    def carry(self, wrench: FloatArray) -> None:
        """Let go what a load tears off."""
        while self.alive.any():
            try:
                use = self._use(wrench)
            except np.linalg.LinAlgError:  # what is left holds on a line or a point
                self.alive = np.zeros_like(self.alive)
                return
            most = float(use.max())
            if not most > 1.0:  # a load that is no number tears nothing off for certain
                return
            self._let_go(use >= max(1.0, (1.0 - TOGETHER) * most))

    def grown(self, load: FloatArray, most: float) -> float | None:
        """Return the factor at which one load tears the part off as it grows; None where so many times of it do not.

        Args:
            load: At the tool origin, shape (6,); without a locked-in stress all grows with it.
            most: Factor up to which it grows.
        """
        carried = 0.0
        while self.alive.any():
            try:
                use = self._use(load)
            except np.linalg.LinAlgError:  # as in `carry`
                break
            peak = float(use.max())
            if not peak * most > 1.0:
                return None
            carried = max(carried, 1.0 / peak)
            self._let_go(use >= (1.0 - TOGETHER) * peak)
        return carried

    def _let_go(self, gone: BoolArray) -> None:
        self.alive = self.alive & ~gone
        self._bonded = self._bonded - self._whole[gone].sum(axis=0)
        if not self._free:
            self._held = self._held - self._carried_by(gone)

    def _use(self, wrench: FloatArray) -> FloatArray:
        """Utilisation of the cells that hold, 0 for the others, with the others pressed or clear of the face."""
        gone = ~self.alive
        pressed = self._pressed & gone
        for _ in range(SETTLINGS):
            over = (self._motion(wrench, pressed) @ self._share).reshape(3, -1)
            if self._locked is not None:
                over += self._locked
            now = gone & (over[2] < 0.0)
            if (now == pressed).all():
                break
            pressed = now
        self._pressed = pressed
        use = np.sqrt(squared(over[0] * over[0] + over[1] * over[1], over[2]))
        use[gone] = 0.0
        return np.asarray(use)

    def _motion(self, wrench: FloatArray, pressed: BoolArray) -> FloatArray:
        """Rigid motion under a load with some cells holding and some others pressed."""
        stiffness, held = self._bonded, self._held
        if pressed.any():
            stiffness = stiffness + self._normal[pressed].sum(axis=0)
            held = held + (self._areas * self._start[2])[pressed] @ self._rows[2, pressed]
        return self._inverse(stiffness) @ (wrench - held)

    def _carried_by(self, cells: BoolArray) -> FloatArray:
        """What the offsets of some cells amount to at the tool origin, shape (6,)."""
        return np.einsum("cmi,cm->i", self._rows[:, cells], (self._areas * self._start)[:, cells])

    def _surely_below(self, loads: FloatArray) -> BoolArray:
        """At which loads surely nothing lets go, in whatever state the cells are that have let go, shape (n,)."""
        soft, stiff = (self._inverse(k) for k in (self._whole[self.alive].sum(axis=0), self._whole.sum(axis=0)))
        rows = self._rows[:, self.alive] * (self._k[:, self.alive] / self._holds[:, self.alive])[:, :, None]
        values, vectors = np.linalg.eigh((soft - stiff) / np.outer(self._scale, self._scale))
        root = np.sqrt(np.maximum(values, 0.0))[:, None] * (vectors.T * self._scale)
        face = Face(
            rows @ ((soft + stiff) / 2.0),
            slack=half_width(rows, root)[:, None],
            spread=root[None],
            start=self._start[:, self.alive] / self._holds[:, self.alive] if self._released is not None else None,
        )
        if self._released is not None:
            face = self._released.passed_on(face, ~self.alive)
        return np.asarray(peak_utilisation(face, loads)[0] <= 1.0 - 1e-9)

    def _inverse(self, stiffness: FloatArray) -> FloatArray:
        scale = np.outer(self._scale, self._scale)
        scaled = stiffness * scale
        inverse = np.linalg.inv(scaled)
        # the eigenvalues are looked at only where trace and norm, which are bounds of them, do not tell
        if not np.trace(scaled) * np.sqrt(np.vdot(inverse, inverse)) < 1.0 / NONE:
            size = np.linalg.eigvalsh(scaled)
            if size[0] < NONE * size[-1]:
                raise np.linalg.LinAlgError("cells on a line or at a point hold not every load")
        return np.asarray(inverse * scale)


def least_lost(intact: Collapse, load: FloatArray, low: float, high: float) -> float | None:
    """Return the least factor found at which a load alone tears the part off; None where the highest does not.

    Args:
        intact: The pads, of which nothing has let go.
        load: At the tool origin, shape (6,).
        low: Factor from which to look, where some stress is locked in.
        high: Factor up to which to look.
    """
    if intact.bonded.offset is None:
        return intact.again().grown(load, high)
    if intact.again().lost_at(load[:, None], high) is None:
        return None
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        if intact.again().lost_at(load[:, None], middle) is None:
            low = middle
        else:
            high = middle
    return high
