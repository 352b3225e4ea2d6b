"""The tool's path in space, drawn by margin: a still projection that the script lets a hand turn."""

from __future__ import annotations

from typing import Any

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.reports.html.text import number, safe, tag
from gripmargin.reports.html.view import KINDS, View, stop_of
from gripmargin.reports.series import IntArray

AZIMUTH, ELEVATION = -0.65, 0.42  # of the eye [rad]
SIZE = 560.0  # of the drawing, a square
FOOT = 78.0  # of the axes, from the left and from below
AROUND = ((0, -16), (16, -9), (-16, -9), (16, 9), (-16, 9))  # where numbers stand beside their places
WHISKERS = 24  # short lines along the tool's z axis


def projected(points: FloatArray, azimuth: float = AZIMUTH, elevation: float = ELEVATION) -> FloatArray:
    """Return points as an eye at that azimuth and elevation sees them, right and down, shape (n, 2)."""
    c, s, ce, se = np.cos(azimuth), np.sin(azimuth), np.cos(elevation), np.sin(elevation)
    x, y, z = points.T
    right, away = c * x + s * y, -s * x + c * y
    return np.column_stack([right, -(z * ce + away * se)])


def frame_of(points: FloatArray) -> tuple[FloatArray, float]:
    """Return the middle of the path, and the factor from metres to the drawing from whatever side it is seen."""
    low, high = points.min(axis=0), points.max(axis=0)
    middle = (low + high) / 2
    reach = max(float(np.linalg.norm(points - middle, axis=1).max()), 1e-6)
    return middle, 0.44 * SIZE / reach


def path(view: View) -> str:
    """Return the figure of the path."""
    samples = view.report.samples
    points = samples.position[view.stops]
    middle, factor = frame_of(points)
    flat = SIZE / 2 + factor * projected(points - middle)
    kind = view.kind
    lines = "".join(f'<path class="p{k}" d="{strokes(flat, kind, k)}"/>' for k in range(len(KINDS)))
    marks = "".join(_mark(view, i, flat) for i in range(len(view.numbered)))
    here = "" if view.worst is None else _here(view, flat)
    corner = _floor(points, middle, factor)
    about = (
        f"Path of the tool frame's origin in the world, {len(points)} samples, within "
        + ", ".join(
            f"{axis} {number(1e3 * float(points[:, i].min()), 0)} to {number(1e3 * float(points[:, i].max()), 0)} mm"
            for i, axis in enumerate("xyz")
        )
        + "."
    )
    drawing = tag(
        "svg",
        tag("title", "Path in space by share of the target", id=f"{view.key}-path-t")
        + tag("desc", safe(about), id=f"{view.key}-path-d")
        + tag("g", corner, class_="floor")
        + tag("g", lines, class_="strokes")
        + tag("path", "", class_="whiskers", d=_whiskers(view, middle, factor))
        + _ends(flat)
        + marks
        + here,
        class_="path3d",
        viewBox=f"0 0 {SIZE:g} {SIZE:g}",
        role="img",
        tabindex="0",
        aria_labelledby=f"{view.key}-path-t {view.key}-path-d",
    )
    present = [(f"p{k}", text) for k, text in enumerate(KINDS) if (kind == k).any()]
    legend = "".join(
        tag(
            "li",
            f'<svg width="26" height="14" aria-hidden="true"><path d="M0 7H26" class="{name}"/></svg>' + safe(text),
        )
        for name, text in present
    )
    buttons = "".join(
        tag("button", safe(text), type="button", data_view=f"{a:.3f} {e:.3f}")
        for text, a, e in (
            ("aslant", AZIMUTH, ELEVATION),
            ("from above", 0.0, np.pi / 2),
            ("from the front", 0.0, 0.0),
            ("from the side", np.pi / 2, 0.0),
        )
    )
    caption = tag(
        "figcaption",
        tag("h4", "Path in space" + tag("span", "tool frame’s origin, world axes", class_="unit"))
        + tag("ul", legend, class_="legend"),
    )
    tools = tag("div", buttons + tag("span", "or drag it, or use the arrow keys", class_="hint"), class_="tools screen")
    note = tag(
        "p",
        "Short strokes point where the pads look. The lower corner shows the world’s axes and a length.",
        class_="note",
    )
    return tag("figure", caption + drawing + tools + note, class_="chart space")


def data(view: View) -> dict[str, Any]:
    """Return what the script needs to draw the path from another side; SIZE and strokes are as here."""
    from gripmargin.reports.html.text import rounded  # noqa: PLC0415 - beside its only use

    points = view.report.samples.position[view.stops]
    middle, factor = frame_of(points)
    tree: dict[str, Any] = {
        "size": SIZE,
        "factor": factor,
        "eye": [AZIMUTH, ELEVATION],
        "p": [rounded(column, 6) for column in (points - middle).T],
        "kind": view.kind.tolist(),
        "marks": [stop_of(view, f) for f in view.numbered],
        "corner": rounded(points.min(axis=0) - middle, 6),
        "length": _length(factor),
        "foot": FOOT,
    }
    if view.report.scene is not None:
        tree["axis"] = [rounded(column, 4) for column in view.report.scene.axis[view.stops].T]
        tree["whisk"] = _whisked(view).tolist()
    return tree


