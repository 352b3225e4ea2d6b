"""What is damaged, and the readers that have to cope with it."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from scipy.io import savemat

from gripmargin.files.column_map import ColumnGroup, Columns, TimeColumn, as_toml
from gripmargin.files.job_file import read_columns, read_job
from gripmargin.files.report_file import read_baseline
from gripmargin.files.source import read_text
from gripmargin.files.trajectory_file import read_trajectory
from gripmargin.files.urdf import read_urdf
from gripmargin.files.waypoint_file import read_waypoints
from gripmargin.motion.planned import sample_waypoints

GOOD = Path(__file__).parents[1] / "bad_input" / "good"

MESSAGE = """\
joint_names: [shoulder, elbow, quill]
points:
- {positions: [0, 0, 0.1], velocities: [0, 0, 0], time_from_start: {sec: 0}}
- positions: [0.1, 0.2, 0.1]
  velocities: [0.1, 0.0, 1e-2]
  time_from_start: {sec: 1}
- {positions: [0.2, 0.2, 0.1], velocities: [0, 0, 0], time_from_start: {sec: 1, nanosec: 500000000}}
"""
MESSAGE_AS_JSON = (
    '{"joint_names": ["a", "b"], "points": [{"positions": [0, 1], "time_from_start": {"sec": 0, "nanosec": 0}}, '
    '{"positions": [1, 2e-1], "time_from_start": {"sec": 1, "nanosec": 5}}]}'
)
POSES = """\
t [s],x [mm],y [mm],z [mm],roll [deg],pitch [deg],yaw [deg],move
0,0,0,100,180,0,0,"lift, first"
0.1,0,0,110,180,0,0,lift
0.2,0,1e1,120,180,0,-1,over
"""
POINTS = """\
x [mm],y [mm],z [mm],roll [deg],pitch [deg],yaw [deg],kind,speed [mm/s],acceleration [mm/s^2],blend [mm],wait [s],move
0,0,100,180,0,0,,,,,,
0,0,200,180,0,0,line,250,1e3,5,,"lift, first"
300,0,200,180,0,9,line,250,1000,,0.2,over
"""
REPORT = (
    '{"schema": "gripmargin-report/1", "job": "window", "checks": [{"check": "hold", "verdict": "pass", "value": 2.5, '
    '"low": 2.4, "target": 2.0}], "findings": [{"check": "hold", "verdict": "fail", "worst": {"move": null}, "from": '
    '0.1, "to": 1e0}]}\n'
)


def _npz() -> bytes:
    file = io.BytesIO()
    columns = {"t [s]": [0.0, 0.1, 0.2], "q1 [deg]": [1.0, 2.0, 3.0], "q2 [mm]": [1.0, 2.0, 3.0]}
    np.savez(file, **{name: np.array(values) for name, values in columns.items()})
    return file.getvalue()


def _bag() -> bytes:
    """A bag of ROS 1 with a few joint states, packed."""
    from rosbags.rosbag1 import Writer
    from rosbags.typesys import Stores, get_typestore

    store, kind = get_typestore(Stores.ROS1_NOETIC), "sensor_msgs/msg/JointState"
    with TemporaryDirectory() as folder:
        file = Path(folder) / "run.bag"
        writer = Writer(file)
        writer.set_compression(Writer.CompressionFormat.BZ2)
        with writer:
            connection = writer.add_connection("/joint_states", kind, typestore=store)
            for i in range(3):
                stamp = store.types["builtin_interfaces/msg/Time"](sec=1, nanosec=1000 * i)
                header = store.types["std_msgs/msg/Header"](seq=i, stamp=stamp, frame_id="")
                values = {"position": np.full(2, 0.1 * i), "velocity": np.zeros(0), "effort": np.zeros(0)}
                state = store.types[kind](header=header, name=["a", "b"], **values)
                writer.write(connection, i, store.serialize_ros1(state, kind))
        return file.read_bytes()


LOG = """\
timestamp;actual_q_0;actual_q_1;actual_q_2;tau_0;phase;"name"
0,0;0,1;-0,2;"0,1";3;a;"['a']"
0,008;0,11;-2,1e-1;0,1;3;a;"['a']"
0,016;0,12;-0,2;0,1;3;b;"['a']"
"""
MAP = Columns(
    joints=ColumnGroup(names="actual_q_*", unit=("rad", "rad", "m")),
    time=TimeColumn(unit="s"),
    move="phase",
    ignore_others=True,
)


def _mat() -> bytes:
    file = io.BytesIO()
    arrays = {"t": np.arange(4) * 0.01, "q": np.arange(8.0).reshape(4, 2) / 10, "log": {"note": "arm", "gain": 3.0}}
    savemat(file, arrays)
    return file.getvalue()


def _read_mat(path: Path) -> Any:
    return read_trajectory(path, columns=Columns(joints=ColumnGroup(unit="rad"), ignore_others=True))


# By the name of the file that is damaged: what it holds when it is sound, and what reads it.
READERS: dict[str, tuple[bytes, Callable[[Path], Any]]] = {
    "job.toml": ((GOOD / "job.toml").read_bytes(), read_job),
    "program.csv": ((GOOD / "program.csv").read_bytes(), read_trajectory),
    "poses.csv": (POSES.encode(), read_trajectory),
    "points.csv": (POINTS.encode(), lambda path: sample_waypoints(read_waypoints(path))),
    "log.csv": (LOG.encode(), lambda path: read_trajectory(path, columns=MAP)),
    "map.toml": (as_toml(MAP).encode(), lambda path: read_columns(read_text(path, 100_000), str(path))),
    "program.mat": (_mat(), _read_mat),
    "program.npz": (_npz(), read_trajectory),
    "program.yaml": (MESSAGE.encode(), read_trajectory),
    "program.json": (MESSAGE_AS_JSON.encode(), read_trajectory),
    "run.bag": (_bag(), read_trajectory),
    "arm.urdf": ((GOOD / "arm.urdf").read_bytes(), read_urdf),
    "approved.jsonl": (2 * REPORT.encode(), read_baseline),
}
