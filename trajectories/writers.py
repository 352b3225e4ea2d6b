"""The programs of this folder as text and arrays, as controllers and planners write them."""

from __future__ import annotations

import re

import numpy as np
from legs import Program


def joint_csv(program: Program, about: str, digits: int = 5) -> str:
    """Positions in degrees with labels."""
    joints = range(1, program.q.shape[1] + 1)
    header = ",".join(["t [s]", *(f"q{i} [deg]" for i in joints), "move"])
    rows = (
        ",".join([f"{t:.3f}", *(_fixed(v, digits) for v in q), move])
        for t, q, move in zip(program.t, np.rad2deg(program.q), program.moves, strict=True)
    )
    return "\n".join([f"# {about}", header, *rows]) + "\n"


def log_csv(program: Program, about: str) -> str:
    """Positions in degrees with stamps to a microsecond, without labels."""
    header = ",".join(["t [s]", *(f"q{i} [deg]" for i in range(1, program.q.shape[1] + 1))])
    rows = (
        ",".join([f"{t:.6f}", *(_fixed(v, 4) for v in q)])
        for t, q in zip(program.t, np.rad2deg(program.q), strict=True)
    )
    return "\n".join([f"# {about}", header, *rows]) + "\n"


def pose_csv(program: Program, about: str) -> str:
    """Positions in mm and unit quaternions with labels, of coordinates x, y, z, yaw, tilt."""
    x, y, z, yaw, tilt = program.q.T
    (cz, sz), (cx, sx) = (
        (np.cos(a / 2), np.sin(a / 2)) for a in (yaw, np.pi + tilt)
    )  # turn about z after a turn about x
    header = "t [s],x [mm],y [mm],z [mm],qx,qy,qz,qw,move"
    numbers = np.column_stack([1e3 * x, 1e3 * y, 1e3 * z, cz * sx, sz * sx, sz * cx, cz * cx])
    rows = (
        ",".join([f"{t:.3f}", *(_fixed(v, 4) for v in row[:3]), *(_fixed(v, 8) for v in row[3:]), move])
        for t, row, move in zip(program.t, numbers, program.moves, strict=True)
    )
    return "\n".join([f"# {about}", header, *rows]) + "\n"


def message_yaml(program: Program, names: tuple[str, ...], about: str) -> str:
    """A joint trajectory message; its joints in alphabetical order, as planners often list them."""
    order = sorted(range(len(names)), key=names.__getitem__)
    lines = [
        f"# {about}",
        "header: {frame_id: foot}",
        f"joint_names: [{', '.join(names[i] for i in order)}]",
        "points:",
    ]
    for k, t in enumerate(program.t):
        nanoseconds = round(t * 1e9)
        for i, (key, values) in enumerate(
            zip(("positions", "velocities", "accelerations"), (program.q, program.qd, program.qdd), strict=True)
        ):
            row = ", ".join(_fixed(values[k, j], 7) for j in order)
            lines.append(f"{'  ' if i else '- '}{key}: [{row}]")
        seconds, rest = divmod(nanoseconds, 10**9)
        lines.append(f"  time_from_start: {{sec: {seconds}, nanosec: {rest}}}")
    return "\n".join(lines) + "\n"


def arrays(program: Program) -> dict[str, np.ndarray]:
    """The columns of a joint program with its rates."""
    out = {"t [s]": program.t}
    for name, unit, values in (
        ("q", "rad", program.q),
        ("qd", "rad/s", program.qd),
        ("qdd", "rad/s^2", program.qdd),
    ):
        out |= {f"{name}{i + 1} [{unit}]": np.ascontiguousarray(column) for i, column in enumerate(values.T)}
    return out | {"move": np.array(program.moves)}


def differences(made: str, kept: str) -> str | None:
    """Say where two texts differ by more than a unit of the last digit of a number; None where they do not."""
    number = re.compile(r"-?\d+\.\d+")
    if len(made.splitlines()) != len(kept.splitlines()):
        return f"{len(kept.splitlines())} lines instead of {len(made.splitlines())}"
    for i, (a, b) in enumerate(zip(made.splitlines(), kept.splitlines(), strict=True), start=1):
        if a == b:
            continue
        here, there = number.findall(a), number.findall(b)
        if number.sub("#", a) != number.sub("#", b) or len(here) != len(there):
            return f"line {i}: {b[:60]!r} instead of {a[:60]!r}"
        for x, y in zip(here, there, strict=True):
            if abs(float(x) - float(y)) > 1.01 * 10.0 ** -len(x.split(".")[1]):
                return f"line {i}: {y} instead of {x}"
    return None


def _fixed(value: float, digits: int) -> str:
    text = f"{value:.{digits}f}"
    return text[1:] if not text.strip("-0.") and text.startswith("-") else text
