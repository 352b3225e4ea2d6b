"""Arithmetic of stops: brakes that build up, published stopping data, and the way of a part that comes off."""

from __future__ import annotations

import numpy as np

from gripmargin.base.arrays import FloatArray


def braked(after: FloatArray, ramp: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return what brakes with a rate of 1 have done: deceleration, loss of speed, and loss of way.

    Args:
        after: Time since they began to close [s].
        ramp: Time over which the deceleration builds up [s].
    """
    rising = np.minimum(after, ramp)
    full = after - rising
    if ramp == 0.0:
        return np.ones_like(after), full, full**2 / 2.0
    speed = rising**2 / (2.0 * ramp)
    return rising / ramp, speed + full, rising**3 / (6.0 * ramp) + speed * full + full**2 / 2.0


def braking_time(speed: FloatArray, ramp: float) -> FloatArray:
    """Return the time in which brakes with a rate of 1 take a speed away [s]; see `braked`."""
    return np.where(speed >= ramp / 2.0, speed + ramp / 2.0, np.sqrt(2.0 * ramp * speed))


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
