"""A trajectory in every format that is read: as text or bytes, and into a file, whole or not at all."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from gripmargin.base.errors import InputError
from gripmargin.base.given import as_path
from gripmargin.files.messages import message_tree
from gripmargin.files.named_columns import named_columns
from gripmargin.files.whole import write_whole
from gripmargin.motion.chain import Chain
from gripmargin.motion.trajectory import Trajectory


def write_trajectory(trajectory: Trajectory, path: str | Path, *, robot: Chain | None = None) -> None:
    """Write a trajectory into a file whose ending says how, whole or not at all.

    Read again it is the same: positions and rates to the last digit, times too (in a message to the nanosecond),
    rotations but for rounding. Messages are sampled as a controller moves when they are read.

    Args:
        trajectory: Joint values or poses.
        path: ``.csv`` or ``.npz``; for joint values also ``.yaml``, ``.yml`` or ``.json``, a
            trajectory_msgs/JointTrajectory message, which has no labels of moves.
        robot: The robot that moves: needed for columns of named joints and of joints that slide, and for messages
            of joints without names.

    Raises:
        InputError: A trajectory that the format cannot say.
        GripmarginError: The place cannot be written.
    """
    file = as_path(path)
    write_whole(file, trajectory_bytes(trajectory, file.suffix, robot=robot))


def trajectory_bytes(trajectory: Trajectory, ending: str, *, robot: Chain | None = None) -> bytes:
    """Return what `write_trajectory` writes.

    Args:
        trajectory: Joint values or poses.
        ending: Such as ".csv".
        robot: The robot that moves.

    Raises:
        InputError: An ending that is not known, or a trajectory that the format cannot say.
    """
    write = _WRITERS.get(ending.lower())
    if write is None:
        raise InputError("ending", f"'{ending[:40]}'", f"one of {', '.join(_WRITERS)}")
    return write(trajectory.own[0], robot)  # a reader puts in what it needs


def _csv(trajectory: Trajectory, robot: Chain | None) -> bytes:
    columns = named_columns(trajectory, robot)
    cells = [values.tolist() for values in columns.values()]
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")  # numbers as their shortest text that is read as the same
    rows.writerow(columns)
    rows.writerows(zip(*cells, strict=True))
    return out.getvalue().encode("utf-8")


def _npz(trajectory: Trajectory, robot: Chain | None) -> bytes:
    out = io.BytesIO()
    columns: dict[str, Any] = {name: np.ascontiguousarray(v) for name, v in named_columns(trajectory, robot).items()}
    np.savez(out, **columns)
    return out.getvalue()


def _json(trajectory: Trajectory, robot: Chain | None) -> bytes:
    return (json.dumps(message_tree(trajectory, robot=robot), allow_nan=False, ensure_ascii=False) + "\n").encode()


def _yaml(trajectory: Trajectory, robot: Chain | None) -> bytes:
    """One line a field, in the flow style of lists that JSON has too."""
    tree = message_tree(trajectory, robot=robot)
    lines = ["header: {stamp: {sec: 0, nanosec: 0}, frame_id: ''}"]
    lines.append(f"joint_names: {json.dumps(tree['joint_names'], ensure_ascii=False)}")
    lines.append("points:")
    for point in tree["points"]:
        time = point.pop("time_from_start")
        fields = [f"{field}: [{', '.join(map(_yaml_float, row))}]" for field, row in point.items()]
        fields.append(f"time_from_start: {{sec: {time['sec']}, nanosec: {time['nanosec']}}}")
        lines += [f"{'- ' if k == 0 else '  '}{field}" for k, field in enumerate(fields)]
    return ("\n".join(lines) + "\n").encode()


def _yaml_float(value: float) -> str:
    """Readers of YAML 1.1 take 1e-05 for text, 1.0e-05 for a number."""
    text = repr(value)
    return text.replace("e", ".0e") if "e" in text and "." not in text else text


_WRITERS: dict[str, Callable[[Trajectory, Chain | None], bytes]] = {
    ".csv": _csv,
    ".npz": _npz,
    ".yaml": _yaml,
    ".yml": _yaml,
    ".json": _json,
}
WRITTEN = tuple(_WRITERS)
