"""What only the job file has, declared like the fields of a job: poses as tables, the robot by its model or file."""

from __future__ import annotations

from collections.abc import Iterator

from gripmargin.base.arrays import FloatArray
from gripmargin.base.poses import pose
from gripmargin.workcell.fields import Declared, Fault, Key, key
from gripmargin.workcell.kinds import LABELS, PATH, POINT, Number, Pose, Row, Text


class Frame(Declared):
    """A pose: position, then roll, pitch, yaw about fixed axes, x first, then y, then z.

    Attributes:
        xyz: Position of the frame's origin.
        rpy: Roll, pitch, yaw about fixed axes: x first, then y, then z.
    """

    xyz: FloatArray | None = key(POINT, "all", default=None, absent="0, 0, 0")
    rpy: FloatArray | None = key(Row(Number("angle"), 3), "all", default=None, absent="0, 0, 0")

    def faults(self) -> Iterator[Fault]:
        """Neither of the two."""
        if self.xyz is None and self.rpy is None:
            yield "", "an empty table", "xyz, rpy or both"

    @property
    def matrix(self) -> FloatArray:
        """The pose as Python has it, shape (4, 4)."""
        return pose(*((0.0, 0.0, 0.0) if value is None else value for value in (self.xyz, self.rpy)))


class Face(Frame):
    """Where a face lies in the world; +z out of the part.

    Attributes:
        xyz: A point of the face, the origin of its frame.
        rpy: As in a pose.
    """

    xyz: FloatArray = key(POINT, "all")


class Source(Declared, called="robot"):
    """The arm of a joint program: a catalogue model or a URDF file.

    Python has the chain itself.

    Attributes:
        model: A robot of the Robotics Toolbox that loads without a network, such as `Puma560`; `DH.Panda`, `ETS.Panda`
            and `URDF.Panda` choose between models of one name.
        urdf: Path of a URDF file; meshes are not needed; mimic, planar and floating joints are refused.
        end_link: The link that carries the gripper.
        joint_names: Names of the joints from the base outwards, where the trajectory names them otherwise.
        base: The robot's base in the world.
        tool: The tool frame in the flange.
    """

    model: str | None = key(Text(), "all", default=None)
    urdf: str | None = key(PATH, "all", default=None)
    end_link: str | None = key(Text(), "all", default=None, absent="the only end")
    joint_names: tuple[str, ...] | None = key(LABELS, "names", default=None, absent="those of the model")
    base: FloatArray | None = key(Pose(), "all", default=None, absent="the world frame")
    tool: FloatArray | None = key(Pose(), "all", default=None, absent="the end of the chain")

    def faults(self) -> Iterator[Fault]:
        """No robot, or two."""
        if (self.model is None) == (self.urdf is None):
            yield "", "neither model nor urdf" if self.model is None else "both model and urdf", "one of the two"


# Python has `Part.placed`.
PLACING = {
    "at": Key(
        Pose(),
        "all",
        absent="the tool frame",
        after="outline",
        doc="The frame in which `com`, `inertia` and `outline` are given, in the tool frame.",
    )
}
# Python reads the recordings itself.
TOPICS = {
    "topic": Key(
        Text(),
        "all",
        absent="the only one of joint states",
        table="program",
        after="trajectory",
        doc="Topic of the joint states in a [recording](#recordings-of-rosbag2-a-folder-mcap-db3).",
    ),
    "recording_topic": Key(
        Text(),
        "recorded",
        absent="the only one of joint states",
        table="program",
        doc="Topic of the joint states, where the recording is a rosbag2 one.",
    ),
}
