"""Largest accelerations of any path, as short text, in the units that planners take; figures are rounded down."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Sequence

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.results.limits import Limits
from gripmargin.results.report import CAUTIONS

WIDTH = 100
DIGITS = 3  # of a figure


def limits_text(limits: Limits) -> str:
    """Return the limits as text for a person, at most 100 characters wide."""
    lines = [*_wrapped(f"{limits.verdict.upper()}  ", f"{limits.job}: what any path may ask of the pads"), ""]
    if limits.blocked:
        lines += [*_bullets(limits.blocked), ""]
    if not np.isnan(limits.linear["any"]).all():
        lines += [line for block in (_by_ramp(limits), _by_motion(limits), _circles(limits)) for line in (*block, "")]
    targets = ", ".join(f"{name} {target:g}" for name, target in limits.targets.items())
    lines += ["Assumed", *_bullets([*limits.notes, f"Margins kept: {targets}."])]
    return "\n".join([*lines, "", "Cautions", *_bullets(CAUTIONS)]) + "\n"


def figure(value: float) -> str:
    """Return a figure rounded down to three digits; '-' where it is not known, or where there is none."""
    if not np.isfinite(value) or value <= 0.0:
        return "-"
    step = 10.0 ** (math.floor(math.log10(value)) - DIGITS + 1)
    return f"{math.floor(value / step + 1e-9) * step:.{max(0, -math.floor(math.log10(step)))}f}"


def chosen_ramp(limits: Limits) -> int:
    """Return the index of the ramp that is shown where there is room for one: the middle one of those asked for."""
    return (limits.ramps.size - 1) // 2 if limits.ramps.size > 2 else limits.ramps.size - 1


def ramp_name(ramp: float) -> str:
    """Return what the time of a ramp is called."""
    return "at once" if ramp == 0.0 else "slowly" if np.isinf(ramp) else f"{1e3 * ramp:g} ms"


def _by_ramp(limits: Limits) -> list[str]:
    head = (
        "The tool moves without turning: largest acceleration in any direction [mm/s^2], by the tilt of the pads and "
        "by the time in which the acceleration goes from none to that (divided by it: the jerk)"
    )
    rows = [[figure(1e3 * a) for a in row] for row in limits.linear["any"]]
    return [*_wrapped("  ", head), *_table(limits.tilts, [ramp_name(ramp) for ramp in limits.ramps], rows)]


def _by_motion(limits: Limits) -> list[str]:
    j = chosen_ramp(limits)
    turn, spin = (np.degrees(limits.turning[about][:, j]) for about in ("any", "spin"))
    rates = {about: np.degrees(each[:, j]) for about, each in limits.turning_acceleration.items()}
    columns: list[tuple[str, FloatArray]] = [(f"along {a}", 1e3 * limits.linear[a][:, j]) for a in ("x", "y", "z")]
    columns += [("turns", rates["any"]), ("", turn), ("about z", rates["spin"]), ("", spin)]
    columns += [("both", 1e3 * limits.together[:, j]), ("stop", 1e3 * limits.stop)]
    head = (
        f"Ramps {ramp_name(limits.ramps[j])}: accelerations along one of the tool's axes [mm/s^2]; turns about the "
        "tool's origin, any axis or its z axis [deg/s^2, deg/s]; any direction while it turns with half of that "
        "acceleration and 0.7 of that speed [mm/s^2]; deceleration of a stop, at once [mm/s^2]"
    )
    rows = [[figure(values[i]) for _, values in columns] for i in range(limits.tilts.size)]
    return [*_wrapped("  ", head), *_table(limits.tilts, [name for name, _ in columns], rows)]


def _circles(limits: Limits) -> list[str]:
    j = chosen_ramp(limits)
    head = (
        f"Ramps {ramp_name(limits.ramps[j])}: circles that the tool turns with, of this radius or wider: speed [mm/s] "
        "and acceleration along the path [mm/s^2], both at once"
    )
    names: list[str] = []
    rows: list[list[str]] = [[] for _ in limits.tilts]
    for radius, speed, along in zip(limits.radii, limits.circling, limits.circling_acceleration, strict=True):
        names += [f"{1e3 * radius:g} mm", ""]
        for i, row in enumerate(rows):
            row += [figure(1e3 * speed[i, j]), figure(1e3 * along[i, j])]
    return [*_wrapped("  ", head), *_table(limits.tilts, names, rows)]


def _table(tilts: FloatArray, names: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    wide = [max(7, len(name), *(len(row[k]) for row in rows)) for k, name in enumerate(names)]
    lines = [f"    {'tilt up to':<11}" + "".join(f" {name:>{w}}" for name, w in zip(names, wide, strict=True))]
    for tilt, row in zip(tilts, rows, strict=True):
        lines.append(
            f"    {f'{np.degrees(tilt):g} deg':<11}" + "".join(f" {v:>{w}}" for v, w in zip(row, wide, strict=True))
        )
    return lines


def _bullets(items: Iterable[str]) -> list[str]:
    return [line for item in items for line in _wrapped("  - ", item)]


def _wrapped(first: str, text: str) -> list[str]:
    shown = "".join(c if c.isprintable() else " " for c in text)
    return textwrap.wrap(shown, WIDTH, initial_indent=first, subsequent_indent=" " * len(first), break_on_hyphens=False)
