"""Largest accelerations of any path, as short text, in the units that planners take; figures are rounded down."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.results.limits import Limits
from gripmargin.results.report import CAUTIONS

WIDTH = 100
DIGITS = 3  # of a figure
SAME = 0.01  # share by which figures differ that need no table of their own

Block = tuple[str, list[str], list[list[str]]]


def limits_text(limits: Limits) -> str:
    """Return the limits as text for a person, at most 100 characters wide."""
    lines = [*_wrapped(f"{limits.verdict.upper()}  ", f"{limits.job}: what any path may ask of the pads"), ""]
    if limits.blocked:
        lines += [*_bullets(limits.blocked), ""]
    for head, names, rows in blocks(limits):
        lines += [*_wrapped("  ", head), *_table(names, rows), ""]
    if limits.choices:
        from gripmargin.reports.choices_as_text import choices_lines  # noqa: PLC0415 - which takes figures from here

        lines += [*_wrapped("  ", choices_head(limits)), *choices_lines(limits.choices), ""]
    targets = ", ".join(f"{name} {target:g}" for name, target in limits.targets.items())
    lines += ["Assumed", *_bullets([*limits.notes, f"Margins kept: {targets}."])]
    return "\n".join([*lines, "", "Cautions", *_bullets(CAUTIONS)]) + "\n"


def choices_head(limits: Limits) -> str:
    """Return what the table of pads holds."""
    ramp = ramp_name(limits.ramps[(limits.ramps.size - 1) // 2])
    return (
        f"Pads to choose from: largest acceleration of any path in any direction, tilt up to "
        f"{np.degrees(limits.tilts[0]):g} deg, ramps {ramp}; least: margin of hold at standstill over its target. "
        "Sizes in mm, area in cm^2. What lets go is for a job with its release (gripmargin tune --grasp)"
    )


def figure(value: float) -> str:
    """Return a figure rounded down to three digits; '-' where it is not known, or where there is none."""
    if not np.isfinite(value) or value <= 0.0:
        return "-"
    step = 10.0 ** (math.floor(math.log10(value)) - DIGITS + 1)
    return f"{math.floor(value / step + 1e-9) * step:.{max(0, -math.floor(math.log10(step)))}f}"


def ramp_name(ramp: float) -> str:
    """Return what the time of a ramp is called."""
    return "at once" if ramp == 0.0 else "slowly" if np.isinf(ramp) else f"{1e3 * ramp:g} ms"


def blocks(limits: Limits) -> list[Block]:
    """Return the tables: what each holds, the names of its columns, its rows; none where nothing is known."""
    if np.isnan(limits.linear["any"]).all():
        return []
    j = (limits.ramps.size - 1) // 2  # the middle one of those asked for
    ramps = f"Ramps {ramp_name(limits.ramps[j])}"
    turns = {
        name: [np.degrees(limits.turning_acceleration(about)[:, j]), np.degrees(limits.turning[about][:, j])]
        for name, about in (("about any axis", "any"), ("about its z axis", "spin"))
    }
    circles = zip(limits.radii, limits.circling[:, :, j], limits.circling_acceleration[:, :, j], strict=True)
    one_move = _block(
        limits,
        "One such move from standstill to standstill, from where the part hangs still: largest acceleration in any "
        "direction [mm/s^2], likewise; it does not rest on damping",
        {ramp_name(ramp): [1e3 * each] for ramp, each in zip(limits.ramps, limits.one_move.T, strict=True)},
    )
    told = np.allclose(limits.one_move, limits.linear["any"], rtol=SAME)
    return [
        _block(
            limits,
            "The tool moves without turning: largest acceleration in any direction [mm/s^2], by the tilt of the pads "
            "and by the time in which the acceleration goes from none to that (divided by it: the jerk)",
            {ramp_name(ramp): [1e3 * each] for ramp, each in zip(limits.ramps, limits.linear["any"].T, strict=True)},
        ),
        *([] if told else [one_move]),
        _block(
            limits,
            f"{ramps}: accelerations along one of the tool's axes [mm/s^2]; in any direction while it turns with half "
            "of the acceleration below and 0.7 of the speed [mm/s^2]; stop, on and off at once [mm/s^2]",
            {f"along {axis}": [1e3 * limits.linear[axis][:, j]] for axis in ("x", "y", "z")}
            | {"both": [1e3 * limits.together[:, j]], "stop": [1e3 * limits.stop]},
        ),
        _block(
            limits,
            f"{ramps}: turns about the tool's origin: angular acceleration [deg/s^2] at up to a speed [deg/s]",
            turns,
        ),
        _block(
            limits,
            f"{ramps}: circles that the tool turns with, of a radius or wider ones: acceleration along the path "
            "[mm/s^2] at up to a speed [mm/s]",
            {f"{1e3 * radius:g} mm": [1e3 * along, 1e3 * speed] for radius, speed, along in circles},
        ),
    ]


def _block(limits: Limits, head: str, columns: Mapping[str, Sequence[FloatArray]]) -> Block:
    rows = [
        [f"{np.degrees(tilt):g} deg", *(" at ".join(figure(each[i]) for each in values) for values in columns.values())]
        for i, tilt in enumerate(limits.tilts)
    ]
    return head, ["tilt up to", *columns], rows


def _table(names: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    wide = [max(8, *(len(line[k]) for line in (names, *rows))) for k in range(len(names))]
    return [
        f"    {first:<{wide[0]}}" + "".join(f"  {cell:>{w}}" for cell, w in zip(cells, wide[1:], strict=True))
        for first, *cells in (names, *rows)
    ]


def _bullets(items: Iterable[str]) -> list[str]:
    return [line for item in items for line in _wrapped("  - ", item)]


def _wrapped(first: str, text: str) -> list[str]:
    shown = "".join(c if c.isprintable() else " " for c in text)
    return textwrap.wrap(shown, WIDTH, initial_indent=first, subsequent_indent=" " * len(first), break_on_hyphens=False)
