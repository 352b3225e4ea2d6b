"""The pads' faces, cell by cell: how far each is used, pulled or pressed, and how well the preload bonded it."""

from __future__ import annotations

from typing import Any

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.reports.html.text import number, printable, rounded, safe, seconds, table, tag
from gripmargin.reports.html.tiles import RIM, TILE, Tile, outline_path, seen_along_z, shown, tile_of
from gripmargin.reports.html.view import View
from gripmargin.results.scene import PadState, Scene

LEVELS = 10  # of a ramp
AXES = '<path d="M0 0H22M0 0V-22"/><text x="25" y="4">x</text><text x="-3" y="-26">y</text>'
MASS = '<title>centre of mass</title><circle r="5"/><path d="M0 -5A5 5 0 0 1 5 0H0ZM0 5A5 5 0 0 1 -5 0H0Z"/>'
RING = '<circle r="6"/><circle r="1.6" class="dot"/>'
HEAD = '<path d="M0 -9L7 5H-7Z"/>'


def face(view: View) -> str:
    """Return the figures of the pads at the sample that the page opens at, and the table of pads."""
    scene = view.report.scene
    if scene is None or view.worst is None:
        return tag("p", "The report carries no picture of the pads.", class_="empty")
    load = view.load(view.worst)
    pads, flat = shown(scene, load), seen_along_z(scene)
    said = _said(view, scene, load)
    figures = "".join(
        _figure(view, scene, tile_of(pad, pads.values(), along_z=flat), i, load) for i, pad in pads.items()
    )
    seen = (
        "Seen from the part, against the tool’s z axis: tool x to the right, tool y up."
        if flat
        else "Each pad is seen from the part in its own frame: its x to the right, its y up."
    )
    more = f" {len(scene.pads) - len(pads)} more pads are in the table." if len(scene.pads) > len(pads) else ""
    of = tag("b", safe(said_load(view.carried_by(view.worst))), data_say="load")
    governs = tag("b", safe(view.governs(view.worst)), data_say="governs")
    return (
        tag("p", said, class_="at-cursor", data_face="said")
        + tag("p", f"The load is {of}. What governs then: {governs}.", class_="note")
        + tag("div", _overview(view, scene) + tag("div", figures, class_="pads"), class_="faces")
        + _legend(scene)
        + tag("p", safe(seen + more), class_="note")
        + _pads_table(scene)
    )


def said_load(name: str) -> str:
    """Return in words whose load the faces are drawn for."""
    return f"that of {name.replace('_', ' ')}" if name else "that of the program’s motion, without swing or stop"


def data(view: View) -> dict[str, Any] | None:
    """Return what the script needs to draw the faces at another time."""
    scene = view.report.scene
    if scene is None or view.worst is None:
        return None
    drawn, flat = shown(scene, view.load(view.worst)), seen_along_z(scene)
    pads = []
    for i, pad in enumerate(scene.pads):
        tile = tile_of(pad, drawn.values(), along_z=flat)
        cells = tile.cells if i in drawn else ()
        places = np.array([cell.centre for cell in cells]).reshape(-1, 3), pad.edge
        pads.append(
            {
                "bent": [] if scene.sheet is None else [rounded(_bent(scene, pad, at), 6) for at in places],
                "name": printable(pad.patch.pad.name),
                "axes": rounded(pad.patch.rotation.T, 6),
                "k": rounded(pad.patch.stiffness_per_area(), 6),
                "S": pad.pull_off_stress,
                "T": pad.shear_strength,
                "cells": rounded(np.array([cell.centre for cell in cells])),
                "bond": rounded(np.array([cell.bond for cell in cells]), 4),
                "ok": [int(cell.counted) for cell in cells],
                "edge": rounded(pad.edge, 6),
                "holds": rounded(pad.edge_bond, 6),
                "slack": rounded(_slack(scene, i, len(pad.edge)), 6),
                "start": rounded(_start(scene, i), 6),
                "left": rounded(scene.face.left[scene.owner == i], 6) if scene.face.spent is not None else [],
                "spot": rounded(tile.corners, 4),
            }
        )
    spread = scene.face.spread if scene.face.spread is not None else np.zeros((1, 6, 6))
    return {"C": rounded(scene.compliance, 9), "L": rounded(spread[0], 9), "asked": scene.asked, "pads": pads}


def _bent(scene: Scene, pad: PadState, places: FloatArray) -> FloatArray:
    """The tractions at places of a pad under a part that bends, for each unit of the load, shape (p, 3, 6)."""
    return scene.tractions(pad, places, np.eye(6)).transpose(1, 0, 2)


def _slack(scene: Scene, pad: int, points: int) -> FloatArray:
    """What the use of the places of a pad allows for, for a load of size 1."""
    return np.zeros(points) if scene.face.slack is None else scene.face.slack[scene.owner == pad, 0]


def _start(scene: Scene, pad: int) -> FloatArray:
    """The tractions without any load at the places of a pad, one after the other; empty where there are none."""
    return np.zeros(0) if scene.face.start is None else scene.face.start[:, scene.owner == pad].T


