"""Way points to samples under one time law, with exact speeds and accelerations.

In: way points, for joint values the robot where lines are among them, and a law.
Out: a sampled program that gives its rates; where accelerations jump two samples beside the jump mark it.
Error: none but that of floating point.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal, get_args

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.base.given import of_class, shown
from gripmargin.kernels.law_defects import MARKED
from gripmargin.kernels.profiles import Profile, jerk_limited, quintic, standstill, trapezoid
from gripmargin.motion.between import SIDE
from gripmargin.motion.chain import Chain
from gripmargin.motion.straight import ToolPath, followed, turn_between
from gripmargin.motion.tool_motion import joint_motion
from gripmargin.motion.trajectory import MAX_SAMPLES, RESOLVED, JointTrajectory, PoseTrajectory, Trajectory
from gripmargin.motion.waypoints import Waypoint, Waypoints

TimeLawName = Literal["trapezoid", "jerk-limited", "quintic"]
LAWS: Final[tuple[TimeLawName, ...]] = get_args(TimeLawName)
STEP: Final = 0.004  # [s] between samples: that of common controllers
NO_WAY: Final = 1e-9  # [m, rad] that counts as none

REFERENCE: Final = (
    "Time laws between way points (trapezoid, jerk-limited, polynomial of degree five): Biagiotti & Melchiorri, "
    "Trajectory Planning for Automatic Machines and Robots, 2008 (from memory)."
)


@dataclass(frozen=True)
class _Leg:
    """One move: from where to where, when, by which law; its way and turn are those that limits hold for."""

    at: int
    kind: str
    way: FloatArray
    turn: FloatArray
    profile: Profile
    start: float

    @property
    def end(self) -> float:
        return self.start + self.profile.duration


def sample_waypoints(
    waypoints: Waypoints,
    *,
    robot: Chain | None = None,
    law: TimeLawName = "trapezoid",
    blends: bool = True,
    step: float = STEP,
) -> Trajectory:
    """Return a program that runs through way points by a time law.

    Each move keeps to its own peaks and has no faster law of its kind: "trapezoid" accelerates at the peak all the
    time; "jerk-limited" by ramps of the given jerk, or by ramps that take the whole time of acceleration; "quintic" is
    one polynomial of degree five over the move. With blends the next move starts when what is left of a move is its
    blend; what both do adds up.

    Args:
        waypoints: The program.
        robot: Base and tool mounted; lines between joint values need it.
        law: The time law.
        blends: Whether corners are cut as the way points say; else the robot stops at each.
        step: Time between samples, at most 10 ms; where the law changes there are more [s].

    Returns:
        Joint values or poses with speeds and accelerations; it stands still for one step before and after.

    Raises:
        InputError: A move without the peaks that it needs, a way point that repeats without a wait, a blend of more
            than half a move, a line that the arm cannot follow.
    """
    of_class(waypoints, Waypoints, "waypoints", "make them of Waypoint values")
    if law not in LAWS:
        raise InputError("law", shown(law), " or ".join(LAWS))
    if not 1e-4 <= step <= RESOLVED:
        raise InputError("step", f"{step}", f"from 0.0001 to {RESOLVED:.2g} s")
    poses = _poses(waypoints, robot)
    legs = _legs(waypoints, poses, robot, law, blends, step)
    end = max(leg.end for leg in legs) + max(waypoints.points[-1].wait, step)
    if end / step > MAX_SAMPLES:
        slow = max(legs, key=lambda leg: leg.profile.duration)
        found = f"a program of {end:.3g} s ({slow.profile.duration:.3g} s of it to {waypoints.place(slow.at)})"
        raise InputError(
            waypoints.source, found, f"at most {step * MAX_SAMPLES:g} s", "check units of speeds and waits"
        )
    t = _times(legs, end, step)
    index = np.maximum(np.searchsorted([leg.start for leg in legs], t, side="right") - 1, 0)
    moves = tuple(waypoints.points[i + 1].move for i in index.tolist())
    about = {"moves": moves, "source": waypoints.source, "notes": waypoints.notes}
    if not waypoints.q.size:
        path = _tool_path(poses[0], legs, t)
        rates = {"velocity": path.velocity, "acceleration": path.acceleration}
        return PoseTrajectory(t=t, position=path.position, rotation=path.rotation, **rates, **about)  # type: ignore[arg-type]
    q, qd, qdd = _joints(waypoints, waypoints.q, poses, legs, robot, t)
    return JointTrajectory(t=t, q=q, qd=qd, qdd=qdd, **about)  # type: ignore[arg-type]


def corners_cut(waypoints: Waypoints, sampled: Trajectory, robot: Chain | None) -> tuple[tuple[int, float], ...]:
    """Return by how much a sampled program passes each way point that blends, as (its index, [m]).

    Args:
        waypoints: The program.
        sampled: The same, sampled with blends.
        robot: Of joint values.
    """
    poses = _poses(waypoints, robot)
    blending = [i for i, point in enumerate(waypoints.points) if point.blends and poses is not None]
    if isinstance(sampled, PoseTrajectory):
        tool = sampled.position
    else:
        tool = np.empty((0, 3)) if robot is None else _standing_tool(robot, sampled.q)[0]
    out = []
    labels = np.array(sampled.moves)
    for i in blending:
        beside = (labels == waypoints.points[i].move) | (labels == waypoints.points[i + 1].move)
        out.append((i, float(np.linalg.norm(tool[beside] - poses[i, :3, 3], axis=1).min())))
    return tuple(out)


def _poses(waypoints: Waypoints, robot: Chain | None) -> FloatArray:
    """Poses of the tool at the way points, shape (n, 4, 4); of joint values without a robot no numbers."""
    q = waypoints.q
    if not q.size:
        return np.stack([point.pose for point in waypoints.points if point.pose is not None])
    out = np.tile(np.eye(4), (len(q), 1, 1))
    if robot is None:
        line = next((i for i, point in enumerate(waypoints.points) if point.kind == "line"), None)
        if line is not None:
            found = "a line between joint values without a robot"
            raise InputError(
                waypoints.place(line), found, "the robot that they move", "add the table [robot] to the job"
            )
        out[:, :3] = np.nan
    else:
        if q.shape[1] != robot.joints:
            due = f"{robot.joints}, the joints of {robot.source}"
            remedy = "check the robot (and its end link) and the columns"
            raise InputError(waypoints.source, f"{q.shape[1]} joint values", due, remedy)
        out[:, :3, 3], out[:, :3, :3] = _standing_tool(robot, q)
    return out


def _standing_tool(robot: Chain, q: FloatArray) -> tuple[FloatArray, FloatArray]:
    still = np.zeros_like(q)
    at = joint_motion(robot, np.arange(len(q), dtype=np.float64), q, still, still)
    return at.position, at.rotation


def _legs(
    waypoints: Waypoints, poses: FloatArray, robot: Chain | None, law: TimeLawName, blends: bool, step: float
) -> list[_Leg]:
    """The moves in time."""
    points, q, out = waypoints.points, waypoints.q, []
    clock, reached = max(points[0].wait, step), 0.0
    for i, point in enumerate(points[1:], start=1):
        where = waypoints.place(i)
        if not q.size or point.kind == "line":
            way = poses[i, :3, 3] - poses[i - 1, :3, 3]
            turn = turn_between(poses[i - 1, :3, :3], poses[i, :3, :3], where)
            far, angle = float(np.linalg.norm(way)), float(np.linalg.norm(turn))
        else:
            turns = np.ones(q.shape[1], dtype=bool) if robot is None else np.array(robot.revolute)
            change = q[i] - q[i - 1]
            way, turn = np.where(turns, 0.0, change), np.where(turns, change, 0.0)
            far, angle = float(np.abs(way).max()), float(np.abs(turn).max())
        if far < NO_WAY and angle < NO_WAY:
            if not point.wait > 0:
                found = "a move to where the robot already is"
                raise InputError(where, found, "another place, or a wait there", "leave it out, or give its wait")
            profile = standstill()
        else:
            profile = _profile(point, far, angle, law, where)
        leg = _Leg(i, str(point.kind), way, turn, profile, clock)
        out.append(leg)
        left = 0.0
        if point.blends:
            share = _blend(point, far, angle, where)
            left = profile.time_left(share) if blends else 0.0
        clock = max(reached, leg.end - left) + point.wait
        reached = max(reached, leg.end)
    return out


def _profile(point: Waypoint, way: float, turn: float, law: TimeLawName, where: str) -> Profile:
    """The law of one move, with its way of 1: whichever limit is reached first holds it back."""
    limits: dict[str, list[float]] = {"speed": [], "acceleration": [], "jerk": []}
    line = point.kind == "line"
    for prefix, far, due in (("", way, way > NO_WAY), ("turn_", turn, turn > NO_WAY and not (line and way > NO_WAY))):
        if far <= NO_WAY:
            continue
        for name, found in limits.items():
            value = getattr(point, f"{prefix}{name}")
            if value is not None:
                found.append(value / far)
            elif due and name != "jerk":
                unit = {"speed": "/s", "acceleration": "/s^2"}[name]
                what = ("the tool's turning" if prefix else "the tool point") if line else "the joint that leads"
                unit = f"{'deg' if prefix else 'mm'}{unit}"
                raise InputError(where, f"a {point.kind} move without {name}", f"the {name} of {what} [{unit}]")
    speed, acceleration = min(limits["speed"]), min(limits["acceleration"])
    jerk = min(limits["jerk"], default=None)
    if law == "trapezoid":
        return trapezoid(speed, acceleration)
    return (jerk_limited if law == "jerk-limited" else quintic)(speed, acceleration, jerk)


def _blend(point: Waypoint, way: float, turn: float, where: str) -> float:
    """The share of a move that is left when the next one starts."""
    shares = [b / far for b, far in ((point.blend, way), (point.turn_blend, turn)) if b > 0 and far > NO_WAY]
    if not shares:
        unit = "a length" if point.blend > 0 else "an angle"
        due = "deg, of the joint that turns furthest" if point.kind == "joint" else "mm, of the tool's way"
        raise InputError(where, f"a blend that is {unit} of a {point.kind} move without one", f"a blend in {due}")
    share = min(shares)
    if share > 0.5:
        found = f"a blend over {100 * share:.0f} % of its move"
        raise InputError(where, found, "at most half of it", "make the blend smaller")
    return share


def _times(legs: Sequence[_Leg], end: float, step: float) -> FloatArray:
    """Times of the samples: even ones, one where the jerk changes, one on either side where the acceleration jumps."""
    knots = [(leg.start + leg.profile.knots, leg.profile.stepped) for leg in legs if leg.profile.duration > 0]
    jumps = np.sort(np.concatenate([k for k, stepped in knots if stepped] or [np.empty(0)]))
    kinks = np.unique(np.concatenate([k for k, stepped in knots if not stepped] or [np.empty(0)]))
    side = max(SIDE, 4.0 * float(np.spacing(end)))
    apart = np.diff(jumps, prepend=-np.inf) > 2.0 * MARKED
    sides = np.concatenate([jumps[apart] - side, jumps[np.append(apart[1:], True)[: jumps.size]] + side])
    even = step * np.arange(1 + int(np.ceil(end / step - 1e-6)))
    kept = sides
    for more in (kinks, even):  # what is closer than a mark to one of those before it says nothing new
        fences = np.concatenate([[-np.inf], kept, [np.inf]])
        after = np.searchsorted(fences, more)
        free = np.minimum(fences[after] - more, more - fences[after - 1]) > MARKED
        free &= np.diff(more, prepend=-np.inf) > MARKED
        kept = np.sort(np.concatenate([kept, more[free]]))
    return kept


def _window(leg: _Leg, t: FloatArray) -> slice:
    """The samples from the beginning of a move to its end."""
    return slice(int(np.searchsorted(t, leg.start)), int(np.searchsorted(t, leg.end, side="right")))


def _tool_path(start: FloatArray, legs: Sequence[_Leg], t: FloatArray) -> ToolPath:
    """The tool's motion along lines that add up, from a pose, shape (4, 4)."""
    path = ToolPath.standing(start, t.size)
    for leg in legs:
        path.add(leg.way, leg.turn, leg.profile.at(t - leg.start), slice(None))
    return path


