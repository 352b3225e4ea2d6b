"""Motion out of a recording of ROS 1 or ROS 2, read without ROS: what a robot did, or what it was told to do.

Times are those of the message headers, for the time of receipt has the delays of the network in it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import numpy as np

from gripmargin.base.errors import InputError
from gripmargin.files.bag_messages import (
    CONTROLLER_STATE,
    GOAL,
    JOINT_STATE,
    KINDS,
    PLAN,
    POSE,
    TRANSFORM,
    TRANSFORMS,
    decoded,
)
from gripmargin.files.bag_poses import Poses
from gripmargin.files.bag_rows import SHOWN
from gripmargin.files.bag_states import JointStates
from gripmargin.files.messages import trajectory_from_message
from gripmargin.files.recording import Recording, Topic, read_recording
from gripmargin.files.samples import in_order_of
from gripmargin.files.source import printable
from gripmargin.motion.chain import Chain
from gripmargin.motion.trajectory import JointTrajectory, Trajectory

DESIRED, ACTUAL = ("desired", "reference"), ("actual", "feedback")  # as older and newer controllers call them
_NAMED: Final = "message"  # what the reader of messages calls one
_OF_JOINTS: Final = (JOINT_STATE,)
_OTHERS: Final = tuple(kind for kind in KINDS if kind not in _OF_JOINTS)


def read_bag(path: Path, *, robot: Chain | None = None, topic: str | None = None, recorded: bool = False) -> Trajectory:
    """Read the motion that a recording has on a topic.

    Args:
        path: The folder of a rosbag2 recording, or a ``.mcap``, ``.db3`` or ``.bag`` file.
        robot: The robot that moved: its joint names say which messages count and put the columns in order.
            None: the joints of the messages, which then must all be of the same joints.
        topic: The topic; None: the only one of joint states, else the only one that has motion. Behind it may stand
            what is meant of it: ``.desired`` or ``.actual`` of controller states, the frame of a transform
            (``/tf.tool0``), the number of one of several trajectories (``/goal#2``, from 1).
        recorded: Whether what the robot did is wanted of controller states, not what it aimed at.

    Returns:
        Positions or poses by time from the first message on [s]; of joint trajectories as a controller would move.
        Speeds that were measured are not taken: how a driver filtered them is not known, and a filter makes peaks of
        acceleration smaller than they were (14 % for a move of 0.3 s behind a filter of 5 Hz, and a ringing of the arm
        may vanish altogether). They are compared with the positions, for they show a wrong unit or wrong stamps.

    Raises:
        InputError: With file, topic and message.
    """
    chosen, meant = _chosen(path, topic)
    where = f"{path}, topic '{printable(chosen.name)}'"
    if not chosen.messages:
        raise InputError(where, "no messages", KINDS[chosen.kind].several)
    known = {
        JOINT_STATE: (),
        CONTROLLER_STATE: (*DESIRED, *ACTUAL),
        POSE: (),
    }.get(chosen.kind)
    if meant and known is not None and meant not in known:
        due = f"one of {', '.join(known)} behind it" if known else "nothing behind it"
        raise InputError(f"topic '{printable(chosen.name)}'", f"'{printable(meant)}' behind it", due)
    if chosen.kind in (PLAN, GOAL):
        return _plan(where, path, chosen, meant, robot)
    if chosen.kind in (POSE, TRANSFORM, TRANSFORMS):
        poses = Poses(where, meant or None)
        for i, received, message in _messages(where, chosen):
            if chosen.kind == POSE:
                poses.take_pose(i, received, message)
            for transform in message.transforms if chosen.kind == TRANSFORMS else ():
                poses.take_transform(i, received, transform)
            if chosen.kind == TRANSFORM:
                poses.take_transform(i, received, message)
        return poses.trajectory(path.name)
    return _states(where, path, chosen, robot, actual=meant in ACTUAL or (not meant and recorded))


def _states(where: str, path: Path, chosen: Topic, robot: Chain | None, *, actual: bool) -> JointTrajectory:
    names: tuple[str, ...] = ()
    if robot is not None and all(robot.names):
        follow = {robot.names[each.joint] for each in robot.followers}
        leaders = dict.fromkeys(each.leader for each in robot.followers if each.leader not in robot.names)
        names = (*(name for name in robot.names if name not in follow), *leaders)
    of_controller = chosen.kind == CONTROLLER_STATE
    states = JointStates(where, names, planned=of_controller and not actual)
    for i, received, message in _messages(where, chosen):
        if of_controller:
            point = message.actual if actual else message.desired
            given = (point.positions, point.velocities, point.accelerations)
            states.take(i, received, message.joint_names, message.header, given[: 2 if actual else 3])
        else:
            states.take(i, received, message.name, message.header, (message.position, message.velocity))
    return in_order_of(robot, states.trajectory(path.name), where, states.locate)


def _messages(where: str, chosen: Topic) -> Iterator[tuple[int, int, Any]]:
    """Number, time of receipt [ns] and message, one after the other."""
    for i, (received, content) in enumerate(chosen.messages):
        try:
            message = decoded(content, chosen.kind, chosen.encoding)
        except Exception as error:  # the library raises its own and numpy's
            reason, called = printable(str(error), 160), KINDS[chosen.kind].called
            raise InputError(f"{where}, message {i}", f"content that is no {called} ({reason})", chosen.kind) from error
        yield i, received, message


def _plan(where: str, path: Path, chosen: Topic, meant: str, robot: Chain | None) -> JointTrajectory:
    """The joint trajectory of a topic: the only one, or that of a number."""
    plans: list[tuple[int, Any]] = []
    for i, _, message in _messages(where, chosen):
        plan = message.trajectory if chosen.kind == GOAL else message
        if meant or not any(_same(plan, other) for _, other in plans):
            plans.append((i, plan))
    if meant:
        if not meant.isdecimal() or len(meant) > 9 or not 1 <= int(meant) <= len(plans):
            due = f"the number of one of its {len(plans)} trajectories, from 1"
            raise InputError(f"topic '{printable(chosen.name)}'", f"'{printable(meant)}' behind it", due)
        plans = [plans[int(meant) - 1]]
    if len(plans) > 1:
        remedy = f'name one by its number, such as program.topic = "{printable(chosen.name)}#{plans[0][0] + 1}"'
        raise InputError(where, f"{len(plans)} joint trajectories that differ", "one", remedy)
    ((number, plan),) = plans
    try:
        trajectory = trajectory_from_message(plan, robot=robot)
    except InputError as error:
        raise error.at(f"{where}, message {number}{error.where.removeprefix(_NAMED)}") from error
    return _named(trajectory, path.name, f"Planned: joint trajectory {number + 1} of {len(chosen.messages)}.")


def _named(trajectory: JointTrajectory, source: str, note: str) -> JointTrajectory:
    return replace(trajectory, source=source, notes=(note, *trajectory.notes))


def _same(one: Any, other: Any) -> bool:
    if list(one.joint_names) != list(other.joint_names) or len(one.points) != len(other.points):
        return False
    return all(
        (a.time_from_start.sec, a.time_from_start.nanosec) == (b.time_from_start.sec, b.time_from_start.nanosec)
        and all(np.array_equal(getattr(a, of), getattr(b, of)) for of in ("positions", "velocities", "accelerations"))
        for a, b in zip(one.points, other.points, strict=True)
    )


# ---- the topic ----


def _chosen(path: Path, asked: str | None) -> tuple[Topic, str]:
    """The topic that is meant, with its messages, and what is meant of it."""
    if asked is None:
        recording = read_recording(path, _OF_JOINTS)
        found = [topic for topic in recording.topics.values() if topic.wanted]
        if not found:
            found = [topic for topic in recording.topics.values() if topic.kind in _OTHERS]
            if len(found) == 1:
                recording = read_recording(path, (found[0].kind,), found[0].name)
                found = [topic for topic in recording.topics.values() if topic.wanted]
        return _only(path, found, recording, None), ""
    name, _, meant = _parted(asked)
    recording = read_recording(path, tuple(KINDS), name)
    return _only(path, [topic for topic in recording.topics.values() if topic.wanted], recording, name), meant


def _parted(topic: str) -> tuple[str, str, str]:
    """Name of a topic, and what stands behind it: names of topics have neither dot nor number sign."""
    places = [place for mark in ".#" if (place := topic.find(mark)) > 0]
    cut = min(places, default=len(topic))
    return topic[:cut], topic[cut : cut + 1], topic[cut + 1 :]


def _only(path: Path, found: list[Topic], recording: Recording, asked: str | None) -> Topic:
    if len(found) == 1:
        return found[0]
    if len(found) > 1:
        names = ", ".join(f"'{printable(t.name)}' ({t.count} {KINDS[t.kind].several})" for t in found[:SHOWN])
        remedy = "name the one of the robot (program.topic)"
        raise InputError(str(path), f"motion on {len(found)} topics: {names}", "one topic", remedy)
    there = [f"'{printable(t.name)}' of type {printable(t.kind)}" for t in recording.topics.values()]
    shown = ", ".join(there[:SHOWN]) + (f" and {len(there) - SHOWN} more" if len(there) > SHOWN else "")
    kinds = ", ".join(kind.replace("/msg/", "/") for kind in KINDS)
    due = f"a topic of type {kinds}" if asked is None else f"the topic '{printable(asked)}' of type {kinds}"
    raise InputError(str(path), f"the topics {shown}" if there else "no topics", due)
