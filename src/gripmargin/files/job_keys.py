"""What only the job file has, declared like the fields of a job: poses as tables, the robot by its model or file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from gripmargin.base.arrays import FloatArray
from gripmargin.base.poses import pose
from gripmargin.workcell.fields import Declared, Fault, Key, key
from gripmargin.workcell.kinds import LABELS, PATH, POINT, Named, Number, Pose, Row, Text


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
    """The arm of a joint program: a catalogue model, or a URDF file or the xacro file of one.

    Python has the chain itself.

    Attributes:
        model: A robot of the Robotics Toolbox that loads without a network, such as `Puma560`; `DH.Panda`, `ETS.Panda`
            and `URDF.Panda` choose between models of one name.
        urdf: Path of a [URDF or xacro file](#robots-as-files); meshes are not needed.
        xacro_arguments: Arguments of a xacro file.
        packages: Folders of the packages that a xacro file names by `$(find ...)`.
        base_link: The link that stands where `base` says, fixed to the root of the model.
        end_link: The link that carries the gripper.
        joint_names: Names of the joints from the base outwards, where the trajectory names them otherwise.
        base: The robot's base in the world.
        tool: The tool frame in the flange.
    """

    model: str | None = key(Text(), "all", default=None)
    urdf: str | None = key(PATH, "all", default=None)
    xacro_arguments: Mapping[str, str] | None = key(Named(Text()), "all", default=None, absent="its defaults")
    packages: Mapping[str, str] | None = key(Named(PATH), "all", default=None, absent="looked for around the file")
    base_link: str | None = key(Text(), "all", default=None, absent="the root")
    end_link: str | None = key(Text(), "all", default=None, absent="the only end, else `tool0`, else `flange`")
    joint_names: tuple[str, ...] | None = key(LABELS, "names", default=None, absent="those of the model")
    base: FloatArray | None = key(Pose(), "all", default=None, absent="the world frame")
    tool: FloatArray | None = key(Pose(), "all", default=None, absent="the end of the chain")

    def faults(self) -> Iterator[Fault]:
        """No robot, or two."""
        if (self.model is None) == (self.urdf is None):
            yield "", "neither model nor urdf" if self.model is None else "both model and urdf", "one of the two"
        of_files = ("xacro_arguments", "packages", "base_link")
        given = next((name for name in of_files if getattr(self, name) is not None), None)
        if self.urdf is None and given is not None:
            yield given, "a key for files beside a model of the catalogue", "robot.urdf", "leave one of them out"


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
        absent="the only one of joint states, else of motion",
        table="program",
        after="trajectory",
        doc="Topic of the motion in a [recording of ROS](#recordings-of-ros-a-folder-mcap-db3-bag).",
    ),
    "recording_topic": Key(
        Text(),
        "recorded",
        absent="the only one of joint states, else of motion",
        table="program",
        doc="Topic of the motion, where the recording is one of ROS; of controller states what the robot did counts.",
    ),
}
