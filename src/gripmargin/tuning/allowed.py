"""What the tool may do at most so that no place on the pads asks more than it holds, whatever the path."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from gripmargin.base.arrays import FloatArray
from gripmargin.tuning.rounds import round_name
from gripmargin.tuning.sizes import Kind, Sizes

if TYPE_CHECKING:
    from gripmargin.tuning.swayed import Swayed

BATCH: Final = 512  # rows that are looked at together
CLOSE: Final = 0.005  # share by which what is found may be less than what could be, for the swing out of place
SAME: Final = 1e-5  # share by which what is found is rounded down
ALIKE: Final = 5e-3  # use by which rows may be above what they may have before their swing itself is worked out
NEAR: Final = 0.8  # use from which a row is looked at first in the next case
FASTEST: Final = 1e9  # of any motion: beyond it nothing limits it
Asks = dict[tuple[Kind, str], float]


@dataclass(frozen=True, kw_only=True)
class Motion:
    """What the tool does at most, by one figure x >= 0: each of these times its power of it.

    Attributes:
        along: Directions of the acceleration of its origin: any, x, y or z.
        about: Axis it turns about: "turn", any one that may change, or "spin", its z axis.
        acceleration: Of its origin, times x [m/s^2].
        angular_acceleration: Times x^2 [rad/s^2].
        angular_velocity: Times x [rad/s].
        turning: Angular velocity and acceleration beside, whatever x is [rad/s], [rad/s^2].
        radius: Of a circle that the tool turns with, its origin on it [m]; 0: none.
        program: "any", "one move" or "stop".
    """

    along: str = "any"
    about: str = "turn"
    acceleration: float = 0.0
    angular_acceleration: float = 0.0
    angular_velocity: float = 0.0
    turning: tuple[float, float] = (0.0, 0.0)
    radius: float = 0.0
    program: str = "any"

    def rates(self, x: float) -> tuple[float, float, float]:
        """Return acceleration along the path, angular acceleration and angular velocity of the tool."""
        alpha = self.turning[1] + self.angular_acceleration * x * x
        return self.acceleration * x + self.radius * alpha, alpha, self.turning[0] + self.angular_velocity * x

    def axes(self, level: bool) -> tuple[str, str]:
        """Return directions of the acceleration and of the axis, of pads that stay level or lean."""
        along = "level" if level and self.radius else self.along
        return along, "spin" if level or self.about == "spin" else "turn"

    def asks(self, condition: Condition, x: float) -> tuple[tuple[Asks, ...], ...]:
        """Return what it asks of a place, as sizes of loads by `Sizes.column`.

        Returns:
            Parts that add up; of each part any of the sums is a bound.
        """
        if self.program == "any":
            return tuple(self._moved(condition, x)), *self._slow(condition, x)
        return (({("stop" if self.program == "stop" else ("one move", condition.ramp), "few"): self.rates(x)[0]},),)

    def _moved(self, condition: Condition, x: float) -> Iterator[Asks]:
        """What may come at once or by ramps; the axes of a tool that turns on its way turn under it as well."""
        level = condition.tilt == 0.0
        along, axis = self.axes(level)
        a, alpha, omega = self.rates(x)
        across, eased = self.radius * omega * omega, condition.ramp > 0.0
        turning = omega if a and not self.radius else 0.0  # of the axes under the acceleration, and under the axis
        tilting = 0.0 if self.radius or axis == "spin" else omega
        if turning or tilting or not eased:
            yield {(0.0, along): a, (0.0, axis): alpha, ("still", along): across}
        if eased:
            rate, ways = 1.0 / condition.ramp, ((along, turning, a), (axis, tilting, alpha))
            if not (turning or tilting):
                yield {(condition.ramp, of): size for of, _, size in ways} | {("still", along): across}
            if self.radius:
                name, most = round_name(self.radius, level), max(alpha, omega * omega)
                if level:
                    yield {(condition.ramp, name): most}
                whole: Asks = {("still", name): most}
                yield whole | {("beside", of): rate * size for of, _, size in ways}
            elif turning or tilting:
                bends = (turning and turning * (rate + turning) + alpha) * a, tilting * (rate + tilting) * alpha
                whole = {("still", along): a, ("still", axis): alpha}
                whole |= {("bend", of): size for (of, *_), size in zip(ways, bends, strict=True)}
                slow: Asks = {("rest", of): rate * size for of, _, size in ways}
                yield whole | slow | {("lag", of): speed * size for of, speed, size in ways}

    def _slow(self, condition: Condition, x: float) -> Iterator[tuple[Asks, ...]]:
        """What goes with the square of the speed changes as that does, and gravity as the tool turns."""
        along, axis = self.axes(condition.tilt == 0.0)
        _, alpha, omega = self.rates(x)
        if omega == 0.0:
            return
        one_axis = self.radius > 0.0 or axis == "spin"
        quick = np.inf if condition.ramp == 0.0 else alpha * (1.0 / condition.ramp + (0.0 if one_axis else omega))
        rate, bend = 2.0 * omega * alpha, 2.0 * alpha * alpha + 2.0 * omega * quick
        whirl = "spun" if axis == "spin" else "whirl"
        yield ({("still", whirl): omega * omega},)
        yield _by_rate(whirl, rate, bend)
        if self.radius:
            yield _by_rate(along, self.radius * rate, self.radius * bend)
        if condition.tilt > 0.0:
            pull, lean = condition.gravity, min(condition.tilt, np.pi / 2.0)
            both = 0.0 if one_axis else alpha * omega * omega  # of what is across the pull and the axis alike
            turned = float(np.sqrt(alpha**2 + both + omega**4))
            pull, of = (pull * np.sin(lean), "aside") if axis == "spin" else (pull, "gravity")
            yield _by_rate(of, pull * omega, pull * turned)


def _by_rate(name: str, rate: float, bend: float) -> tuple[Asks, ...]:
    """What a load asks beside its balance, by its largest rate, or by that and the largest change of it."""
    once: Asks = {("rest", name): rate}
    return (once, {("lag", name): rate, ("bend", name): bend}) if np.isfinite(bend) else (once,)


@dataclass(frozen=True, kw_only=True)
class Condition:
    """What a limit is for.

    Attributes:
        tilt: How far the tool's z axis may lean from gravity [rad].
        ramp: Time in which an acceleration may go from none to its largest [s]; 0: at once.
        gravity: [m/s^2].
        drag: Largest force of the air [N].
    """

    tilt: float
    ramp: float
    gravity: float
    drag: float


class Allowed:
    """Largest motions on pads of which no place may be used beyond 1."""

    def __init__(self, sizes: Sizes, sway: Swayed | None = None) -> None:
        """Take what loads ask of the places, and what the part's swing out of its place adds."""
        self._sizes, self._sway = sizes, sway
        self._bases: dict[tuple[float, float, float], FloatArray] = {}
        self._worst: dict[Motion, NDArray[np.intp]] = {}
        self._last: dict[Motion, float] = {}

    def largest(self, motion: Motion, condition: Condition, left: float = 1.0) -> float:
        """Return the largest x with which nothing is used more than it may be; inf where nothing limits it.

        Args:
            motion: What the tool does.
            condition: What it is for.
            left: Utilisation that it may come to.
        """
        none = np.zeros(self._sizes.swings.shape[1])
        high = self._within(motion, condition, left, none)
        if self._sway is None or high == 0.0:
            return high
        high, sway = self._sway.reach(motion, condition, min(high, FASTEST)), self._sway

        def found(x: float) -> float:
            """The largest one where the part sways as at x: less the more it sways."""
            return min(high, self._within(motion, condition, left, sway.more(motion, condition, x)))

        low = found(high)
        if (1.0 - low / high) ** 2 <= CLOSE:  # what the swing adds changes by as much of itself
            return low
        ends = [(low, found(low)), (high, low)]  # below what may be, and beyond
        while low < (1.0 - CLOSE) * min(ends[0][1], ends[1][0]):
            (x, there), (beyond, short) = ends
            middle = x + (there - x) / (1.0 + (there - short) / (beyond - x))
            now = middle, found(middle)
            ends[now[1] < middle] = now
            low = max(low, ends[0][0], ends[1][1])
        return low

    def _within(self, motion: Motion, condition: Condition, left: float, swung: FloatArray) -> float:
        """The same where the part swings out of its place by so much in each mode."""
        sizes, every = self._sizes, self._use(motion, condition, swung, slice(None))
        parts = motion.asks(condition, 1.0)
        names = {name for part in parts for asks in part for (_, name), size in asks.items() if size > 0.0}
        active = self._worst.get(motion, np.zeros(0, dtype=np.intp))
        x = FASTEST
        while True:
            if active.size:
                used = self._use(motion, condition, swung, active)
                x = _root(used, left, FASTEST, self._last.get(motion, 0.0))
                self._last[motion] = x
                unsure = active[(used(x) > left - ALIKE) & ~sizes.known(active, names)] if x < FASTEST else active[:0]
                if unsure.size:
                    sizes.refine(unsure, names)
                    continue
            use = every(x)
            above = np.flatnonzero(use > left) if x > 0.0 else active[:0]
            if above.size == 0:
                break
            worst = above[np.argsort(-use[above])[:BATCH]] if above.size > BATCH else above
            unsure = worst[~sizes.known(worst, names) & (use[worst] > left + ALIKE)]
            if x < FASTEST and unsure.size:
                sizes.refine(unsure, names)
                continue
            if np.isin(worst, active).all():
                break  # but for rounding
            active = np.union1d(active, worst)
        self._worst[motion] = active[self._use(motion, condition, swung, active)(x) > NEAR * left]
        return np.inf if x >= FASTEST else x

    def _use(
        self, motion: Motion, condition: Condition, swung: FloatArray, rows: NDArray[np.intp] | slice
    ) -> Callable[[float], FloatArray]:
        """From x to the use of some rows."""
        still = condition.tilt, condition.gravity, condition.drag
        if still not in self._bases:
            air = condition.drag * self._sizes.column(0.0, "air") if condition.drag else 0.0
            self._bases[still] = self._sizes.gravity(condition.tilt, condition.gravity) + air
        base = self._bases[still][rows] + self._sizes.swings[rows] @ swung
        columns: dict[tuple[Kind, str], FloatArray] = {}

        def total(asks: Asks) -> FloatArray | float:
            out: FloatArray | float = 0.0
            for of, size in asks.items():
                if size > 0.0:
                    if of not in columns:
                        columns[of] = self._sizes.column(*of)[rows]
                    out = out + size * columns[of]
            return out

        def use(x: float) -> FloatArray:
            out = base
            for first, *others in motion.asks(condition, x):
                least = total(first)
                for asks in others:
                    least = np.minimum(least, total(asks))
                out = out + least
            return out

        return use


def _root(use: Callable[[float], FloatArray], left: float, most: float, near: float = 0.0) -> float:
    """The x up to which no row is used more than it may be, 0 or more and at most so much; looked for near one."""

    def over(x: float) -> float:
        return float(use(x).max()) - left

    if over(0.0) >= 0.0:
        return 0.0
    low, high = 0.0, 1.02 * near if near else 1e-6
    while high < most and over(high) <= 0.0:
        low, high = high, high * (1.3 if near and high < 2.0 * near else 8.0)
    high = min(high, most)
    if high == most and over(high) <= 0.0:
        return high
    if near and not low and over(0.98 * near) < 0.0:
        low = 0.98 * near
    return (1.0 - SAME) * float(brentq(over, low, high, rtol=SAME / 10.0, xtol=1e-18))
