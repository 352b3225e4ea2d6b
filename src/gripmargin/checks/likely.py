"""Whether a job can be meant, as far as job, pads and motion alone tell: figures of no part, pad or robot.

Each rule says in a sentence what looks wrong. Bounds without a source are set far beyond what parts and pads have.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import Final, Protocol

import numpy as np
import shapely

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.backing import Backing
from gripmargin.contact.bond import strength_left
from gripmargin.motion.landings import lands_on
from gripmargin.motion.program import ProgramMotion
from gripmargin.motion.tool_motion import ToolMotion
from gripmargin.motion.trajectory import JointTrajectory
from gripmargin.workcell.job import Job
from gripmargin.workcell.kinds import Number

LIGHTEST, HEAVIEST = 10.0, 23e3  # [kg/m^3]: the lightest packaging foams; osmium (from memory)
THINNEST = 2e-3  # [kg/m^2]: a plastic film of 1.5 um (from memory)
GYRATION: Final = (0.02, 20.0)  # times the size of the gripped face: a lump in its middle; a long rod by its end
ANY_GYRATION: Final = (2e-4, 3.0)  # [m]: a grain; a plate of 10 m
BEYOND = 0.25  # share of the gripped face's size by which a part may have its centre of mass beside it
ROUNDING = 1e-6  # [m] of places in files
WEAKEST, STRONGEST = (
    100.0,
    1e6,
)  # [Pa]: arrays of carbon nanotubes held 1 MPa in shear (Qu et al., Science 322:238, 2008)
SOFTEST, STIFFEST = 1e6, 1e13  # [Pa/m]: 10 kPa over 10 mm; 1 GPa over 0.1 mm (no source)
MOST_DAMPING = 0.5  # of critical: a loss factor of 1, of the most lossy elastomers (from memory)
MOST_SURFACE = 1.2  # times the reference surface (no source)
APART = 5e-3  # [m] by which pads on a plane face may be out of a plane: far more than backings give
ASLANT = 0.99  # cosine between the normals of pads on a plane face
SPARSE = 0.2  # [s] between samples of a tool that moves
MOVING = 1e-3  # share of the highest speed below which it does not
FEWEST = 5  # samples of a carry
LOOKED_AT = 200  # samples at which the lever of the joints is taken
SIGMAS = 3.0  # standard deviations of a scatter, of which all but 3 in 1000 samples keep
SCATTERED = 0.5  # share of the displacement that breaks a bond (no source)
FASTEST_TOOL = 20.0  # [m/s]: twice what the fastest picking robots reach (from memory)
SHORT = 5e-4  # [s] between samples, from which digits make no speed
TOO_FAST = 1.02  # times a speed that is given, beyond what rounded values make of it
PRESSED = 0.5  # share of its weight with which a part that is carried from below lies on the pads
SHORTEST = 3e-3  # [m] of a carry: what metres read as millimetres make of a common robot's reach (from memory)
CREEPING = 0.1  # [m/s^2]: likewise of ten times gravity, which only the fastest picking robots reach (from memory)
STILL = 1e-5  # [m]: likewise of 10 mm, and less than that is rest
PIVOT = 0.01  # share of its way by which a point of a tool that only turns about another may stray (no source)
LEAST_LEFT = 0.5  # of what clean pads hold (common practice: pads are cleaned long before; no source)
FAR_SLIDE, FAR_TURN = 50.0, 8.0 * np.pi  # [m], [rad] of a joint without limits of its own


class Described(Protocol):
    """What is known of a job before pads and part are simulated."""

    @property
    def job(self) -> Job:
        """What was asked."""

    @property
    def whole(self) -> Backing:
        """All of the pads on the part."""

    @property
    def motion(self) -> ProgramMotion:
        """Of the tool."""


Rule = Callable[[Described], str]


def density(case: Described) -> str:
    """Mass over volume, or over the area of the face."""
    part = case.job.part
    if part.outline is None:
        return ""
    area = shapely.Polygon(part.outline).area
    if part.thickness is None:
        per_area = part.mass / area
        found = f"the part weighs {per_area:.2g} kg/m^2 of its face, less than a film of 1.5 um"
        return f"{found}: check part.mass and part.outline" if per_area < THINNEST else ""
    found = part.mass / area / part.thickness
    if LIGHTEST <= found <= HEAVIEST:
        return ""
    than = "lighter than any foam" if found < LIGHTEST else "heavier than any metal"
    return (
        f"the part has a density of {found:.3g} kg/m^3, {than}: check part.mass, part.outline and part.thickness, and "
        "their units"
    )


def inertia(case: Described) -> str:
    """Radii of gyration beside the gripped face."""
    part, radius = case.job.part, gyration(case)
    across = size(case)
    least, most = ANY_GYRATION if part.outline is None else (GYRATION[0] * across, GYRATION[1] * across)
    if least <= radius <= most:
        return ""
    face = "" if part.outline is None else f", beside a face of {1e3 * across:.3g} mm"
    return (
        f"the part's largest radius of gyration is {1e3 * radius:.3g} mm{face}: check part.inertia and part.mass, and "
        "their units"
    )


def centre_of_mass(case: Described) -> str:
    """The centre of mass in front of the pads, and over the face."""
    part, whole = case.job.part, case.whole
    depth = min(float(patch.pad.pose_in_tool[2, 3]) for patch in whole.patches)
    if part.com[2] < depth - 1e-9:
        return (
            f"the part's centre of mass lies {1e3 * (depth - part.com[2]):.3g} mm behind the pads, on the robot's "
            "side: part.com is in the tool frame, +z into the part"
        )
    out = outside(part.com[:2], face(case))
    if out > BEYOND * size(case):
        return (
            f"the part's centre of mass lies {1e3 * out:.0f} mm outside its face: check part.com, and whether part.com "
            "and part.outline are in the tool frame"
        )
    return ""


def pad_material(case: Described) -> str:
    """Strengths, stiffnesses and damping beside what was ever published."""
    bounds: Mapping[str, tuple[float, float]] = {
        "pull_off_stress": (WEAKEST, STRONGEST),
        "shear_strength": (WEAKEST, STRONGEST),
        "normal_stiffness": (SOFTEST, STIFFEST),
        "shear_stiffness": (SOFTEST, STIFFEST),
        "damping_ratio": (0.0, MOST_DAMPING),
    }
    for material in dict.fromkeys(patch.pad.material for patch in case.whole.patches):
        for name, (least, most) in bounds.items():
            value = getattr(material, name)
            if value is not None and not least <= value <= most:
                kind = material.keys[name].kind
                unit = f" {kind.unit}" if isinstance(kind, Number) and kind.dimension else ""
                return (
                    f"{name} of '{material.name}' is {value:.3g}{unit}, and pads have {least:.3g} to {most:.3g}{unit}: "
                    "check its unit"
                )
    return ""


def surface_factor(case: Described) -> str:
    """A surface that holds far better than the reference."""
    factor = case.job.part.surface_factor
    if factor <= MOST_SURFACE:
        return ""
    return (
        f"part.surface_factor is {factor:.3g}: the part is said to hold better than the reference surface, and more "
        f"than {MOST_SURFACE:g} times is no scatter of the measurement"
    )


def pad_places(case: Described) -> str:
    """Pads of a plane face in one plane."""
    patches = case.whole.patches
    if case.job.part.face != "plane" or len(patches) < 2:
        return ""
    normals = np.array([patch.pad.pose_in_tool[:3, 2] for patch in patches])
    normal = normals.mean(axis=0) / max(float(np.linalg.norm(normals.mean(axis=0))), 1e-9)
    for patch, own in zip(patches, normals, strict=True):
        if own @ normal < ASLANT:
            return f"pad '{patch.pad.name}' faces elsewhere than the others, and part.face is plane: check its rpy"
    heights = np.array([patch.pad.pose_in_tool[:3, 3] for patch in patches]) @ normal
    off = heights - np.median(heights)
    if np.abs(off).max() <= APART:
        return ""
    worst = int(np.abs(off).argmax())
    return (
        f"pad '{patches[worst].pad.name}' stands {1e3 * abs(off[worst]):.3g} mm out of the plane of the others, and "
        "part.face is plane: check its xyz"
    )


def phase_order(case: Described) -> str:
    """A preload, a carry, a release, in this order; a carry of more than a few samples."""
    phases, n = case.job.phase_map, case.job.trajectory.samples
    found = {kind: np.flatnonzero(phases.covers(kind)) for kind in ("preload", "carry", "release")}
    for first, then in (("preload", "carry"), ("carry", "release"), ("preload", "release")):
        if found[first].size and found[then].size and found[then][0] < found[first][0]:
            return f"a {then} comes before the {first}: check program.phases"
    count = found["carry"].size
    if case.job.phases and 0 < count < min(FEWEST, n):
        return f"the carry has {count} of {n} samples: check the times or moves of program.phases"
    return ""


def spacing(case: Described) -> str:
    """Samples close enough to show how a tool moves."""
    tool, t = case.motion.at, case.job.trajectory.t
    step = float(np.median(np.diff(t)))
    if step <= SPARSE:
        return ""
    speed = np.linalg.norm(tool.velocity, axis=1)
    turning = np.linalg.norm(tool.angular_velocity, axis=1)
    moves = (speed > MOVING * speed.max(initial=0.0)) | (turning > MOVING * turning.max(initial=0.0))
    if moves.mean() < 0.5:
        return ""
    return f"samples are {step:.3g} s apart while the tool moves: are the times in the unit that they are said to be?"


def joint_travel(case: Described) -> str:
    """Joints within the limits of the robot's model."""
    trajectory, robot = case.job.trajectory, case.job.robot
    if not isinstance(trajectory, JointTrajectory) or robot is None:
        return ""
    lower, upper = robot.lower, robot.upper
    for i, (turns, q) in enumerate(zip(robot.revolute, trajectory.q.T, strict=True)):
        far = FAR_TURN if turns else FAR_SLIDE
        low, high = max(float(lower[i]), -far), min(float(upper[i]), far)  # type: ignore[index]
        least, most = float(q.min()), float(q.max())
        if least >= low - 1e-6 and most <= high + 1e-6:
            continue
        (size, unit), name = ((np.degrees(1.0), "deg") if turns else (1e3, "mm")), robot.names[i] or f"joint {i + 1}"
        degrees = turns and max(-least, most) > FAR_TURN
        hint = "are its values degrees, said to be radians?" if degrees else "check its unit and the robot"
        return (
            f"{name} goes from {size * least:.4g} to {size * most:.4g} {unit}, and {robot.source} allows "
            f"{size * low:.4g} to {size * high:.4g} {unit}: {hint}"
        )
    return ""


