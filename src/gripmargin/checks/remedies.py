"""What to change, by how much, so that a stretch of the program reaches its target."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from gripmargin.arrays import FloatArray
from gripmargin.case import Case, work_out
from gripmargin.checks.use import Use, peak_of, rate_errors
from gripmargin.errors import InputError
from gripmargin.findings import Remedy
from gripmargin.kernels.utilisation import largest_scale, peak_utilisation
from gripmargin.poses import pose

SLOWEST = 0.05  # speed factor below which slowing is no remedy
WORTH_SHIFTING = 0.002  # [m] least shift of the pads that is worth naming
GAIN = 1.05  # least gain of margin for which a shift is named


def speed_factor(case: Case, use: Use, members: NDArray[np.intp], target: float) -> float | None:
    """Return the speed factor for a stretch of samples at which its margin reaches the target.

    With all rates scaled by k the load is gravity's part plus k^2 of the rest, so the factor is exact for the
    samples as they are (`gripmargin.kernels.utilisation.largest_scale`). It is rounded down to 1 %.

    Args:
        case: The job.
        use: Utilisation of the pads.
        members: Samples that are slowed together, indices into the program.
        target: Margin wanted.

    Returns:
        The factor, below 1; None where slowing does not help: gravity alone is too much, or the errors of the
        rates are.
    """
    still = case.standing[:, members]
    moving = case.load[:, members] - still
    noise, bias = rate_errors(case, use.maps, members)
    room = 1.0 / target - float((2.0 * noise + bias).max(initial=0.0))
    if room <= 0:
        return None
    square = largest_scale(use.maps, still, moving, room)
    if np.isnan(square).any():
        return None
    factor = math.floor(100.0 * math.sqrt(min(float(square.min(initial=np.inf)), 1.0)) + 1e-9) / 100.0
    return factor if SLOWEST <= factor < 1.0 else None


def strength_factor(use: Use, inside: NDArray[np.bool_], target: float) -> float | None:
    """Return by how much the holding strength would have to grow, rounded up to 1 %; None where unknown."""
    need = target * float(use.high[inside].max())
    return math.ceil(100.0 * need - 1e-9) / 100.0 if math.isfinite(need) else None


def pad_shift(case: Case, high: float) -> tuple[FloatArray, float] | None:
    """Return a shift of all pads along the tool's x and y that brings their centre under the centre of mass.

    Args:
        case: The job.
        high: Largest utilisation with the pads as they are.

    Returns:
        Shift of the pads on the part [m], shape (2,), and the margin over the whole carry with it; None where
        it is small, gains little, or the pads would leave the part.
    """
    part = case.job.part
    shift = np.round((part.com - case.backing.centre)[:2], 3)
    if float(np.hypot(*shift)) < WORTH_SHIFTING or not math.isfinite(high):
        return None
    away = pose(xyz=[-shift[0], -shift[1], 0.0])
    try:
        moved = replace(case.job, part=part.placed(away))
        shifted = work_out(moved)
    except InputError:
        return None
    if any(b.share < a.share - 1e-6 for a, b in zip(case.backing.patches, shifted.backing.patches, strict=True)):
        return None
    maps, _ = shifted.backing.edge_maps(shifted.strengths)
    peak = peak_of(shifted, maps)
    return (shift, 1.0 / peak) if peak > 0 and high / peak >= GAIN else None


def for_stretch(
    case: Case,
    use: Use,
    target: float,
    inside: NDArray[np.bool_],
    sample: int,
    *,
    fails: bool,
    shift: tuple[FloatArray, float] | None,
) -> list[Remedy]:
    """Return what would bring a stretch to its target; each remedy alone is enough for this stretch.

    Args:
        case: The job.
        use: Utilisation of the pads.
        target: Margin wanted.
        inside: Which of the carried samples belong to the stretch.
        sample: The worst of them, index into the program.
        fails: Whether it surely falls short.
        shift: As `pad_shift` returns it.
    """
    out = []
    if not fails:
        out.append(Remedy(action="better data", text=case.motion.better_data(sample)))
    out.append(_slowing(case, use, target, inside, sample))
    if shift is not None:
        (dx, dy), margin = shift
        if margin >= target:
            text = (
                f"shift the pads on the part by x {1e3 * dx:+.0f} mm, y {1e3 * dy:+.0f} mm (tool frame), towards the "
                f"centre of mass: margin {margin:.2f} over the whole carry"
            )
            out.append(Remedy(action="shift pads", text=text, figures={"x": dx, "y": dy, "margin": margin}))
    strength = strength_factor(use, inside, target)
    if strength is not None and strength > 1.0:
        text = f"raise what the pads hold {strength:.2f} times (stronger, cleaner or more pads)"
        out.append(Remedy(action="strengthen", text=text, figures={"factor": strength}))
    return out


def _slowing(case: Case, use: Use, target: float, inside: NDArray[np.bool_], sample: int) -> Remedy:
    move = case.job.trajectory.move_at(sample)
    if move is None:
        members, subject = use.samples[inside], "this stretch"
    else:
        labels = case.job.trajectory.moves or ()
        members = np.array([s for s in use.samples if labels[s] == move], dtype=np.intp)
        subject = f"move '{move}'"
    factor = speed_factor(case, use, members, target)
    if factor is not None:
        text = f"slow {subject} to {factor:.2f} of its speed (its time times {1 / factor:.2f})"
        return Remedy(action="slow", text=text, figures={"move": move, "factor": factor})
    standing = float(peak_utilisation(use.maps, case.standing[:, members])[0].max())
    if standing > 1.0 / target:
        text = f"slowing {subject} is not enough: at standstill the margin is {1 / standing:.2f}"
    else:
        text = f"slowing {subject} cannot be promised to help: the error of the rates takes up the margin"
    return Remedy(
        action="none", text=text, figures={"move": move, "standing_margin": 1 / standing if standing else None}
    )
