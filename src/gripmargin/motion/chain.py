"""A serial chain: constant transforms and joint axes, read once from a robot model."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple, Self

import numpy as np
from numpy.typing import ArrayLike

from gripmargin.base.arrays import FloatArray, Value, sealed
from gripmargin.base.errors import InputError
from gripmargin.base.poses import as_pose


class Follower(NamedTuple):
    """A joint that moves as another one does.

    Attributes:
        joint: Its number in the chain, from 0.
        leader: Name of the other joint, which need not be one of the chain.
        factor: What the other's value is multiplied by.
        offset: What is added [rad or m].
    """

    joint: int
    leader: str
    factor: float = 1.0
    offset: float = 0.0


@dataclass(frozen=True, eq=False)
class Chain(Value):
    """A serial chain of revolute and prismatic joints that each turn about or slide along their own z axis.

    The pose of the tool in the world at joint values q is
    ``links[0] J(q[0]) links[1] J(q[1]) ... J(q[n-1]) links[n]`` where J turns about z (revolute) or moves
    along z (prismatic). ``links[0]`` holds the base, ``links[n]`` the flange and the tool.

    Attributes:
        links: Constant transforms, shape (n + 1, 4, 4).
        revolute: For each joint: True turns [rad], False slides [m].
        names: Joint names, base first; empty strings where the model has none.
        lower: Lower joint limits [rad or m], shape (n,); -inf where none is known.
        upper: Upper joint limits [rad or m], shape (n,); +inf where none is known.
        source: What the chain was read from, for reports.
        base: Where the model's first frame was placed in the world, shape (4, 4); None: nowhere.
        tool: What was put on the model's last frame, shape (4, 4); None: nothing.
        followers: The joints whose values follow from those of others where a program does not give them.
        notes: How its file was understood, in sentences for the report.
    """

    links: FloatArray
    revolute: tuple[bool, ...]
    names: tuple[str, ...] = ()
    lower: FloatArray | None = None
    upper: FloatArray | None = None
    source: str = "chain"
    base: FloatArray | None = None
    tool: FloatArray | None = None
    followers: tuple[Follower, ...] = ()
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        joints = len(self.revolute)
        if joints == 0:
            raise InputError(self.source, "a chain without joints", "at least one revolute or prismatic joint")
        links = np.asarray(self.links, dtype=np.float64)
        if links.shape != (joints + 1, 4, 4):
            raise InputError(f"{self.source} links", f"shape {links.shape}", f"shape ({joints + 1}, 4, 4)")
        checked = np.stack([as_pose(link, f"{self.source} links[{i}]") for i, link in enumerate(links)])
        object.__setattr__(self, "links", sealed(checked))
        object.__setattr__(self, "revolute", tuple(bool(r) for r in self.revolute))
        names = tuple(self.names) or ("",) * joints
        if len(names) != joints:
            raise InputError(f"{self.source} names", f"{len(names)} names", f"{joints}, one a joint")
        object.__setattr__(self, "names", names)
        for field, default in (("lower", -np.inf), ("upper", np.inf)):
            given = getattr(self, field)
            limit = np.full(joints, default) if given is None else np.array(given, dtype=np.float64)
            if limit.shape != (joints,) or np.isnan(limit).any():
                raise InputError(f"{self.source} {field}", f"{limit}", f"{joints} limits")
            object.__setattr__(self, field, sealed(limit))

    @property
    def joints(self) -> int:
        """Number of joints."""
        return len(self.revolute)

    def mounted(self, *, base: ArrayLike | None = None, tool: ArrayLike | None = None) -> Self:
        """Return the chain with its base placed in the world and a tool on its end.

        Args:
            base: Pose of the chain's first frame in the world, shape (4, 4).
            tool: Pose of the tool frame in the chain's last frame, shape (4, 4).
        """
        links, placed, put_on = self.links.copy(), self.base, self.tool
        if base is not None:
            placed = as_pose(base, "base") if placed is None else as_pose(base, "base") @ placed
            links[0] = as_pose(base, "base") @ links[0]
        if tool is not None:
            put_on = as_pose(tool, "tool") if put_on is None else put_on @ as_pose(tool, "tool")
            links[-1] = links[-1] @ as_pose(tool, "tool")
        return replace(self, links=links, base=placed, tool=put_on)


def chain_from_axes(
    origins: Sequence[ArrayLike],
    axes: Sequence[ArrayLike],
    revolute: Sequence[bool],
    end: ArrayLike,
    *,
    names: Sequence[str] = (),
    lower: ArrayLike | None = None,
    upper: ArrayLike | None = None,
    source: str = "chain",
) -> Chain:
    """Build a chain from joints with any axis: each frame is turned so that its joint axis becomes z.

    Args:
        origins: For each joint its frame at zero in the frame before it, each shape (4, 4).
        axes: For each joint its axis in its own frame, each shape (3,), any length but zero.
        revolute: For each joint whether it turns.
        end: Pose of the last frame in the last joint's frame, shape (4, 4).
        names: Joint names.
        lower: Lower limits, shape (n,).
        upper: Upper limits, shape (n,).
        source: What to call the chain.

    Raises:
        InputError: An axis of length zero.
    """
    links: list[FloatArray] = []
    undo: FloatArray = np.eye(4)
    for i, (origin, axis) in enumerate(zip(origins, axes, strict=True)):
        turn = _z_onto(np.asarray(axis, dtype=np.float64), f"{source} axis of joint {i + 1}")
        links.append(undo @ np.asarray(origin, dtype=np.float64) @ turn)
        undo = turn.T
    links.append(undo @ np.asarray(end, dtype=np.float64))
    return Chain(
        links=np.stack(links),
        revolute=tuple(revolute),
        names=tuple(names),
        lower=None if lower is None else np.asarray(lower, dtype=np.float64),
        upper=None if upper is None else np.asarray(upper, dtype=np.float64),
        source=source,
    )


def _z_onto(axis: FloatArray, where: str) -> FloatArray:
    """A pure rotation, as a pose, that takes z to the direction of axis."""
    length = float(np.linalg.norm(axis))
    if not np.isfinite(length) or length < 1e-12:
        raise InputError(where, f"an axis of {axis.tolist()}", "a direction of non-zero length")
    z = axis / length
    helper = np.eye(3)[int(np.argmin(np.abs(z)))]
    x = np.cross(helper, z)
    x /= np.linalg.norm(x)
    turn = np.eye(4)
    turn[:3, :3] = np.column_stack([x, np.cross(z, x), z])
    return turn