def scatter(case: Described) -> str:
    """Positions that scatter by less than what tears the pads off, were it motion."""
    error = case.motion.error
    if error is None or case.motion.given:
        return ""
    some = np.unique(np.linspace(0, case.job.trajectory.samples - 1, LOOKED_AT).astype(np.intp))
    ways = error.directions(some)[:, :3] * error.noise[:, None, None]
    found = SIGMAS * float(np.linalg.norm(ways, axis=(0, 1)).max())
    materials = [patch.pad.material for patch in case.whole.patches]
    brittle = min(min(m.pull_off_stress / m.normal_stiffness, m.shear_strength / m.shear_stiffness) for m in materials)
    if found <= SCATTERED * brittle:
        return ""
    return (
        f"the tool's positions scatter by {1e3 * found:.2g} mm from sample to sample, and {1e3 * brittle:.2g} mm tear "
        "the pads off, were it motion: smooth the program, or give it with more digits, or with samples closer than "
        f"{1e3 * float(np.median(np.diff(case.job.trajectory.t))):.3g} ms"
    )


def tool_travel(case: Described) -> str:
    """A tool that stays within reach of a robot, at speeds that robots have."""
    tool = case.motion.at
    for what, most, unit, values in (
        ("lies", FAR_SLIDE, "m from the origin of the world", tool.position),
        ("reaches", FASTEST_TOOL, "m/s", tool.velocity),
    ):
        found = float(np.linalg.norm(values, axis=1).max())
        if found > most:
            return (
                f"the tool {what} {found:.3g} {unit}, and no more than {most:g} is likely: are lengths in the unit "
                "that they are said to be (arrays are in m and rad)?"
            )
    return ""