def strokes(flat: FloatArray, kind: IntArray, wanted: int) -> str:
    """Return the segments of one class; a segment has the worse class of its ends, or that of the part it leaves."""
    segment = (
        np.where((kind[:-1] == 0) | (kind[1:] == 0), 0, np.maximum(kind[:-1], kind[1:])) if kind.size > 1 else kind
    )
    if kind.size == 1:
        return f"M{flat[0, 0]:.1f} {flat[0, 1]:.1f}h.1" if kind[0] == wanted else ""
    out, drawing = "", False
    for i in np.flatnonzero(segment == wanted).tolist():
        if not drawing or segment[i - 1] != wanted:
            out += f"M{flat[i, 0]:.1f} {flat[i, 1]:.1f}"
        out += f"L{flat[i + 1, 0]:.1f} {flat[i + 1, 1]:.1f}"
        drawing = True
    return out


def _length(factor: float) -> float:
    """A round length that is about an eighth of the drawing [m]."""
    raw = SIZE / 13 / factor
    power = 10.0 ** np.floor(np.log10(raw))
    return float(next(s * power for s in (1.0, 2.0, 5.0, 10.0) if raw <= s * power * (1 + 1e-9)))


def _floor(points: FloatArray, middle: FloatArray, factor: float) -> str:
    """World axes with a length, at the drawing's lower left, turned as the eye is."""
    length = _length(factor)
    foot = np.array([FOOT, SIZE - FOOT])
    out = ""
    for i, axis in enumerate("xyz"):
        tip = foot + factor * length * projected(np.eye(3)[i : i + 1])[0]
        label = foot + (tip - foot) * 1.22
        out += f'<path class="axis" d="M{foot[0]:.1f} {foot[1]:.1f}L{tip[0]:.1f} {tip[1]:.1f}"/>'
        out += tag("text", axis, x=f"{label[0]:.1f}", y=f"{label[1]:.1f}", dy="4", class_="axis-name")
    text = "axes " + (f"{1e3 * length:g} mm" if length < 1 else f"{length:g} m")
    return out + tag("text", safe(text), x=f"{FOOT:g}", y=f"{SIZE - FOOT + 52:g}", class_="axis-length")


def _whisked(view: View) -> FloatArray:
    carried = np.flatnonzero(view.kind > 0)
    chosen = carried if carried.size else np.arange(view.stops.size)
    points = view.report.samples.position[view.stops]
    way = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points[chosen], axis=0), axis=1))])
    return np.unique(chosen[np.searchsorted(way, np.linspace(0.0, way[-1], WHISKERS)).clip(0, chosen.size - 1)])


def _whiskers(view: View, middle: FloatArray, factor: float) -> str:
    if view.report.scene is None:
        return ""
    at = _whisked(view)
    points = view.report.samples.position[view.stops][at] - middle
    axis = view.report.scene.axis[view.stops][at]
    a = SIZE / 2 + factor * projected(points)
    b = SIZE / 2 + factor * projected(points + axis * 16.0 / factor)
    return "".join(f"M{p[0]:.1f} {p[1]:.1f}L{q[0]:.1f} {q[1]:.1f}" for p, q in zip(a, b, strict=True))


def _ends(flat: FloatArray) -> str:
    (x0, y0), (x1, y1) = flat[0], flat[-1]
    first = f'<g class="end" transform="translate({x0:.1f} {y0:.1f})">'
    first += '<title>start of the program</title><path d="M-5 -5H5V5H-5Z"/></g>'
    last = f'<g class="end" transform="translate({x1:.1f} {y1:.1f})">'
    last += '<title>end of the program</title><path d="M0 -6L6 5H-6Z"/></g>'
    return first + last


def _mark(view: View, i: int, flat: FloatArray) -> str:
    finding = view.numbered[i]
    x, y = flat[stop_of(view, finding)]
    inner = (
        '<circle r="3.5" class="mark-dot"/><g transform="translate({} {})"><circle r="8" class="mark-disc"/>'.format(
            *AROUND[i % 5]
        )
        + tag("text", str(i + 1), dy="4", class_="mark-text")
        + "</g>"
    )
    return tag(
        "g",
        tag("title", safe(f"finding {i + 1}: {finding.text}")) + inner,
        class_="mark",
        data_mark=i,
        transform=f"translate({x:.1f} {y:.1f})",
    )


def _here(view: View, flat: FloatArray) -> str:
    x, y = flat[view.start]
    inner = '<title>the time cursor</title><circle r="9"/><circle r="2.5"/>'
    return f'<g class="here" transform="translate({x:.1f} {y:.1f})">{inner}</g>'
