"""What only the job file has, declared like the fields of a job: poses as tables, the robot by its model or file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.poses import QUATERNION_TOLERANCE, QUATERNIONS, RPY, pose
from gripmargin.files.column_map import CONVENTION
from gripmargin.workcell.fields import Declared, Fault, Key, key
from gripmargin.workcell.kinds import LABELS, PATH, POINT, Named, Number, Pose, Row, Text

_EXAMPLES = {"angles": "intrinsic ZYX", "quaternion": "quaternion wxyz"}


class Frame(Declared):
    """A pose: a position, and an orientation as roll, pitch, yaw or by another convention, which is named.

    Attributes:
        xyz: Position of the frame's origin.
        rpy: Roll, pitch, yaw about fixed axes: x first, then y, then z.
        angles: Another orientation of three angles, in the order of its `convention`.
        quaternion: An orientation of four numbers, in the order of its `convention`.
        convention: Which [convention](#orientations) the angles or the quaternion follow.
    """

    xyz: FloatArray | None = key(POINT, "all", default=None, absent="0, 0, 0")
    rpy: FloatArray | None = key(Row(Number("angle"), 3), "all", default=None, absent="0, 0, 0")
    angles: FloatArray | None = key(Row(Number("angle"), 3), "all", default=None)
    quaternion: FloatArray | None = key(Row(Number(least=-1, most=1), 4), "all", default=None)
    convention: str | None = key(CONVENTION, "all", default=None)

    def faults(self) -> Iterator[Fault]:
        """Nothing, two orientations, or one whose convention is not said."""
        given = [name for name in ("rpy", "angles", "quaternion") if getattr(self, name) is not None]
        if self.xyz is None and not given:
            yield "", "an empty table", "xyz, rpy or both"
        if len(given) > 1:
            yield "", f"{' and '.join(given)}", "one orientation"
        elif given and given != ["rpy"] and self.convention is None:
            yield "", f"{given[0]} without their convention", f'such as convention = "{_EXAMPLES[given[0]]}"'
        elif self.convention is not None and given != [
            of := "quaternion" if self.convention in QUATERNIONS else "angles"
        ]:
            yield "", f"the convention {self.convention} without {of}", f"{of} beside it"
        if self.quaternion is not None and not abs(np.linalg.norm(self.quaternion) - 1) <= QUATERNION_TOLERANCE:
            yield "", f"a quaternion of length {np.linalg.norm(self.quaternion):.4g}", "unit length"

    @property
    def matrix(self) -> FloatArray:
        """The pose as Python has it, shape (4, 4)."""
        turned = next((each for each in (self.rpy, self.angles, self.quaternion) if each is not None), (0.0, 0.0, 0.0))
        return pose((0.0, 0.0, 0.0) if self.xyz is None else self.xyz, turned, convention=self.convention or RPY)


class Face(Frame):
    """Where a face lies in the world; +z out of the part.

    Attributes:
        xyz: A point of the face, the origin of its frame.
        rpy: As in a pose.
        angles: As in a pose.
        quaternion: As in a pose.
        convention: As in a pose.
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