def use_class(use: float, counted: bool) -> str:
    """Return the class of a cell by its use."""
    if not counted or np.isnan(use):
        return "u-none"
    return f"u{min(int(use * LEVELS), LEVELS)}"


def pull_class(share: float, counted: bool) -> str:
    """Return the class of a cell by its normal traction over its pull-off stress: tension or compression."""
    if not counted or np.isnan(share):
        return "u-none"
    if share >= 0:
        return f"u{min(int(share * LEVELS), LEVELS)}"
    return f"k{1 + min(int(-share * 3), 2)}"


def bond_class(share: float) -> str:
    """Return the class of a cell by its bond."""
    return f"b{min(int(share * LEVELS + 1e-9), LEVELS)}"


def _figure(view: View, scene: Scene, tile: Tile, i: int, load: FloatArray) -> str:
    pad = tile.pad
    centres = np.array([cell.centre for cell in tile.cells])
    traction = scene.tractions(pad, centres, load)
    bond = np.array([cell.bond for cell in tile.cells])
    use = pad.utilisation(traction, bond)
    with np.errstate(divide="ignore", invalid="ignore"):
        pull = np.where(bond > 0, traction[2] / (pad.pull_off_stress * bond), np.nan)
    edge = scene.edge_use(load)
    name = pad.patch.pad.name
    maps = (
        ("use", "used", [use_class(float(u), c.counted) for u, c in zip(use, tile.cells, strict=True)]),
        ("pull", "pulled, pressed", [pull_class(float(p), c.counted) for p, c in zip(pull, tile.cells, strict=True)]),
        ("bond", "bond after the press", [bond_class(c.bond) for c in tile.cells]),
    )
    drawn = ""
    for kind, title, styles in maps:
        cells = "".join(
            f'<path class="{style}" d="{cell.shape}"/>' for style, cell in zip(styles, tile.cells, strict=True)
        )
        marks = ""
        if kind != "bond" and edge is not None:
            here = (
                pad is scene.pads[edge.pad]
                if kind == "use"
                else edge.peel_point is not None and pad is scene.pads[edge.peel_pad]
            )
            point = edge.point if kind == "use" else edge.peel_point
            at = (
                tile.corners[int(np.argmin(np.linalg.norm(pad.edge - point, axis=1)))]
                if here and point is not None
                else None
            )
            marks = _spot(kind, at)
        about = f"Pad {name}, {title}: {_in_words(kind, use, pull, tile)}"
        ident = f"{view.key}-pad{i}-{kind}"
        drawn += tag(
            "div",
            tag(
                "svg",
                tag("title", safe(about), id=ident)
                + tag("g", cells, class_="cells", data_pad=i, data_map=kind)
                + tag("path", "", class_="pad-edge", d=tile.outline)
                + marks,
                viewBox=f"0 0 {TILE:g} {TILE:g}",
                role="img",
                aria_labelledby=ident,
                class_="tile",
            )
            + tag("p", safe(title)),
            class_="map",
        )
    head = tag(
        "figcaption",
        tag("h4", "Pad " + safe(f"‘{name}’") + tag("span", safe(pad.patch.pad.material.name), class_="unit")),
    )
    return tag("figure", head + tag("div", drawn, class_="maps"), class_="pad")


def _spot(kind: str, at: FloatArray | None) -> str:
    """The most used place, a ring; the highest tension, an arrow head that lifts off."""
    x, y = (0.0, 0.0) if at is None else at.tolist()
    inner = RING if kind == "use" else HEAD
    text = "most used place" if kind == "use" else "highest tension: it would peel from here"
    return tag(
        "g",
        tag("title", text) + inner,
        class_=f"spot {kind}",
        data_spot=kind,
        transform=f"translate({x:.1f} {y:.1f})",
        visibility="hidden" if at is None else "visible",
    )


def _in_words(kind: str, use: FloatArray, pull: FloatArray, tile: Tile) -> str:
    counted = np.array([cell.counted for cell in tile.cells])
    if kind == "bond":
        bond = [cell.bond for cell in tile.cells]
        return f"from {100 * min(bond):.0f} to {100 * max(bond):.0f} % of full strength"
    values = (use if kind == "use" else pull)[counted]
    if not np.isfinite(values).any():
        return "no cell that counts"
    what = "of what a cell holds" if kind == "use" else "of the pull-off stress, tension positive"
    return f"from {number(100 * float(np.nanmin(values)), 0)} to {number(100 * float(np.nanmax(values)), 0)} % {what}"


def _said(view: View, scene: Scene, load: FloatArray) -> str:
    t = view.cursor
    if not view.hung[view.worst]:
        return safe(f"At {seconds(t)} the part does not hang on the pads.")
    edge = scene.edge_use(load)
    if edge is None:
        return safe(f"At {seconds(t)}: no cell holds anything.")
    text = (
        f"At {seconds(t)} the most used place is {_where(scene, edge.pad, edge.point)}: "
        f"{number(100 * edge.use, 0)} % of what it holds"
    )
    if edge.peel_point is not None:
        azimuth = float(np.degrees(np.arctan2(edge.peel_point[1], edge.peel_point[0])))
        text += (
            f"; the highest tension, {number(100 * edge.peel, 0)} % of the pull-off stress, "
            f"{_where(scene, edge.peel_pad, edge.peel_point)} ({number(azimuth, 0)}° about tool z): "
            "it would peel from there"
        )
    return safe(text + ".")


