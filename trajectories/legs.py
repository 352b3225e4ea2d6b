"""Programs out of legs: joint moves, straight lines and waits, each from rest to rest, blended by overlap.

A leg adds its way to what the legs before it have reached. Where a leg starts before the one before it has
ended, both ways add up: the corner between them is rounded and nothing stops there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from laws import Law, MinimumJerk, SCurve

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels import recursion
from gripmargin.kernels.jacobian import tool_jacobian
from gripmargin.motion.chain import Chain

GRID = 0.02  # [s]; durations are rounded up to it, so that moves start at samples
NEWTON_TOLERANCE = 1e-13
NEWTON_ROUNDS = 30


@dataclass(frozen=True)
class Leg:
    """A piece of a move.

    Attributes:
        move: Label of the move.
        kind: "joint" runs straight in joint space, "line" moves the tool straight in space, "wait" stands still.
        to: Joint values, or the pose of the tool, at the end.
        speed: Largest speed along the way [rad/s of the fastest joint, or m/s].
        acceleration: Largest [rad/s^2 or m/s^2].
        jerk: Largest [rad/s^3 or m/s^3]: an S-curve; None: minimum jerk.
        blend: Time by which it starts before the leg before it has ended [s].
        duration: Of a wait [s].
    """

    move: str
    kind: Literal["joint", "line", "wait"]
    to: FloatArray = field(default_factory=lambda: np.empty(0))
    speed: float = 1.0
    acceleration: float = 1.0
    jerk: float | None = None
    blend: float = 0.0
    duration: float = 0.0


@dataclass(frozen=True)
class Program:
    """Samples of a program: times [s], joint values or other coordinates with their rates, labels."""

    t: FloatArray
    q: FloatArray
    qd: FloatArray
    qdd: FloatArray
    moves: tuple[str, ...]


def sampled(
    legs: Sequence[Leg],
    start: FloatArray,
    *,
    period: float,
    chain: Chain | None = None,
    speed: Mapping[str, float] | None = None,
) -> Program:
    """Return the samples of a program.

    Args:
        legs: In order.
        start: Joint values at the beginning, shape (n,).
        period: Time between samples [s].
        chain: The robot, with its tool; lines need it.
        speed: Factor on the speed of moves by label; 0.7 makes that move take 1/0.7 of its time.
    """
    factors = dict(speed or {})
    if unknown := set(factors) - {leg.move for leg in legs}:
        raise ValueError(f"no such move: {', '.join(sorted(unknown))}")
    clock, reached, ways = 0.0, start, []
    for leg in legs:
        stretch = 1.0 / factors.get(leg.move, 1.0)
        end, law = _law(leg, reached, chain)
        clock -= leg.blend * stretch
        ways.append((clock, stretch, leg, law, reached, end))
        clock += (leg.duration if law is None else law.duration) * stretch
        reached = end
    t = period * np.arange(int(np.ceil(clock / period - 1e-6)) + 1)
    total = np.zeros((3, t.size, start.size))
    total[0] = start
    for first, stretch, leg, law, begin, end in ways:
        if law is not None:
            shares = law.share((t - first) / stretch) / np.array([[1.0], [stretch], [stretch**2]])
            if leg.kind == "line" and chain is not None:
                total += _line(chain, begin, end, leg.to, shares)
            else:
                total += shares[:, :, None] * (end - begin)
    starts = np.array([way[0] for way in ways])
    index = np.searchsorted(starts, t + 1e-9, side="right") - 1
    return Program(t, total[0], total[1], total[2], moves=tuple(legs[i].move for i in index))


def _law(leg: Leg, reached: FloatArray, chain: Chain | None) -> tuple[FloatArray, Law | None]:
    if leg.kind == "wait":
        return reached, None
    if leg.kind == "line":
        if chain is None:
            raise ValueError("a line needs the robot")
        end = solved(chain, leg.to, reached)
        length = float(np.linalg.norm(leg.to[:3, 3] - tool_pose(chain, reached)[:3, 3]))
    else:
        end = np.asarray(leg.to, dtype=np.float64)
        length = float(np.abs(end - reached).max())
    law: MinimumJerk | SCurve
    if leg.jerk is None:
        law = MinimumJerk.within(length, leg.speed, leg.acceleration)
        return end, MinimumJerk(_rounded(law.duration))
    curve = SCurve.within(length, leg.speed, leg.acceleration, leg.jerk)
    return end, curve.stretched(_rounded(curve.duration) / curve.duration)


def _rounded(duration: float) -> float:
    return GRID * float(np.ceil(duration / GRID - 1e-9))


def tool_pose(chain: Chain, q: FloatArray) -> FloatArray:
    """Return the pose of the tool at joint values, shape (4, 4)."""
    rotation, position = _poses(chain, q[None])
    pose = np.eye(4)
    pose[:3, :3], pose[:3, 3] = rotation[0], position[0]
    return pose


def solved(chain: Chain, pose: FloatArray, guess: FloatArray) -> FloatArray:
    """Return the joint values near a guess that bring the tool to a pose; turns stay below half a turn."""
    near = _newton(chain, pose[None, :3, :3], pose[None, :3, 3], guess[None])[0]
    return near + 2 * np.pi * np.round((guess - near) / (2 * np.pi))


def _poses(chain: Chain, q: FloatArray) -> tuple[FloatArray, FloatArray]:
    zero = np.zeros_like(q)
    state = recursion.tool_motion(chain.links, chain.revolute, q, zero, zero)
    axes = state[:, recursion.EX :]
    return axes.transpose(2, 1, 0), np.einsum("cjn,cn->nj", axes, state[:, recursion.P])


def _newton(chain: Chain, rotation: FloatArray, position: FloatArray, guess: FloatArray) -> FloatArray:
    """Newton's method for all samples at once; damped where the way is long."""
    q = guess.copy()
    for _ in range(NEWTON_ROUNDS):
        r, p = _poses(chain, q)
        ahead = np.einsum("nji,nj->ni", r, position - p)
        turn = np.einsum("nji,njk->nik", r, rotation)
        axis = 0.5 * np.stack([turn[:, i, j] - turn[:, j, i] for i, j in ((2, 1), (0, 2), (1, 0))], axis=1)
        # the sine alone would see no difference at half a turn
        cosine = (np.trace(turn, axis1=1, axis2=2) - 1) / 2
        sine = np.linalg.norm(axis, axis=1)
        axis *= np.where(sine > 1e-9, np.arctan2(sine, cosine) / np.maximum(sine, 1e-300), 1.0)[:, None]
        error = np.concatenate([ahead, axis], axis=1)
        if np.abs(error).max() < NEWTON_TOLERANCE:
            return q
        jacobian = tool_jacobian(chain.links, chain.revolute, q).transpose(2, 1, 0)
        step = np.linalg.solve(jacobian, error[:, :, None])[:, :, 0]
        q += step * np.minimum(1.0, 0.5 / np.maximum(np.abs(step).max(axis=1), 1e-300))[:, None]
    raise ValueError(f"the arm does not reach a pose of the line: error {np.abs(error).max():.2g}")


