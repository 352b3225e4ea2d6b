"""How much a pad can hold on this part, today."""

from __future__ import annotations

from gripmargin.workcell import Gripper, Pad, Part


def holding_strength(pad: Pad, part: Part, gripper: Gripper) -> tuple[float, float]:
    """Return pull-off stress and shear strength of a fully bonded pad on this part [Pa].

    Strength on the reference surface, times the surface factor, times what fouling has left: a share lost
    with each pick, compounding (common practice, no source). The limit by peel energy falls with the same
    factors, because it stands for the same face.

    Args:
        pad: The pad.
        part: The part, for its surface factor.
        gripper: For the picks since cleaning.
    """
    material = pad.material
    left: float = (1.0 - material.fouling_per_cycle) ** gripper.cycles_since_cleaning
    factor = part.surface_factor * left
    return material.limiting_pull_off_stress * factor, material.shear_strength * factor
