"""A trajectory to the tool's motion at and between its samples, with the errors of estimated rates.

Rates that the file gives are used after a check that they follow from the positions; rates that it does not
give are estimated (`gripmargin.motion.rates`), and the error of the estimate goes with the motion.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.kernels.bursts import burst_bias
from gripmargin.kernels.cubic_spline import spline_rates
from gripmargin.kernels.jacobian import tool_jacobian
from gripmargin.kernels.local_fit import even_step
from gripmargin.kernels.sample_noise import noise_levels
from gripmargin.motion.chain import Chain
from gripmargin.motion.consistency import (
    RESOLVED,
    check_rates,
    contradictions,
    interpolated,
    unexplained_acceleration,
)
from gripmargin.motion.holes import gaps, in_holes, in_turn_holes
from gripmargin.motion.measured import distrust
from gripmargin.motion.rates import SMALLEST, Rates, estimate_rates, estimate_rotation_rates
from gripmargin.motion.stamps import SampleTimes, Stamps, sample_times
from gripmargin.motion.tool_motion import ToolMotion, check_columns, joint_motion, pose_motion
from gripmargin.motion.trajectory import JointTrajectory, PoseTrajectory, Trajectory

LINEAR_SPACING = 0.010  # [s] points of a linear program closer than this are taken for samples of a smooth motion
EIGHTHS = tuple(k / 8 for k in range(1, 8))


@dataclass(frozen=True, eq=False)
class RateError:
    """Errors of the tool's accelerations that come from estimated rates.

    Attributes:
        sigma: One standard deviation of each independent cause, shape (n, causes).
        bias: Bound of its systematic error, shape (n, causes).
        directions: Samples to what one unit of each cause does to (acceleration of the origin, angular
            acceleration), tool axes; returns shape (causes, 6, m).
        window: Time over which each cause was smoothed [s], shape (n, causes).
        unsmoothed: What the speed and the acceleration of each cause have to be changed by to follow the positions
            without any smoothing, shape (2, n, causes), or None: not known.
        speed_sigma: One standard deviation of the noise of each cause's speed, shape (n, causes).
        speed_bias: Bound of the systematic error of that speed, likewise.
        spin: Acceleration that one unit of an error of speed makes at most, shape (n, 1).
        noise: Noise of the positions that go with the causes [rad or m], shape (causes,).
    """

    sigma: FloatArray
    bias: FloatArray
    directions: Callable[[NDArray[np.intp]], FloatArray]
    window: FloatArray
    unsmoothed: FloatArray | None
    speed_sigma: FloatArray
    speed_bias: FloatArray
    spin: FloatArray
    noise: FloatArray

    def columns(self, samples: NDArray[np.intp], *, bias: bool) -> FloatArray:
        """Return the independent errors of (acceleration, angular acceleration), shape (causes, 6, m)."""
        size = (self.bias if bias else self.sigma)[samples]
        return self.directions(samples) * size.T[:, None, :]


@dataclass(frozen=True, eq=False, kw_only=True)
class ProgramMotion:
    """The tool's motion over a program.

    Attributes:
        at: At the samples.
        between_mean: Halfway between samples with the mean acceleration of the interval, n - 1 samples, or
            None where the rates are estimated (their error covers what lies between).
        between_peak: The same with the highest acceleration of a rise and a fall in straight lines that has
            that mean (a parabola would be lower).
        certain: Whether that mean differs from the samples by more than the rounding of the rates can explain, for
            each interval.
        sparse: Where samples are further apart than `RESOLVED`: at each eighth of every interval, on the
            polynomial of degree five through both samples and their rates.
        error: Errors of estimated rates; None where the file gives them.
        joint_rates: Joint speeds and accelerations that were used, each of shape (n, joints); None for poses.
        path: What the positions alone say beside rates that the file gives, as `error` has it; the same as `error`
            where rates are estimated.
        doubts: (first sample, last sample, reason) of stretches that cannot be judged.
        notes: How the rates came about, in sentences.
        references: Published sources of the methods used.
    """

    at: ToolMotion
    between_mean: ToolMotion | None = None
    between_peak: ToolMotion | None = None
    certain: NDArray[np.bool_] | None = None
    sparse: tuple[ToolMotion, ...] = ()
    error: RateError | None = None
    joint_rates: tuple[FloatArray, FloatArray] | None = None
    path: RateError | None = None
    doubts: tuple[tuple[int, int, str], ...] = ()
    notes: tuple[str, ...] = ()
    references: tuple[str, ...] = ()
    doubtful: NDArray[np.intp] = field(init=False)

    def __post_init__(self) -> None:
        inside = [np.arange(first, last + 1) for first, last, _ in self.doubts]
        object.__setattr__(self, "doubtful", np.unique(np.concatenate([np.zeros(0, dtype=np.intp), *inside])))

    def doubts_at(self, sample: int) -> list[str]:
        """Return the reasons why a sample cannot be judged."""
        return [reason for first, last, reason in self.doubts if first <= sample <= last]

    def acceleration_error(self, sample: int) -> tuple[float, float]:
        """Return one sigma of the error of the tool origin's and of the angular acceleration [m/s^2, rad/s^2]."""
        if self.error is None:
            return 0.0, 0.0
        columns = self.error.columns(np.array([sample]), bias=False)[:, :, 0]
        return float(np.linalg.norm(columns[:, :3])), float(np.linalg.norm(columns[:, 3:]))

    def error_sentence(self, sample: int) -> str:
        """Return how well the acceleration is known at a sample, in words."""
        if self.error is None:
            return "the loads between the samples are higher than at them: the samples are too far apart"
        linear, angular = self.acceleration_error(sample)
        bias = self.error.columns(np.array([sample]), bias=True)[:, :, 0]
        smooth, turning = float(np.abs(bias[:, :3]).sum()), float(np.abs(bias[:, 3:]).sum())
        if smooth + turning > 2.0 * (linear + angular):
            reason = "the samples are too sparse, or too noisy, to follow how fast the acceleration changes"
        else:
            reason = "the positions are noisy or coarsely rounded"
        return (
            f"the accelerations are estimated, and {reason}: error {linear:.2g} m/s^2 and "
            f"{angular:.2g} rad/s^2 (1 sigma) by noise, up to {smooth:.2g} m/s^2 and {turning:.2g} rad/s^2 by "
            "sampling and smoothing"
        )

    def error_over(self, samples: NDArray[np.intp]) -> str | None:
        """Return the largest errors of the tool's accelerations over some samples, in words; None where none."""
        if self.error is None:
            return None
        sizes = []
        for bias in (False, True):
            columns = self.error.columns(samples, bias=bias)
            norm = np.linalg.norm if not bias else lambda c, axis: np.abs(c).sum(axis=axis)
            sizes.append([float(norm(columns[:, part], axis=(0, 1)).max()) for part in (slice(3), slice(3, 6))])
        (line, turn), (line_bias, turn_bias) = sizes
        return (
            f"Over the carry the tool's accelerations are known to {line:.2g} m/s^2 and {turn:.2g} rad/s^2 (1 sigma of "
            f"noise), smoothing and sampling add up to {line_bias:.2g} m/s^2 and {turn_bias:.2g} rad/s^2."
        )

    def better_data(self, sample: int) -> str:
        """Return what data would decide a sample."""
        if self.doubts_at(sample):
            return "give samples (or points with speeds and accelerations) over this stretch"
        if self.error is None:
            return "sample the program more densely here"
        return "give joint speeds and accelerations with the positions, or positions with less noise or more digits"


