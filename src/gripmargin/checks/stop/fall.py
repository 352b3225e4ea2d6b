"""How fast a part is that comes off in a stop, and where it lands."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from gripmargin.checks import words
from gripmargin.checks.case import Case
from gripmargin.kernels.stopping import free_fall

UPRIGHT = 1e-6  # share of gravity that may lie across the world's z axis
NOT_UPRIGHT = "gravity does not point along -z of the world"


def fall(case: Case, loose: NDArray[np.intp], sure: NDArray[np.intp]) -> dict[str, Any]:
    """Return speed, energy and place of landing of the part where it would come off with the most energy.

    Args:
        case: The job.
        loose: Samples at which a stop may throw the part off, shape (m,), m > 0.
        sure: Those of them at which it surely does.
    """
    motion, part = case.motion.at, case.job.part
    omega = motion.angular_velocity[loose]
    velocity = motion.velocity[loose] + np.cross(omega, part.com)
    moving = 0.5 * part.mass * (velocity**2).sum(axis=1)
    turning = 0.5 * np.einsum("ni,ij,nj->n", omega, part.inertia, omega)
    k = int(np.argmax(moving + turning))
    sample = int(loose[k])
    rotation = motion.rotation[sample]
    at, thrown = motion.position[sample] + rotation @ part.com, rotation @ velocity[k]
    out: dict[str, Any] = {
        "surely": bool(np.isin(sample, sure)),
        "t": float(case.job.trajectory.t[sample]),
        "sample": sample,
        "speed": float(np.linalg.norm(thrown)),
        "energy": float(moving[k] + turning[k]),
        "height": None,
        "range": None,
        "landing": None,
        "impact_speed": None,
        "impact_energy": None,
        "reason": None,
    }
    stop, gravity = case.job.stop, case.job.gravity
    if stop is None or stop.floor is None:
        return out | {"reason": "stop.floor is not given"}
    size = float(np.linalg.norm(gravity))
    if size == 0.0 or -float(gravity[2]) < (1.0 - UPRIGHT) * size:
        return out | {"reason": NOT_UPRIGHT}
    height = float(at[2] - stop.floor)
    if height < 0:
        return out | {"height": height, "reason": "the part is below stop.floor"}
    way, _, impact = free_fall(thrown, height, size)
    return out | {
        "height": height,
        "range": float(np.hypot(*way)),
        "landing": [float(x) for x in at[:2] + way],
        "impact_speed": impact,
        "impact_energy": float(out["energy"] + part.mass * size * height),
    }


def fall_lines(found: dict[str, Any] | None) -> list[str]:
    """Return it in sentences; none where no part comes off."""
    if found is None:
        return []
    may = "would" if found["surely"] else "may"
    text = (
        f"a stop at {found['t']:.3f} s {may} throw the part off: at {found['speed']:.2f} m/s, "
        f"{found['energy']:.2f} J; keep people out of its way"
    )
    if found["range"] is None:
        return [text, f"where it would land is not known: {found['reason']}"]
    x, y = (words.plain(1e3 * c, 0) for c in found["landing"])
    return [
        text,
        f"without air and without anything in its way its centre of mass would land {found['range']:.2f} m away, at "
        f"x {x}, y {y} mm of the world, at {found['impact_speed']:.1f} m/s ({found['impact_energy']:.1f} J); it may "
        "bounce, slide or break further",
    ]