def from_below(case: Described) -> str:
    """A part that hangs from the pads somewhere: one that only lies on them needs none."""
    carry, gravity = case.job.phase_map.covers("carry"), case.job.gravity
    pulled = case.motion.at.in_tool(gravity)[2, carry]
    if not carry.any() or not (-pulled > PRESSED * np.linalg.norm(gravity)).all():
        return ""
    return (
        "the part lies on the pads all the way, and its weight presses it on: does the tool's z axis point out of the "
        "pads into the part, and are angles or quaternions in the unit and the order that they are said to be?"
    )


def short_carry(case: Described) -> str:
    """A carry that takes the part somewhere, at accelerations that are felt; one that stands still or turns is none."""
    carry, tool = np.flatnonzero(case.job.phase_map.covers("carry")), case.motion.at
    if carry.size == 0:
        return ""
    far = float(np.linalg.norm(tool.position[carry] - tool.position[carry[0]], axis=1).max())
    most = float(np.linalg.norm(tool.acceleration[carry], axis=1).max())
    if not STILL < far < SHORTEST or most > CREEPING or _only_turns(tool.take(carry), far):
        return ""
    return (
        f"the whole carry moves the part by {1e3 * far:.2g} mm, at {most:.2g} m/s^2 at most: are lengths in the unit "
        "that they are said to be?"
    )


