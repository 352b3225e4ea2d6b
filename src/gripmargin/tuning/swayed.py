"""What the part's swing out of its place may add to the use of the pads, for a motion that is only known by its sizes.

The response of each mode, its rate and its second derivative are bounded by those of the mode alone; what they change
of the load (`gripmargin.kernels.sway`) is looked at in many combinations of them.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.swing.sway import LARGEST, LAWS, SUDDEN
from gripmargin.checks.swing.vibration import Modes
from gripmargin.kernels.impulse import Impulse, lags
from gripmargin.kernels.sway import displaced_load
from gripmargin.tuning.allowed import Condition, Motion
from gripmargin.tuning.rounds import in_balance, of_round
from gripmargin.tuning.sizes import BY_RATE, GROUPS, INSTANT, MOVES, Kind
from gripmargin.workcell import Part

LOOKED_AT: Final = 200  # combinations
HALVINGS: Final = 30  # until the largest motion within the turn that is judged is found


class Swayed:
    """Of one part on its pads."""

    def __init__(self, modes: Modes, part: Part, pivot: FloatArray, inputs: FloatArray, *, fades: bool = True) -> None:
        """Take what swings.

        Args:
            modes: Natural vibrations.
            part: The part.
            pivot: Where pads and part meet [m], shape (3,).
            inputs: Load of a unit of each cause, as `gripmargin.tuning.sizes.inputs` has it.
            fades: Whether swings fade; else only stops and one move can be looked at.
        """
        self._modes, self._body = modes, (part.mass, part.com, part.inertia, pivot)
        none = np.zeros(modes.frequency.size)
        self._kinds: dict[Kind, FloatArray] = {"still": np.array([1.0 + none, none])}
        if fades:
            sudden, rest, lag, bend = Impulse.of(modes.frequency, modes.damping).alone
            self._sudden, self._rest = sudden, rest
            kinds, rates = ("beside", *BY_RATE), (sudden, sudden, 1.0 + none, rest)
            each = zip(kinds, (rest, rest, lag, bend), rates, strict=True)
            self._kinds |= {kind: np.array(both) for kind, *both in each}
        self._lag = lags(modes.frequency, modes.damping)[1]
        takes = modes.shapes.T @ inputs
        self._takes = {name: np.linalg.norm(takes[:, group], axis=1) for name, group in GROUPS.items()}
        self._moved, self._weight = takes[:, :6], takes[:, GROUPS["gravity"]]
        self._still: dict[tuple[float, float], FloatArray] = {}  # what is added where the part hangs still
        rng = np.random.default_rng(0)
        way = rng.normal(size=(4, 3, LOOKED_AT))
        self._ways = way / np.linalg.norm(way, axis=1, keepdims=True)
        self._signs = rng.choice([-1.0, 1.0], (3, modes.frequency.size, LOOKED_AT))

    def reach(self, motion: Motion, condition: Condition, most: float) -> float:
        """Return the largest x up to a largest one with which the part stays within the turn that is judged; or 0."""
        low, high = 0.0, most
        for _ in range(HALVINGS):
            if self._turn(motion, condition, high) <= LARGEST:
                return high
            middle = 0.5 * (low + high) if low else high / 8.0
            if self._turn(motion, condition, middle) <= LARGEST:
                low = middle
            else:
                high = middle
        return low

    def more(self, motion: Motion, condition: Condition, x: float) -> FloatArray:
        """Return by how much the response of each mode may grow: by its sag, and twice by what comes at once.

        Args:
            motion: What the tool does.
            condition: What it is for.
            x: Figure of the motion.

        Returns:
            Shape (modes,).
        """
        w, gravity = self._modes.frequency, condition.gravity
        response, speed = self.sizes(motion, condition, x)
        acceleration, alpha, omega = motion.rates(x)
        acceleration = float(np.hypot(acceleration, motion.radius * omega * omega))
        along, axis = motion.axes(condition.tilt == 0.0)
        moved, turned, spun = (
            _within(way, of) for way, of in zip(self._ways[1:], (GROUPS[along], *2 * (GROUPS[axis],)), strict=True)
        )
        down = self._down(condition)
        frame = np.stack([down + acceleration * moved, omega * turned, alpha * spun])
        swung = [sign * size[:, None] for sign, size in zip(self._signs, (response, speed, w * speed), strict=True)]
        moving = self._added(frame, self._weight @ down + swung[0], *swung[1:])
        if (condition.tilt, gravity) not in self._still:
            none = np.zeros_like(swung[0])
            still = self._added(np.stack([down, 0.0 * down, 0.0 * down]), self._weight @ down, none, none)
            self._still[condition.tilt, gravity] = still
        still = self._still[condition.tilt, gravity]
        return np.asarray((np.abs(still) + SUDDEN * np.abs(moving - still)).max(axis=(0, 2)))

    def _down(self, condition: Condition) -> FloatArray:
        """Gravity in the axes of the tool, of each combination [m/s^2], shape (3, combinations)."""
        down = self._ways[0].copy()
        lean = np.minimum(np.arccos(np.clip(down[2], -1.0, 1.0)), condition.tilt)
        down[:2] *= np.sin(lean) / np.maximum(np.hypot(*down[:2]), 1e-9)
        down[2] = np.cos(lean)
        return np.asarray(condition.gravity * down)

    def _added(self, frame: FloatArray, *swung: FloatArray) -> FloatArray:
        """What responses, their rates and second derivatives add to the load, shape (laws, modes, combinations)."""
        modes = self._modes
        way = modes.shapes @ swung[0], modes.shapes @ swung[1], modes.shapes @ swung[2]
        carried = modes.loads @ swung[0]
        loads = (displaced_load(*self._body, frame, way, carried, in_turns=law) for law in LAWS)
        return np.stack([modes.shapes.T @ load for load in loads])

    def _turn(self, motion: Motion, condition: Condition, x: float) -> float:
        response = self.sizes(motion, condition, x)[0] + condition.gravity * self._takes["gravity"]
        return float(np.linalg.norm(np.abs(self._modes.shapes[3:]) @ response))

    def sizes(self, motion: Motion, condition: Condition, x: float) -> tuple[FloatArray, FloatArray]:
        """Return the largest response of each mode beside its sag, and its largest rate, shape (modes,) each."""
        out = np.zeros((2, self._modes.frequency.size))
        for part in motion.asks(condition, x):
            each = [[size * self._asked(*of) for of, size in asks.items() if size] for asks in part]
            out += np.min([np.sum(asked, axis=0) if asked else np.zeros_like(out) for asked in each], axis=0)
        return out[0], out[1]

    def _asked(self, kind: Kind, name: str) -> FloatArray:
        """Response and rate of each mode, of a load of size 1 or of a circle that speeds up so, shape (2, modes)."""
        circle = of_round(name)
        if circle is None:
            return self._alone(kind) * self._takes[name]
        if kind != "still":  # the parts that it is made of tell as much of one mode
            return np.full((2, self._modes.frequency.size), np.inf)
        still = in_balance(self._moved, *circle)
        return np.stack([still, np.zeros(still.size)])

    def _alone(self, kind: Kind) -> FloatArray:
        """Response and rate of each mode, of a load of size 1 that changes in some way, shape (2, modes)."""
        w, none = self._modes.frequency, np.zeros(self._modes.frequency.size)
        if kind not in self._kinds:
            if kind == "stop":  # what a step comes to with its swing
                out = 2.0 + none, 2.0 * w
            elif isinstance(kind, tuple):
                per_ramp = 1.0 / max(kind[1], INSTANT)
                out = 1.0 + MOVES * np.minimum(1.0, self._lag * per_ramp), MOVES * np.minimum(3.0 * per_ramp, w)
            else:
                sudden, rest = self._sudden, self._rest
                rate = 1.0 / float(kind) if kind else np.inf
                out = np.minimum(sudden, 1.0 + rate * rest), sudden * np.minimum(w, rate)
            self._kinds[kind] = np.array(out)
        return self._kinds[kind]


def _within(way: FloatArray, group: list[int]) -> FloatArray:
    """Unit vectors of some axes alone, shape (3, n); axes count from 0 or from 3."""
    only = np.zeros((3, 1))
    only[[i % 3 for i in group]] = 1.0
    way = way * only
    return np.asarray(way / np.maximum(np.linalg.norm(way, axis=0), 1e-9))