def _where(scene: Scene, pad: int, point: FloatArray) -> str:
    name = scene.pads[pad].patch.pad.name
    return f"on pad ‘{name}’ at x {number(1e3 * float(point[0]), 1)}, y {number(1e3 * float(point[1]), 1)} mm"


def _overview(view: View, scene: Scene) -> str:
    outline = scene.part.outline
    shapes = (
        [pad.patch.edge[:, :2] for pad in scene.pads]
        + ([] if outline is None else [outline])
        + [scene.part.com[None, :2], np.zeros((1, 2))]
    )
    together = np.concatenate(shapes)
    low, high = together.min(axis=0), together.max(axis=0)
    reach = max(float((high - low).max()) / 2, 1e-6)
    factor = (TILE / 2 - RIM) / reach
    middle = (low + high) / 2

    def place(points: FloatArray) -> FloatArray:
        return TILE / 2 + factor * (points - middle) * np.array([1.0, -1.0])

    inner = "" if outline is None else f'<path class="part" d="{outline_path(place(outline))}"/>'
    for pad in scene.pads:
        inner += tag(
            "path",
            tag("title", safe(pad.patch.pad.name)),
            class_="on-part",
            d=outline_path(place(pad.patch.edge[:, :2])),
        )
    x, y = place(np.zeros((1, 2)))[0]
    inner += f'<g class="tool-axes" transform="translate({x:.1f} {y:.1f})">{AXES}</g>'
    x, y = place(scene.part.com[None, :2])[0]
    inner += f'<g class="com" transform="translate({x:.1f} {y:.1f})">{MASS}</g>'
    ident = f"{view.key}-overview"
    across = f"{1e3 * float(high[0] - low[0]):.0f} × {1e3 * float(high[1] - low[1]):.0f} mm"
    about = f"Pads on the part, {across}; the centre of mass is the quartered disc."
    drawing = tag(
        "svg",
        tag("title", safe(about), id=ident) + inner,
        viewBox=f"0 0 {TILE:g} {TILE:g}",
        role="img",
        aria_labelledby=ident,
        class_="tile",
    )
    head = tag("figcaption", tag("h4", "On the part" + tag("span", safe(across), class_="unit")))
    return tag(
        "figure",
        head
        + tag("div", tag("div", drawing + tag("p", "pads, tool axes, centre of mass"), class_="map"), class_="maps"),
        class_="pad overview",
    )


def _legend(scene: Scene) -> str:
    def ramp(prefix: str, first: str, last: str, text: str) -> str:
        steps = "".join(f'<rect x="{12 * i}" width="12" height="12" class="{prefix}{i}"/>' for i in range(LEVELS + 1))
        return tag(
            "li",
            safe(text)
            + tag("span", safe(first), class_="end")
            + f'<svg width="132" height="12" aria-hidden="true">{steps}</svg>'
            + tag("span", safe(last), class_="end"),
        )

    pressed = "".join(f'<rect x="{12 * i}" width="12" height="12" class="k{3 - i}"/>' for i in range(3))
    items = ramp("u", "0", "100 % and more", "used, pulled ") + tag(
        "li", "pressed " + f'<svg width="36" height="12" aria-hidden="true">{pressed}</svg>'
    )
    items += ramp("b", "0", "100 %", "bond ")
    if any(not pad.counted.all() for pad in scene.pads):
        box = '<svg width="12" height="12" aria-hidden="true"><rect width="12" height="12" class="u-none"/></svg>'
        items += tag("li", box + "not counted on")
    for kind, shape, text in (("use", RING, "most used place"), ("pull", HEAD, "would peel from here")):
        drawn = f'<g class="spot {kind}">{shape}</g>'
        items += tag("li", f'<svg width="16" height="16" viewBox="-8 -9 16 16" aria-hidden="true">{drawn}</svg>' + text)
    return tag("ul", items, class_="legend ramps")


def _pads_table(scene: Scene) -> str:
    rows = []
    for pad in scene.pads:
        patch = pad.patch
        areas = patch.areas
        rows.append(
            [
                safe(patch.pad.name),
                safe(patch.pad.material.name),
                number(1e4 * patch.area, 2),
                number(100 * patch.share, 0),
                number(100 * float(areas @ pad.bond / areas.sum()), 0),
                number(100 * float(areas @ pad.counted / areas.sum()), 0),
                number(pad.pull_off_stress / 1e4, 2),
                number(pad.shear_strength / 1e4, 2),
            ]
        )
    head = [
        "pad",
        "material",
        "on the part [cm²]",
        "of its area [%]",
        "mean bond [%]",
        "counted on [%]",
        "pull-off stress [N/cm²]",
        "shear strength [N/cm²]",
    ]
    return table(head, rows, caption="Pads, with their strength where the bond is full", class_="numbers second")
