"""Why a sample uses the pads as it does: where on the pad, by which cause, in which way."""

from __future__ import annotations

from typing import Any

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.contact.backing import Backing
from gripmargin.contact.limit import limit_factor
from gripmargin.contact.loads import load_by_cause
from gripmargin.kernels import utilisation

WAYS = ("pull", "peel", "shear", "twist")


def place_on_pad(backing: Backing, patch_index: int, point: FloatArray) -> dict[str, Any]:
    """Return where an edge point is: pad, place in the tool frame [m], azimuth about the tool's z axis [rad]."""
    patch = backing.patches[patch_index]
    return {
        "pad": patch.pad.name,
        "point": [float(x) for x in point],
        "azimuth": float(np.arctan2(point[1], point[0])),
    }


def tractions_at(
    case: Case, patch_index: int, point: FloatArray, sample: int, *, swing: FloatArray | None = None
) -> dict[str, Any]:
    """Return the stresses at an edge point, what it can hold, and how the tension gathers at the edge.

    Args:
        case: The job.
        patch_index: Which patch.
        point: In the tool frame [m], shape (3,).
        sample: Whose load.
        swing: What the part's swing adds to it, shape (6,).
    """
    patch = case.backing.patches[patch_index]
    pull, shear = case.strengths[patch_index]
    load = case.load[:, sample] if swing is None else case.load[:, sample] + swing
    t1, t2, normal = (case.backing.traction_maps(patch, point[None]) @ load)[:, 0]
    mean = float((case.backing.traction_maps(patch, patch.centre[None]) @ load)[2, 0])
    on_pad = case.backing.pad_wrench(patch, load)
    return {
        "normal_stress": float(normal),
        "shear_stress": float(np.hypot(t1, t2)),
        "pull_off_stress": float(pull),
        "shear_strength": float(shear),
        "mean_normal_stress": mean,
        "edge_amplification": float(normal / mean) if mean > 0 else None,
        "peel_moment": float(np.hypot(on_pad[3], on_pad[4])),
        "pad_force": [float(x) for x in on_pad[:3]],
        "pad_moment": [float(x) for x in on_pad[3:]],
    }


def shares(case: Case, maps: FloatArray, point: int, sample: int, *, swing: FloatArray | None = None) -> dict[str, Any]:
    """Return what the utilisation at a point is made of, as shares that add up to 1.

    The normalised traction is a sum over the causes; each cause's share is its projection on the whole, so
    a negative share relieves. The same is done over the ways a load acts about the centre of the pads:
    pull along the normal, peel about it, shear along the face, twist. What the part's swing adds to the load
    is a cause of its own.
    """
    by_cause = load_by_cause(case.job.part, case.motion.at.take(sample), case.job.gravity, case.job.air_density)
    total = case.load[:, sample]
    if swing is not None:
        by_cause, total = by_cause | {"swing": swing[:, None]}, total + swing
    centre = case.backing.centre
    about_centre = total[3:] - np.cross(centre, total[:3])
    by_way: dict[str, FloatArray] = {}
    for way, keep in zip(WAYS, ((2,), (3, 4), (0, 1), (5,)), strict=True):
        load = np.zeros(6)
        for component in keep:
            load[component] = total[component] if component < 3 else about_centre[component - 3]
        load[3:] += np.cross(centre, load[:3])
        by_way[way] = load[:, None]

    def shared(parts: dict[str, FloatArray]) -> dict[str, float]:
        found = utilisation.shares(maps[:, [point]], total[:, None], np.stack(list(parts.values())))
        return dict(zip(parts, found[:, 0].tolist(), strict=True))

    return {
        "causes": shared(by_cause),
        "ways": shared(by_way),
        "loads": {
            cause: {"force": load[:3, 0].tolist(), "moment": load[3:, 0].tolist()} for cause, load in by_cause.items()
        },
    }


def shared_margin(case: Case, sample: int) -> dict[str, Any]:
    """Return the factor at which no traction field could carry the load of a sample, with its proof."""
    if not any((pull > 0).any() for pull, _ in case.cell_strengths):
        return {"shared_margin": None, "shared_margin_bounds": [0.0, 0.0], "shared_margin_imbalance": 0.0}
    found = limit_factor(case.whole, case.cell_strengths, case.load[:, sample])
    return {
        "shared_margin": found.lower if found.converged and np.isfinite(found.lower) else None,
        "shared_margin_bounds": [x if np.isfinite(x) else None for x in (found.lower, found.upper)],
        "shared_margin_imbalance": found.imbalance,
    }
