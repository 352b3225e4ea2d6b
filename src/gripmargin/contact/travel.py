"""How far a release goes, and how far it would have to go: the same simulation run on along the same screw."""

from __future__ import annotations

import copy
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.spatial.transform import Rotation

from gripmargin.base.arrays import FloatArray, Value
from gripmargin.base.errors import InputError
from gripmargin.contact.activation import PadFace
from gripmargin.contact.cell_states import CellState
from gripmargin.contact.press_engine import PressEngine
from gripmargin.contact.pull import straight_pull
from gripmargin.contact.relative import RelativeMotion
from gripmargin.kernels.screw import along, twist_between
from gripmargin.workcell import ReleaseKind

UNITS: Final[dict[ReleaseKind, str]] = {"peel": "rad", "torsion": "rad", "shear": "m", "overload": "Pa"}
STEP = 1.0 / 32.0  # longest way of a bonded cell in one step, share of the displacement that breaks a full bond
BLOCK = 16  # steps between looks at which cells are still bonded
LARGEST_ANGLE = np.deg2rad(120.0)
FARTHEST = 20.0  # of a slide or a press, in displacements that break a full bond or reach the overload pressure
ARRIVED = 0.99  # of the longest way: where the release move is taken to end
HALVINGS = 8  # of a step, to find when a straight pull has become light enough
SEATED = 0.02  # share of the displacement that breaks a full bond


@dataclass(frozen=True, eq=False)
class Seating(Value):
    """Where in a motion a carried part reaches its place.

    Attributes:
        sample: First sample at which the pads' centre is down on the face plane, or as low as it gets. What passes
            below the plane elsewhere, on the way to the place, does not count.
        height: Of the pads' centre above the face plane there [m].
        seated: Whether it reaches the plane.
        tilt: Angle between the pads and the face plane there [rad].
        flat: Whether no place of the pads is then so far above the plane that its bond is torn already.
    """

    sample: int
    height: float
    seated: bool
    tilt: float
    flat: bool


@dataclass(frozen=True, eq=False)
class RequiredTravel(Value):
    """Way of a release against the way it needs, both in the unit of its kind (`UNITS`).

    Attributes:
        kind: Of the release.
        achieved: Longest way while the pads were within reach of the face.
        required: Way at which no more than the wanted share is left; inf where that is never reached.
        left: Share of the bond left at the required way, or at the end of the search.
        searched: How far the search went.
    """

    kind: ReleaseKind
    achieved: float
    required: float
    left: float
    searched: float


def seating(faces: Sequence[PadFace], motion: RelativeMotion) -> Seating:
    """Return where a carried part is set down.

    Args:
        faces: The pads, bonded to the part as gripped.
        motion: Of the tool relative to the face of the part in its place.
    """
    height = motion.height(_centre(faces)[None])[:, 0]
    slack = SEATED * min(face.break_displacement for face in faces)
    lowest = float(height.min())
    down = height <= max(lowest, 0.0) + slack
    starts = np.flatnonzero(down & ~np.concatenate([[False], down[:-1]]))
    place = (motion.rotation @ _centre(faces) + motion.position)[:, :2]
    away = np.linalg.norm(place - place[starts[-1]], axis=1)
    extent = max(float(np.linalg.norm(face.patch.edge - _centre(faces), axis=1).max()) for face in faces)
    sample = int(np.argmax(down & (away <= extent)))
    there = motion.between(sample, sample)
    highest = max(float(there.height(face.patch.edge).max()) / face.break_displacement for face in faces)
    normal = np.stack([face.patch.area * face.patch.rotation[:, 2] for face in faces]).sum(axis=0)
    sine = float(np.hypot(*(there.rotation[0] @ normal)[:2]) / max(float(np.linalg.norm(normal)), 1e-300))
    return Seating(
        sample=sample,
        height=float(height[sample]),
        seated=lowest <= slack,
        tilt=float(np.arcsin(min(sine, 1.0))),
        flat=highest < 1.0,
    )


def travel(kind: ReleaseKind, faces: Sequence[PadFace], motion: RelativeMotion) -> FloatArray:
    """Return the way of a release since the first sample, shape (n,), in the unit of its kind.

    A peel is the angle between the tool's z axis and where it was, a torsion the angle about the face normal
    (up to half a turn), a shear the way of the pads' centre along the face, an overload the mean pressure.
    """
    if kind == "peel":
        first = motion.rotation[0, :, 2]
        now = motion.rotation[:, :, 2]
        return np.arctan2(np.linalg.norm(np.cross(first, now), axis=1), now @ first)
    if kind == "torsion":
        turn = Rotation.from_matrix(motion.rotation @ motion.rotation[0].T).as_quat()
        return 2.0 * np.arctan2(np.abs(turn[:, 2]), np.abs(turn[:, 3]))
    if kind == "shear":
        place = motion.rotation @ _centre(faces) + motion.position
        return np.hypot(*(place - place[0])[:, :2].T)
    force, area = np.zeros(motion.samples), 0.0
    for face in faces:
        depth = np.maximum(-motion.height(face.patch.points) - face.gap, 0.0)
        force += face.patch.pad.material.normal_stiffness * (depth @ face.patch.areas)
        area += face.patch.area
    return force / area