def program_motion(trajectory: Trajectory, chain: Chain | None, *, stamps: Stamps | None = None) -> ProgramMotion:
    """Work out the motion of a program.

    Args:
        trajectory: The samples.
        chain: The robot; joint trajectories need it.
        stamps: How the time stamps are meant where rates are estimated; None: as the samples show.

    Raises:
        InputError: No robot, another number of joints, too few samples, rates that contradict positions, or stamps
            that are to be a periodic sampler's and are not.
    """
    if isinstance(trajectory, PoseTrajectory):
        return _from_poses(trajectory, stamps)
    if chain is None:
        raise InputError(trajectory.source, "a joint program without a robot", "the robot it moves")
    check_columns(trajectory.q, chain)
    if trajectory.qd is not None and trajectory.qdd is not None:
        return _from_given_rates(trajectory, chain)
    if trajectory.interpolation == "linear":
        return _from_positions(trajectory, chain, SampleTimes(trajectory.t))
    return _from_positions(trajectory, chain, sample_times(trajectory.t, trajectory.q, stamps))


def _from_given_rates(trajectory: JointTrajectory, chain: Chain) -> ProgramMotion:
    t, q, qd, qdd = trajectory.t, trajectory.q, trajectory.qd, trajectory.qdd
    assert qd is not None and qdd is not None  # noqa: S101, PT018 - the caller has looked
    at = joint_motion(chain, t, q, qd, qdd)
    generated = trajectory.interpolation in ("cubic", "quintic")
    check_rates(trajectory)
    h = np.diff(t)[:, None]
    ends, (excess, certain) = (qdd[:-1] + qdd[1:]) / 2, unexplained_acceleration(trajectory)
    mean, peak = ends + excess, ends + 2.0 * excess
    middle_q = (q[:-1] + q[1:]) / 2 + h * (qd[:-1] - qd[1:]) * (5 / 32) + h**2 * (qdd[:-1] + qdd[1:]) / 64
    middle_qd = (qd[:-1] + qd[1:]) / 2 + h * (qdd[:-1] - qdd[1:]) / 8
    middle_t = (t[:-1] + t[1:]) / 2
    if generated:
        note = (
            f"Joint values between the points of the message: {trajectory.interpolation}, as a joint trajectory "
            "controller drives them."
        )
    else:
        note = "Joint speeds and accelerations as given; they follow from the positions."
    shares = EIGHTHS if h.max() > RESOLVED else ()
    return ProgramMotion(
        at=at,
        between_mean=joint_motion(chain, middle_t, middle_q, middle_qd, mean),
        between_peak=joint_motion(chain, middle_t, middle_q, middle_qd, peak),
        certain=certain,
        sparse=tuple(joint_motion(chain, middle_t, *interpolated(trajectory, share)) for share in shares),
        joint_rates=(qd, qdd),
        path=_path(trajectory, chain),
        doubts=(*contradictions(trajectory), *gaps(t, q, np.zeros(chain.joints))),
        notes=(note,),
    )


