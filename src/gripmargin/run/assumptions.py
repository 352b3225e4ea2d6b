"""What the report says it took for granted, and how it understood the input."""

from __future__ import annotations

import warnings

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import largest_of
from gripmargin.checks import plausible, registry
from gripmargin.checks.case import Case
from gripmargin.contact.bond import CONFIDENCE, CONTENT, strength_left
from gripmargin.contact.cells import is_cut_by_outline
from gripmargin.motion.trajectory import JointTrajectory
from gripmargin.workcell import STANDARD_AIR_DENSITY, STANDARD_GRAVITY
from gripmargin.workcell.job import Job

LOAD = "Rigid-body load (Newton and Euler): Craig, Introduction to Robotics, ch. 6 (from memory)."
AIR = (
    "Drag of a flat plate, coefficient 1.28: NASA Glenn Research Center, Shape Effects on Drag. Added mass of a disc: "
    "Lamb, Hydrodynamics (from memory).",
)
NOT_EARTH = 0.05  # [m/s^2] more than gravity differs from place to place on the earth
SHOWN = 4  # kinds of pads in a line
MUCH_LARGER = 4.0  # pad area over coupon area from which strength is said to be extrapolated


def assumed(case: Case) -> list[str]:
    """Return what was not given and was taken for granted, and the targets in force."""
    job = case.job
    out = list(job.assumed)
    out += () if job.robot is None else job.robot.notes
    odd = dict(case.shared(plausible.found))
    odd["target"] = "where a target is below 1, a figure below 1 passes"
    out += [f"Accepted as meant ({code}): {odd.get(code, 'nothing of the kind looks wrong')}." for code in job.accept]
    if job.station:
        out.append(
            f"On station {job.station}: its frame counts as the tool frame. What other stations press, carry or let go "
            "reaches its part by the motion of the tool alone, for the gripper is taken as rigid."
        )
    out += _bond(case)
    out += _dirt(job)
    out.append(f"Targets in force: {_targets(job)}. No standard covers dry-adhesive pads; targets are the user's.")
    out += _gaps(job)
    out += _early_and_late(case)
    size = float(np.linalg.norm(job.gravity))
    if abs(size - STANDARD_GRAVITY) > NOT_EARTH:
        out.append(f"Gravity of {size:.3g} m/s^2 as given, not the earth's {STANDARD_GRAVITY:.3g} m/s^2.")
    if job.part.drag_area is not None:
        default = " (default)" if job.air_density == STANDARD_AIR_DENSITY else ""
        out.append(
            f"Air of {job.air_density:g} kg/m^3{default}: its drag and its added mass act along the tool's z axis at "
            "the centroid of the part's outline."
        )
    if case.grip.film is not None and case.grip.film.counts:
        out.append(
            "The part is stretched as well as bent: its least margins are those of a bound by its energy. That the air "
            "lifts a leading edge (flutter) is not judged."
        )
    out += _forces(case)
    if job.part.outline is None:
        out.append("No part outline given: every pad lies wholly on the part.")
    for patch in case.whole.patches:
        pad, material = patch.pad, patch.pad.material
        if job.part.outline is not None and not is_cut_by_outline(pad):
            out.append(f"Pad '{pad.name}' stands upright to the part's outline: taken to lie wholly on the part.")
        if pad.pose_in_tool[2, 2] < 0:
            out.append(f"Pad '{pad.name}' faces against the tool's z axis, as its rpy says.")
        if patch.share < 0.999:
            out.append(f"Pad '{pad.name}' lies on the part with {100 * patch.share:.0f} % of its area.")
        if material.coupon_area is not None and patch.area > MUCH_LARGER * material.coupon_area:
            out.append(
                f"Pad '{pad.name}' is {patch.area / material.coupon_area:.0f} times the coupon its strength was "
                "measured on: extrapolated; strength falls with size (Hawkes et al. 2015)."
            )
    return out


def references(case: Case) -> tuple[str, ...]:
    """Return the published sources of the methods that ran, each once, in the order in which they come."""
    job = case.job
    found = [LOAD, *(AIR if job.part.drag_area is not None else ())]
    found += [source for check in registry.CHECKS for source in check.references(job)]
    return tuple(dict.fromkeys([*found, *case.motion.references]))


