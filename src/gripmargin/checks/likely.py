"""Whether a job can be meant, as far as job, pads and motion alone tell: figures of no part, pad or robot.

Each rule says in a sentence what looks wrong. Bounds without a source are set far beyond what parts and pads have.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import flagged, largest_of, parts, turned
from gripmargin.checks.likely_figures import (
    Described,
    air_density,
    centre_of_mass,
    density,
    fouling,
    gravity,
    inertia,
    pad_material,
    pad_places,
    size,
    surface_factor,
)
from gripmargin.kernels.digits import shakes_at_rest, value_error
from gripmargin.motion.landings import lands_on
from gripmargin.motion.rate_error import RateError
from gripmargin.motion.rates import ORDINARY, ROUNDED
from gripmargin.motion.tool_motion import ToolMotion
from gripmargin.motion.trajectory import JointTrajectory
from gripmargin.workcell.job import Job

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
FAR_SLIDE, FAR_TURN = 50.0, 8.0 * np.pi  # [m], [rad] of a joint without limits of its own


Rule = Callable[[Described], str]


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
        least, most = -float(largest_of(np.negative, q)), float(largest_of(np.positive, q))
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
    """Positions that scatter by less than what tears the pads off, were it motion; what rounding explains is none."""
    error = case.motion.error
    if error is None or case.motion.given:
        return ""
    some = np.unique(np.linspace(0, case.job.trajectory.samples - 1, LOOKED_AT).astype(np.intp))
    ways = error.directions(some)[:, :3] * _not_rounding(error)[:, None, None]
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


def _not_rounding(error: RateError) -> FloatArray:
    """Noise of the positions [rad or m], shape (causes,); 0 where their last digits explain all of it.

    Each value is then within half a digit, which bounds the rates, and what stands still says the same.
    """
    if error.unsmoothed is None:
        return error.noise
    places = turned(error.unsmoothed.places)
    half = value_error(places)
    explained = (error.noise <= ROUNDED * half) & (half <= ORDINARY) & ~shakes_at_rest(places, half)
    return np.where(explained, 0.0, error.noise)


def tool_travel(case: Described) -> str:
    """A tool that stays within reach of a robot, at speeds that robots have."""
    tool = case.motion.at
    for what, most, unit, name in (
        ("lies", FAR_SLIDE, "m from the origin of the world", "position"),
        ("reaches", FASTEST_TOOL, "m/s", "velocity"),
    ):
        found = tool.largest(name)
        if found > most:
            return (
                f"the tool {what} {found:.3g} {unit}, and no more than {most:g} is likely: are lengths in the unit "
                "that they are said to be (arrays are in m and rad)?"
            )
    return ""


def from_below(case: Described) -> str:
    """A part that hangs from the pads somewhere: one that only lies on them needs none."""
    carry, gravity = case.job.phase_map.covers("carry"), case.job.gravity
    pulled = case.motion.at.in_tool(gravity)[2]
    if not carry.any() or (carry & ~(-pulled > PRESSED * np.linalg.norm(gravity))).any():
        return ""
    return (
        "the part lies on the pads all the way, and its weight presses it on: does the tool's z axis point out of the "
        "pads into the part, and are angles or quaternions in the unit and the order that they are said to be?"
    )


def short_carry(case: Described) -> str:
    """A carry that takes the part somewhere, at accelerations that are felt; one that stands still or turns is none."""
    carry, tool = flagged(case.job.phase_map.covers("carry")), case.motion.at
    if carry.size == 0:
        return ""
    begin = tool.take(carry[:1]).position
    far = max(
        float(np.linalg.norm(tool.take(carry[part]).position - begin, axis=1).max()) for part in parts(carry.size)
    )
    most = tool.largest("acceleration", carry)
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
    free = f"a free phase of station '{case.job.station}' there" if case.job.station else "the moves as free"
    deepest = max(SHORTEST, *(patch.pad.material.backing_thickness or 0.0 for patch in case.whole.patches))
    for first, last, carried in case.job.phase_map.gaps():
        here = case.motion.at.take(slice(first, last + 1))
        for name, place in places.items():
            if carried or place is None:
                continue
            at = lands_on(here, case.whole.centre, place.face, size(case), deepest, case.job.meanwhile)
            if at is not None:
                return (
                    f"no phase covers {here.t[0]:.3f} to {here.t[-1]:.3f} s, and at {here.t[at]:.3f} s "
                    f"the pads come down to the face of [{name}]: name the phases of that pick, or {free}"
                )
    return ""


def other_place(case: Described) -> str:
    """A carried part that stays above the places of the other parts of its program."""
    return case.job.elsewhere


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
    "gravity": gravity,
    "air_density": air_density,
    "phase_order": phase_order,
    "spacing": spacing,
    "joint_travel": joint_travel,
    "scatter": scatter,
    "tool_travel": tool_travel,
    "short_carry": short_carry,
    "from_below": from_below,
    "never_released": never_released,
    "unnamed_moves": unnamed_moves,
    "other_place": other_place,
    "joint_speed": joint_speed,
    "fouling": fouling,
    "polled": polled,
}


AFTERWARDS: Final = ("never_released", "unnamed_moves", "other_place")  # what looks wrong beside all that is simulated


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
