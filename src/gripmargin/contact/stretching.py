"""How far a part that bends is stretched by many loads: `Sheet.stretched` as forms in the load.

The curvature of Gauss is of second degree in the load, the energy that stretches the part of fourth: products of two
components of the load, with a matrix between them. What it takes to bend it is of second degree.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations_with_replacement

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.sheet import Sheet

PAIRS = np.array(list(combinations_with_replacement(range(6), 2))).T


@dataclass(frozen=True, eq=False)
class Stretching:
    """Energies of a part on its pads.

    Attributes:
        fourth: Of what stretches it, for each rigidity that it may have, shape (rigidities, 21, 21).
        second: Of what bends it, shape (rigidities, 6, 6).
    """

    fourth: FloatArray
    second: FloatArray

    @classmethod
    def of(cls, sheet: Sheet) -> Stretching:
        """Work the forms out of a part's energies: what each unit load does, and each pair of them."""
        model, membrane = sheet.model, sheet.model.membrane()
        bends = [
            0.5 * bent.T @ (model.stiffness(rigidity) @ bent)
            for bent, rigidity in zip(sheet.bent, model.rigidities, strict=True)
        ]
        return cls(np.stack([membrane.of_pairs(bent[:-3]) for bent in sheet.bent]), np.stack(bends))

    def share(self, load: FloatArray) -> FloatArray:
        """Return the energy that stretches the part over that which bends it, the most that it may be, shape (n,).

        Args:
            load: At the tool origin, shape (6, n).
        """
        twice = np.where(PAIRS[0] == PAIRS[1], 1.0, 2.0)
        pairs = twice[:, None] * load[PAIRS[0]] * load[PAIRS[1]]
        over = np.einsum("in,rij,jn->rn", pairs, self.fourth, pairs)
        return np.asarray((over / np.maximum(np.einsum("in,rij,jn->rn", load, self.second, load), 1e-300)).max(axis=0))
