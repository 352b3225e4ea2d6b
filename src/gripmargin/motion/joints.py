"""A program of joint values: its rates, and what they mean for the tool.

In: a joint trajectory and the robot.
Out: `ProgramRates`, given by the file or estimated, and the tool's motion by them.
Error: none of given rates, that of `gripmargin.motion.rates` of estimated ones; doubts where nothing bounds the motion.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray, owned
from gripmargin.base.stored import by_parts
from gripmargin.kernels.bursts import burst_bias
from gripmargin.kernels.digits import value_error
from gripmargin.kernels.jacobian import tool_jacobian
from gripmargin.kernels.local_fit import even_step
from gripmargin.motion.between import missed_by_samples
from gripmargin.motion.chain import Chain
from gripmargin.motion.consistency import check_rates, contradictions, distrust
from gripmargin.motion.holes import gaps, in_holes
from gripmargin.motion.polled import as_timed
from gripmargin.motion.rates import ProgramRates, Rates, estimate_rates
from gripmargin.motion.stamps import SampleTimes, Stamps, sample_times
from gripmargin.motion.tool_motion import ToolMotion, check_columns, joint_motion
from gripmargin.motion.trajectory import JointTrajectory, Trajectory, given_rates

LINEAR_SPACING = 0.010  # [s] points of a linear program closer than this are taken for samples of a smooth motion


@dataclass(frozen=True, eq=False)
class Joints:
    """The coordinates of a joint program.

    Attributes:
        trajectory: The samples.
        chain: The robot.
    """

    trajectory: JointTrajectory
    chain: Chain

    def __post_init__(self) -> None:
        check_columns(self.trajectory.q, self.chain)

    def rates(self, stamps: Stamps | None) -> ProgramRates:
        """Return speeds and accelerations of the joints."""
        if self.trajectory.qdd is not None:
            return as_given(self.trajectory, self.trajectory.own[0])
        if self.trajectory.interpolation == "linear":
            return _estimated(self, SampleTimes(self.trajectory.t))
        counted = self.trajectory.timing is not None and self.trajectory.timing.counted
        times = sample_times(self.trajectory.t, self.trajectory.q, "as given" if counted else stamps)
        return _estimated(self, times)

    def tool(self, t: FloatArray, first: FloatArray, second: FloatArray) -> ToolMotion:
        """Return the tool's motion at the samples by speeds and accelerations of the joints."""
        return joint_motion(self.chain, t, self.trajectory.q, first, second)

    def spin(self, rates: Rates) -> FloatArray:
        """Return the acceleration that an error of speed makes by the Coriolis terms at most, shape (n, 1)."""
        return by_parts(lambda v: 2.0 * np.abs(v[:, self.turning]).sum(axis=1, keepdims=True), rates.first)

    def directions(self, samples: NDArray[np.intp]) -> FloatArray:
        """Return what one unit of each joint's acceleration gives the tool, shape (joints, 6, m)."""
        return tool_jacobian(self.chain.links, self.chain.revolute, self.trajectory.q[samples])

    @property
    def names(self) -> tuple[tuple[str, str], ...]:
        """Names and units of the coordinates."""
        return tuple((f"joint {k + 1}", "rad" if turns else "m") for k, turns in enumerate(self.chain.revolute))

    @property
    def turning(self) -> NDArray[np.bool_]:
        """Which joints turn."""
        return np.array(self.chain.revolute)


