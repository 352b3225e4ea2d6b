"""A rigid body on springs that has swung out of its place: what that changes of its load, and its motion with it.

Springs and dampers stay linear in the way and the turn of a pivot fixed to the body; everything else is Newton and
Euler for the body where it is. Samples are the last axis.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.poses import skew
from gripmargin.kernels.core import kernel
from gripmargin.kernels.oscillator import FADED, ComplexArray
from gripmargin.kernels.wrench import cross

ROUNDS: Final = 12  # over a window, until what the swing adds to the load stays as it is
SAME: Final = 1e-4  # of the largest load: by how little

Feedback = Callable[[slice, FloatArray, FloatArray, FloatArray], FloatArray]


def displaced_load(
    mass: float,
    com: FloatArray,
    inertia: FloatArray,
    pivot: FloatArray,
    frame: FloatArray,
    way: tuple[FloatArray, FloatArray, FloatArray],
    carried: FloatArray,
    *,
    in_turns: bool,
) -> FloatArray:
    """Return what a linear swing leaves out of the load of a body that it has moved, up to the square of its turn.

    The forces act at the moved centre of mass, which the frame's rotation carries along (Coriolis and centripetal
    terms), the body's inertia turns with it, and it has a rotation of its own. Springs that are linear in the rotation
    vector give the moment ``tau + theta x tau / 2``, springs that are linear in turns about x, y and z, one after the
    other, another one (power is the same in all coordinates); that is taken off the load.

    Args:
        mass: [kg].
        com: Centre of mass [m], shape (3,).
        inertia: About it [kg m^2], shape (3, 3).
        pivot: Where springs and body meet [m], shape (3,).
        frame: Gravity less the acceleration of the origin [m/s^2], angular velocity and acceleration of the frame,
            its axes, shape (3, 3, n).
        way: Translation of the origin and turn as the linear swing has them, their rate, and their second derivative,
            shape (6, n) each.
        carried: Stiffness times that way, shape (6, n).
        in_turns: Whether the springs are linear in turns one after the other; else in the rotation vector.

    Returns:
        What adds to the load, reduced to the origin as if the body were in its place, shape (6, n).
    """
    about_pivot, about_arm, about_com = skew(pivot), skew(com - pivot), skew(com)
    compiled = kernel("displaced_load")
    if compiled is not None:
        out, samples = np.empty((6, way[0].shape[1])), way[0].shape[1]
        body = np.array([mass]), com, inertia, com - pivot, about_pivot, about_arm, about_com
        compiled((samples, in_turns), (*body, frame, *way, carried), (out,))
        return out
    at, arm = pivot[:, None], (com - pivot)[:, None]
    shift, rate, bend = (x[:3] - about_pivot @ x[3:] for x in way)
    turn, spin, spin_up = (x[3:] for x in way)
    felt, omega, alpha = frame
    tau = carried[3:] - about_pivot @ carried[:3]

    straight = felt + about_com @ alpha + cross(omega, about_com @ omega) - bend + about_arm @ spin_up
    straight *= mass
    linear = about_arm @ straight - inertia @ (alpha + spin_up) - cross(omega, inertia @ omega)

    if in_turns:
        springs = np.stack([np.zeros_like(tau[0]), -turn[0] * tau[2], turn[0] * tau[1] - turn[1] * tau[0]])
        apart = _apart(turn, turn), 2.0 * _apart(turn, spin), 2.0 * (_apart(turn, spin_up) + _apart(spin, spin))
        turn, spin, spin_up = turn + apart[0], spin + apart[1], spin_up + apart[2]
    else:
        springs = 0.5 * cross(turn, tau)
    own, turning = spin + 0.5 * cross(turn, spin), spin_up + 0.5 * cross(turn, spin_up)
    moved = turned(turn, arm)
    place, speed = at + shift + moved, cross(own, moved)
    force = felt - cross(alpha, place) - cross(omega, cross(omega, place)) - 2.0 * cross(omega, rate + speed)
    force = mass * (force - bend - cross(turning, moved) - cross(own, speed))
    moment = cross(moved, force) - euler(inertia, turn, omega + own, alpha + cross(omega, own) + turning)

    extra = force - straight
    return np.concatenate([extra, moment - linear - springs + about_pivot @ extra])


def _apart(one: FloatArray, other: FloatArray) -> FloatArray:
    """Half of what three turns, one after the other, differ from their rotation vector (Baker, Campbell, Hausdorff).

    Bilinear and symmetric, shape (3, n).
    """
    products = [one[j] * other[k] + one[k] * other[j] for j, k in ((1, 2), (0, 2), (0, 1))]
    return 0.25 * np.stack([products[0], -products[1], products[2]])


def euler(inertia: FloatArray, turn: FloatArray, omega: FloatArray, alpha: FloatArray) -> FloatArray:
    """Return the change of angular momentum of a body turned by a rotation vector, ``I alpha + omega x I omega``."""
    back_omega, back_alpha = turned(-turn[:, None], np.stack([omega, alpha], axis=1)).swapaxes(0, 1)
    momentum = inertia @ back_omega
    return turned(turn, inertia @ back_alpha + cross(back_omega, momentum))


def turned(turn: FloatArray, vector: FloatArray) -> FloatArray:
    """Return vectors turned by rotation vectors (Rodrigues), shape (3, ..., n)."""
    square = (turn * turn).sum(axis=0)
    angle = np.sqrt(square)
    with np.errstate(invalid="ignore", divide="ignore"):
        first = np.where(angle > 1e-4, np.sin(angle) / angle, 1.0 - square / 6.0)
        second = np.where(angle > 1e-4, (1.0 - np.cos(angle)) / square, 0.5 - square / 24.0)
    once = cross(turn, vector)
    return vector + first * once + second * cross(turn, once)


def fed_back(
    t: FloatArray,
    load: FloatArray,
    frequency: FloatArray,
    damping: FloatArray,
    start: tuple[FloatArray, FloatArray],
    feedback: Feedback,
    slow: NDArray[np.bool_],
    *,
    hangs: bool,
    strength: float,
) -> tuple[FloatArray, int]:
    """Return what oscillators do whose loads depend on that.

    Window after window the response is worked out as in `gripmargin.kernels.oscillator`, again and again with what it
    adds itself, until that stays as it is (waveform relaxation: Lelarasmee, Ruehli & Sangiovanni-Vincentelli, IEEE
    Trans. CAD 1(3), 1982, from memory).

    Args:
        t: Times [s], increasing, shape (n,).
        load: At the samples, straight between them, shape (modes, n); the response takes its place.
        frequency: Undamped angular frequency [rad/s], rising, shape (modes,).
        damping: Share of critical damping, shape (modes,).
        start: Response and its rate at the first sample, shape (modes,) each.
        feedback: Samples, response, its rate and its second derivative there to what adds to the load; NaN where that
            is not known.
        slow: Which modes are followed; the others follow their load at once, shape (modes,).
        strength: How much the load depends on the response: the less, the longer a window may be [-].
        hangs: Whether the start is one of balance with the load there, to which what adds to it belongs.

    Returns:
        The response, shape (modes, n), and up to which sample, not included, it is known: from there on the rounds do
        not end.
    """
    n, w, z = t.size, frequency[:, None], damping[:, None]
    turn = w * np.sqrt(1.0 - z * z)
    pole = -z * w + 1j * turn
    slow, most = slow[:, None], float(max(load.max(initial=0.0), -load.min(initial=0.0)))
    begin, rate = np.where(slow, start[0][:, None], load[:, :1]), np.where(slow, start[1][:, None], 0.0)
    place, last = begin, np.zeros_like(begin)
    for _ in range(ROUNDS):
        bend = np.where(slow, w * w * (load[:, :1] + last - place) - 2.0 * z * w * rate, 0.0)
        before, last = last, feedback(slice(0, 1), place, rate, bend)
        place = begin + last if hangs else np.where(slow, begin, begin + last)
        if np.array_equal(before, last):
            break
    # Rounds end soon where a window's share of a turn, times the strength, is well below 1.
    soon = 0.1 * 2.0 * np.pi / max(frequency[0] * strength, 1e-9)
    longest = min(soon, FADED / (damping * frequency).max(initial=1e-9))
    size = max(1, int(longest / float(np.median(np.diff(t))))) if n > 1 else 1
    first = 0
    while first < n - 1:
        part = slice(first, min(first + size, n - 1) + 1)
        since = t[part] - t[first]
        fade = np.exp(pole * since)
        more = np.repeat(last, since.size, axis=1)
        for _ in range(ROUNDS):
            total = load[:, part] + more
            found, speed, bend = _answer(total, since, fade, (w, z, turn, pole), (place, rate), slow)
            new = feedback(part, found, speed, bend)
            new[:, :1] = last
            change = float(np.abs(new - more).max())
            more = new
            if not change > SAME * most:  # nan too
                break
        if change <= SAME * most:
            load[:, first : part.stop - 1] = found[:, :-1]
            place, rate, last = found[:, -1:], speed[:, -1:], more[:, -1:]
            first = part.stop - 1
        elif size > 1:
            size //= 2  # the tool's own turning feeds back too, however little the part is turned
        else:
            load[:, first : first + 1] = place
            return load, first + 1
    load[:, -1:] = place
    return load, n


def _answer(
    load: FloatArray,
    since: FloatArray,
    fade: ComplexArray,
    of_mode: tuple[FloatArray, FloatArray, FloatArray, ComplexArray],
    start: tuple[FloatArray, FloatArray],
    slow: NDArray[np.bool_],
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Response, its rate and its second derivative at the samples of a window; shapes (modes, m) and (modes, 1)."""
    compiled = kernel("answer")
    if compiled is not None:
        made = np.empty(load.shape), np.empty(load.shape), np.empty(load.shape)
        compiled(load.shape, (load, since, fade, *of_mode, *start, slow), made)
        return made
    w, z, turn, pole = of_mode
    rise = np.diff(load) / np.diff(since)
    slope = np.concatenate([rise, rise[:, -1:]], axis=1)
    kinks = np.diff(slope, axis=1, prepend=0.0)
    place, speed = kinks * (2.0 * z / w), -kinks
    place[:, :1] = start[0] - load[:, :1] + 2.0 * z / w * slope[:, :1]
    speed[:, :1] = start[1] - slope[:, :1]
    free = np.cumsum((speed - np.conj(pole) * place) / turn / fade, axis=1) * fade
    found = load - 2.0 * z / w * slope + free.imag
    rate = slope + (pole * free).imag
    bend = w * w * (load - found) - 2.0 * z * w * rate
    return np.where(slow, found, load), np.where(slow, rate, 0.0), np.where(slow, bend, 0.0)