def _line(chain: Chain, begin: FloatArray, end: FloatArray, to: FloatArray, shares: FloatArray) -> FloatArray:
    """The way of a straight line with its rates in joint space, shape (3, n, joints); orientation stays."""
    s, sd, sdd = shares
    out = np.zeros((3, s.size, begin.size))
    out[0, s >= 1.0] = end - begin
    moving = (s > 0.0) & (s < 1.0)
    s, sd, sdd = s[moving], sd[moving], sdd[moving]
    pose = tool_pose(chain, begin)
    way = to[:3, 3] - pose[:3, 3]
    rotation = np.broadcast_to(to[:3, :3], (s.size, 3, 3))
    q = _newton(chain, rotation, pose[:3, 3] + s[:, None] * way, begin + s[:, None] * (end - begin))
    jacobian = tool_jacobian(chain.links, chain.revolute, q).transpose(2, 1, 0)
    in_tool = np.concatenate([to[:3, :3].T @ way, np.zeros(3)])
    qd = np.linalg.solve(jacobian, (sd[:, None] * in_tool)[:, :, None])[:, :, 0]
    # what the speeds alone give: a_tool = J qdd + a(q, qd, 0)
    state = recursion.tool_motion(chain.links, chain.revolute, q, qd, np.zeros_like(q))
    swirl = np.concatenate([state[:, recursion.A], state[:, recursion.AL]]).T
    qdd = np.linalg.solve(jacobian, (sdd[:, None] * in_tool - swirl)[:, :, None])[:, :, 0]
    out[:, moving] = q - begin, qd, qdd
    return out
