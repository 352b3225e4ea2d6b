"""A program of poses of the tool frame: its rates, and what they mean for the tool.

In: a trajectory of poses.
Out: `ProgramRates` of position (world axes) and orientation (tool axes), side by side, and the tool's motion by them.
Error: that of `gripmargin.motion.rates`; doubts where samples are missing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.motion.holes import gaps, in_holes, in_turn_holes
from gripmargin.motion.joints import as_given
from gripmargin.motion.polled import as_timed
from gripmargin.motion.rates import ProgramRates, Rates, estimate_rates
from gripmargin.motion.stamps import Stamps, sample_times
from gripmargin.motion.tool_motion import ToolMotion, pose_motion
from gripmargin.motion.trajectory import POSE_RATES, PoseTrajectory
from gripmargin.motion.turn_rates import estimate_rotation_rates
from gripmargin.motion.turns import as_channels


@dataclass(frozen=True, eq=False)
class Poses:
    """The coordinates of a program of poses: three of the position, three of the orientation."""

    trajectory: PoseTrajectory

    def rates(self, stamps: Stamps | None) -> ProgramRates:
        """Return velocities and accelerations of the tool frame: given ones in world axes, turns else in the tool's."""
        if self.trajectory.velocity is not None:
            return as_given(self.trajectory, as_channels(self.trajectory.own[0]), POSE_RATES)
        position, rotation = self.trajectory.position, self.trajectory.rotation
        places = np.hstack([position, rotation.reshape(self.trajectory.samples, 9)])
        timing = self.trajectory.timing
        counted = timing is not None and timing.counted
        times = sample_times(self.trajectory.t, places, "as given" if counted else stamps)
        t = times.t
        scatter, late = times.scatter, 0.0 if timing is None else timing.late
        line = in_holes(t, position, estimate_rates(t, position, scatter=scatter, late=late))
        turning = estimate_rotation_rates(t, rotation, scatter=scatter, late=late, error=self.trajectory.turn_error)
        turn = in_turn_holes(t, rotation, turning)
        line, turn = as_timed(line, timing), as_timed(turn, timing)
        noise, both = np.concatenate([line.noise, np.full(9, turn.noise.max())]), line.beside(turn)
        how = "Speeds and accelerations estimated from poses: " + line.in_words(np.zeros(3, dtype=bool))
        orientation = f"Orientation: noise {turn.noise.max():.2g} rad, differentiated on the rotation group."
        return ProgramRates(
            t=t,
            rates=both,
            doubts=tuple(gaps(t, places, noise)),
            notes=tuple(note for note in (times.note, how, orientation, *both.jitter_in_words(t, self.names)) if note),
        )

    @property
    def names(self) -> tuple[tuple[str, str], ...]:
        """Names and units of the coordinates."""
        return (
            *((f"the tool's {axis}", "m") for axis in "xyz"),
            *((f"the turn about the tool's {a}", "rad") for a in "xyz"),
        )

    def tool(self, t: FloatArray, first: FloatArray, second: FloatArray) -> ToolMotion:
        """Return the tool's motion at the samples by speeds and accelerations of the coordinates."""
        (velocity, omega), (acceleration, alpha) = (np.hsplit(rows, 2) for rows in (first, second))
        if self.trajectory.velocity is not None:
            omega, alpha = (np.einsum("nji,nj->ni", self.trajectory.rotation, rows) for rows in (omega, alpha))
        return pose_motion(t, self.trajectory.position, self.trajectory.rotation, velocity, acceleration, omega, alpha)

    def spin(self, rates: Rates) -> FloatArray:
        """Return the acceleration that an error of speed makes by turning axes at most, shape (n, 6)."""
        turning = 2.0 * np.linalg.norm(rates.first[:, 3:], axis=1, keepdims=True)
        return np.hstack([np.zeros((len(turning), 3)), np.repeat(turning, 3, axis=1)])

    def directions(self, samples: NDArray[np.intp]) -> FloatArray:
        """Return what one unit of acceleration in each coordinate gives the tool, shape (6, 6, m)."""
        out = np.zeros((6, 6, samples.size))
        out[:3, :3] = self.trajectory.rotation[samples].transpose(1, 2, 0)
        out[3:, 3:] = np.eye(3)[:, :, None] if self.trajectory.velocity is None else out[:3, :3]
        return out
