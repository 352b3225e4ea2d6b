"""Pads to choose from: those of the job in other materials and sizes, and one, two or four squares under the part."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import shapely

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.base.poses import pose
from gripmargin.checks.changes import STEEPEST, resized
from gripmargin.workcell import Pad, PadMaterial
from gripmargin.workcell.job import Job

NEAR: Final = 1.25  # sides of a pad from middle to middle, where pads are close together
REACH: Final = 0.8  # of the way from the centre of mass to the edge of the part, where they are far apart
SQUARES: Final = {"one": 1, "two": 2, "four": 4}


@dataclass(frozen=True, kw_only=True)
class Layout:
    """Pads of some kind, in any size.

    Attributes:
        job: The job as it is.
        material: Of all pads.
        name: "as drawn", "one", "two" or "four".
        wide: Whether they reach out towards the edge of the part.
    """

    job: Job
    material: PadMaterial
    name: str
    wide: bool = False

    def with_area(self, area: float) -> Job | None:
        """Return the job with pads of so much area in all [m^2]; None where they have no room."""
        try:
            if self.name == "as drawn":
                factor = float(np.sqrt(area / area_of(self.job)))
                made = self.job if factor == 1.0 else resized(self.job, factor)
                pads = tuple(replace(pad, material=self.material) for pad in made.gripper.pads)
            else:
                pads = self._squares(float(np.sqrt(area / SQUARES[self.name])))
            return replace(self.job, gripper=replace(self.job.gripper, pads=pads)) if pads else None
        except InputError:
            return None

    def facts(self, job: Job) -> dict[str, Any]:
        """Return what a `gripmargin.results.choice.Choice` says of a job that `with_area` made."""
        pads = job.gripper.pads
        middles = np.array([pad.pose_in_tool[:2, 3] for pad in pads])
        spacing, size, at = np.ptp(middles, axis=0), np.ptp(pads[0].outline, axis=0), middles.mean(axis=0)
        return {
            "material": self.material.name,
            "layout": self.name,
            "pads": len(pads),
            "size": tuple(size.tolist()),
            "spacing": tuple(spacing.tolist()),
            "at": tuple(at.tolist()),
            "area": area_of(job),
        }

    def _squares(self, side: float) -> tuple[Pad, ...]:
        """Squares about the centre of mass, two along the longer side; none where they have no room."""
        middle, reach = self.job.part.com[:2], _reach(self.job)
        many = np.array([2 if self.name != "one" else 1, 2 if self.name == "four" else 1])
        if reach[1] > reach[0]:
            many = many[::-1]
        apart = 2.0 * (REACH * reach - side / 2.0) if self.wide else np.full(2, NEAR * side)
        if (apart[many > 1] < NEAR * side * (1.0 - 1e-9)).any():
            return ()
        height = self.job.gripper.pads[0].pose_in_tool[2, 3]
        places = [
            middle + apart * (np.array([i, j]) - (many - 1) / 2.0) for i in range(many[0]) for j in range(many[1])
        ]
        pads = tuple(
            Pad.rectangle(f"pad {i}", self.material, [side, side], at=pose(xyz=(*place, height)))
            for i, place in enumerate(places, 1)
        )
        outline = self.job.part.outline
        if outline is not None and not shapely.Polygon(outline).covers(shapely.MultiPolygon(map(_seen, pads))):
            return ()
        return pads


def layouts(job: Job) -> Iterator[Layout]:
    """Yield what there is to choose from, material by material.

    Squares only where all pads lie in one level plane.
    """
    heights = [pad.pose_in_tool[2, 3] for pad in job.gripper.pads]
    level = all(pad.pose_in_tool[2, 2] > STEEPEST for pad in job.gripper.pads) and np.ptp(heights) < 1e-9
    own = [pad.material for pad in job.gripper.pads]
    for material in {each.name: each for each in (*own, *job.materials)}.values():
        yield Layout(job=job, material=material, name="as drawn")
        for name in SQUARES if level else ():
            yield Layout(job=job, material=material, name=name)
            if name != "one":
                yield Layout(job=job, material=material, name=name, wide=True)


def area_of(job: Job) -> float:
    """Return the area of all pads [m^2]."""
    return float(sum(shapely.Polygon(pad.outline).area for pad in job.gripper.pads))


def _reach(job: Job) -> FloatArray:
    """How far the part reaches from its centre of mass along x and y, shape (2,); else how far the pads do."""
    outline = job.part.outline
    corners = np.concatenate([_corners(pad) for pad in job.gripper.pads]) if outline is None else outline
    off = corners - job.part.com[:2]
    return np.asarray(np.maximum(np.minimum(off.max(axis=0), -off.min(axis=0)), 0.0))


def _corners(pad: Pad) -> FloatArray:
    return np.asarray(pad.outline @ pad.pose_in_tool[:2, :2].T + pad.pose_in_tool[:2, 3])


def _seen(pad: Pad) -> shapely.Polygon:
    return shapely.Polygon(_corners(pad))
