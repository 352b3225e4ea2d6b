"""Pads whose bond differs from place to place: the contact that margins count on.

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
from gripmargin.kernels.utilisation import peak_utilisation

QUANTILES = (0.0, 0.02, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
NOTHING = 1e-6  # level that stands for no bond at all: margins come out as zero, not as a division by it

Strength = tuple[float, float]


@dataclass(frozen=True, eq=False)
class EffectiveContact:
    """The cells that a margin counts on.

    Attributes:
        backing: The pads reduced to these cells.
        strengths: For each of its patches the pull-off stress and shear strength that every cell surely has [Pa].
        level: Share of the full strength that all of these cells hold [-].
        share: Of all contact area in these cells [-].
    """

    backing: Backing
    strengths: list[Strength]
    level: float
    share: float


def effective_contact(
    whole: Backing, strengths: Sequence[Strength], held: Sequence[FloatArray] | None, load: FloatArray
) -> EffectiveContact:
    """Return the contact with the largest margin over some loads.

    Args:
        whole: The pads.
        strengths: For each patch its full pull-off stress and shear strength [Pa].
        held: For each patch the share of it that each cell holds, shape (m,); None for a full bond everywhere.
        load: At the tool origin, shape (6, n).
    """
    options = list(choices(whole, strengths, held))
    if len(options) == 1 or load.shape[1] == 0:
        return options[0]
    peaks = [peak_utilisation(each.backing.edge_maps(each.strengths)[0], load)[0].max() for each in options]
    return options[int(np.argmin(peaks))]


def choices(
    whole: Backing, strengths: Sequence[Strength], held: Sequence[FloatArray] | None
) -> Iterator[EffectiveContact]:
    """Yield the choices of cells to count on; the arguments are those of `effective_contact`."""
    if held is None or all((share == 1.0).all() for share in held):
        yield EffectiveContact(whole, list(strengths), 1.0, 1.0)
        return
    together = np.concatenate(list(held))
    bonded = together[together > 0]
    if bonded.size == 0:
        yield EffectiveContact(whole, _at_level(strengths, NOTHING), 0.0, 0.0)
        return
    area = sum(patch.area for patch in whole.patches)
    for level in np.unique(np.quantile(bonded, QUANTILES, method="lower")):
        reduced = [patch.only(share >= level) for patch, share in zip(whole.patches, held, strict=True)]
        kept = [(patch, strength) for patch, strength in zip(reduced, strengths, strict=True) if patch is not None]
        if kept:
            patches = tuple(patch for patch, _ in kept)
            share = sum(patch.area for patch in patches) / area
            yield EffectiveContact(Backing(patches), _at_level([s for _, s in kept], level), float(level), share)


def _at_level(strengths: Sequence[Strength], level: float) -> list[Strength]:
    return [(float(pull * level), float(shear * level)) for pull, shear in strengths]
