"""A trajectory from a file, by the ending of its name."""

from __future__ import annotations

from pathlib import Path

from gripmargin.base.errors import InputError
from gripmargin.base.given import as_path
from gripmargin.files.csv_file import read_csv
from gripmargin.files.npz_file import read_npz
from gripmargin.files.ros_message import read_joint_trajectory_message
from gripmargin.files.source import reason
from gripmargin.motion.chain import Chain
from gripmargin.motion.trajectory import Trajectory

_READERS = {
    ".csv": read_csv,
    ".npz": read_npz,
    ".yaml": read_joint_trajectory_message,
    ".yml": read_joint_trajectory_message,
    ".json": read_joint_trajectory_message,
}
_RECORDINGS = (".mcap", ".db3", ".bag")


def read_trajectory(
    path: str | Path, *, robot: Chain | None = None, topic: str | None = None, recorded: bool = False
) -> Trajectory:
    """Read a trajectory.

    Args:
        path: ``.csv`` or ``.npz`` with named columns; ``.yaml``, ``.yml`` or ``.json`` with a ROS 2
            trajectory_msgs/JointTrajectory message; the folder of a rosbag2 recording, or a ``.mcap``, ``.db3`` or
            ``.bag`` file, with joint states, states of a controller, joint trajectories or poses.
        robot: The robot that a joint program moves: gives the order of named joints and which joints
            turn and which slide. None: columns stay in the order of the file.
        topic: Of a recording: the topic of the motion. None: the only one of joint states, else of motion.
        recorded: Whether of states of a controller what the robot did is meant, not what it aimed at.

    Raises:
        InputError: With file and line, key or column.
    """
    file = as_path(path)
    ending = file.suffix.lower()
    if file.is_dir() or ending in _RECORDINGS:
        return _read_recording(file, robot, topic, recorded)
    if topic is not None:
        raise InputError(str(path)[:200], "a topic for a file without topics", "a topic for recordings of ROS only")
    if ending not in _READERS:
        found = f"the ending '{file.suffix}'" if file.suffix else "a name without an ending"
        raise InputError(str(path)[:200], found, f"one of {', '.join((*_READERS, *_RECORDINGS))}")
    try:
        return _READERS[ending](file, robot=robot)
    except OSError as error:
        raise InputError(str(path), reason(error), "a file that can be read") from error


def _read_recording(path: Path, robot: Chain | None, topic: str | None, recorded: bool) -> Trajectory:
    try:
        from gripmargin.files.bag_file import read_bag  # noqa: PLC0415 - optional, and only recordings need it
    except ImportError as error:
        library = "backports.zstd" if error.name == "backports" else str(error.name).partition(".")[0]
        raise InputError(
            str(path),
            f"no library {library} to read it with",
            "the optional dependency 'bags'",
            "install it: pip install 'gripmargin[bags]'",
        ) from error
    return read_bag(path, robot=robot, topic=topic, recorded=recorded)