def _forces(case: Case) -> list[str]:
    """What is taken for granted of forces of the process."""
    if not case.pushes:
        return []
    sizes: dict[str, float] = {}
    for push in case.pushes:
        size = float(np.linalg.norm(push.wrench[:3], axis=0).max())
        sizes[push.of.name] = max(size, sizes.get(push.of.name, 0.0))
    named = ", ".join(f"'{name}' up to {size:.3g} N" for name, size in sizes.items())
    bends = case.grip.bonded.sheet is not None
    handed_on = " Each acts at the part's place nearest to its own, with its lever about that." if bends else ""
    return [
        f"Forces of the process: {named}.{handed_on} "
        "Anything from none to all of each is reckoned with, one way round at a time, and all of it is on the pads "
        "even while a nest guides the part. What it presses adds nothing to the bond that carries, and all that it "
        "may to the one that is let go. It has to be measured: figures of "
        "catalogues spread widely."
    ]


def _bond(case: Case) -> list[str]:
    if case.pickup is None:
        return ["Full bond: every pad was pressed on wholly and long enough before the carry."]
    least, share = min(float(own.min()) for own in case.grip.bonded.shares), case.grip.share
    if share < 1.0:
        return [
            f"Margins count on {100 * share:.0f} % of the contact area, in whatever state the rest is: it may let go."
        ]
    return [] if least == 1.0 else [f"The preload left at least {100 * least:.0f} % of full strength everywhere."]


def _dirt(job: Job) -> list[str]:
    out, picks, cleanings = [], job.gripper.cycles_since_cleaning, job.gripper.cleanings
    for material in dict.fromkeys(pad.material for pad in job.gripper.pads):
        if material.pulls is not None:
            left, most = 100 * strength_left(material, picks), material.pulled_up_to
            pads = 0 if material.pulls.shape[1] == 2 else len(np.unique(material.pulls[:, 2]))
            of = f"of {pads} pads, for their scatter from pad to pad" if pads else "taken as those of many pads"
            out.append(
                f"After {picks:g} picks '{material.name}' counts with {left:.1f} % of its stated strength: "
                f"{100 * CONTENT:g} % of pads hold that with a confidence of {100 * CONFIDENCE:g} %, by "
                f"{len(material.pulls)} pulls after up to {most:g} picks, {of}."
            )
        if material.recovery is not None and cleanings > 0:
            worn = 100 * material.recovery**cleanings
            out.append(f"'{material.name}' has been cleaned {cleanings:g} times, which leaves {worn:.1f} % of it.")
    return out


def _targets(job: Job) -> str:
    named = [(each.name.replace("_", " "), each.target(job)) for each in registry.judged()]
    return ", ".join(f"{name} {value:g}" for name, value in named if value is not None)


def _gaps(job: Job) -> list[str]:
    if not job.phases:
        return ["No phases given: the whole program is one carry."]
    trajectory = job.trajectory
    out = []
    for first, last, carried in job.phase_map.gaps():
        labels = dict.fromkeys((trajectory.moves or ())[first : last + 1])
        moves = f" (moves {', '.join(repr(label) for label in labels)})" if labels else ""
        taken = "judged as carry, for the part must be on the pads" if carried else "taken as free, without a part"
        out.append(f"No phase covers {trajectory.t[first]:.3f} s to {trajectory.t[last]:.3f} s{moves}: {taken}.")
    return out


def _early_and_late(case: Case) -> list[str]:
    """Stretches of preload and release phases that are judged as carry."""
    phases, t = case.job.phase_map, case.job.trajectory.t
    late = case.airborne & (phases.covers("preload") | phases.covers("release")) & ~phases.covers("carry")
    if not late.any():
        return []
    edges = np.flatnonzero(np.diff(np.concatenate([[False], late, [False]]).astype(np.int8))).reshape(-1, 2)
    return [
        f"From {t[first]:.3f} s to {t[end - 1]:.3f} s the part hangs on the pads although the phase is a "
        f"{'preload' if phases.covers('preload')[first] else 'release'}: judged as carry."
        for first, end in edges
    ]


