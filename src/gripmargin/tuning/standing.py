"""Where gravity alone is too much for the pads, no speed helps: by how much, and which tilt of the tool would."""

from __future__ import annotations

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks import words
from gripmargin.checks.case import Case
from gripmargin.kernels.utilisation import peak_utilisation
from gripmargin.results.tuned import Standstill
from gripmargin.tuning.demands import Demands

AZIMUTHS = 72  # directions in which the tool is tilted
TILTS = np.deg2rad(np.arange(0.0, 181.0))  # [rad]


def standstill(case: Case, demands: Demands) -> Standstill | None:
    """Return the carried sample at which gravity alone is furthest beyond its targets; None where it is not.

    Args:
        case: The job.
        demands: What the targets ask.
    """
    ratio, index, point = demands.standing_ratio()
    if ratio >= 1.0:
        return None
    sample = int(demands.samples[index])
    check = demands.checks[point]
    target = float(getattr(case.job.targets, check))
    tilt, axis, best = easiest_tilt(case, demands, sample)
    place = case.place(sample)
    text = (
        f"gravity alone is too much at {place.t:.3f} s{words.in_move(place.move)}: {check} margin "
        f"{words.figure(ratio * target)} at standstill, target {target:g}; "
    )
    if tilt is None:
        text += f"no tilt of the tool is enough, the best one gives {words.figure(best)} times the target"
    else:
        shown = ", ".join(f"{a:+.2f}" for a in axis or ())
        text += f"a tilt of the tool by {np.degrees(tilt):.0f} deg about its axis ({shown}) would be enough"
    return Standstill(
        check=check,
        t=place.t,
        sample=sample,
        move=place.move,
        margin=ratio * target,
        target=target,
        tilt=tilt,
        tilt_axis=axis,
        best_margin=best * target,
        text=text,
    )


def easiest_tilt(
    case: Case, demands: Demands, sample: int
) -> tuple[float | None, tuple[float, float, float] | None, float]:
    """Return the least tilt of the tool at which gravity alone is on target.

    The load of gravity is linear in its direction, so every direction is tried in one product: tilts by whole
    degrees about axes across gravity, in steps of 5 degrees.

    Args:
        case: The job.
        demands: What the targets ask.
        sample: Of the program.

    Returns:
        The tilt [rad] and its axis in the tool frame, None where none is enough, and the best margin over target
        of all tilts.
    """
    down = case.motion.at.in_tool(case.job.gravity)[:, sample]
    size = float(np.linalg.norm(down))
    if size == 0.0:
        return None, None, np.inf
    axes = _across(down / size)
    # turned by b about an axis of the tool, the tool sees gravity turned back by b
    tilted = np.cos(TILTS)[:, None, None] * down - np.sin(TILTS)[:, None, None] * np.cross(axes, down)
    directions = tilted.reshape(-1, 3)
    force = case.job.part.mass * directions
    load = np.concatenate([force, np.cross(case.job.part.com, force)], axis=1).T
    use = peak_utilisation(demands.face, load)[0].reshape(TILTS.size, AZIMUTHS)
    best = float(1.0 / use.min()) if use.min() > 0 else np.inf
    enough = np.flatnonzero((use <= 1.0).any(axis=1))
    if enough.size == 0:
        return None, None, best
    first = int(enough[0])
    x, y, z = (float(a) + 0.0 for a in np.round(axes[int(use[first].argmin())], 6))
    return float(TILTS[first]), (x, y, z), best


def _across(direction: FloatArray) -> FloatArray:
    """Unit vectors across a direction, shape (AZIMUTHS, 3)."""
    helper = np.eye(3)[int(np.argmin(np.abs(direction)))]
    one = np.cross(helper, direction)
    one /= np.linalg.norm(one)
    two = np.cross(direction, one)
    angle = 2.0 * np.pi * np.arange(AZIMUTHS) / AZIMUTHS
    return np.cos(angle)[:, None] * one + np.sin(angle)[:, None] * two
