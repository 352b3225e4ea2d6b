"""Whether pads that fall short of what is surely carried do let the part go.

What margins count on is a lower bound (`gripmargin.contact.grip`). Below a target it proves nothing yet; the loads are
then followed at the target, cell by cell (`gripmargin.contact.collapse`): the part is lost, and the check fails, or it
is not, and nobody knows. How cells of a press that broke and were pressed on again bond is not known: the part is lost
where it is lost on the strongest such bond.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import columns, stored
from gripmargin.checks.case import Case
from gripmargin.checks.margin import pieces_of
from gripmargin.checks.use import Asked, Use, inverse
from gripmargin.contact.collapse import Collapse, least_lost
from gripmargin.results.findings import on_target

ROUNDING = 1e-9  # share by which a factor on loads is surely more than rounding


def settled_carry(case: Case, asked: Asked) -> Use:
    """Return what the carry asks of the pads, as `settled`; what peels first on an even bond is known.

    Args:
        case: The job.
        asked: By a target of the carry.
    """
    if asked.name == "peel" and case.grip.bonded.even:
        return asked.use
    return settled(case, asked.use, columns(case.load, asked.use.samples), asked.target)


def settled(case: Case, use: Use, load: FloatArray, target: float, *, apart: bool = False) -> Use:
    """Return a use with the least value that it surely has.

    Args:
        case: The job.
        use: How far the pads are used.
        load: At its samples, shape (6, m).
        target: Margin wanted.
        apart: Whether each load stands for itself; else they come one after the other.
    """
    short, pads = use.short_of(target), use.grip.bonded
    if pads.even and not pads.bowed and (case.trial or on_target(inverse(use.low.max(initial=0.0)), target)):
        return use  # first peel is what it is, and no fail
    if pads.first_alone and case.at_best is None:
        return use
    low = stored((use.samples.size,))
    if case.trial or not short.any():  # only whether it passes counts
        return replace(use, low=low)
    if use.grip.bonded.sheet is not None:  # cells are followed under a rigid part alone
        return replace(use, low=low)
    if case.at_best is not None and pads is not case.grip.bonded:  # with a pad gone
        return replace(use, low=low)
    intact = Collapse((case.at_best or pads).on_a_plane())
    first = 0
    for piece in pieces_of(case, use, short):
        k = int(piece[np.argmax(use.value[piece])])
        factor = least_lost(intact, load[:, k], float(inverse(use.value[k])), target)
        if factor is None:
            if apart:
                continue
            followed = np.arange(first, int(piece[-1]) + 1)
            lost = intact.again().lost_at(load[:, followed], target)
            if lost is None:
                continue
            k = int(followed[lost])
            alone = least_lost(intact, load[:, k], float(inverse(use.value[k])), target)
            factor = alone or target * (1.0 - ROUNDING)  # lost by what came before
        unsure = float(use.high[k] - use.value[k])
        least = float(inverse(factor)) - (unsure if np.isfinite(unsure) else np.inf)
        low[k] = max(min(least, use.low[k]), 0.0)
        first = int(piece[-1]) + 1  # a part that is lost is followed no further; the next stretch is a new one
    return replace(use, low=low)