def as_given(trajectory: Trajectory, own: JointTrajectory, columns: Sequence[Sequence[str]] = ()) -> ProgramRates:
    """Return speeds and accelerations of the file, with what lies between its samples.

    Args:
        trajectory: The program.
        own: The samples that it gives itself, as channels.
        columns: What the file calls speeds and accelerations of the channels; empty: as joints.

    Raises:
        InputError: They do not follow from the positions.
    """
    t, (qd, qdd), samples = trajectory.t, given_rates(trajectory), trajectory.own[1]
    check_rates(own, columns)
    none, missed = owned(np.broadcast_to(0.0, qd.shape)), missed_by_samples(trajectory)
    rates = Rates(qd, qdd, none, none, none, missed, noise=none[0], window=none)
    note = "Joint speeds and accelerations as given; they follow from the positions."
    if columns:
        note = "Velocities and accelerations of the tool frame as given; they follow from the poses."
    if own.interpolation in ("cubic", "quintic"):
        note = (
            f"Joint values between the points of the message: {own.interpolation}, as a joint trajectory "
            "controller drives them."
        )
    notes = [note]
    if own.samples < trajectory.samples:
        put = trajectory.samples - own.samples
        notes.append(f"{put} samples were put in where accelerations change between those given.")
    doubts = *contradictions(own), *gaps(own.t, own.q, none[0])
    doubts = tuple((int(samples[first]), int(samples[last]), reason) for first, last, reason in doubts)
    return ProgramRates(t=t, rates=rates, known=True, doubts=doubts, notes=tuple(notes))


def _estimated(joints: Joints, times: SampleTimes) -> ProgramRates:
    """Rates estimated from positions, or accelerations from the speeds of the file where these may be used."""
    t, q, turning = times.t, joints.trajectory.q, joints.turning
    trajectory = replace(joints.trajectory, t=t)
    timing = trajectory.timing
    late = 0.0 if timing is None else timing.late
    rates = as_timed(in_holes(t, q, estimate_rates(t, q, scatter=times.scatter, late=late)), timing)
    doubts = gaps(t, q, rates.noise)
    if trajectory.interpolation == "linear":
        doubts += _corners(trajectory)
    missed, distrusted = check_rates(trajectory), distrust(trajectory, rates)
    if trajectory.qd is None or distrusted is not None:
        how = "Joint speeds and accelerations estimated from positions: " + rates.in_words(turning)
    else:
        speeds = as_timed(in_holes(t, trajectory.qd, estimate_rates(t, trajectory.qd, order=1, late=late)), timing)
        how = "Joint speeds as given; accelerations estimated from them: " + speeds.in_words(turning)
        rates = _from_speeds(t, q, trajectory.qd, speeds, rates, missed, times.scatter)
    notes = tuple(note for note in (times.note, distrusted, how, *rates.jitter_in_words(t, joints.names)) if note)
    return ProgramRates(t=t, rates=rates, doubts=tuple(doubts), notes=notes)


def _from_speeds(
    t: FloatArray, q: FloatArray, qd: FloatArray, speeds: Rates, places: Rates, missed: FloatArray, scatter: float
) -> Rates:
    """Given speeds with the accelerations estimated from them, beside what the positions say.

    Speeds sampled past a quick move may not show it; the positions on either side do.
    """
    hidden = burst_bias(t, np.ascontiguousarray(q.T), even=even_step(t) is not None, scatter=scatter).T
    return Rates(
        first=qd,
        second=speeds.first,
        sigma_first=np.zeros_like(qd),
        sigma_second=speeds.sigma_first,
        bias_first=missed * np.abs(qd),
        bias_second=speeds.bias_first + missed * np.abs(speeds.first) + hidden,
        noise=places.noise,
        window=speeds.window,
        places=places.places,
        quick=places.quick,
    ).shaken(t, value_error(np.ascontiguousarray(q.T)))


def _corners(trajectory: JointTrajectory) -> list[tuple[int, int, str]]:
    """Points of a linear program that are too far apart to stand for a smooth motion."""
    step = np.diff(trajectory.t)
    wide = np.flatnonzero(step > LINEAR_SPACING)
    moves = (np.diff(trajectory.q, axis=0) != 0).any(axis=1)
    return [
        (
            int(i),
            int(i) + 1,
            f"points {1e3 * step[i]:.0f} ms apart without speeds: the controller joins them by straight lines of joint "
            "space, and the accelerations at the points have no bound",
        )
        for i in wide
        if moves[max(i - 1, 0) : i + 2].any()
    ]
