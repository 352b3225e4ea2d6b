"""A trajectory from a file, by the ending of its name."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from gripmargin.base.errors import InputError
from gripmargin.base.given import as_path, of_class
from gripmargin.files.column_map import Columns
from gripmargin.files.csv_file import csv_reading
from gripmargin.files.npz_file import npz_reading
from gripmargin.files.ros_message import read_joint_trajectory_message
from gripmargin.files.source import reason
from gripmargin.files.table import Reading
from gripmargin.motion.chain import Chain
from gripmargin.motion.trajectory import Trajectory

_MESSAGES = (".yaml", ".yml", ".json")
_RECORDINGS = (".mcap", ".db3", ".bag")
_TEXTS = (".csv", ".txt", ".tsv", ".dat")


def _table_reader(ending: str) -> Callable[[Path, Chain | None, Columns | None], Reading]:
    """What reads a table; libraries that few need are loaded only then."""
    if ending == ".mat":
        from gripmargin.files.mat_file import read_mat  # noqa: PLC0415 - scipy's readers take 0.1 s

        return read_mat
    if ending == ".parquet":
        from gripmargin.files.frames import read_parquet  # noqa: PLC0415 - likewise

        return read_parquet
    return npz_reading if ending == ".npz" else csv_reading


_TABLES = (*_TEXTS, ".npz", ".mat", ".parquet")


def read_trajectory(
    path: str | Path,
    *,
    robot: Chain | None = None,
    topic: str | None = None,
    columns: Columns | None = None,
    recorded: bool = False,
) -> Trajectory:
    """Read a trajectory.

    Args:
        path: ``.csv`` (``.txt``, ``.tsv``, ``.dat``), ``.npz``, ``.mat`` or ``.parquet`` with named columns; ``.yaml``,
            ``.yml`` or ``.json`` with a ROS 2 trajectory_msgs/JointTrajectory message; the folder of a rosbag2
            recording, or a ``.mcap``, ``.db3`` or ``.bag`` file, with joint states, states of a controller, joint
            trajectories or poses.
        robot: The robot that a joint program moves: gives the order of named joints and which joints
            turn and which slide. None: columns stay in the order of the file.
        topic: Of a recording: the topic of the motion. None: the only one of joint states, else of motion.
        columns: Of a table: what its columns mean, as far as it is not found in its header.
        recorded: Whether of states of a controller what the robot did is meant, not what it aimed at.

    Raises:
        InputError: With file and line, key or column.
    """
    return read_file(path, robot=robot, topic=topic, columns=columns, recorded=recorded).trajectory


def read_file(
    path: str | Path,
    *,
    robot: Chain | None = None,
    topic: str | None = None,
    columns: Columns | None = None,
    recorded: bool = False,
) -> Reading:
    """Read a trajectory as `read_trajectory` does, and tell what was read as what.

    Raises:
        InputError: With file and line, key or column.
    """
    file = as_path(path)
    ending = file.suffix.lower()
    if columns is not None:
        of_class(columns, Columns, "columns")
    is_recording = file.is_dir() or ending in _RECORDINGS
    if columns is not None and (is_recording or ending in _MESSAGES):
        raise InputError(
            str(path)[:200], "columns of a file without columns", "columns of a table only", "leave them out"
        )
    if is_recording:
        return Reading(_read_recording(file, robot, topic, recorded))
    if topic is not None:
        raise InputError(str(path)[:200], "a topic for a file without topics", "a topic for recordings of ROS only")
    if ending not in (*_TABLES, *_MESSAGES):
        found = f"the ending '{file.suffix}'" if file.suffix else "a name without an ending"
        raise InputError(str(path)[:200], found, f"one of {', '.join((*_TABLES, *_MESSAGES, *_RECORDINGS))}")
    try:
        if ending in _MESSAGES:
            return Reading(read_joint_trajectory_message(file, robot=robot))
        return _table_reader(ending)(file, robot, columns)
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
