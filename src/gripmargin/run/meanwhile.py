"""When other stations press or let go, and pads without a part come down beside that: nothing is taken by these."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from gripmargin.base.arrays import FloatArray
from gripmargin.motion.landings import ABOVE
from gripmargin.motion.program import ProgramMotion
from gripmargin.run.elsewhere import Lying, across
from gripmargin.workcell.job import Job
from gripmargin.workcell.pads import Pad
from gripmargin.workcell.stations import frame_between


def elsewhere_pressed(
    job: Job, name: str, motion: ProgramMotion, places: Sequence[Lying]
) -> Iterator[tuple[float, float]]:
    """Yield times in which other stations press or let go, and the pads of one come down on no part: from, to [s].

    Args:
        job: The program's.
        name: The station.
        motion: Of its frame over the whole program.
        places: Where parts lie, of all holds.
    """
    pads = np.concatenate([_corners(pad) for pad in job.stations[name].gripper.pads])
    hull = np.asarray(shapely.MultiPoint(pads[:, :2]).convex_hull.exterior.coords)[:-1]
    corners = np.column_stack([hull, np.full(len(hull), pads[:, 2].mean())])
    for other, theirs in job.stations.items():
        frame = frame_between(job, name, other)
        for hold in theirs.holds if other != name else ():
            outline = hold.own(theirs)["part"].outline
            ends = [_corners(pad) for pad in theirs.gripper.pads]
            if outline is not None:
                ends = [np.column_stack([outline, np.full(len(outline), np.concatenate(ends)[:, 2].mean())])]
            if any(_overlap(hull, (part @ frame[:3, :3].T + frame[:3, 3])[:, :2]) for part in ends):
                continue
            for first, last, i in hold.stretches:
                if theirs.phases[i].kind in ("preload", "release"):
                    tool = motion.at.take(slice(first, last + 1))
                    face = np.einsum("nij,kj->nki", tool.rotation, corners) + tool.position[:, None]
                    if not any(_on(face, tool.t, place) for place in places):
                        yield float(tool.t[0]), float(tool.t[-1])


def _corners(pad: Pad) -> FloatArray:
    """Corners of a pad in its frame [m], shape (k, 3)."""
    flat = np.column_stack([pad.outline, np.zeros(len(pad.outline))])
    return np.asarray(flat @ pad.pose_in_tool[:3, :3].T + pad.pose_in_tool[:3, 3])


def _overlap(one: FloatArray, other: FloatArray) -> bool:
    return bool(shapely.intersects(shapely.Polygon(one), shapely.MultiPoint(other).convex_hull))


def _on(face: FloatArray, t: FloatArray, place: Lying) -> bool:
    """Whether pads with some corners, shape (n, k, 3), come down to a part where it lies."""
    low = (t > place.since) & (t < place.until) & ((face @ place.normal).min(axis=1) <= place.level + ABOVE)
    seen = face[low] @ across(place.normal)
    return bool(shapely.intersects(shapely.polygons(seen), place.seen_along(place.normal)).any())