def as_read(case: Case) -> list[str]:
    """Return how the input was understood: frames at the start of the carry, sampling, rates."""
    carries = case.carried.size > 0
    first = int(case.carried[0]) if carries else 0
    motion = case.motion.at.take(first)
    x, y, z = (1e3 * c for c in motion.position[0])
    nx, ny, nz = np.round(motion.rotation[0, :, 2], 2) + 0.0
    down = motion.in_tool(case.job.gravity)[2, 0]
    hangs = "hangs from" if down > 0 else "rests on" if down < 0 else "neither hangs from nor rests on"
    steps = np.diff(case.job.trajectory.t)
    return [
        *_robot_as_read(case),
        _part_as_read(case),
        *_pads_as_read(case),
        f"At the first {'carried ' if carries else ''}sample ({case.job.trajectory.t[first]:.3f} s) the tool frame is "
        f"at x {x:.1f}, y {y:.1f}, z {z:.1f} mm in the world, its z axis (out of the pads) points "
        f"({nx:+.2f}, {ny:+.2f}, {nz:+.2f}); {f'the part {hangs} the pads' if carries else 'no part is carried'}.",
        f"{case.job.trajectory.samples} samples over {case.job.trajectory.t[-1] - case.job.trajectory.t[0]:.3f} s, "
        f"{1e3 * np.median(steps):.3g} ms apart in the median, {1e3 * steps.max():.3g} ms at most.",
        *case.job.trajectory.notes,
        *case.motion.notes,
        *([errors] if carries and (errors := case.motion.error_over(case.carried)) is not None else []),
    ]


def _robot_as_read(case: Case) -> list[str]:
    """The robot, its end and how far the program takes each joint."""
    trajectory, robot = case.job.trajectory, case.job.robot
    if not isinstance(trajectory, JointTrajectory) or robot is None:
        return ["Robot: none; the program gives poses of the tool frame in the world."]
    ways = []
    for i, (turns, q) in enumerate(zip(robot.revolute, trajectory.q.T, strict=True)):
        size, unit = (np.degrees(1.0), "deg") if turns else (1e3, "mm")
        name = robot.names[i] or f"joint {i + 1}"
        low, high = np.round(size * np.array([-largest_of(np.negative, q), largest_of(np.positive, q)])) + 0.0
        ways.append(f"{name} {low:.0f} to {high:.0f} {unit}")
    mounts = [
        f"Base: {'at the origin of the world' if robot.base is None else _place(robot.base)}; "
        f"tool: {'none, the tool frame is the end of the chain' if robot.tool is None else _place(robot.tool)}."
    ]
    return [f"Robot: {robot.source}; {', '.join(ways)}.", *mounts]


def _place(pose: FloatArray) -> str:
    """Where a frame lies and how it is turned about fixed axes: x first, then y, then z."""
    from scipy.spatial.transform import Rotation  # noqa: PLC0415 - only mounted robots need it

    x, y, z = 1e3 * pose[:3, 3] + 0.0
    with warnings.catch_warnings():  # of a pitch of 90 deg, where one of many is as good as any other
        warnings.simplefilter("ignore")
        roll, pitch, yaw = Rotation.from_matrix(pose[:3, :3]).as_euler("xyz", degrees=True) + 0.0
    return f"x {x:.1f}, y {y:.1f}, z {z:.1f} mm, rpy {roll:.1f}, {pitch:.1f}, {yaw:.1f} deg"


def _part_as_read(case: Case) -> str:
    """Mass, size and centre of mass of the part."""
    part = case.job.part
    x, y, z = 1e3 * part.com + 0.0
    size = ""
    if part.outline is not None:
        a, b = 1e3 * np.ptp(part.outline, axis=0)
        thick = "" if part.thickness is None else f" x {1e3 * part.thickness:.3g}"
        size = f"{a:.4g} x {b:.4g}{thick} mm, "
    return f"Part: {part.mass:.4g} kg, {size}centre of mass at x {x:.1f}, y {y:.1f}, z {z:.1f} mm of the tool frame."


def _pads_as_read(case: Case) -> list[str]:
    """Each pad's place, contact and material; of many alike the first."""
    out: dict[tuple[str, float], list[str]] = {}
    for patch in case.whole.patches:
        out.setdefault((patch.pad.material.name, round(1e4 * patch.area, 2)), []).append(patch.pad.name)
    alike = [
        f"{names[0]!r}{f' and {len(names) - 1} more' if len(names) > 1 else ''} of '{material}', {area:.4g} cm^2"
        f"{' each' if len(names) > 1 else ''}"
        for (material, area), names in out.items()
    ]
    return [
        f"Pads: {'; '.join(alike[:SHOWN])}{f' and {len(alike) - SHOWN} other kinds' if len(alike) > SHOWN else ''}."
    ]