def required_travel(
    faces: Sequence[PadFace],
    kind: ReleaseKind,
    motion: RelativeMotion,
    bond: Sequence[FloatArray],
    *,
    left: float = 0.0,
    enough: Callable[[FloatArray], bool] | None = None,
) -> RequiredTravel:
    """Return how far a release goes and how far along the same screw it would have to go.

    The screw is the one from the first sample to where the release move has arrived. A move that does not
    go the way of its kind at all is replaced: a turn about the face normal through the pads' centre, a tilt about
    the pads' shorter edge, a slide along the face's x axis, a press along its normal.

    Args:
        faces: The pads.
        kind: Of the release.
        motion: From the sample at which the part is seated.
        bond: At that sample, as for `gripmargin.contact.simulation.simulate`.
        left: Share of the bond's pull-off force that may be left, 0 to 1. The answer is as fine as the cells are:
            below the share of a few cells a core that never vanishes may seem to.
        enough: Instead of a share: whether the tool may leave straight from here, by the reaction on the part of
            `gripmargin.contact.pull.straight_pull`, shape (k, 6).

    Raises:
        InputError: A share outside 0 to 1, or as for the simulation.
    """
    if not 0.0 <= left < 1.0:
        raise InputError("required travel, share left", f"{left}", "a share from 0 up to 1")
    reach = max(face.reach for face in faces)
    points = np.concatenate([face.patch.points for face in faces])
    near = np.concatenate([motion.height(face.patch.edge).min(axis=1)[None] for face in faces]).min(axis=0) < reach
    end = int(np.argmin(near)) if not near.all() else motion.samples
    ways = travel(kind, faces, motion.between(0, max(end, 1) - 1))
    achieved = float(ways.max())
    screw = _screw(kind, faces, motion, int(np.argmax(ways >= ARRIVED * achieved)))

    engine = PressEngine(faces, 0.0, motion.rotation[0], motion.position[0], bond)
    full = np.array([face.pull_off_stress * face.patch.area for face in faces])
    start = float(engine.last.held[-1] @ full)
    step = STEP * min(face.break_displacement for face in faces)
    farthest = _farthest(kind, faces, screw)
    done, share = 0.0, 1.0
    if enough is not None and enough(straight_pull(engine)):
        return RequiredTravel(kind, achieved, 0.0, share, 0.0)
    while done < farthest and start > 0:
        bonded = engine.states.state == CellState.BONDED
        place = points[bonded] @ engine.rotation.T + engine.position if bonded.any() else engine.position[None]
        fastest = np.linalg.norm(screw[:3] + np.cross(screw[3:], place), axis=1).max()
        each = max(step / max(fastest, 1e-12), 1e-4 * done)
        s = done + each * np.arange(1, BLOCK + 1)
        rotation, position = along(
            np.repeat(motion.rotation[:1], BLOCK, axis=0),
            np.repeat(motion.position[:1], BLOCK, axis=0),
            np.tile(screw, (BLOCK, 1)),
            s,
        )
        before_block = copy.deepcopy(engine) if enough is not None else engine
        rows = engine.advance(s, rotation, position, np.tile(screw * each, (BLOCK, 1)))
        shares = rows.held @ full / start
        if enough is not None:
            if enough(straight_pull(engine)):
                at, share = _first_enough(before_block, screw, done, each, enough, full / start)
                way = _way_at(kind, faces, motion, screw, at)
                return RequiredTravel(kind, achieved, way, share, way)
            done, share = float(s[-1]), float(shares[-1])
            continue
        few = np.nonzero(shares <= left)[0]
        if few.size:
            i = int(few[0])
            before = shares[i - 1] if i else share
            since = s[s < rows.t[i]].max(initial=done)
            at = _when(engine, bond, since, float(rows.t[i]), (before - left) / (before - shares[i]))
            way = _way_at(kind, faces, motion, screw, at)
            return RequiredTravel(kind, achieved, way, left, way)
        done, share = float(s[-1]), float(shares[-1])
    return RequiredTravel(
        kind, achieved, 0.0 if start <= 0 else np.inf, share, _way_at(kind, faces, motion, screw, done)
    )


