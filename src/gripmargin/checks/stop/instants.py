"""Instants of stops: the load of the part in each, how far it may swing around it, and how far it surely does."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.face import Face
from gripmargin.kernels.utilisation import peak_with_swing
from gripmargin.motion.tool_motion import ToolMotion

Indices = NDArray[np.intp]
Means = tuple[tuple[FloatArray, FloatArray, FloatArray], ...]

BENT: Final = 2.0  # what the curvature of the load adds to the corners of straight lines through them


@dataclass(frozen=True, eq=False, kw_only=True)
class Ring:
    """The swing that the part has when the stops begin, about the load that it would have at rest there.

    Attributes:
        gain: Size of the normalised traction that a unit of each mode gives, shape (points, k).
        amplitude: Of each mode, at most, shape (k, m).
        turning: Angular frequency of each mode, damped [rad/s], shape (k,).
        fading: Rate at which each dies down [1/s], shape (k,).
    """

    gain: FloatArray
    amplitude: FloatArray
    turning: FloatArray
    fading: FloatArray

    @classmethod
    def none(cls, points: int, stops: int) -> Ring:
        """Return the swing of a part that hangs still."""
        return cls(gain=np.zeros((points, 0)), amplitude=np.zeros((0, stops)), turning=np.zeros(0), fading=np.zeros(0))

    def of(self, stops: Indices) -> Ring:
        """Return that of some of the stops."""
        return replace(self, amplitude=self.amplitude[:, stops])

    def after(self, time: FloatArray) -> FloatArray:
        """Return what is left of it some time after the stops began, shape (k, m)."""
        return np.asarray(self.amplitude * np.exp(-self.fading[:, None] * time))


@dataclass(frozen=True, eq=False, kw_only=True)
class Instant:
    """One instant of the stops that begin at some samples.

    Attributes:
        kind: "path" or "axes".
        load: Quasi-static load then, shape (6, m).
        swing: Amplitude of each mode around it by the change of load that came last, shape (k, m).
        further: What earlier changes may add to it, shape (k, m).
        lag: Half of what damping takes off the overshoot of that change, with its sign: before a mode follows, it is
            farther from the new load on the side of the old one, shape (k, m).
        carried: The load that each mode carries, shape (6, k).
        means: Mean loads over times that end then or last from then on, shape (6, m), by how much the mean of what
            each mode carries may differ from it, shape (k, m), and how long those times are, shape (m,).
        near: Program sample whose errors count, shape (m,).
        after: Time since the stop began [s], shape (m,).
        motion: The tool's motion then.
    """

    kind: str
    load: FloatArray
    swing: FloatArray
    further: FloatArray
    lag: FloatArray
    carried: FloatArray
    means: Means
    near: Indices
    after: FloatArray
    motion: Callable[[], ToolMotion]

    def surely(self, face: Face, gain: FloatArray, ring: Ring) -> FloatArray:
        """Return the utilisation that the part reaches whatever the timing of its swing, shape (m,).

        Utilisation is convex: over some time its largest value is no less than that of the mean load (Jensen), and a
        swing's own mean over that time is small.
        """
        out = np.zeros(self.load.shape[1])
        gains = np.hstack([gain, ring.gain])
        for mean, spread, span in self.means:
            spreads = np.vstack([spread, averaged(ring.after(0.0 * self.after), ring.turning[:, None], span)])
            np.maximum(out, peak_with_swing(face, gains, mean, -spreads, 0.0 * spreads)[1], out=out)
        return out

    def peak(self, face: Face, gain: FloatArray, ring: Ring) -> tuple[FloatArray, FloatArray, Indices, FloatArray]:
        """Return what the instant asks of the pads, as `gripmargin.kernels.utilisation.peak_with_swing`.

        A damped mode goes from the old load to beyond the new one, by its overshoot; modes of other frequencies are
        elsewhere on their ways. The largest utilisation is that of a box of all their places.
        """
        gains, still = np.hstack([gain, ring.gain]), ring.after(self.after)
        swing, further = np.vstack([self.swing, 0.0 * still]), np.vstack([self.further, still])
        alone, value, point, most = peak_with_swing(face, gains, self.load, swing, further)
        if self.lag.any():
            half = np.vstack([self.swing + np.abs(self.lag), 0.0 * still])
            most = peak_with_swing(face, gains, self.load - self.carried @ self.lag, half, further)[3]
        return alone, value, point, most


@dataclass(frozen=True, eq=False, kw_only=True)
class Braked:
    """The arm some time after its brakes have closed.

    Attributes:
        samples: Where the stops began, shape (m,).
        after: Time since then [s], shape (m,).
        coasting: Load without any braking, shape (6, m).
        loads: What each axis adds when it brakes, shape (joints, 6, m).
        pulls: The same as each mode takes it, shape (joints, k, m).
        carried: The load that each mode carries, shape (6, k).
        motion: The tool's motion with some axes braking.
    """

    samples: Indices
    after: FloatArray
    coasting: FloatArray
    loads: FloatArray
    pulls: FloatArray
    carried: FloatArray
    motion: Callable[[NDArray[np.bool_]], ToolMotion]

    def pull(self, braking: NDArray[np.bool_]) -> FloatArray:
        """Return the pull at each mode by the axes that brake, for each axis and mode; shape (k, m)."""
        return np.asarray(np.where(braking, self.pulls, 0.0).sum(axis=0))

    def load(self, braking: NDArray[np.bool_]) -> FloatArray:
        """Return the load with some axes braking, shape (6, m).

        Where an axis brakes for some modes alone, what no mode takes for lack of mass follows with these.
        """
        some = braking.any(axis=1, keepdims=True)
        whole = np.where(some, self.loads, 0.0).sum(axis=0)
        return np.asarray(self.coasting + whole - self.carried @ self.pull(some & ~braking))

    def instant(
        self,
        load: FloatArray,
        swing: FloatArray,
        further: FloatArray,
        lag: FloatArray,
        braking: NDArray[np.bool_],
        means: Means = (),
    ) -> Instant:
        """Return the instant in which some axes brake."""
        return Instant(
            kind="axes",
            load=load,
            swing=swing,
            further=further,
            lag=lag,
            carried=self.carried,
            means=means,
            near=self.samples,
            after=self.after,
            motion=lambda: self.motion(braking),
        )


def drift(load: FloatArray, time: FloatArray, damped: FloatArray) -> FloatArray:
    """The swing by a load that changes on its way, at places even in time, at most, shape (k, m).

    Args:
        load: As each mode takes it, shape (places, k, m).
        time: From the first to the last [s], shape (m,).
        damped: Angular frequencies of the modes [rad/s], shape (k, 1).
    """
    change = np.diff(load, axis=0)
    travel = np.abs(change).sum(axis=0)
    corners = np.abs(change[0]) + np.abs(np.diff(change, axis=0)).sum(axis=0) + np.abs(change[-1])
    return np.asarray(np.minimum(travel, BENT * len(change) * corners / np.maximum(damped * time, 4e-300)))


def averaged(ring: FloatArray, turning: FloatArray, span: FloatArray) -> FloatArray:
    """The largest mean of a swing of some amplitude and angular frequency over a time, of the amplitude's shape."""
    return np.asarray(ring * np.minimum(1.0, 2.0 / np.maximum(turning * span, 2e-300)))
