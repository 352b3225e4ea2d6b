"""Release moves that a job could have instead of its own: the same further, or another way to let go."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.checks.case import Case
from gripmargin.contact.handover import Release
from gripmargin.contact.relative import RelativeMotion
from gripmargin.contact.restraint import WAYS
from gripmargin.contact.simulation import simulate
from gripmargin.contact.travel import begin, travel
from gripmargin.kernels.screw import along, twist_between
from gripmargin.motion.trajectory import PoseTrajectory
from gripmargin.results.findings import on_target
from gripmargin.workcell import ReleaseKind
from gripmargin.workcell.job import Job
from gripmargin.workcell.scaling import moved_phases

SIZES = 48  # travels at which another way to let go is looked at, each a share of the next
FARTHEST = {"peel": np.deg2rad(60.0), "torsion": np.deg2rad(120.0)}  # [rad] of a turn that is looked at
REACHES = 20.0  # times the reach of the bond: how far a slide that is looked at goes
PARTS = (1.0 / 16.0, 1.0)  # of the farthest travel that are simulated, until it lets go or asks too much
LET_GO = (0.1, 0.02, 1e-6)  # shares of the bond left from which on the tool may be tried to leave
MORE = 8  # samples in which a move goes on; the simulation cuts them as fine as it needs
APART = 0.01  # [s] from sample to sample of a move that is made up; a release does not depend on it


@dataclass(frozen=True, eq=False, kw_only=True)
class Way:
    """A way to let go: a screw from where the part is set down.

    Attributes:
        kind: Of the release.
        screw: Twist about the face's origin for a travel of 1 rad or 1 m, face axes, shape (6,).
        hinge: Where the pads touch last, tool frame [m], shape (2,); None where it is no tilt.
    """

    kind: ReleaseKind
    screw: FloatArray
    hinge: tuple[float, float] | None = None


def ways(release: Release) -> Iterator[Way]:
    """Yield ways to let go: tilts about the sides of the pads, a twist about their centre, a slide.

    A twist and a slide are left out where the nest does not say what it takes.
    """
    rotation, position = release.relative.rotation[0], release.relative.position[0]
    corners = np.concatenate([face.patch.edge for face in release.faces])
    low, high = corners.min(axis=0), corners.max(axis=0)
    middle = (low + high) / 2.0
    sides = []
    for along_x in (True, False):
        for end in (low, high):
            place = np.array([end[0], middle[1], middle[2]] if along_x else [middle[0], end[1], middle[2]])
            outward = (place - middle) / max(float(np.linalg.norm(place - middle)), 1e-12)
            # the tool looks down on the face: its z points into the part, and the far side has to go up
            sides.append((float(np.linalg.norm(place - middle)), place, np.cross(outward, [0.0, 0.0, 1.0])))
    sides.sort(key=lambda side: -side[0])  # about the shorter edges first: the longest lever
    tilts = []
    for _, place, axis in sides:
        turn = rotation @ axis
        up = np.cross(turn, rotation @ (middle - place))[2]
        turn = turn if up > 0 else -turn
        hinge = rotation @ place + position
        screw = np.concatenate([np.cross(hinge, turn), turn])
        tilts.append(Way(kind="peel", screw=screw, hinge=(float(place[0]), float(place[1]))))
    yield from tilts[::2]  # one side of each pair first
    if release.nest.moment is not None:
        centre, normal = rotation @ middle + position, np.array([0.0, 0.0, 1.0])
        yield Way(kind="torsion", screw=np.concatenate([np.cross(centre, normal), normal]))
    if release.nest.lateral_force is not None:
        yield Way(kind="shear", screw=np.array([1.0, 0.0, 0.0, 0.0, 0.0, 0.0]))
    yield from tilts[1::2]


def travels(job: Job, release: Release, way: Way) -> list[float]:
    """Return travels after which a tool could leave by another way, the shortest first; none where it asks too much.

    Args:
        job: The job.
        release: The release that it has.
        way: The other one.
    """
    longest = FARTHEST.get(way.kind, REACHES * max(face.reach for face in release.faces))
    for part in PARTS:  # what asks too much mostly does so early
        sizes = np.concatenate([[0.0], np.geomspace(part * longest / 500.0, part * longest, SIZES)])
        history = simulate(release.faces, _from_seat(release, way.screw, sizes), release.bond)
        forces = release.restraint(job, history.wrench)
        ratios = np.array([forces.ratio(name) for name in WAYS])
        worst = np.where(np.isnan(ratios), 0.0, ratios).min(axis=0)
        start = max(float(history.held_total[0]), 1e-12)
        left = [np.flatnonzero(history.held_total <= share * start) for share in LET_GO]
        out = [
            float(sizes[min(int(history.sample[gone[0]]) + 1, SIZES)])
            for gone in left
            if gone.size and on_target(worst[: gone[0] + 1], job.targets.release)
        ]
        if out or not on_target(worst, job.targets.release):
            return sorted(set(out))
    return []


def with_way(case: Case, release: Release, way: Way, goal: float) -> Job:
    """Return a job that lets go in another way, by a travel [rad] or [m], and then leaves along the face's normal."""
    steps = max(math.ceil(goal / (np.deg2rad(1.0) if way.kind in FARTHEST else 2e-4)), 8)
    gone = _from_seat(release, way.screw, goal * np.arange(steps + 1) / steps)
    return _rewritten(case, release, _left(release, gone), way.kind)