def never_released(case: Described) -> str:
    """A part that is let go before the program goes on without it."""
    stretches, motion = case.job.phase_map.stretches(), case.motion.at
    if not stretches:
        return ""
    _, last, index = max(stretches, key=lambda each: each[1])
    after = motion.take(slice(last, motion.samples))
    far = float(np.linalg.norm(after.position - after.position[0], axis=1).max())
    if case.job.phases[index].kind == "release" or far < SHORTEST:
        return ""
    return (
        f"at {motion.t[last]:.3f} s a {case.job.phases[index].kind} phase ends with the part on the pads, no release "
        f"follows, and the tool goes {1e3 * far:.3g} mm further: name the phase that carries it on, or the release"
    )


def unnamed_moves(case: Described) -> str:
    """No pads that come down where parts are taken or left, in moves of which no phase tells anything."""
    places = {"pick": case.job.pick, "nest": case.job.nest}
    deepest = max(SHORTEST, *(patch.pad.material.backing_thickness or 0.0 for patch in case.whole.patches))
    for first, last, carried in case.job.phase_map.gaps():
        here = case.motion.at.take(slice(first, last + 1))
        for name, place in places.items():
            at = (
                None if carried or place is None else lands_on(here, case.whole.centre, place.face, size(case), deepest)
            )
            if at is not None:
                return (
                    f"no phase covers {here.t[0]:.3f} to {here.t[-1]:.3f} s, and at {here.t[at]:.3f} s "
                    f"the pads come down to the face of [{name}]: name the phases of that pick, or the moves as free"
                )
    return ""


def joint_speed(case: Described) -> str:
    """The way from sample to sample within the joint speeds that the job gives."""
    trajectory, robot, limits = case.job.trajectory, case.job.robot, case.job.joint_limits
    if not isinstance(trajectory, JointTrajectory) or robot is None or limits is None or limits.speed is None:
        return ""
    far = np.diff(trajectory.t) > SHORT
    speeds = np.abs(np.diff(trajectory.q, axis=0)[far] / np.diff(trajectory.t)[far, None])
    over = speeds.max(axis=0, initial=0.0) / limits.speed
    i = int(over.argmax())
    if over[i] <= TOO_FAST:
        return ""
    size, unit = (np.degrees(1.0), "deg/s") if robot.revolute[i] else (1e3, "mm/s")
    return (
        f"{robot.names[i] or f'joint {i + 1}'} reaches {size * over[i] * limits.speed[i]:.4g} {unit}, and robot.speed "
        f"is {size * limits.speed[i]:.4g} {unit}: are times, joints and speeds in the units that they are said to be?"
    )


