"""The figures of a report as a recording (MCAP) of standard messages of ROS 2, to look at beside the robot's own.

Times are those of the recording that the program came from, if it came from one: then both lie on one time axis.
"""

from __future__ import annotations

import io
import math
from collections.abc import Mapping
from functools import cache
from typing import Any, Final

import numpy as np
from mcap.writer import Writer
from rosbags.typesys import Stores, get_typestore

from gripmargin.base.arrays import FloatArray
from gripmargin.base.version import __version__
from gripmargin.files.sample_columns import UNITS
from gripmargin.results.findings import Finding, Verdict
from gripmargin.results.report import Report
from gripmargin.results.samples import SERIES, Samples

ROOT: Final = "/gripmargin"
TOOL: Final = "tool"  # the frame of vectors in tool axes
FLOAT, TEXT, LOG = "std_msgs/msg/Float64", "std_msgs/msg/String", "rcl_interfaces/msg/Log"
JOINTS: Final = "sensor_msgs/msg/JointState"
# What has a message of its own: its type, the fields that it is made of.
_VECTORS: Final[dict[str, tuple[str, dict[str, tuple[str, Any]]]]] = {
    "position": ("geometry_msgs/msg/PointStamped", {"point": ("Point", "position")}),
    "angular_velocity": ("geometry_msgs/msg/Vector3Stamped", {"vector": ("Vector3", "angular_velocity")}),
    "acceleration": (
        "geometry_msgs/msg/AccelStamped",
        {"accel": ("Accel", {"linear": "acceleration", "angular": "angular_acceleration"})},
    ),
    "load": ("geometry_msgs/msg/WrenchStamped", {"wrench": ("Wrench", {"force": "force", "torque": "moment"})}),
}
_LEVEL: Final = {Verdict.FAIL: 40, Verdict.UNDECIDED: 30}  # error and warning


def series_bag(report: Report) -> bytes:
    """Return the bytes of an MCAP file with topics below ``/gripmargin``.

    Margins and other series are one number a message, left out where they are not known. Each finding is a message of a
    log at the start and at the end of each of its stretches, and a record of metadata.

    Args:
        report: The report of a check, with its samples.
    """
    out = io.BytesIO()
    recording = _Recording(out, report.samples.stamp)
    samples = report.samples
    for name in SERIES:
        values = getattr(samples, name)
        for i in np.flatnonzero(~np.isnan(values)).tolist():
            recording.write(name, FLOAT, float(samples.t[i]), {"data": float(values[i])})
    for i, t in enumerate(samples.t.tolist()):
        recording.vectors(samples, i, t)
        if i == 0 or _phase(samples, i) != _phase(samples, i - 1):
            recording.write("phase", TEXT, t, {"data": _phase(samples, i)})
    for number, finding in enumerate(report.findings, start=1):
        recording.finding(number, finding)
    facts = {"job": report.job, "verdict": str(report.verdict), "version": __version__}
    checks = {f"check {each.check}": f"{each.verdict}: {each.text}" for each in report.checks}
    units = {f"unit {name}": unit for name, unit in UNITS.items()} | {"unit peel_azimuth": "rad"}
    recording.writer.add_metadata("gripmargin", {**facts, **checks, **units})
    recording.writer.finish()  # type: ignore[no-untyped-call]
    return out.getvalue()


def _phase(samples: Samples, i: int) -> str:
    return samples.phase[i] + (f": {samples.move[i]}" if samples.move else "")


@cache
def _store() -> Any:
    return get_typestore(Stores.LATEST)


class _Recording:
    def __init__(self, out: io.BytesIO, stamp: int) -> None:
        self.writer = Writer(out)
        self.writer.start("ros2", f"gripmargin {__version__}")
        self._stamp = stamp
        self._schemas: dict[str, int] = {}
        self._channels: dict[str, int] = {}

    def write(self, name: str, kind: str, t: float, fields: Mapping[str, Any]) -> None:
        """Write a message at a time of the program [s]."""
        if name not in self._channels:
            if kind not in self._schemas:
                text, _ = _store().generate_msgdef(kind, ros_version=2)
                self._schemas[kind] = self.writer.register_schema(kind, "ros2msg", text.encode())
            self._channels[name] = self.writer.register_channel(f"{ROOT}/{name}", "cdr", self._schemas[kind])
        content = _store().serialize_cdr(_store().types[kind](**fields), kind)
        when = self._at(t)
        self.writer.add_message(self._channels[name], when, bytes(content), when)

    def _at(self, t: float) -> int:
        return max(self._stamp + round(t * 1e9), 0)

    def _time(self, t: float) -> Any:
        seconds, rest = divmod(self._at(t), 10**9)
        return _store().types["builtin_interfaces/msg/Time"](sec=seconds, nanosec=rest)

    def _header(self, t: float, frame: str) -> Any:
        return _store().types["std_msgs/msg/Header"](stamp=self._time(t), frame_id=frame)

    def vectors(self, samples: Samples, i: int, t: float) -> None:
        """Write what has three parts at a sample, and the joints."""
        for name, (kind, parts) in _VECTORS.items():
            filled = {field: self._filled(what, of, samples, i) for field, (what, of) in parts.items()}
            self.write(name, kind, t, {"header": self._header(t, "world" if name == "position" else TOOL), **filled})
        if samples.joint_names:
            names, none = list(samples.joint_names), np.zeros(0)
            values = {"position": samples.joints[i], "velocity": none, "effort": none}
            self.write("joint_states", JOINTS, t, {"header": self._header(t, ""), "name": names, **values})

    def _filled(self, kind: str, of: Any, samples: Samples, i: int) -> Any:
        """A vector by the name of its field, or a message of several."""
        types = _store().types
        if isinstance(of, str):
            row: FloatArray = getattr(samples, of)[i]
            return types[f"geometry_msgs/msg/{kind}"](**dict(zip("xyz", row.tolist(), strict=True)))
        return types[f"geometry_msgs/msg/{kind}"](
            **{field: self._filled("Vector3", name, samples, i) for field, name in of.items()}
        )

    def finding(self, number: int, finding: Finding) -> None:
        """Write a finding: where each of its stretches begins and ends, and all of it as metadata."""
        level, said = _LEVEL.get(finding.verdict, 30), f"{finding.check}, {finding.verdict}: {finding.text}"
        spans = [span for span in finding.spans if all(map(math.isfinite, span))] or [(finding.start, finding.end)]
        place = {"file": "", "function": "", "line": 0}
        for start, end in spans:
            for t, word in ((start, "from here"), (end, "to here")):
                message = {"stamp": self._time(t), "level": level, "name": finding.check, "msg": f"{said} ({word})"}
                self.write("findings", LOG, t, {**message, **place})
        facts = {"check": finding.check, "verdict": str(finding.verdict)}
        words = {"text": finding.text, "remedy": finding.remedy}
        times = {f"span {k}": f"{start!r} s to {end!r} s" for k, (start, end) in enumerate(spans, start=1)}
        self.writer.add_metadata(f"gripmargin finding {number}", {**facts, **words, **times})
