"""Poses and transforms of a recording into a trajectory of the tool frame."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

import numpy as np

from gripmargin.base.errors import InputError
from gripmargin.files.bag_rows import Rows, listed
from gripmargin.files.source import printable
from gripmargin.motion.trajectory import PoseTrajectory

COLUMNS: Final = ("x", "y", "z", "qx", "qy", "qz", "qw")


class Poses(Rows):
    """Collects poses of one frame in another.

    Args:
        where: File and topic, for errors.
        frame: The frame whose transforms count; None: the only one.
    """

    def __init__(self, where: str, frame: str | None) -> None:
        super().__init__(where, COLUMNS, "column")
        self._frame = frame
        self._frames: dict[tuple[str, str], int] = {}  # outer, inner -> first message

    def take_pose(self, i: int, received: int, message: Any) -> None:
        """Take message i, a stamped pose, received at a time [ns]."""
        self._take(i, received, message.header, "", message.pose.position, message.pose.orientation)

    def take_transform(self, i: int, received: int, message: Any) -> None:
        """Take a transform of message i, received at a time [ns]."""
        placed = message.transform
        if self._frame in (None, message.child_frame_id):
            self._take(i, received, message.header, message.child_frame_id, placed.translation, placed.rotation)

    def _take(self, i: int, received: int, header: Any, inner: str, position: Any, turn: Any) -> None:
        frames = header.frame_id, inner
        self._frames.setdefault(frames, i)
        if len(self._frames) > 1:
            (outer, known), *_ = self._frames
            if known == inner:
                found = f"the frame '{printable(frames[0])}', where others are in '{printable(outer)}'"
                raise InputError(f"{self.where}, message {i}", found, "poses in one frame")
            found = f"transforms of the frames {listed([known, inner])}"
            remedy = f'name the one of the tool behind the topic, such as program.topic = "/tf.{printable(inner)}"'
            raise InputError(f"{self.where}, message {i}", found, "one frame", remedy)
        values = [getattr(position, axis) for axis in "xyz"] + [getattr(turn, axis) for axis in "xyzw"]
        self.add(i, header, received, np.array(values, dtype=np.float64), np.zeros(0))

    def trajectory(self, source: str) -> PoseTrajectory:
        """Return the poses in order of time.

        Raises:
            InputError: None that counts, or poses that cannot be.
        """
        if not self.rows and self._frame is not None:
            due = f"transforms of the frame '{printable(self._frame)}'"
            raise InputError(self.where, "transforms of other frames alone", due)
        stamps = self.in_order("the tool")
        values = self.values
        t = (stamps - stamps[0]) / 1e9
        poses = PoseTrajectory.from_quaternions(t, values[:, :3], values[:, 3:], source=source)
        ((outer, inner),) = self._frames
        seconds, rest = divmod(int(stamps[0]), 10**9)
        of = f" of '{printable(inner)}'" if inner else ""
        said = f"Measured: {stamps.size} poses{of} in '{printable(outer)}'; time 0 is the stamp {seconds}.{rest:09d} s."
        notes = (said, "They are taken as poses of the tool frame in the world.", *self.notes)
        return replace(poses, notes=notes, stamp=int(stamps[0]))