def _path(trajectory: JointTrajectory, chain: Chain) -> RateError | None:
    """What the positions alone say beside given rates."""
    t, q, qd, qdd = trajectory.t, trajectory.q, trajectory.qd, trajectory.qdd
    if t.size < SMALLEST or qd is None or qdd is None:
        return None
    level, _ = noise_levels(t, np.ascontiguousarray(q.T), even_step(t))
    none = np.zeros_like(q)
    return RateError(
        sigma=none,
        bias=none,
        directions=lambda samples: tool_jacobian(chain.links, chain.revolute, q[samples]),
        window=none,
        unsmoothed=spline_rates(t, q) - np.stack([qd, qdd]),
        speed_sigma=none,
        speed_bias=none,
        spin=none[:, :1],
        noise=np.sqrt(np.mean(level**2, axis=-1)),
    )


def _from_positions(trajectory: JointTrajectory, chain: Chain, times: SampleTimes) -> ProgramMotion:
    t, q, notes = times.t, trajectory.q, [times.note] if times.note else []
    trajectory = replace(trajectory, t=t)
    rates = places = in_holes(t, q, estimate_rates(t, q, scatter=times.scatter))
    qd, qdd = rates.first, rates.second
    sigma_qd, bias_qd, sigma_qdd, bias_qdd = rates.sigma_first, rates.bias_first, rates.sigma_second, rates.bias_second
    given = "Joint speeds and accelerations estimated from positions: "
    missed = check_rates(trajectory)
    doubt = distrust(trajectory, rates)
    if doubt is not None:
        notes.append(doubt)
    elif trajectory.qd is not None:
        # Speeds sampled past a quick move may not show it; the positions on either side do.
        hidden = burst_bias(t, np.ascontiguousarray(q.T), even=even_step(t) is not None, scatter=times.scatter).T
        rates = in_holes(t, trajectory.qd, estimate_rates(t, trajectory.qd, order=1))
        qd, qdd = trajectory.qd, rates.first
        sigma_qd, bias_qd = np.zeros_like(q), missed * np.abs(qd)
        sigma_qdd, bias_qdd = rates.sigma_first, rates.bias_first + missed * np.abs(qdd) + hidden
        given = "Joint speeds as given; accelerations estimated from them: "
    # An error of speed enters through the Coriolis terms, at most 2 omega times it.
    spin = 2.0 * np.abs(qd[:, np.array(chain.revolute)]).sum(axis=1, keepdims=True)

    def directions(samples: NDArray[np.intp]) -> FloatArray:
        return tool_jacobian(chain.links, chain.revolute, q[samples])

    error = RateError(
        sigma=np.hypot(sigma_qdd, spin * sigma_qd),
        bias=bias_qdd + spin * bias_qd,
        directions=directions,
        window=rates.window,
        unsmoothed=_unsmoothed(places, qd, qdd),
        speed_sigma=sigma_qd,
        speed_bias=bias_qd,
        spin=spin,
        noise=places.noise,
    )
    doubts = list(gaps(t, q, places.noise))
    if trajectory.interpolation == "linear":
        doubts += _corners(trajectory)
    return ProgramMotion(
        at=joint_motion(chain, t, q, qd, qdd),
        error=error,
        joint_rates=(qd, qdd),
        path=error,
        doubts=tuple(doubts),
        notes=(*notes, given + _how(rates, np.array(chain.revolute))),
        references=(rates.method,),
    )


