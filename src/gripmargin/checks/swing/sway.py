"""How far the part swings out of its place, and what that changes: where it is little a bound, else it is followed.

The modes of `gripmargin.checks.swing.vibration` are those of a part that stays in place. One that has swung out of it
hangs at another lever, is carried round by the tool at another radius, and turns with a speed of its own
(`gripmargin.kernels.sway`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.hold.use import COVERAGE
from gripmargin.checks.swing.response import Swing, begun
from gripmargin.checks.swing.ringing import Stretch, next_too
from gripmargin.contact.backing import displacement_rows
from gripmargin.kernels.face import Face
from gripmargin.kernels.sway import displaced_load, fed_back
from gripmargin.kernels.utilisation import peak_utilisation

FOLLOWED: Final = 1e-3  # share of what all modes use from which what the sway changes is followed, not bounded
SUDDEN: Final = 2.0  # on a load that comes at once (Chopra, Dynamics of Structures, ch. 4, from memory)
LAWS: Final = (False, True)  # that springs go on by at larger turns: in the rotation vector, and turn by turn
LARGEST: Final = np.deg2rad(10.0)  # of a swing out of its place that is judged: beyond it springs are not linear either

BEYOND: Final = 1.5  # times that angle, beyond which nobody needs to know what the part does


@dataclass(frozen=True, eq=False, kw_only=True)
class Followed:
    """The part followed out of its place, at each instant of a stretch up to the next one.

    Attributes:
        value: Largest use [-], shape (n,).
        point: Edge point where that is, shape (n,).
        load: What the pads carry there, shape (6, n).
        least: Least that the largest use may be, by how springs may go on at larger turns, shape (n,).
        most: Most that it may be likewise, shape (n,).
    """

    value: FloatArray
    point: NDArray[np.intp]
    load: FloatArray
    least: FloatArray
    most: FloatArray


@dataclass(frozen=True, eq=False, kw_only=True)
class Sway:
    """What the part's swing out of its place does over a stretch; arrays of shape (n,), at its instants.

    Attributes:
        more: What it may add to the use of the pads, or take off it [-].
        followed: The use of the pads with it; None where it changes little.
        angle: By which the part is turned against the tool up to the next instant [rad].
        way: Of its centre of mass against the tool [m], likewise.
        known: Whether the swing is known there.
    """

    more: FloatArray
    followed: Followed | None = None
    angle: FloatArray
    way: FloatArray
    known: NDArray[np.bool_]


def sway_of(case: Case, stretch: Stretch, face: Face, followed: NDArray[np.bool_], steps: int) -> Sway:
    """Return what the part's swing out of its place does over a stretch.

    Args:
        case: The job.
        stretch: With its linear swing.
        face: The places that count.
        followed: Which modes are looked at from instant to instant, shape (modes,).
        steps: At how many instants from one of the stretch to the next.
    """
    found, gain, slow = stretch.swing, stretch.swing.modes.gain(face), followed[:, None]
    response = np.where(slow, found.response(), found.drive.base)
    rate, bend = (np.where(slow, x, 0.0) for x in found.rates)
    frame = _Frame(case=case, stretch=stretch, motion=_motion(case, stretch, found.drive.t))
    added = (frame.added(slice(None), response, rate, bend, in_turns=law) for law in LAWS)
    more = SUDDEN * float(np.max([gain @ np.abs(load) for load in added]))
    if more > FOLLOWED * float((gain @ np.abs(response)).max()) or np.isnan(more):
        return _followed(case, stretch, face, followed, steps)
    angle, way = frame.moved(response)
    known = angle + _turn_unsure(found) <= LARGEST
    return Sway(more=np.full(angle.size, more), angle=angle, way=way, known=known)


def _followed(case: Case, stretch: Stretch, face: Face, followed: NDArray[np.bool_], steps: int) -> Sway:
    found, first, modes = stretch.swing, stretch.swing.first, stretch.swing.modes
    told = found.drive.t
    t = np.append((told[:-1, None] + np.diff(told)[:, None] * np.arange(steps) / steps).ravel(), told[-1])
    groups = np.minimum(np.arange(told.size)[:, None] * steps + np.arange(steps), t.size - 1)
    after = slice(first * steps, None)
    before = _between(t, told, np.where(followed[:, None], found.response(), found.drive.base))
    load, rest = _between(t, told, found.drive.load)[:, after], _between(t, told, stretch.rest)
    frame = _Frame(case=case, stretch=stretch, motion=_motion(case, stretch, t)[:, :, after])
    begin, known = begun(modes, found.drive, stretch.start), np.ones(told.size, dtype=bool)
    out = []
    for law in LAWS:
        response = before.copy()
        response[:, after], end = fed_back(
            t[after],
            load,
            modes.frequency,
            modes.damping,
            begin,
            partial(frame.added, in_turns=law),
            followed,
            hangs=not stretch.start.rate.any(),
            strength=float(np.nan_to_num(frame.moved(before)[0].max(), nan=1.0)),
        )
        wrench = modes.loads @ response + rest
        use, point, _, _ = peak_utilisation(face, wrench)
        angle, way = (x[groups].max(axis=1) for x in frame.moved(response))
        known &= (angle + _turn_unsure(found) <= LARGEST) & (groups[:, -1] < first * steps + end)
        out.append((use[groups].max(axis=1), use, point, wrench, angle, way))
    value, use, point, wrench, angle, way = out[0]
    # What is left out is of the third power of the turn: the next term of its series.
    third = np.maximum.accumulate(angle) ** 2 / 6.0
    best = groups[np.arange(told.size), use[groups].argmax(axis=1)]
    return Sway(
        more=np.zeros(told.size),
        followed=Followed(
            value=value,
            point=point[best],
            load=wrench[:, best],
            least=np.min([each[0] for each in out], axis=0) * (1.0 - third),
            most=np.max([each[0] for each in out], axis=0) * (1.0 + third),
        ),
        angle=angle,
        way=way,
        known=np.logical_and.accumulate(known),  # what the part does later hangs on what it did
    )


def _turn_unsure(found: Swing) -> FloatArray:
    """By how much more the part may be turned, shape (n,)."""
    unsure = np.abs(found.modes.shapes[3:]) @ (found.unsure + COVERAGE * found.sigma)
    return next_too(np.linalg.norm(unsure, axis=0))


@dataclass(frozen=True, eq=False, kw_only=True)
class _Frame:
    """What the part swings in.

    Attributes:
        case: The job.
        stretch: With its linear swing.
        motion: At each instant gravity less the acceleration of the tool origin [m/s^2], the tool's angular velocity
            [rad/s] and acceleration [rad/s^2], tool axes, shape (3, 3, n).
    """

    case: Case
    stretch: Stretch
    motion: FloatArray

    def added(
        self, part: slice, response: FloatArray, rate: FloatArray, bend: FloatArray, *, in_turns: bool
    ) -> FloatArray:
        """What responses, their rates and second derivatives add to the load, shape (modes, m) each."""
        modes, body = self.stretch.swing.modes, self.case.job.part
        ways = modes.shapes @ response, modes.shapes @ rate, modes.shapes @ bend
        frame, carried = self.motion[:, :, part], modes.loads @ response
        if np.linalg.norm(ways[0][3:], axis=0).max() > BEYOND * LARGEST:
            return np.full(response.shape, np.nan)
        inertial = body.mass, body.com, body.inertia, self.case.whole.centre
        return np.asarray(modes.shapes.T @ displaced_load(*inertial, frame, ways, carried, in_turns=in_turns))

    def moved(self, response: FloatArray) -> tuple[FloatArray, FloatArray]:
        """By how much the part is turned [rad], and how far its centre of mass is from its place [m]."""
        ways = self.stretch.swing.modes.shapes @ response
        lever = displacement_rows(self.case.job.part.com[None], np.eye(3))[:, 0]
        return np.linalg.norm(ways[3:], axis=0), np.linalg.norm(lever @ ways, axis=0)


def _motion(case: Case, stretch: Stretch, t: FloatArray) -> FloatArray:
    tool = case.motion.at.take(stretch.samples)
    felt = tool.in_tool(case.job.gravity) - tool.acceleration.T
    rows = np.concatenate([felt, tool.angular_velocity.T, tool.angular_acceleration.T])
    return (rows if t.size == tool.samples else _between(t, case.job.trajectory.t[stretch.samples], rows)).reshape(
        3, 3, -1
    )


def _between(t: FloatArray, told: FloatArray, rows: FloatArray) -> FloatArray:
    return np.stack([np.interp(t, told, row) for row in rows]) if t.size > told.size else rows.copy()