def fouling(case: Described) -> str:
    """Pads that keep more than half of what they held when clean."""
    picks = case.job.gripper.cycles_since_cleaning
    for material in dict.fromkeys(patch.pad.material for patch in case.whole.patches):
        left = strength_left(replace(material, pulls=None, recovery=None), picks)
        if left < LEAST_LEFT:
            return (
                f"'{material.name}' keeps {100.0 * left:.2g} % of its strength after {picks:g} picks: a loss by pick "
                "that was measured says nothing so far on; check fouling_per_cycle and cycles_since_cleaning"
            )
    return ""


def polled(case: Described) -> str:
    """A program that is one: rows that repeat or miss some are those of a log, or make the robot stutter."""
    if case.job.trajectory.timing is None:
        return ""
    return (
        "the rows of the program repeat, or leave some out, as those of a log that was polled, and are read as such a "
        'log; sent to a robot they make it stutter, and program.stamps = "as given" judges that'
    )


RULES: Final[Mapping[str, Rule]] = {
    "density": density,
    "inertia": inertia,
    "centre_of_mass": centre_of_mass,
    "pad_material": pad_material,
    "surface_factor": surface_factor,
    "pad_places": pad_places,
    "phase_order": phase_order,
    "spacing": spacing,
    "joint_travel": joint_travel,
    "scatter": scatter,
    "tool_travel": tool_travel,
    "short_carry": short_carry,
    "from_below": from_below,
    "never_released": never_released,
    "unnamed_moves": unnamed_moves,
    "joint_speed": joint_speed,
    "fouling": fouling,
    "polled": polled,
}


AFTERWARDS: Final = ("never_released", "unnamed_moves")  # what looks wrong beside all that is simulated


def _only_turns(tool: ToolMotion, far: float) -> bool:
    """Whether one point, fixed to the tool, all but stands still; the tool's origin goes so far [m]."""
    some = tool.take(np.unique(np.linspace(0, tool.samples - 1, LOOKED_AT).astype(np.intp)))
    ways = np.concatenate([some.rotation, np.broadcast_to(-np.eye(3), some.rotation.shape)], axis=2).reshape(-1, 6)
    point = np.linalg.lstsq(ways, -some.position.reshape(-1), rcond=None)[0]
    stray = ways @ point + some.position.reshape(-1)
    return bool(np.abs(stray).max() < PIVOT * far)


def found(case: Described) -> dict[str, str]:
    """Return what looks wrong, a sentence for each code."""
    said = {code: rule(case) for code, rule in RULES.items()}
    return {code: sentence for code, sentence in said.items() if sentence}


def unaccepted(said: Mapping[str, str], job: Job) -> Iterator[tuple[str, str]]:
    """Yield what looks wrong and is not accepted by the job: its code, and a sentence for a person."""
    for code, sentence in said.items():
        if code not in job.accept:
            yield code, f'{sentence}; if it is meant, job.accept = ["{code}"]'


def gyration(case: Described) -> float:
    """The part's largest radius of gyration [m]."""
    return float(np.sqrt(np.linalg.eigvalsh(case.job.part.inertia)[-1] / case.job.part.mass))


def face(case: Described) -> FloatArray:
    """Corners of the gripped face as far as it is known: the outline, or the pads [m], shape (k, 2)."""
    outline = case.job.part.outline
    return case.whole.edge_points()[:, :2] if outline is None else outline


def size(case: Described) -> float:
    """The longest distance over the gripped face, as far as it is known [m]."""
    return float(np.linalg.norm(np.ptp(face(case), axis=0)))


def outside(point: FloatArray, corners: FloatArray) -> float:
    """How far a point lies outside the hull of some corners [m]; 0 within."""
    out = float(shapely.MultiPoint(corners).convex_hull.distance(shapely.Point(point)))
    return out if out > ROUNDING else 0.0
