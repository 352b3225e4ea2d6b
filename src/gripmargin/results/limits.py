"""Which motions of the tool a part on its pads allows, whatever the path, as data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.results.choice import Choice
from gripmargin.results.findings import Verdict

SCHEMA = "gripmargin-limits/1"
HALF_TURN = np.pi  # [rad]: a turn from rest to rest by as much gets no faster than `sqrt(HALF_TURN * acceleration)`
DIRECTIONS = ("any", "x", "y", "z")


@dataclass(frozen=True, eq=False, kw_only=True)
class Limits:
    """The largest accelerations and speeds with which `hold` and `swing` keep their targets, whatever the path.

    Accelerations are those of the tool frame's origin, gravity not counted; tilts are angles between the tool's z axis
    and gravity, 0 where the part hangs level below its pads. Of an array the first axis is that of `tilts`, the second
    that of `ramps`. 0: gravity alone is too much; NaN: not known.

    Attributes:
        job: Name of the job.
        verdict: Pass where every limit is known; fail where gravity alone is too much at the least tilt.
        tilts: The tool leans by no more than that [rad], shape (k,).
        ramps: Time in which an acceleration may go from none to its limit [s], rising: 0, at once; inf, so slowly that
            nothing swings, as `hold` alone has it; shape (r,).
        linear: Acceleration of a tool that does not turn: in any direction, or along the tool's x, y or z either way
            [m/s^2], shape (k, r) each.
        turning: Speed of turns about any axis through the tool's origin, or about its z axis ("spin") [rad/s], shape
            (k, r) each; `turning_acceleration` belongs to it.
        together: Acceleration in any direction of a tool that turns at once with half the limit of its angular
            acceleration and 0.7 of that of its speed [m/s^2], shape (k, r).
        radii: Of circles [m], shape (m,).
        circling: Speed on circles of these radii and wider ones, the tool turning with them [m/s], shape (m, k, r);
            `circling_acceleration` along the path belongs to it.
        one_move: Acceleration in any direction of a tool that does not turn, in one move from standstill to standstill
            from where the part hangs still: by a ramp, off, to the braking and off. Known without damping [m/s^2],
            shape (k, r).
        stop: Deceleration of a tool that moves steadily in a straight line, on and off at once, with which the target
            of `stop` is kept [m/s^2], shape (k,).
        targets: Margins kept, by check.
        frequencies: Natural frequencies of the part on its pads [Hz], shape (modes,).
        blocked: Why limits are not known, a sentence each.
        notes: What was taken for granted, a sentence each.
        choices: Pads of all materials at hand and what any path may ask of them; empty where nobody asked.
    """

    job: str
    verdict: Verdict
    tilts: FloatArray
    ramps: FloatArray
    linear: Mapping[str, FloatArray]
    turning: Mapping[str, FloatArray]
    together: FloatArray
    radii: FloatArray
    circling: FloatArray
    one_move: FloatArray
    stop: FloatArray
    targets: Mapping[str, float]
    frequencies: FloatArray
    blocked: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    choices: tuple[Choice, ...] = ()

    @property
    def passed(self) -> bool:
        """Whether every limit is known."""
        return self.verdict is Verdict.PASS

    def turning_acceleration(self, about: str) -> FloatArray:
        """Return the angular acceleration that goes with a speed of `turning` [rad/s^2], shape (k, r).

        Args:
            about: "any" or "spin".
        """
        return np.asarray(self.turning[about] ** 2 / HALF_TURN)

    @property
    def circling_acceleration(self) -> FloatArray:
        """Acceleration along the path that goes with `circling`; that across it is as large [m/s^2], (m, k, r)."""
        return np.asarray(self.circling**2 / self.radii[:, None, None])