def _first_enough(
    engine: PressEngine,
    screw: FloatArray,
    done: float,
    each: float,
    enough: Callable[[FloatArray], bool],
    weight: FloatArray,
) -> tuple[float, float]:
    """The way along a screw from which on a straight pull is light enough, and the share of the bond left there.

    Args:
        engine: At the way ``done``, from which the next `BLOCK` steps of ``each`` lead to where it is.
        screw: Of unit length.
        done: Way so far.
        each: Length of a step.
        enough: As for `required_travel`.
        weight: Share of the bond in each pad at the start.
    """
    step, at = each, done
    for _ in range(BLOCK + HALVINGS):
        tried = copy.deepcopy(engine)
        rotation, position = along(tried.rotation[None], tried.position[None], screw[None], np.array([step]))
        tried.advance(np.array([at + step]), rotation, position, (screw * step)[None])
        if enough(straight_pull(tried)):
            step /= 2
        else:
            engine, at = tried, at + step
    end = at + 2 * step
    return end, float(engine.last.held[-1] @ weight)


def _when(engine: PressEngine, bond: Sequence[FloatArray], start: float, end: float, part: float) -> float:
    """When, within a step, a part of what broke in it has broken, by the times at which its cells broke."""
    broken = engine.states.broken
    cells = np.nonzero((broken > start) & (broken <= end))[0]
    if cells.size == 0:  # lost to an overload
        return start + part * (end - start)
    order = cells[np.argsort(broken[cells])]
    lost = np.cumsum((engine.cells.area * engine.cells.pull * np.concatenate(list(bond)))[order])
    return float(broken[order[min(int(np.searchsorted(lost, (part - 1e-9) * lost[-1])), order.size - 1)]])


def _centre(faces: Sequence[PadFace]) -> FloatArray:
    weight = [face.patch.area for face in faces]
    return np.average([face.patch.centre for face in faces], axis=0, weights=weight)


def _screw(kind: ReleaseKind, faces: Sequence[PadFace], motion: RelativeMotion, arrived: int) -> FloatArray:
    """Twist about the face origin, of unit length: 1 rad for turns, 1 m for slides and presses."""
    ends = motion.rotation[[0]], motion.position[[0]], motion.rotation[[arrived]], motion.position[[arrived]]
    twist = twist_between(*ends)[0]
    angle, way = float(np.linalg.norm(twist[3:])), float(np.linalg.norm(twist[:3]))
    moves_as_declared = travel(kind, faces, motion.between(0, arrived))[-1]
    tiny = 1e-6 if kind in ("peel", "torsion") else SEATED * min(face.break_displacement for face in faces)
    if kind == "overload":
        moves_as_declared -= travel(kind, faces, motion.between(0, 0))[0]
        tiny *= min(face.patch.pad.material.normal_stiffness for face in faces)
    if moves_as_declared > tiny:
        return twist / (angle if kind in ("peel", "torsion") else max(way, 1e-12))
    centre = motion.rotation[0] @ _centre(faces) + motion.position[0]
    if kind == "shear":
        return np.array([1.0, 0.0, 0.0, 0.0, 0.0, 0.0])
    if kind == "overload":
        return np.array([0.0, 0.0, -1.0, 0.0, 0.0, 0.0])
    if kind == "torsion":
        axis = np.array([0.0, 0.0, 1.0])
        return np.concatenate([np.cross(centre, axis), axis])
    corners = np.concatenate([face.patch.edge for face in faces]) @ motion.rotation[0].T + motion.position[0]
    long = int(np.argmax(np.ptp(corners[:, :2], axis=0)))
    hinge = centre.copy()
    hinge[long] = corners[:, long].min()
    axis = np.array([0.0, -1.0, 0.0]) if long == 0 else np.array([1.0, 0.0, 0.0])
    return np.concatenate([np.cross(hinge, axis), axis])


def _farthest(kind: ReleaseKind, faces: Sequence[PadFace], screw: FloatArray) -> float:
    if kind in ("peel", "torsion"):
        return float(LARGEST_ANGLE)
    longest = max(face.reach for face in faces)
    if kind == "overload":
        materials = [face.patch.pad.material for face in faces]
        longest = max([longest, *(m.overload_pressure / m.normal_stiffness for m in materials if m.overload_pressure)])
    return FARTHEST * longest


def _way_at(kind: ReleaseKind, faces: Sequence[PadFace], motion: RelativeMotion, screw: FloatArray, s: float) -> float:
    rotation, position = along(motion.rotation[:1], motion.position[:1], screw[None], np.array([s]))
    if s <= 0:
        return 0.0
    ends = RelativeMotion(
        t=np.array([0.0, 1.0]),
        rotation=np.concatenate([motion.rotation[:1], rotation]),
        position=np.concatenate([motion.position[:1], position]),
    )
    return float(travel(kind, faces, ends)[-1])
