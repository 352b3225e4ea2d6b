"""How far a release goes, and how far it would have to go: the same simulation run on along the same screw."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from gripmargin.base.arrays import FloatArray, Value
from gripmargin.contact.activation import PadFace
from gripmargin.contact.cell_states import CellState
from gripmargin.contact.press_engine import PressEngine
from gripmargin.contact.relative import RelativeMotion
from gripmargin.contact.seating import SEATED, break_displacement, centre_of, within_reach
from gripmargin.contact.simulation import MOST_WORK, STEP, WORK_OF_A_STEP
from gripmargin.kernels.screw import along, twist_between
from gripmargin.workcell import ReleaseKind

BLOCK = 16  # steps between looks at what is still bonded: time alone, for on the way a bond only grows weaker
NEARLY = 0.01  # share of a travel that rounding may bring before and after it
HALVINGS = 8  # of a step, to find from where on the tool may leave


@dataclass(frozen=True, eq=False)
class RequiredTravel(Value):
    """Travel of a release against the travel it needs, in the unit of `travel`.

    Attributes:
        kind: Of the release.
        achieved: Longest travel while the pads were within reach of the face.
        required: Travel from which on the tool may leave; inf where that is never reached.
        left: Share of the bond left at the required travel, or at the end of the search.
        searched: How far the search went.
    """

    kind: ReleaseKind
    achieved: float
    required: float
    left: float
    searched: float


def travel(kind: ReleaseKind, faces: Sequence[PadFace], motion: RelativeMotion) -> FloatArray:
    """Return the travel of a release since the first sample, shape (n,), in the unit of its kind.

    A peel is the angle between the tool's z axis and where it was [rad], a torsion the angle about the face normal
    [rad] (up to half a turn), a shear the way of the pads' centre along the face [m], an overload the mean
    pressure [Pa].
    """
    if kind == "peel":
        first = motion.rotation[0, :, 2]
        now = motion.rotation[:, :, 2]
        return np.arctan2(np.linalg.norm(np.cross(first, now), axis=1), now @ first)
    if kind == "torsion":
        turn = motion.rotation @ motion.rotation[0].T
        return np.abs(np.arctan2(turn[:, 1, 0] - turn[:, 0, 1], turn[:, 0, 0] + turn[:, 1, 1]))
    if kind == "shear":
        place = motion.rotation @ centre_of(faces) + motion.position
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
    enough: Callable[[PressEngine], bool],
) -> RequiredTravel:
    """Return how far a release goes and how far along the same screw it would have to go.

    The screw is the one from where the travel begins to where it has arrived: what the tool does before, such as to
    press the part down, does not go on. A move that does not go the way of its kind at all is replaced: a turn about
    the face normal through the pads' centre, a tilt about the pads' shorter edge, a slide along the face's x axis, a
    press along its normal.

    Args:
        faces: The pads.
        kind: Of the release.
        motion: From the sample at which the part is seated.
        bond: At that sample, as for `gripmargin.contact.simulation.simulate`.
        enough: Whether the tool may leave from where an engine has it. What hangs on a share of the bond is as fine
            as the cells are: below the share of a few cells a core that never vanishes may seem to.

    Raises:
        InputError: As for the simulation.
    """
    ways = travel(kind, faces, _within_reach(faces, motion))
    achieved = float(ways.max())
    screw = _screw(kind, faces, motion, _arrival(ways))
    engine = PressEngine(faces, 0.0, motion.rotation[0], motion.position[0], bond)
    start = _held(engine)
    if start <= 0 or enough(engine):
        return RequiredTravel(kind, achieved, 0.0, 1.0, 0.0)
    done, farthest = 0.0, _farthest(kind, faces)
    for _ in range(int(MOST_WORK / (engine.cells.area.size + WORK_OF_A_STEP) / BLOCK)):
        if done >= farthest:
            break
        before, each = engine.another(), _longest_step(engine, screw, done)
        s = done + each * np.arange(1, BLOCK + 1)
        engine.advance(s, *_along(screw, motion.rotation[0], motion.position[0], s), np.tile(screw * each, (BLOCK, 1)))
        if enough(engine):
            at, left = _first_enough(before, screw, done, each, enough)
            way = _travel_at(kind, faces, motion, screw, at)
            return RequiredTravel(kind, achieved, way, left / start, way)
        done = float(s[-1])
    return RequiredTravel(kind, achieved, np.inf, _held(engine) / start, _travel_at(kind, faces, motion, screw, done))


def _within_reach(faces: Sequence[PadFace], motion: RelativeMotion) -> RelativeMotion:
    """The motion up to where no pad is within reach of the face any more."""
    near = within_reach(faces, motion)
    end = motion.samples if near.all() else int(np.argmin(near))
    return motion.between(0, max(end, 1) - 1)


def begin(ways: FloatArray, arrived: int) -> int:
    """Return the last sample before a travel begins, but for what rounding brings.

    Args:
        ways: Travel since the first sample, shape (n,).
        arrived: Where it has arrived.
    """
    return int(np.flatnonzero(ways[: arrived + 1] <= NEARLY * ways[arrived]).max(initial=0))


def _arrival(ways: FloatArray) -> int:
    """The first sample with nearly all of the longest travel: the rounding of a program may bring the rest later."""
    return int(np.argmax(ways >= (1.0 - NEARLY) * ways.max()))


def _held(engine: PressEngine) -> float:
    """Pull-off force of what is bonded [N]."""
    full = np.array([face.pull_off_stress * face.patch.area for face in engine.faces])
    return float(engine.last.held[-1] @ full)


def _longest_step(engine: PressEngine, screw: FloatArray, done: float) -> float:
    """Travel along a screw in which no bonded cell moves by more than `STEP` of what breaks it.

    A ten-thousandth of the way at least, far less than anybody reads of it: that costs and saves time alone.
    """
    bonded = engine.states.state == CellState.BONDED
    place = engine.cells.root[bonded] @ engine.rotation.T + engine.position if bonded.any() else engine.position[None]
    fastest = np.linalg.norm(screw[:3] + np.cross(screw[3:], place), axis=1).max()
    return float(max(STEP * break_displacement(engine.faces) / max(fastest, 1e-12), 1e-4 * done))


def _along(
    screw: FloatArray, rotation: FloatArray, position: FloatArray, s: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Poses on a screw after travels s, shape (k,): rotations, shape (k, 3, 3), and positions [m], shape (k, 3)."""
    k = s.size
    return along(np.repeat(rotation[None], k, axis=0), np.repeat(position[None], k, axis=0), np.tile(screw, (k, 1)), s)


