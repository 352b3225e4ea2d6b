"""What the tool may do at most so that no place on the pads asks more than it holds, whatever the path.

The load is linear in gravity, in the tool's acceleration and angular acceleration, and in products of its angular
velocities. A place asks most where each of them lies as it likes least, so what a place asks is at most a sum of sizes
(`gripmargin.kernels.gauge`): in balance, and with the part swinging, where each size grows by what that part of the
load can start (`gripmargin.kernels.impulse`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Final

import numpy as np
from numpy.polynomial import Polynomial
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.swing.vibration import Modes
from gripmargin.contact.loads import air_load, load_per_acceleration, rigid_by_cause, standing_load
from gripmargin.kernels.face import Face
from gripmargin.kernels.gauge import gauge_rows
from gripmargin.kernels.impulse import Impulse
from gripmargin.motion.tool_motion import pose_motion
from gripmargin.workcell.job import Job

BATCH: Final = 64  # places and directions whose swing is worked out at a time
GROUPS: Final = {  # which components of `inputs` are one load
    "any": [0, 1, 2],
    "x": [0],
    "y": [1],
    "z": [2],
    "turn": [3, 4, 5],
    "spin": [5],
    "whirl": [6, 7, 8, 9, 10, 11],
    "spun": [8],
    "gravity": [12, 13, 14],
    "air": [15],
}
NAMES: Final = list(GROUPS)
Coefficients = tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class Motion:
    """What the tool does at most, by the coefficients of polynomials in one figure x >= 0, none negative.

    Attributes:
        along: Directions of the acceleration of its origin: any, x, y or z.
        about: Axis it turns about: "turn", any one, or "spin", its z axis.
        acceleration: Of its origin [m/s^2].
        angular_acceleration: [rad/s^2].
        angular_velocity: [rad/s].
    """

    along: str = "any"
    about: str = "turn"
    acceleration: Coefficients = (0.0,)
    angular_acceleration: Coefficients = (0.0,)
    angular_velocity: Coefficients = (0.0,)

    @property
    def polynomials(self) -> tuple[Polynomial, Polynomial, Polynomial]:
        """Acceleration, angular acceleration and angular velocity."""
        return Polynomial(self.acceleration), Polynomial(self.angular_acceleration), Polynomial(self.angular_velocity)


@dataclass(frozen=True, kw_only=True)
class Condition:
    """What a limit is for.

    Attributes:
        tilt: How far the tool's z axis may lean from gravity [rad].
        ramp: Time in which an acceleration may go from none to its largest [s]; 0: at once, inf: no swing.
        gravity: [m/s^2].
        drag: Largest force of the air [N].
        stop: Whether the acceleration is a stop's: on at once, off at once, and nothing swings before.
    """

    tilt: float
    ramp: float
    gravity: float
    drag: float
    stop: bool = False


class Allowed:
    """Largest motions on the places of a face that has to stay below a utilisation of 1."""

    def __init__(
        self, face: Face, inputs: FloatArray, sets: Sequence[Modes] = (), held: FloatArray | None = None
    ) -> None:
        """Work out the sizes.

        Args:
            face: The places.
            inputs: As `inputs` returns them, shape (6, components).
            sets: Natural vibrations that the part may have; none: it hangs still.
            held: Load that the part hangs on beside its weight when it leaves its tray, shape (6,).
        """
        self._rows, self._inputs, self._groups = gauge_rows(face), inputs, list(GROUPS.values())
        rows = self._rows
        self.still = _sizes(rows.load @ inputs, self._groups)
        loose = rows.slack @ _spread(rows.spread @ inputs, self._groups)
        self.still += loose
        pull = rows.load @ inputs[:, GROUPS["gravity"]]
        self._down, self._aside = pull[:, 2], np.hypot(pull[:, 0], pull[:, 1])
        self._loose = rows.slack @ _spread(rows.spread @ inputs, [GROUPS["gravity"][2:], GROUPS["gravity"][:2]])
        self._sets = [(modes, Impulse.of(modes.frequency, modes.damping)) for modes in sets]
        self._apart = [  # of the vibrations that count and of others, to see what they differ by
            Impulse.of(np.append(sets[-1].frequency, other.frequency), np.append(sets[-1].damping, other.damping))
            for other in sets[:-1]
        ]
        self._widest = float(rows.share.sum(axis=1).max())
        coarse = np.zeros(len(rows.load), dtype=np.intp)
        coarse[rows.coarse] = np.arange(rows.coarse.size)
        self._near = np.ascontiguousarray(coarse[rows.near].T)
        self._held = np.zeros(len(rows.load))
        self.sudden, self.rest, self.ring = self.still, np.zeros_like(self.still), np.zeros(len(rows.load))
        self._known = np.ones(len(rows.load), dtype=bool)
        if self._sets:
            self._bound(held)

    def largest(self, motion: Motion, condition: Condition, left: float = 1.0) -> float:
        """Return the largest x with which nothing is used more than it may be; inf where nothing limits it.

        Args:
            motion: What the tool does.
            condition: What it is for.
            left: Utilisation that it may come to.
        """
        rows, widest = self._rows, self._widest
        found = self._roots(motion, condition, left, rows.coarse).max(axis=0).min()
        # what a row asks is at most a sum of shares of what three coarse ones ask
        low = self._roots(motion, condition, left / widest, rows.coarse)
        near = np.flatnonzero(low[:, self._near].min(axis=1).max(axis=0) < found)
        bound = self._roots(motion, condition, left, near).max(axis=0)
        order = np.argsort(bound)
        for first in range(0, order.size, BATCH):
            some = order[first : first + BATCH]
            if bound[some[0]] >= found:
                break
            self._work_out(near[some][~self._known[near[some]]])
            found = min(found, self._roots(motion, condition, left, near[some]).max(axis=0).min())
        return float(found)

    def _roots(self, motion: Motion, condition: Condition, left: float, some: NDArray[np.intp]) -> FloatArray:
        """The largest x of each row by two bounds, of which either will do: at once, and by ramps, shape (2, m)."""
        level, spins = condition.tilt == 0.0, motion.about == "spin"
        sine = 0.0 if level else np.sin(min(condition.tilt, np.pi / 2.0)) if spins else 1.0
        turn, whirl = ("spin", "spun") if level or spins else ("turn", "whirl")
        a, b, w = motion.polynomials
        down, aside = self._down[some], self._aside[some]
        lean = np.minimum(np.arctan2(aside, down), condition.tilt)
        loose = self._loose[some] @ [1.0, np.sin(min(condition.tilt, np.pi / 2.0))]
        rest = condition.gravity * (down * np.cos(lean) + aside * np.sin(lean) + loose) + self._held[some]

        def size(of: FloatArray, name: str) -> FloatArray:
            return of[some, NAMES.index(name)]

        rest = rest + condition.drag * size(self.sudden, "air")
        if condition.stop:
            ring = self.ring[some]
            found = _root(left - rest, [(a, np.maximum(size(self.still, "any") + ring, 2.0 * ring))])
            return np.stack([found, found])
        common = [(w * w, size(self.sudden, whirl)), (condition.gravity * sine * w, size(self.rest, "gravity"))]
        at_once = [(a, size(self.sudden, motion.along)), (b, size(self.sudden, turn)), *common]
        found = _root(left - rest, at_once)
        if condition.ramp == 0.0:
            return np.stack([found, found])
        rate = 1.0 / condition.ramp + w  # in the axes of the tool the acceleration turns, too
        ramps = [(a, size(self.still, motion.along)), (b, size(self.still, turn)), *common]
        ramps += [(rate * a, size(self.rest, motion.along)), (rate * b, size(self.rest, turn))]
        return np.stack([found, _root(left - rest, ramps)])

    def _bound(self, held: FloatArray | None) -> None:
        """Bounds of what swings add, mode by mode."""
        rows, none = self._rows, np.zeros_like(self.still)
        self._known = np.zeros(len(rows.load), dtype=bool)
        self.sudden, self.rest, self.ring = none.copy(), none.copy(), np.zeros(len(rows.load))
        loose = [np.zeros((len(rows.spread), len(self._groups))) for _ in range(2)]
        for modes, impulse in self._sets:
            factors = _factors(modes, rows.load, self._inputs)
            self.sudden, self.rest = np.maximum((self.sudden, self.rest), impulse.bounds(factors, self._groups))
            self.ring = np.maximum(self.ring, _ring(factors[:, :, GROUPS["any"]]))
            if rows.slack.any():
                each = [impulse.bounds(_factors(modes, one, self._inputs), self._groups) for one in rows.spread]
                step = np.linalg.norm(modes.shapes.T @ self._inputs[:, GROUPS["any"]], axis=1)
                self.ring = self.ring + rows.slack @ (np.linalg.norm(rows.spread @ modes.loads, axis=1) @ step)
                loose = [np.maximum(x, [np.linalg.norm(e[i], axis=0) for e in each]) for i, x in enumerate(loose)]
            if held is not None:
                self._held = np.maximum(self._held, np.abs(rows.load @ modes.loads) @ np.abs(modes.shapes.T @ held))
        unsure = 2.0 * len(self._sets) - 1.0  # by how much the vibrations may differ counts on top
        self.sudden, self.rest, self.ring = unsure * self.sudden, unsure * self.rest, unsure * self.ring
        self._swing_of_slack = tuple(rows.slack @ each for each in loose)
        self._more = self._unmoved()
        self.sudden += self._swing_of_slack[0] + self._more
        self.rest += self._swing_of_slack[1]
        for first in range(0, rows.coarse.size, BATCH):
            self._work_out(rows.coarse[first : first + BATCH])
        between = [np.einsum("rn,rng->rg", rows.share, each[rows.near]) for each in (self.sudden, self.rest)]
        self.sudden, self.rest = np.minimum((self.sudden, self.rest), between)

    def _unmoved(self) -> FloatArray:
        """What no mode takes, for lack of mass, shape (rows, groups)."""
        modes = self._sets[-1][0]
        left = self._inputs - modes.loads @ (modes.shapes.T @ self._inputs)
        small = np.abs(left).max() <= 1e-9 * np.abs(self._inputs).max()
        return np.zeros_like(self.still) if small else _sizes(self._rows.load @ left, self._groups)

    def _work_out(self, some: NDArray[np.intp]) -> None:
        """Put the swing itself in place of its bounds."""
        if some.size == 0:
            return
        load, (main, impulse) = self._rows.load[some], self._sets[-1]
        own = _factors(main, load, self._inputs)
        sudden, rest = impulse.most(own, self._groups)
        for (modes, impulse), apart in zip(self._sets[:-1], self._apart, strict=True):
            factors = _factors(modes, load, self._inputs)
            differ = apart.most(np.concatenate([own, -factors], axis=1), self._groups)
            other = impulse.most(factors, self._groups)
            sudden, rest = (np.maximum(s, o) + d for s, o, d in zip((sudden, rest), other, differ, strict=True))
        self.sudden[some] = sudden + self._swing_of_slack[0][some] + self._more[some]
        self.rest[some] = rest + self._swing_of_slack[1][some]
        self._known[some] = True


def inputs(job: Job) -> FloatArray:
    """Return what a unit of each cause puts on the gripper, components as in `GROUPS`, shape (6, components).

    Acceleration and angular acceleration of the tool; products of its angular velocities, squares first, scaled so
    that their size is the square of the velocity's; gravity; a force of the air.

    Args:
        job: With part and air.
    """
    part, air = job.part, job.air_density
    units = np.vstack([np.eye(3), [[1, 1, 0], [1, 0, 1], [0, 1, 1]]])
    zero, level = np.zeros((6, 3)), np.broadcast_to(np.eye(3), (6, 3, 3))
    turning = pose_motion(np.arange(6.0), zero, level, zero, zero, units, zero)
    whirl = sum(rigid_by_cause(part, zero.T, zero.T, units.T, zero.T).values())
    arm = np.zeros(6)
    if part.drag_area is not None:
        whirl = whirl + air_load(part, turning, air)[1]
        x, y = part.face_centroid
        arm = np.array([0.0, 0.0, 1.0, y, -x, 0.0])
    whirl = np.asarray(whirl)
    for column, (i, j) in zip((3, 4, 5), ((0, 1), (0, 2), (1, 2)), strict=True):
        whirl[:, column] = (whirl[:, column] - whirl[:, i] - whirl[:, j]) / np.sqrt(2.0)
    at_rest = pose_motion(np.arange(3.0), zero[:3], level[:3], zero[:3], zero[:3], zero[:3], zero[:3])
    weight = np.column_stack([standing_load(part, at_rest, axis)[:, 0] for axis in np.eye(3)])
    return np.column_stack([load_per_acceleration(part, air), whirl, weight, arm])


def _factors(modes: Modes, load: FloatArray, components: FloatArray) -> FloatArray:
    """Factors on the modes' answers, shape (rows, modes, components)."""
    return np.asarray((load @ modes.loads)[:, :, None] * (modes.shapes.T @ components)[None])


