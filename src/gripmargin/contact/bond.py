"""How much a pad can hold on this part, today."""

from __future__ import annotations

from typing import Final

import numpy as np

from gripmargin.kernels.tolerance import block_tolerance_bounds, tolerance_bounds
from gripmargin.workcell import Gripper, Pad, PadMaterial, Part

CONTENT: Final = 0.99  # of pads, with
CONFIDENCE: Final = 0.95  # as A-basis values of materials are stated (NIST Dataplot's page on basis values)


def holding_strength(pad: Pad, part: Part, gripper: Gripper) -> tuple[float, float]:
    """Return pull-off stress and shear strength of a fully bonded pad on this part [Pa].

    Strength on the reference surface, times the surface factor, times what dirt and cleaning have left. The limit by
    peel energy falls with the same factors, because it stands for the same face.

    Args:
        pad: The pad.
        part: The part, for its surface factor.
        gripper: For the picks since cleaning, and the cleanings.
    """
    return _times(pad, part, strength_left(pad.material, gripper.cycles_since_cleaning, gripper.cleanings))


def strength_left(material: PadMaterial, picks: float, cleanings: float = 0.0) -> float:
    """Return the share of its stated strength that counts, 0 to 1.

    After as many picks what pulls of pads as dirty bear, or without them what is left of a share that falls with each
    pick, down to a floor that is 0 where none is given (common practice, no source). Cleaning wears off a share, too.

    Args:
        material: Of the pad.
        picks: Since the last cleaning.
        cleanings: So far.
    """
    if material.pulls is None:
        floor = material.fouling_floor
        left = floor + (1.0 - floor) * (1.0 - material.fouling_per_cycle) ** picks
    else:
        left = min(_bounds(material, picks)[0], 1.0)
    return float(left * (1.0 if material.recovery is None else material.recovery) ** cleanings)


def clean_strength(pad: Pad, part: Part) -> tuple[float, float]:
    """Return the most that a clean pad may hold on this part, pull-off stress and shear strength [Pa].

    Args:
        pad: The pad.
        part: The part, for its surface factor.
    """
    return _times(pad, part, 1.0 if pad.material.pulls is None else max(_bounds(pad.material, 0.0)[1], 1.0))


def _bounds(material: PadMaterial, picks: float) -> tuple[float, float]:
    """Shares of the stated strength that nearly all pads exceed and stay below; logarithms of strengths scatter."""
    if material.pulls is None:
        return 1.0, 1.0
    n, stress, *pads = material.pulls.T
    asked = {"content": CONTENT, "confidence": CONFIDENCE}
    logs = np.log(stress)
    low, high = (
        block_tolerance_bounds(n, logs, pads[0], picks, **asked) if pads else tolerance_bounds(n, logs, picks, **asked)
    )
    return float(np.exp(low)) / material.pull_off_stress, float(np.exp(high)) / material.pull_off_stress


def _times(pad: Pad, part: Part, left: float) -> tuple[float, float]:
    factor = part.surface_factor * left
    return pad.material.limiting_pull_off_stress * factor, pad.material.shear_strength * factor
