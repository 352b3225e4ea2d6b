"""Programs of known laws, as planners write them: accelerations as polynomials of degree three and less in pieces.

Moves from rest to rest of unit duration, as (durations, polynomials lowest power first); a program has several of them,
the same for all joints, each with its own size.
"""

import numpy as np
from scipy.interpolate import CubicSpline, PPoly


def s_curve(random):
    """Piecewise constant jerk, seven phases or five."""
    jerk = random.uniform(0.05, 0.24)
    steady = random.uniform(0.0, 0.5 - 2 * jerk) * (random.random() < 0.7)
    cruise = 1.0 - 4 * jerk - 2 * steady
    rise, fall = ([0.0, 1.0], [jerk]), ([jerk, -1.0], [0.0])
    lasts = [jerk, steady, jerk, cruise, jerk, steady, jerk]
    laws = [rise[0], rise[1], fall[0], fall[1], [0.0, -1.0], [-jerk], [-jerk, 1.0]]
    kept = [i for i in range(7) if lasts[i] > 1e-9]
    return [lasts[i] for i in kept], [laws[i] for i in kept]


def trapezoid(random):
    """Piecewise constant acceleration: trapezoid or triangle of speed."""
    rise = random.uniform(0.15, 0.4)
    return [rise, 1 - 2 * rise, rise], [[1.0], [0.0], [-1.0]]


def bang_bang_jerk(random):
    """Jerk at its limit, either way."""
    return [0.25, 0.5, 0.25], [[0.0, 1.0], [0.25, -1.0], [-0.25, 1.0]]


def minimum_jerk(random):
    """The polynomial of degree five from rest to rest."""
    return [1.0], [[0.0, 60.0, -180.0, 120.0]]


def cubic(random):
    """The polynomial of degree three from rest to rest: acceleration jumps at both ends."""
    return [1.0], [[6.0, -12.0]]


def blended(random):
    """A steady speed with blends of degree four at both ends."""
    blend = random.uniform(0.1, 0.45)
    return [blend, 1 - 2 * blend, blend], [[0, 1 / blend, -1 / blend**2], [0.0], [0, -1 / blend, 1 / blend**2]]


MOVES = {f.__name__: f for f in (s_curve, trapezoid, bang_bang_jerk, minimum_jerk, cubic, blended)}
LAWS = (*MOVES, "spline")


class Program:
    """A program known at every time: accelerations of each joint as piecewise polynomials."""

    def __init__(self, accelerations):
        self.speeds = [a.antiderivative() for a in accelerations]
        self.places = [v.antiderivative() for v in self.speeds]
        self.accelerations = accelerations
        self.changes = accelerations[0].x

    def at(self, t):
        rows = self.places, self.speeds, self.accelerations
        return tuple(np.column_stack([joint(t) for joint in row]) for row in rows)

    def dense(self, first, last):
        """Times 0.1 ms apart, and both sides of every change."""
        sides = (self.changes[:, None] + [-1e-9, 1e-9]).ravel()
        t = np.concatenate([np.arange(first, last, 1e-4), sides])
        return np.unique(t[(t >= first) & (t <= last)])


def program(law, seed, joints=3, moves=2, least=0.25):
    """A random program of a law: two moves of 0.25 to 1.2 s, accelerations of up to 12 rad/s^2 or m/s^2."""
    random = np.random.default_rng(seed)
    if law == "spline":
        knots = np.concatenate([[0.0], np.cumsum(random.uniform(0.15, 0.6, 6))])
        curve = CubicSpline(knots, random.uniform(-0.5, 0.5, (7, joints)), bc_type="clamped")
        return Program([PPoly(curve.c[:, :, j], knots).derivative(2) for j in range(joints)])
    lasts, laws = [random.uniform(0.05, 0.1)], [np.zeros((4, joints))]
    for _ in range(moves):
        duration = random.uniform(least, 1.2)
        shares, pieces = MOVES[law](random)
        c = np.zeros((4, len(pieces)))
        for k, piece in enumerate(pieces):
            c[: len(piece), k] = piece
        fine = np.linspace(0.0, 1.0, 50) * np.array(shares)[:, None]
        most = np.abs(sum(c[i, :, None] * fine**i for i in range(4))).max()
        size = random.uniform(-12.0, 12.0, joints) / most
        for k, share in enumerate(shares):
            lasts.append(share * duration)
            laws.append(c[:, k, None] * size / duration ** np.arange(4)[:, None])
        lasts.append(random.uniform(0.02, 0.1))
        laws.append(np.zeros((4, joints)))
    breaks = np.concatenate([[0.0], np.cumsum(lasts)])
    c = np.stack(laws, axis=1)[::-1]
    return Program([PPoly(np.ascontiguousarray(c[:, :, j]), breaks) for j in range(joints)])


def samples_of(found, seed, step):
    """Times at which a program is sampled: evenly, from anywhere on."""
    return np.arange(np.random.default_rng(seed).uniform(0.0, step), found.changes[-1], step)
