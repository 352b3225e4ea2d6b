"""Pads whose bond differs from place to place: which cells to count on.

First peel at the weakest cell says nothing about a pad whose rim was hardly pressed: such cells let go and the
others carry on. So the margin is worked out for several choices of the cells that count. Each choice takes the
cells that hold at least a level of their full strength, lets them hold just that level, and lets all others hold
nothing. Each gives a load that can surely be carried; the best of them is the margin (lower bound theorem, as in
`gripmargin.contact.limit`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.backing import Backing

QUANTILES = (0.0, 0.02, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
NOTHING = 1e-6  # level that stands for no bond at all: margins come out as zero, not as a division by it


@dataclass(frozen=True, eq=False)
class Counted:
    """The cells that a margin counts on.

    Attributes:
        backing: The pads reduced to these cells.
        strengths: For each of its patches the pull-off stress and shear strength that every cell surely has [Pa].
        level: Share of the full strength that all of these cells hold [-].
        share: Of all contact area in these cells [-].
    """

    backing: Backing
    strengths: list[tuple[float, float]]
    level: float
    share: float


def choices(
    whole: Backing, strengths: Sequence[tuple[float, float]], held: Sequence[FloatArray] | None
) -> Iterator[Counted]:
    """Yield the choices of cells to count on.

    Args:
        whole: The pads.
        strengths: For each patch its full pull-off stress and shear strength [Pa].
        held: For each patch the share of it that each cell holds, shape (m,); None for a full bond everywhere.
    """
    if held is None or all((h == 1.0).all() for h in held):
        yield Counted(whole, list(strengths), 1.0, 1.0)
        return
    together = np.concatenate(list(held))
    areas = np.concatenate([patch.areas for patch in whole.patches])
    bonded = np.sort(together[together > 0])
    if bonded.size == 0:
        weak = [(pull * NOTHING, shear * NOTHING) for pull, shear in strengths]
        yield Counted(whole, weak, 0.0, 0.0)
        return
    for level in np.unique(np.quantile(bonded, QUANTILES, method="lower")):
        reduced = [patch.only(h >= level) for patch, h in zip(whole.patches, held, strict=True)]
        kept = [i for i, patch in enumerate(reduced) if patch is not None]
        if not kept:
            continue
        patches = tuple(patch for patch in reduced if patch is not None)
        weak = [(strengths[i][0] * level, strengths[i][1] * level) for i in kept]
        share = sum(patch.area for patch in patches) / float(areas.sum())
        yield Counted(Backing(patches), weak, float(level), share)