def _ring(factors: FloatArray) -> FloatArray:
    """The most that the swings of all modes come to after a step in any direction, shape (rows,)."""
    modes = factors.shape[1]
    signs = np.array([[1.0, *each] for each in product((-1.0, 1.0), repeat=modes - 1)])
    return np.asarray(np.max([np.linalg.norm(sign @ factors, axis=1) for sign in signs], axis=0))


def _sizes(values: FloatArray, groups: Sequence[list[int]]) -> FloatArray:
    return np.stack([np.linalg.norm(values[:, group], axis=1) for group in groups], axis=1)


def _spread(values: FloatArray, groups: Sequence[list[int]]) -> FloatArray:
    """The largest size of what a load of size 1 is turned into, shape (matrices, groups)."""
    return np.stack([np.linalg.norm(values[:, :, group], ord=2, axis=(1, 2)) for group in groups], axis=1)


def _root(left: FloatArray, terms: Sequence[tuple[Polynomial, FloatArray]]) -> FloatArray:
    """The x from which on a sum of polynomials times sizes exceeds what is left: 0 where nothing is.

    Newton from above: the sum rises and bends upward.
    """
    degree = max(polynomial.degree() for polynomial, _ in terms)
    factors = np.zeros((degree + 1, left.size))
    for polynomial, size in terms:
        for power, factor in enumerate(polynomial.coef):
            factors[power] += factor * size
    room = left - factors[0]
    with np.errstate(divide="ignore", invalid="ignore"):
        powers = [(np.maximum(room, 0.0) / f) ** (1.0 / k) for k, f in enumerate(factors[1:], 1)]
        x = np.fmin.reduce(powers, initial=np.inf)
        for _ in range(60 if degree > 1 else 0):
            value = sum(f * x**k for k, f in enumerate(factors[1:], 1)) - room
            slope = sum(k * f * x ** (k - 1) for k, f in enumerate(factors[1:], 1))
            step = np.where(np.isfinite(x) & (slope > 0.0), np.maximum(value / slope, 0.0), 0.0)
            x = x - step
            if not (step > 1e-12 * x).any():
                break
    return np.where(room > 0.0, x, 0.0)
