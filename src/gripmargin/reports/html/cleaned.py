"""The pads' faces after a cleaning move: what of them is clean, and the place that is least so."""

from __future__ import annotations

import numpy as np
import shapely

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.cleaning.figures import CleaningDetails
from gripmargin.contact.cleaning import Cleaned
from gripmargin.reports.html.face import RING
from gripmargin.reports.html.text import number, safe, tag
from gripmargin.reports.html.tiles import MOST_PADS, RIM, TILE, outline_path
from gripmargin.reports.html.view import View

STATES = (("b9", "clean"), ("b3", "not known"), ("u-none", "not clean"))


def cleaned(view: View) -> str:
    """Return the figures of the pads after the cleaning move that cleans least; nothing where there is none."""
    details = next((check.details for check in view.report.checks if check.check == "cleaning"), None)
    if not isinstance(details, CleaningDetails) or not details.faces:
        return ""
    shown = details.faces[:MOST_PADS]
    reach = max(float(np.abs(face.corners).max()) for face in shown)
    figures = "".join(_figure(view, i, face, details, (TILE / 2 - RIM) / reach) for i, face in enumerate(shown))
    left = len(details.faces) - len(shown)
    more = f" {left} more pads are in the checks." if left else ""
    seen = (
        "Each pad is seen from the cleaner in its own frame: its x to the right, its y up. The ring is the least clean "
    )
    legend = "".join(
        tag(
            "li",
            f'<svg width="12" height="12" aria-hidden="true"><rect width="12" height="12" class="{style}"/></svg>'
            + text,
        )
        for style, text in STATES
    )
    return (
        tag("div", tag("div", figures, class_="pads"), class_="faces")
        + tag("ul", legend, class_="legend ramps")
        + tag("p", safe(f"{seen}place.{more}"), class_="note")
    )


def _figure(view: View, i: int, face: Cleaned, details: CleaningDetails, factor: float) -> str:
    def place(points: FloatArray) -> FloatArray:
        return TILE / 2 + factor * points * np.array([1.0, -1.0])

    corners = place(face.corners.reshape(-1, 2)).reshape(-1, 3, 2)
    kinds = face.is_clean, face.is_open, ~face.is_clean & ~face.is_open
    drawn = "".join(
        f'<path class="{style}" fill-rule="evenodd" d="{_area(corners[own])}"/>'
        for (style, _), own in zip(STATES, kinds, strict=True)
        if own.any()
    )
    name = face.pad.name
    if details.gap is not None and details.gap.pad == name:
        x, y = place(np.array(details.gap.where)).tolist()
        drawn += tag(
            "g",
            tag("title", "least clean place") + RING,
            class_="spot use",
            transform=f"translate({x:.1f} {y:.1f})",
        )
    outline = face.pad.outline if face.pad.edge is None else face.pad.edge
    low, high = face.share
    said = (
        f"{number(100 * low, 1)} % clean"
        if high - low < 1e-3
        else f"{number(100 * low, 1)} to {number(100 * high, 1)} % clean"
    )
    ident = f"{view.key}-cleaned{i}"
    svg = tag(
        "svg",
        tag("title", safe(f"Pad {name} after the cleaning move: {said}"), id=ident)
        + drawn
        + tag("path", "", class_="pad-edge", d=outline_path(place(outline))),
        viewBox=f"0 0 {TILE:g} {TILE:g}",
        role="img",
        aria_labelledby=ident,
        class_="tile",
    )
    head = tag("figcaption", tag("h4", "Pad " + safe(f"‘{name}’")))
    return tag(
        "figure", head + tag("div", tag("div", svg + tag("p", safe(said)), class_="map"), class_="maps"), class_="pad"
    )


def _area(triangles: FloatArray) -> str:
    """Triangles of a tile as one path, shape (k, 3, 2)."""
    union = shapely.union_all(shapely.polygons(triangles), grid_size=1e-3)
    path = ""
    for part in getattr(union, "geoms", [union]):
        if part.geom_type == "Polygon":
            for ring in (part.exterior, *part.interiors):
                path += outline_path(np.asarray(ring.simplify(1e-3).coords)[:-1])
    return path
