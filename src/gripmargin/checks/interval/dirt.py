"""What dirt leaves of the pads over the picks, and after how many it is too little."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.likely_figures import LEAST_LEFT
from gripmargin.contact.bond import strength_left
from gripmargin.workcell import PadMaterial

MOST: Final = 1_000_000  # picks that are looked at (no source: pads are worn out before)
LOOKED_AT: Final = 65  # numbers of picks at which a record is looked at for its weakest


def materials(case: Case) -> tuple[PadMaterial, ...]:
    """Return the materials of the pads, each once."""
    return tuple(dict.fromkeys(pad.material for pad in case.job.gripper.pads))


def unrecorded(case: Case) -> tuple[str, ...]:
    """Return the names of materials of which nothing says how they get dirty."""
    return tuple(each.name for each in materials(case) if each.pulls is None and not each.fouling_per_cycle > 0.0)


def tested(case: Case) -> float:
    """Return the picks up to which pads of all materials were pulled [-]; inf where there is no record."""
    return min(each.pulled_up_to for each in materials(case))


def left(case: Case, picks: float) -> FloatArray:
    """Return the share of its stated strength that each material has after so many picks, shape (materials,)."""
    return np.array([strength_left(each, picks, case.job.gripper.cleanings) for each in materials(case)])


def weakest(case: Case, picks: float) -> tuple[float, ...]:
    """Return the numbers of picks up to one after which some material is at its weakest.

    Bounds of a record widen on both sides of what was pulled: a clean pad may be known less well than a dirty one.
    """
    counts = _counts(picks)
    shares = np.array([left(case, float(count)) for count in counts])
    return tuple(dict.fromkeys(float(counts[k]) for k in shares.argmin(axis=0)))


def last_with(case: Case, factors: FloatArray) -> float:
    """Return the most picks up to which every material keeps a share of its stated strength; -1: none.

    Args:
        case: The job.
        factors: The shares, shape (materials,).
    """
    most = min(float(MOST), tested(case))
    if not _keeps(case, 0.0, factors):
        return -1.0
    low, high = 0.0, np.floor(most) + 1.0
    while high - low > 1.0:
        middle = np.floor((low + high) / 2.0)
        low, high = (middle, high) if _keeps(case, middle, factors) else (low, middle)
    return low


def _keeps(case: Case, picks: float, factors: FloatArray) -> bool:
    shares = np.min([left(case, float(count)) for count in _counts(picks)], axis=0)
    return bool((shares >= factors).all() and _is_meant(case, picks))


def _is_meant(case: Case, picks: float) -> bool:
    """Whether a loss by pick is not read so far on that nobody believes it, as its rule has it."""
    if "fouling" in case.job.accept:
        return True
    by_pick = (replace(each, pulls=None, recovery=None) for each in materials(case))
    return all(strength_left(each, picks) >= LEAST_LEFT for each in by_pick)


def _counts(picks: float) -> FloatArray:
    return np.unique(np.append(np.floor(np.linspace(0.0, picks, LOOKED_AT)), picks))
