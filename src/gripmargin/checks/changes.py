"""Jobs with one thing changed, as a person would change it: pads, their material, the way to a tray or nest, pauses."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from itertools import combinations
from typing import Any

import numpy as np
import shapely

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.motion.trajectory import MAX_SAMPLES
from gripmargin.workcell import Pad, PadMaterial, Part, Process
from gripmargin.workcell.job import Job
from gripmargin.workcell.scaling import when_moved

STEEPEST = 0.999  # cosine between a pad's normal and the tool's z axis below which it is not seen from above
FINE = 1e-6  # to which the largest size is found
SLACK = 1e-6  # share of a pad's area that rounding may put beside the part or on another pad


def with_material(job: Job, **figures: float) -> Job:
    """Return a job whose pads have other figures of their material; a figure that is not given stays so."""
    return _with_materials(job, lambda _: figures)


def stronger(job: Job, factor: float) -> Job:
    """Return a job whose pads hold so many times as much per area; the limit by peel energy rises with it."""

    def figures(material: PadMaterial) -> Mapping[str, Any]:
        out = {name: factor * getattr(material, name) for name in ("pull_off_stress", "shear_strength")}
        if material.peel_energy is not None:
            out["peel_energy"] = factor**2 * material.peel_energy  # sigma^2 = 2 k G
        return out

    return _with_materials(job, figures)


def stiffer(job: Job, factor: float) -> Job:
    """Return a job whose pads have a backing so many times as stiff and hold as much as before."""

    def figures(material: PadMaterial) -> Mapping[str, Any]:
        out = {name: factor * getattr(material, name) for name in ("normal_stiffness", "shear_stiffness")}
        if material.peel_energy is not None:
            out["peel_energy"] = material.peel_energy / factor
        return out

    return _with_materials(job, figures)


def resized(job: Job, factor: float) -> Job:
    """Return a job with the length and width of every pad times a factor, each about its own frame.

    Raises:
        InputError: The larger pads have no room: they reach further over the part's outline than now, or lie on each
            other.
    """
    pads = tuple(pad.enlarged(factor) for pad in job.gripper.pads)
    found = _without_room(job.gripper.pads, pads, job.part)
    if found:
        raise InputError("gripper.pads", found, "pads that fit the part")
    return replace(job, gripper=replace(job.gripper, pads=pads))


def quartered(job: Job) -> tuple[Job, float, float]:
    """Return a job with its only pad cut into four of half its length and width, and how far they are from its middle.

    They lie at the quarter points of the part, where overhangs on either side are alike.

    Raises:
        InputError: There are more pads, no outline, or the quarter points have no room for them.
    """
    (pad, *others), outline = job.gripper.pads, job.part.outline
    if others or outline is None or pad.pose_in_tool[2, 2] < STEEPEST:
        raise InputError("gripper.pads", f"{1 + len(others)} pads", "one pad on a part with an outline")
    x, y = (np.round(np.ptp(outline, axis=0) / 4.0, 3)).tolist()
    middle, four = (outline.min(axis=0) + outline.max(axis=0)) / 2.0, []
    for i, (along_x, along_y) in enumerate(((-1, -1), (1, -1), (1, 1), (-1, 1))):
        pose = pad.pose_in_tool.copy()
        pose[:2, 3] = middle + np.array([along_x * x, along_y * y])
        four.append(replace(pad.enlarged(0.5), name=f"{pad.name} {i + 1}", pose_in_tool=pose))
    found = _without_room((pad,) * 4, tuple(four), job.part)
    if found:
        raise InputError("gripper.pads", found, "pads that fit the part")
    return replace(job, gripper=replace(job.gripper, pads=tuple(four))), x, y


def beneath_the_heaviest(job: Job) -> tuple[Job, Pad]:
    """Return a job with the pad next to the heaviest component of the part moved beneath it, and that pad.

    Raises:
        InputError: There is no component, or no room for the pad.
    """
    if not job.part.components or len(job.gripper.pads) < 2:
        raise InputError("part.components", "none", "a component and several pads")
    at = max(job.part.components, key=lambda each: each.mass).at[:2]
    pads = list(job.gripper.pads)
    i = min(range(len(pads)), key=lambda k: float(np.linalg.norm(pads[k].pose_in_tool[:2, 3] - at)))
    pose = pads[i].pose_in_tool.copy()
    pose[:2, 3] = np.round(at, 3)
    pads[i] = replace(pads[i], pose_in_tool=pose)
    found = _without_room(job.gripper.pads, tuple(pads), job.part)
    if found:
        raise InputError("gripper.pads", found, "pads that fit the part")
    return replace(job, gripper=replace(job.gripper, pads=tuple(pads))), pads[i]


def rounded(job: Job) -> Job:
    """Return a job with discs of the same areas in the places of its pads.

    Raises:
        InputError: They are discs, or there is no room for them.
    """
    pads = job.gripper.pads
    discs = tuple(
        Pad.disc(
            pad.name, pad.material, 2.0 * float(np.sqrt(shapely.Polygon(pad.outline).area / np.pi)), pad.pose_in_tool
        )
        for pad in pads
    )
    found = _without_room(pads, discs, job.part) or ("discs" if max(len(pad.outline) for pad in pads) > 8 else "")
    if found:
        raise InputError("gripper.pads", found, "pads with corners, and room for discs")
    return replace(job, gripper=replace(job.gripper, pads=discs))


def most_room(job: Job, most: float) -> float:
    """Return the largest factor on length and width, up to one above 1, for which the pads have room."""
    low, high = 1.0, most
    if not _without_room(job.gripper.pads, tuple(pad.enlarged(high) for pad in job.gripper.pads), job.part):
        return high
    while high - low > FINE:
        middle = (low + high) / 2.0
        larger = tuple(pad.enlarged(middle) for pad in job.gripper.pads)
        low, high = (low, middle) if _without_room(job.gripper.pads, larger, job.part) else (middle, high)
    return low


def spared_pad(job: Job) -> int | None:
    """Return the pad without which the others keep their centre best; None where there are fewer than three."""
    pads = job.gripper.pads
    if len(pads) < 3:
        return None
    places = np.array([pad.pose_in_tool[:3, 3] for pad in pads])
    return int(np.argmin(np.linalg.norm(places - places.mean(axis=0), axis=1)))


def without_pad(job: Job, index: int) -> Job:
    """Return a job with a gripper that has one pad less."""
    pads = tuple(pad for i, pad in enumerate(job.gripper.pads) if i != index)
    return replace(job, gripper=replace(job.gripper, pads=pads))


def shifted_pads(job: Job, x: float, y: float) -> Job:
    """Return a job whose pads grip the part elsewhere, by x and y [m] of the tool frame: seen from there it moves."""
    offset = np.eye(4)
    offset[:2, 3] = -x, -y
    process = tuple(force if force.at is None else replace(force, at=force.at + offset[:3, 3]) for force in job.process)
    return replace(job, part=job.part.placed(offset), process=process)


def softer_stop(job: Job, factor: float) -> Job:
    """Return a job whose robot stops in so many times the time.

    Raises:
        InputError: The job says nothing of stops.
    """
    stop = job.stop
    if stop is None:
        raise InputError("stop", "nothing", "how the robot stops")
    return replace(
        job,
        stop=replace(
            stop,
            time=None if stop.time is None else factor * stop.time,
            deceleration=None if stop.deceleration is None else stop.deceleration / factor,
            axis_deceleration=None if stop.axis_deceleration is None else stop.axis_deceleration / factor,
            measured=tuple(
                replace(
                    figure,
                    time=factor * figure.time,
                    distance=None if figure.distance is None else factor * figure.distance,
                )
                for figure in stop.measured
            ),
        ),
    )


def deeper(face: FloatArray, depth: float) -> FloatArray:
    """Return a face, shape (4, 4), against which the same program presses deeper by a way [m]; below 0 less deep.

    A tool that goes further along the normal of a face is, to the pads, a face that lies so much nearer.
    """
    out = face.copy()
    out[:3, 3] += depth * face[:3, 2]
    return out


def levelled(face: FloatArray, point: FloatArray, axis: FloatArray, angle: float) -> FloatArray:
    """Return a face turned about a point [m] and an axis by an angle [rad]: the tool is so much more parallel to it.

    Args:
        face: In the world, shape (4, 4).
        point: In the world [m], shape (3,).
        axis: Unit vector in the world, shape (3,).
        angle: By the right hand [rad].
    """
    from scipy.spatial.transform import Rotation  # noqa: PLC0415 - 0.2 s that only jobs with a face pay

    turn = Rotation.from_rotvec(angle * axis).as_matrix()
    out = face.copy()
    out[:3, :3] = turn @ face[:3, :3]
    out[:3, 3] = point + turn @ (face[:3, 3] - point)
    return out


def paused(job: Job, sample: int, time: float) -> Job:
    """Return a job that rests for a time [s] more at a sample at which its tool is at rest.

    As many samples as fit are put in, as far apart as those around it.

    Raises:
        InputError: More samples than a program may have.
    """
    if not time > 0:
        return job
    trajectory, t = job.trajectory, job.trajectory.t
    step = float(np.median(np.diff(t)))
    count = max(math.ceil(time / step - 1e-9), 1)
    if count > MAX_SAMPLES:
        raise InputError("pause", f"{time:.3g} s", f"at most {MAX_SAMPLES} samples")
    more = t[sample] + time * np.arange(1, count + 1) / count
    times = np.concatenate([t[: sample + 1], more, t[sample + 1 :] + time])
    rows = np.concatenate([np.arange(sample + 1), np.full(count, sample), np.arange(sample + 1, t.size)])
    when = when_moved(
        job,
        np.array([t[0], t[sample], t[sample] + 1e-9, t[-1] + 1e-9]),
        np.array([t[0], t[sample], t[sample] + time + 1e-9, t[-1] + time + 1e-9]),
    )
    return replace(job, trajectory=trajectory.taken(rows, t=times), **when)


def less_pushed(job: Job, factor: float) -> Job:
    """Return the job with forces of the process that many times as large; of an overtravel, as far."""

    def less(force: Process) -> Process:
        given = {name: getattr(force, name) for name in ("force", "moment", "overtravel")}
        return replace(force, **{name: factor * each for name, each in given.items() if each is not None})

    return replace(job, process=tuple(less(force) for force in job.process))


def pushed_slowly(job: Job, rise: float) -> Job:
    """Return the job with forces of the process that come and go over a time [s], those that do so faster."""
    return replace(
        job,
        process=tuple(
            replace(force, shape="ramp", rise=rise if force.rise is None else max(rise, force.rise))
            if force.shape == "constant" or (force.rise is not None and force.rise < rise)
            else force
            for force in job.process
        ),
    )


def _with_materials(job: Job, figures: Callable[[PadMaterial], Mapping[str, Any]]) -> Job:
    changed = {id(pad.material): replace(pad.material, **figures(pad.material)) for pad in job.gripper.pads}
    pads = tuple(replace(pad, material=changed[id(pad.material)]) for pad in job.gripper.pads)
    return replace(job, gripper=replace(job.gripper, pads=pads))


def over_the_edge(pads: Sequence[Pad], part: Part, *, like: tuple[Sequence[Pad], Part]) -> str:
    """Return the name of a pad that reaches further over the edge of the part than another did; empty: none does.

    Args:
        pads: The pads.
        part: What they grip.
        like: Pads and a part, which they may reach over as far as that.
    """
    for old, new in zip(like[0], pads, strict=True):
        if _overhang(new, part) > _overhang(old, like[1]) + SLACK:
            return new.name
    return ""


def _without_room(now: tuple[Pad, ...], then: tuple[Pad, ...], part: Part) -> str:
    """What larger pads run into, in a few words; empty where they have room."""
    name = over_the_edge(then, part, like=(now, part))
    if name:
        return f"pad '{name}' over the edge of the part"
    for first, second in combinations(range(len(now)), 2):
        if _overlap(then[first], then[second]) > SLACK:
            return f"pads '{then[first].name}' and '{then[second].name}' on each other"
    return ""


def _overhang(pad: Pad, part: Part) -> float:
    """Share of a pad beside the part, as seen along the tool's z axis; 0 where that is not known."""
    if part.outline is None or abs(pad.pose_in_tool[2, 2]) < STEEPEST:
        return 0.0
    seen = _seen(pad)
    return float(seen.difference(shapely.Polygon(part.outline)).area / seen.area)


def _overlap(first: Pad, second: Pad) -> float:
    """Share of the smaller of two pads of one plane that lies on the other."""
    apart = (second.pose_in_tool[:3, 3] - first.pose_in_tool[:3, 3]) @ first.pose_in_tool[:3, 2]
    alike = first.pose_in_tool[:3, 2] @ second.pose_in_tool[:3, 2] > STEEPEST
    if not alike or abs(first.pose_in_tool[2, 2]) < STEEPEST or abs(apart) > 1e-3:
        return 0.0
    one, other = _seen(first), _seen(second)
    return float(one.intersection(other).area / min(one.area, other.area))


def _seen(pad: Pad) -> shapely.Polygon:
    return shapely.Polygon(pad.outline @ pad.pose_in_tool[:2, :2].T + pad.pose_in_tool[:2, 3])
