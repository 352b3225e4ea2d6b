"""The messages that recordings are read for: which types they are, and their content as objects.

Content is decoded by the library rosbags. Definitions are its own and those below, never those of a recording, for the
library makes code of definitions. Of messages that were extended over the years the common start is read.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any, Final

from rosbags.typesys import Stores, get_types_from_msg, get_typestore

JOINT_STATE: Final = "sensor_msgs/msg/JointState"
CONTROLLER_STATE: Final = "control_msgs/msg/JointTrajectoryControllerState"
PLAN: Final = "trajectory_msgs/msg/JointTrajectory"
GOAL: Final = "control_msgs/msg/FollowJointTrajectoryActionGoal"
POSE: Final = "geometry_msgs/msg/PoseStamped"
TRANSFORM: Final = "geometry_msgs/msg/TransformStamped"
TRANSFORMS: Final = "tf2_msgs/msg/TFMessage"


@dataclass(frozen=True)
class MessageKind:
    """A type of messages.

    Attributes:
        called: What one is called, such as "joint state".
        start: Definition of what is read of it, where the library has none or there are several; what follows is
            passed over.
    """

    called: str
    start: str = ""

    @property
    def several(self) -> str:
        """What several are called."""
        return self.called.replace("joint trajectory", "joint trajectories") + (
            "" if self.called.endswith("y") else "s"
        )


KINDS: Final = {
    JOINT_STATE: MessageKind("joint state"),
    CONTROLLER_STATE: MessageKind(  # desired and actual, later named reference and feedback
        "controller state",
        "std_msgs/Header header\nstring[] joint_names\ntrajectory_msgs/JointTrajectoryPoint desired\n"
        "trajectory_msgs/JointTrajectoryPoint actual",
    ),
    PLAN: MessageKind("joint trajectory"),
    GOAL: MessageKind(
        "goal",
        "std_msgs/Header header\nactionlib_msgs/GoalID goal_id\ntrajectory_msgs/JointTrajectory trajectory",
    ),
    POSE: MessageKind("pose"),
    TRANSFORM: MessageKind("transform"),
    TRANSFORMS: MessageKind("set of transforms", "geometry_msgs/TransformStamped[] transforms"),
}
_OTHER_NAMES: Final = {
    "tf/msg/tfMessage": TRANSFORMS,
    "pr2_controllers_msgs/msg/JointTrajectoryControllerState": CONTROLLER_STATE,
}


def plain_kind(kind: str) -> str:
    """Return the name of a type as ROS 2 spells it, for types of ROS 1 and those that were renamed."""
    package, slash, name = kind.partition("/")
    spelled = f"{package}/msg/{name}" if slash and "/" not in name else kind
    return _OTHER_NAMES.get(spelled, spelled)


@cache
def _types(encoding: str) -> Any:
    store = get_typestore(Stores.ROS1_NOETIC if encoding == "ros1" else Stores.LATEST)
    for kind, each in KINDS.items():
        if each.start:
            store.register(get_types_from_msg(each.start, f"start/msg/{kind.rpartition('/')[2]}"))
    return store


def decoded(content: bytes, kind: str, encoding: str) -> Any:
    """Return a message as an object with its fields as attributes.

    Args:
        content: As it was recorded.
        kind: One of `KINDS`.
        encoding: "cdr" of ROS 2, or "ros1".

    Raises:
        Exception: Of whatever type of the library, of numpy or of Python: the content is none of such a message.
    """
    store = _types(encoding)
    if not KINDS[kind].start:
        return store.deserialize_ros1(content, kind) if encoding == "ros1" else store.deserialize_cdr(content, kind)
    definition = store.get_msgdef(f"start/msg/{kind.rpartition('/')[2]}")
    if encoding == "ros1":
        read = definition.deserialize_ros1
    elif content[:2] in (b"\0\0", b"\0\1"):
        read = definition.deserialize_cdr_le if content[1] else definition.deserialize_cdr_be
        content = content[4:]
    else:
        raise ValueError("no CDR")
    message, end = read(content, 0, definition.cls, store)
    if end > len(content):
        raise ValueError("cut short")
    return message
