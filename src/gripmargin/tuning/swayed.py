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
from gripmargin.kernels.impulse import Impulse
from gripmargin.kernels.sway import displaced_load
from gripmargin.tuning.allowed import GROUPS, Condition, Motion
from gripmargin.workcell import Part

LOOKED_AT: Final = 200  # combinations


class Swayed:
    """Of one part on its pads."""

    def __init__(self, modes: Modes, gain: FloatArray, part: Part, pivot: FloatArray, inputs: FloatArray) -> None:
        """Take what swings.

        Args:
            modes: Natural vibrations, damped.
            gain: Largest utilisation that a response of 1 of each mode is worth, shape (modes,).
            part: The part.
            pivot: Where pads and part meet [m], shape (3,).
            inputs: Load of a unit of each cause, as `gripmargin.tuning.allowed.inputs` has it.
        """
        self._modes, self._gain, self._body = modes, gain, (part.mass, part.com, part.inertia, pivot)
        impulse = Impulse.of(modes.frequency, modes.damping)
        self._sudden, self._rest = (np.abs(each) @ impulse.weight for each in (impulse.sudden, impulse.rest))
        takes = modes.shapes.T @ inputs
        self._takes = [np.linalg.norm(takes[:, GROUPS[name]], axis=1) for name in ("any", "turn", "whirl", "gravity")]
        rng = np.random.default_rng(0)
        way = rng.normal(size=(4, 3, LOOKED_AT))
        self._ways = way / np.linalg.norm(way, axis=1, keepdims=True)
        self._signs = rng.choice([-1.0, 1.0], (3, modes.frequency.size, LOOKED_AT))

    def more(self, motion: Motion, condition: Condition, x: float) -> float:
        """Return by how much the use of the pads may grow; inf where the part may swing farther than is judged.

        Args:
            motion: What the tool does.
            condition: What it is for.
            x: Figure of the motion.
        """
        modes, w, gravity = self._modes, self._modes.frequency, condition.gravity
        sudden, rest = self._sudden, self._rest
        linear, turning, whirl, weight = self._takes
        if not np.isfinite(x):
            return np.inf
        acceleration, alpha, omega = (float(each(x)) for each in motion.polynomials)
        moved, turned = acceleration * linear + alpha * turning, 0.0 if condition.tilt == 0.0 else gravity * omega
        rate = np.inf if condition.ramp == 0.0 else 1.0 / condition.ramp + omega
        driven, pushed = moved * np.minimum(sudden, 1.0 + rate * rest), moved * sudden * np.minimum(w, rate)
        if condition.stop:  # what a step comes to with its swing
            driven, pushed = 2.0 * moved, 2.0 * w * moved
        response = gravity * weight + driven + omega**2 * whirl * sudden + turned * weight * rest
        speed = pushed + sudden * (w * omega**2 * whirl + turned * weight)
        if np.linalg.norm(np.abs(modes.shapes[3:]) @ response) > LARGEST:
            return np.inf
        down = self._ways[0].copy()
        lean = np.minimum(np.arccos(np.clip(down[2], -1.0, 1.0)), condition.tilt)
        down[:2] *= np.sin(lean) / np.maximum(np.hypot(*down[:2]), 1e-9)
        down[2] = np.cos(lean)
        frame = np.stack([gravity * down + acceleration * self._ways[1], omega * self._ways[2], alpha * self._ways[3]])
        each = zip(self._signs, (response, speed, w * speed), strict=True)
        ways = tuple(modes.shapes @ (sign * size[:, None]) for sign, size in each)
        carried = modes.loads @ (self._signs[0] * response[:, None])
        loads = [displaced_load(*self._body, frame, ways, carried, in_turns=law) for law in LAWS]
        return SUDDEN * float(max(self._gain @ np.abs(modes.shapes.T @ load).max(axis=1) for load in loads))
