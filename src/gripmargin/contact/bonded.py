"""The pads on the part as the press left them: strength, bond, and the traction that cells have without any load."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import BudgetError
from gripmargin.contact.backing import Backing
from gripmargin.contact.bending import sheet_on
from gripmargin.contact.cells import nearest_cells
from gripmargin.contact.locked import Locked, locked_in
from gripmargin.contact.sheet import Sheet
from gripmargin.kernels.face import NOTHING
from gripmargin.workcell import Part

Strength = tuple[float, float]

EVEN = 1e-6  # differences of the bond within a pad below which it is even


@dataclass(frozen=True, eq=False, kw_only=True)
class Bonded:
    """The pads on the part as the press left them.

    Attributes:
        whole: All of the pads on the part.
        full: For each its pull-off stress and shear strength with a full bond [Pa].
        held: For each the share of it that each cell holds, shape (m,); None: all of it.
        locked: Traction that each cell has without any load.
        part: What may bend on the pads; None: they are on a rigid part.
        places: Where forces of the process act on it, tool frame [m].
    """

    whole: Backing
    full: tuple[Strength, ...]
    held: tuple[FloatArray, ...] | None = None
    locked: Locked | None = None
    part: Part | None = None
    places: tuple[tuple[float, float], ...] = ()

    @cached_property
    def sheet(self) -> Sheet | None:
        """The part as it bends; None where it counts as rigid, or cannot be solved (`gripmargin.checks.premises`)."""
        with suppress(BudgetError):
            if self.part is not None:
                return sheet_on(self.whole, self.full, self.part, even=self.even, places=self.places)
        return None

    def without(self, lost: int) -> Bonded:
        """Return the pads with one of several gone; what it pulled at the others is gone with it."""
        keep = [i for i in range(len(self.whole.patches)) if i != lost]
        whole = Backing(tuple(self.whole.patches[i] for i in keep))
        held = None if self.held is None else tuple(self.held[i] for i in keep)
        locked = None
        if self.locked is not None:
            own = [self.locked.traction[i] for i in keep]
            locked = locked_in(whole, own, held, self.locked.flatness)
        full = tuple(self.full[i] for i in keep)
        return Bonded(whole=whole, full=full, held=held, locked=locked, part=self.part, places=self.places)

    def on_a_plane(self) -> Bonded:
        """Return the pads as they are if the face has no bow: the most that they may hold."""
        if self.locked is None:
            return self
        return replace(self, locked=replace(self.locked, bowed=np.zeros_like(self.locked.bowed)))

    @property
    def bowed(self) -> bool:
        """Whether the face may be bowed, in a way that nobody knows."""
        return self.locked is not None and bool(self.locked.bowed.any())

    @property
    def shares(self) -> tuple[FloatArray, ...]:
        """For each pad the share of its full strength that each cell holds, shape (m,)."""
        return self.held or tuple(np.ones(patch.areas.size) for patch in self.whole.patches)

    @cached_property
    def left(self) -> tuple[FloatArray, ...]:
        """The same less what a bowed face and small offsets use up, shape (m,)."""
        if self.locked is None:
            return self.shares
        used = self.locked.used_up(self.full, self.shares)
        return tuple(np.maximum(share - less, 0.0) for share, less in zip(self.shares, used, strict=True))

    def held_at(self, pad: int, points: FloatArray) -> FloatArray:
        """Return pull-off stress and shear strength of a pad at places of it under a part that bends [Pa].

        Args:
            pad: Its index.
            points: Tool frame [m], shape (p, 3).

        Returns:
            Shape (p, 2); next to nothing where the pad has tractions of its own.
        """
        share = np.full(len(points), NOTHING)
        if self.offset is None:
            share = np.maximum(self.left[pad], NOTHING)[nearest_cells(self.whole.patches[pad], points)]
        return np.asarray(share[:, None] * np.array(self.full[pad]))

    @cached_property
    def even(self) -> bool:
        """Whether each pad holds something, and the same everywhere."""
        return self.offset is None and all(np.ptp(own) <= EVEN and own.max() > 0.0 for own in self.left)

    @property
    def first_alone(self) -> bool:
        """Whether the margin is that of the first place by definition: an even bond under a part that bends."""
        return self.even and not self.bowed and self.sheet is not None

    @property
    def offset(self) -> Locked | None:
        """Traction that the cells have without any load, where it is too large to count as used up."""
        return self.locked if self.locked is not None and self.locked.uneven(self.full, self.shares) else None

    @property
    def strengths(self) -> list[tuple[FloatArray, FloatArray]]:
        """For each pad the pull-off stress and shear strength of each cell [Pa]."""
        return [(pull * share, shear * share) for (pull, shear), share in zip(self.full, self.shares, strict=True)]