def further(case: Case, release: Release, goal: float) -> Job:
    """Return a job whose release goes on along its own screw to a travel, in the unit of its kind, and then as it did.

    Raises:
        InputError: The release does not say how it lets go, or does not move that way.
    """
    relative, kind = release.relative, release.kind
    if kind is None:
        raise InputError("release", "no kind", "one")
    gone = travel(kind, release.faces, relative)
    near = min(face.reach for face in release.faces)
    low = np.min([relative.height(face.patch.edge).min(axis=1) for face in release.faces], axis=0)
    end = int(np.argmax(low >= near)) if (low >= near).any() else relative.samples
    arrived = int(np.argmax(gone[: max(end, 1)] >= 0.999 * gone[: max(end, 1)].max()))
    if not 0 < gone[arrived] < goal:
        raise InputError("release", f"a travel of {gone[arrived]:g}", f"one on the way to {goal:g}")
    begun = begin(gone, arrived)
    first, last = relative.between(begun, begun), relative.between(arrived, arrived)
    if kind == "overload":  # the mean pressure grows with the depth
        force = sum(face.patch.pad.material.normal_stiffness * face.patch.area for face in release.faces)
        stiffness = force / sum(face.patch.area for face in release.faces)
        rotation, position = np.repeat(last.rotation, MORE, axis=0), np.repeat(last.position, MORE, axis=0)
        position[:, 2] -= (goal - float(gone[arrived])) / stiffness * np.arange(1, MORE + 1) / MORE
    else:
        screw = twist_between(first.rotation, first.position, last.rotation, last.position)
        rotation, position = along(
            np.repeat(first.rotation, MORE, axis=0),
            np.repeat(first.position, MORE, axis=0),
            np.repeat(screw, MORE, axis=0),
            np.linspace(1.0, (goal - float(gone[begun])) / float(gone[arrived] - gone[begun]), MORE + 1)[1:],
        )
    turn, offset = rotation[-1] @ last.rotation[0].T, position[-1] - last.position[0]
    after = relative.between(arrived + 1, relative.samples - 1) if arrived + 1 < relative.samples else None
    rotations, places = [relative.rotation[: arrived + 1], rotation], [relative.position[: arrived + 1], position]
    if after is not None:
        rotations.append(turn @ after.rotation)
        places.append(after.position + offset)
    rows = np.concatenate(rotations), np.concatenate(places)
    t = relative.t[0] + APART * np.arange(len(rows[0]))
    return _rewritten(case, release, RelativeMotion(t=t, rotation=rows[0], position=rows[1]), kind)


def _from_seat(release: Release, screw: FloatArray, sizes: FloatArray) -> RelativeMotion:
    count = sizes.size
    rotation, position = along(
        np.repeat(release.relative.rotation[:1], count, axis=0),
        np.repeat(release.relative.position[:1], count, axis=0),
        np.repeat(screw[None], count, axis=0),
        sizes,
    )
    return RelativeMotion(t=APART * np.arange(count), rotation=rotation, position=position)


def _left(release: Release, gone: RelativeMotion) -> RelativeMotion:
    """A move and then straight up the face's normal, until no pad is in reach."""
    last = gone.between(gone.samples - 1, gone.samples - 1)
    lowest = min(float(last.height(face.patch.edge).min()) for face in release.faces)
    clear = 1.5 * max(face.reach for face in release.faces) - min(lowest, 0.0)
    up = np.zeros((MORE, 3))
    up[:, 2] = clear * np.arange(1, MORE + 1) / MORE
    return RelativeMotion(
        t=APART * np.arange(gone.samples + MORE),
        rotation=np.concatenate([gone.rotation, np.repeat(last.rotation, MORE, axis=0)]),
        position=np.concatenate([gone.position, last.position + up]),
    )


def _rewritten(case: Case, release: Release, relative: RelativeMotion, kind: ReleaseKind) -> Job:
    """The job, as poses of its tool, with another move from where the part is set down; what follows is free.

    Raises:
        InputError: Something with a part follows.
    """
    job, tool, first, last = case.job, case.motion.at, int(release.samples[0]), int(release.samples[-1])
    if any(job.phase_map.covers(phase)[last + 1 :].any() for phase in ("preload", "carry", "release")):
        raise InputError("release", "a release with more after it", "the last one")
    face = release.nest.face
    t = np.concatenate([job.trajectory.t[:first], job.trajectory.t[first] + relative.t - relative.t[0]])
    rotation = np.concatenate([tool.rotation[:first], face[:3, :3] @ relative.rotation])
    position = np.concatenate([tool.position[:first], relative.position @ face[:3, :3].T + face[:3, 3]])
    labels = job.trajectory.moves
    moves = None if labels is None else (*labels[:first], *((labels[last],) * relative.samples))
    now = np.array([job.trajectory.t[0], job.trajectory.t[first], job.trajectory.t[last]])
    then = np.array([t[0], t[first], t[-1]])
    phases, there = moved_phases(job.phases, now, then), set(moves or ())
    left = [
        (force, tuple(m for m in force.moves or () if m in there)) for force in moved_phases(job.process, now, then)
    ]
    kept = []
    for index, phase in enumerate(phases):
        if phase.kind in ("free", "clean") or (
            labels is not None and phase.moves and not set(phase.moves) & set(moves or ())
        ):
            continue
        names = None if phase.moves is None else tuple(name for name in phase.moves if name in set(moves or ()))
        mine = phase.kind == "release" and bool(job.phase_map.of(index)[last])
        kept.append(replace(phase, moves=names, release=kind if mine else phase.release))
    return replace(
        job,
        trajectory=PoseTrajectory(t=t, position=position, rotation=rotation, moves=moves, source="a changed release"),
        phases=tuple(kept),
        process=tuple(replace(force, moves=some or None) for force, some in left if some or force.moves is None),
        robot=None,
        stop=None,
        flange=None,
        joint_limits=None,
        recording=None,
        recording_offset=None,
        stamps="as given",  # each is where it is meant
    )
