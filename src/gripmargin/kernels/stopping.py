"""Arithmetic of stops: braking axes, published stopping data, and a part that swings when the robot brakes.

The part swings on its backing in up to six modes. Each answers a change of load with a free vibration of no more than a
bound that holds whenever within its period the change comes:

- a step starts an amplitude of its own size and overshoots by exp(-zeta pi / sqrt(1 - zeta^2)) of it;
- a rise in a straight line over a time t overshoots by at most 2 / (omega_d t) of it, for its transient is that of
  two corners of slope 1/t, each of amplitude 1 / omega_d;
- a pulse that is over within a time t moves a mode by at most omega t / sqrt(1 - zeta^2) of its size, its impulse.

Source: response of one degree of freedom to a step, a ramp and a pulse (Chopra, Dynamics of Structures, ch. 4, from
memory); the bounds are closed forms. Rings of several modes, or of several changes, are added as if in phase.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray


def step_overshoot(damping: float) -> float:
    """Return by which share of a step a damped mode swings beyond it: 1 without damping."""
    return float(np.exp(-damping * np.pi / np.sqrt(1.0 - damping**2)))


def overshoot(omega: FloatArray, damping: float, rise: float | FloatArray) -> FloatArray:
    """Return by which share of a change of load each mode swings beyond it, at most.

    Args:
        omega: Natural frequencies [rad/s], shape (k,).
        damping: Share of critical damping, below 1.
        rise: Time over which the load changes in a straight line [s], 0 for a step; broadcast against ``omega``.
    """
    slowness = omega * np.sqrt(1.0 - damping**2) * np.asarray(rise)
    return np.minimum(step_overshoot(damping), 2.0 / np.maximum(slowness, 2e-300))


def mean_of_step(omega: FloatArray, damping: float, start: FloatArray, end: FloatArray) -> FloatArray:
    """Return the share of a step that a mode at rest has not followed yet, in the mean over some time.

    After the step that share is ``exp(-zeta omega t) (cos omega_d t + zeta/sqrt(1 - zeta^2) sin omega_d t)`` (Chopra,
    ch. 4, from memory), whose mean is a closed form.

    Args:
        omega: Natural frequencies [rad/s], broadcast against the times.
        damping: Share of critical damping, below 1.
        start: Begin of the time since the step [s], 0 or more.
        end: Its end; where it is the begin, the share is that of the instant.
    """
    root = np.sqrt(1.0 - damping**2)
    pole = omega * (-damping + 1j * root)
    size = 1.0 - 1j * damping / root
    span = end - start
    begun = size * np.exp(pole * np.maximum(start, 0.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = begun * np.expm1(pole * span) / (pole * span)
    return np.asarray(np.where(np.abs(pole * span) < 1e-9, begun.real, mean.real))


def braked_axes(
    q: FloatArray, qd: FloatArray, rates: FloatArray, after: FloatArray
) -> tuple[FloatArray, FloatArray, NDArray[np.bool_]]:
    """Return where axes are that brake on their own, each at a constant rate until it rests.

    Args:
        q: Positions when the brakes close, shape (n, joints).
        qd: Speeds then, shape (n, joints).
        rates: Braking rate of each axis, above 0, shape (joints,).
        after: Time since the brakes closed [s], shape (n,).

    Returns:
        Positions, speeds, and whether each axis still moves, each of shape (n, joints).
    """
    stop = np.abs(qd) / rates
    t = np.minimum(after[:, None], stop)
    sign = np.sign(qd)
    return q + qd * t - 0.5 * sign * rates * t**2, qd - sign * rates * t, stop > after[:, None]


def pulse_area(pulls: FloatArray, ends: FloatArray) -> FloatArray:
    """Return the time integral of the size of a sum of pulses that begin together and end one after the other.

    Args:
        pulls: Size and sign of each pulse, shape (pulses, k, n).
        ends: How long each lasts [s], shape (pulses, n).

    Returns:
        Shape (k, n).
    """
    order = np.argsort(ends, axis=0)
    sizes = np.take_along_axis(pulls, order[:, None], axis=0)
    steps = np.diff(np.take_along_axis(ends, order, axis=0), axis=0, prepend=0.0)
    left = np.cumsum(sizes[::-1], axis=0)[::-1]  # of those that have not ended
    return np.asarray((np.abs(left) * steps[:, None]).sum(axis=0))


def mean_rates(
    speed: FloatArray, time: FloatArray, distance: FloatArray | None, full: float, ramp: float
) -> FloatArray:
    """Return the deceleration that a stop shows, in full speeds per second.

    From the time it is the mean, from the distance that of a steady deceleration over it; braking is not steady, and
    the larger counts. With a ramp t the deceleration a is reached after it: v = a (T - t/2), and
    s = v^2/2a + v t/2 - a t^2/24 (closed form).

    Args:
        speed: Share of the full speed from which it stops.
        time: Stopping time T [s].
        distance: Stopping distance s [rad or m], or None.
        full: Full speed [rad/s or m/s]; counts with the distance alone.
        ramp: Time over which the deceleration builds up [s].
    """
    found = speed / (time - ramp / 2.0)
    if distance is None:
        return np.asarray(found)
    v = speed * full
    rest = distance - v * ramp / 2.0
    return np.maximum(found, v**2 / (rest + np.sqrt(rest**2 + (v * ramp) ** 2 / 12.0)) / full)


def between_published(
    axes: tuple[FloatArray, FloatArray], table: FloatArray, speed: FloatArray, load: float
) -> FloatArray:
    """Return a published figure between the speeds and loads it was measured at, bilinearly.

    Outside the speeds, and above the loads, the nearest counts. Below the lightest load the line through the two
    lightest is followed down, never up and to no less than a tenth: a lighter load stops sooner.

    Args:
        axes: Speeds and loads, each rising, of shapes (s,) and (k,).
        table: Times or distances, shape (s, k).
        speed: Share of full speed, shape (n,).
        load: Share of the rated load.

    Returns:
        Shape (n,).
    """
    speeds, loads = axes
    at_load = np.array([np.interp(load, loads, row) for row in table])
    if load < loads[0] and loads.size > 1:
        slope = (table[:, 1] - table[:, 0]) / (loads[1] - loads[0])
        lower = table[:, 0] - np.maximum(slope, 0.0) * (loads[0] - load)
        at_load = np.maximum(lower, 0.1 * table[:, 0])
    return np.asarray(np.interp(speed, speeds, at_load))


def free_fall(velocity: FloatArray, height: float, gravity: float) -> tuple[FloatArray, float, float]:
    """Return where a thrown body meets a floor, without air.

    Args:
        velocity: When it comes off [m/s], z up, shape (3,).
        height: Of the body above the floor [m], 0 or more.
        gravity: [m/s^2], above 0.

    Returns:
        Way along the floor [m], shape (2,), time of fall [s], and speed at the floor [m/s].
    """
    up = float(velocity[2])
    impact_down = np.sqrt(up**2 + 2.0 * gravity * height)
    time = float((up + impact_down) / gravity)
    return velocity[:2] * time, time, float(np.hypot(np.hypot(*velocity[:2]), impact_down))