def _from_poses(trajectory: PoseTrajectory, stamps: Stamps | None) -> ProgramMotion:
    rotation = trajectory.rotation
    places = np.hstack([trajectory.position, rotation.reshape(trajectory.samples, 9)])
    times = sample_times(trajectory.t, places, stamps)
    t = times.t
    line = in_holes(t, trajectory.position, estimate_rates(t, trajectory.position, scatter=times.scatter))
    turn = in_turn_holes(t, rotation, estimate_rotation_rates(t, rotation, scatter=times.scatter))
    spin = 2.0 * np.linalg.norm(turn.first, axis=1, keepdims=True)

    def directions(samples: NDArray[np.intp]) -> FloatArray:
        out = np.zeros((6, 6, samples.size))
        out[:3, :3] = rotation[samples].transpose(1, 2, 0)
        out[3:, 3:] = np.eye(3)[:, :, None]
        return out

    error = RateError(
        sigma=np.hstack([line.sigma_second, np.hypot(turn.sigma_second, spin * turn.sigma_first)]),
        bias=np.hstack([line.bias_second, turn.bias_second + spin * turn.bias_first]),
        directions=directions,
        window=np.hstack([line.window, turn.window]),
        unsmoothed=_side_by_side(
            _unsmoothed(line, line.first, line.second), _unsmoothed(turn, turn.first, turn.second)
        ),
        speed_sigma=np.hstack([line.sigma_first, turn.sigma_first]),
        speed_bias=np.hstack([line.bias_first, turn.bias_first]),
        spin=spin,
        noise=np.concatenate([line.noise, turn.noise]),
    )
    noise = np.concatenate([line.noise, np.full(9, turn.noise.max())])
    return ProgramMotion(
        at=pose_motion(t, trajectory.position, rotation, line.first, line.second, turn.first, turn.second),
        error=error,
        path=error,
        doubts=tuple(gaps(t, places, noise)),
        notes=(
            *([times.note] if times.note else []),
            "Speeds and accelerations estimated from poses: " + _how(line, np.zeros(3, dtype=bool)),
            f"Orientation: noise {turn.noise.max():.2g} rad, differentiated on the rotation group.",
        ),
        references=(line.method,),
    )


def _unsmoothed(places: Rates, speed: FloatArray, acceleration: FloatArray) -> FloatArray | None:
    """What speed and acceleration have to be changed by to follow the positions without any smoothing."""
    return None if places.spline is None else places.spline - np.stack([speed, acceleration])


def _side_by_side(line: FloatArray | None, turn: FloatArray | None) -> FloatArray | None:
    return None if line is None or turn is None else np.concatenate([line, turn], axis=2)


def _how(rates: Rates, revolute: NDArray[np.bool_]) -> str:
    """Bandwidth and noise, in words."""
    unit = "rad" if revolute.all() else "m" if not revolute.any() else "rad or m"
    low, high = 1e3 * rates.window.min(), 1e3 * rates.window.max()
    span = f"{low:.3g} ms" if high <= 1.01 * low else f"{low:.3g} to {high:.3g} ms"
    return f"local polynomials over {span}; noise found {rates.noise.max():.2g} {unit}."


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