def _first_enough(
    engine: PressEngine, screw: FloatArray, done: float, each: float, enough: Callable[[PressEngine], bool]
) -> tuple[float, float]:
    """The travel along a screw from which on the tool may leave, and the pull-off force of what is then bonded [N].

    Args:
        engine: At the travel ``done``, from which the next `BLOCK` steps of ``each`` lead to where it is.
        screw: Of unit length.
        done: Travel so far.
        each: Length of a step.
        enough: As for `required_travel`.
    """
    within, length = BLOCK * each, each
    while within > each / 2**HALVINGS:
        within /= 2
        length, steps = min(each, within), max(1, round(within / each))
        tried, way = engine.another(), length * np.arange(1, steps + 1)
        tried.advance(
            done + way, *_along(screw, tried.rotation, tried.position, way), np.tile(screw * length, (steps, 1))
        )
        if not enough(tried):
            engine, done = tried, done + within
    return done + within, _held(engine)


def _screw(kind: ReleaseKind, faces: Sequence[PadFace], motion: RelativeMotion, arrived: int) -> FloatArray:
    """Twist about the face origin, of unit length: 1 rad for turns, 1 m for slides and presses."""
    ways = travel(kind, faces, motion.between(0, arrived))
    gone, least = float(ways[-1]), SEATED * break_displacement(faces)
    if kind in ("peel", "torsion"):
        least = 1e-6
    if kind == "overload":
        gone -= float(ways[0])
        least *= min(face.patch.pad.material.normal_stiffness for face in faces)
    if gone <= least:
        return _straight(kind, faces, motion)
    first = begin(ways, arrived)
    ends = motion.rotation[[first]], motion.position[[first]], motion.rotation[[arrived]], motion.position[[arrived]]
    twist = twist_between(*ends)[0]
    angle, way = float(np.linalg.norm(twist[3:])), float(np.linalg.norm(twist[:3]))
    return twist / (angle if kind in ("peel", "torsion") else max(way, 1e-12))


def _straight(kind: ReleaseKind, faces: Sequence[PadFace], motion: RelativeMotion) -> FloatArray:
    """The screw that stands for a move that does not go the way of its kind."""
    if kind == "shear":
        return np.array([1.0, 0.0, 0.0, 0.0, 0.0, 0.0])
    if kind == "overload":
        return np.array([0.0, 0.0, -1.0, 0.0, 0.0, 0.0])
    hinge, axis = motion.rotation[0] @ centre_of(faces) + motion.position[0], np.array([0.0, 0.0, 1.0])
    if kind == "peel":
        corners = np.concatenate([face.patch.edge for face in faces]) @ motion.rotation[0].T + motion.position[0]
        long = int(np.argmax(np.ptp(corners[:, :2], axis=0)))
        hinge[long] = corners[:, long].min()
        axis = np.array([0.0, -1.0, 0.0]) if long == 0 else np.array([1.0, 0.0, 0.0])
    return np.concatenate([np.cross(hinge, axis), axis])


def _farthest(kind: ReleaseKind, faces: Sequence[PadFace]) -> float:
    """Where the search ends: far beyond what a program could do, in [rad] or [m]."""
    if kind in ("peel", "torsion"):
        return float(np.deg2rad(120.0))
    longest = [face.reach for face in faces]
    if kind == "overload":
        materials = [face.patch.pad.material for face in faces]
        longest += [m.overload_pressure / m.normal_stiffness for m in materials if m.overload_pressure]
    return 20.0 * max(longest)


def _travel_at(
    kind: ReleaseKind, faces: Sequence[PadFace], motion: RelativeMotion, screw: FloatArray, s: float
) -> float:
    """Travel in the unit of a kind after a way along a screw."""
    if s <= 0:
        return 0.0
    rotation, position = _along(screw, motion.rotation[0], motion.position[0], np.array([0.0, s]))
    return float(travel(kind, faces, RelativeMotion(t=np.array([0.0, 1.0]), rotation=rotation, position=position))[-1])