def _joints(
    waypoints: Waypoints,
    values: FloatArray,
    poses: FloatArray,
    legs: Sequence[_Leg],
    robot: Chain | None,
    t: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Joint values, speeds and accelerations: joint moves, and runs of lines that go over into each other, add up."""
    total = np.zeros((3, t.size, values.shape[1]))
    total[0] = values[0]
    for run in _runs(legs):
        first, last = run[0], run[-1]
        before, after = values[first.at - 1], values[last.at]
        end = max(leg.end for leg in run)
        inside = slice(_window(first, t).start, int(np.searchsorted(t, end, side="right")))
        if first.kind == "line" and robot is not None:
            times = np.append(t[inside], end)
            path = _tool_path(poses[first.at - 1], run, times)
            where = waypoints.place(last.at)
            q, qd, qdd = followed(robot, before, path, where)
            off = np.abs(q[-1] - after)
            if off.max() > 1e-6:
                raise _other_posture(robot, where, q[-1], after)
            total[:, inside] += np.stack([q - before, qd, qdd])[:, :-1]
        else:
            total[:, inside] += first.profile.at(t[inside] - first.start)[:, :, None] * (after - before)
        total[0, inside.stop :] += after - before
    return total[0], total[1], total[2]


def _runs(legs: Sequence[_Leg]) -> list[list[_Leg]]:
    """Moves one by one, and lines that go over into each other together."""
    out: list[list[_Leg]] = []
    for leg in legs:
        if out and out[-1][-1].kind == leg.kind == "line" and leg.start < out[-1][-1].end:
            out[-1].append(leg)
        else:
            out.append([leg])
    return out


def _other_posture(robot: Chain, where: str, reached: FloatArray, due: FloatArray) -> InputError:
    j = int(np.abs(reached - due).argmax())
    size, unit = (np.degrees(1.0), "deg") if robot.revolute[j] else (1e3, "mm")
    found = f"a line at whose end joint {j + 1} is at {size * reached[j]:.3f} {unit}"
    expected = f"{size * due[j]:.3f} {unit}, as the way point says"
    remedy = "the line leads to another posture (or another turn of a joint): move in joints, or give that posture"
    return InputError(where, found, expected, remedy)
