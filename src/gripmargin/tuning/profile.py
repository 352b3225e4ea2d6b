"""The fastest time law along a path under rows of limits, by TOPP-RA, and its smooth version.

Pham & Pham, A New Approach to Time-Optimal Path Parameterization based on Reachability Analysis, IEEE Trans.
Robot. 34(3), 2018. The only importer of that library.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError

BESIDE = 1e-9  # [s] from a step of the third derivative to the instant at which it counts on that side
REFERENCE = (
    "Fastest time law on a path: TOPP-RA, Pham & Pham, IEEE Trans. Robot. 34(3), 2018; rows of the pads by chords of "
    "their admissible set."
)


def need_library() -> None:
    """Refuse to retime where the library is missing.

    Raises:
        InputError: With the way to install it.
    """
    try:
        import toppra  # noqa: F401, PLC0415 - half a second, paid only where a program is retimed
    except ImportError as error:
        raise InputError(
            "retiming",
            "no toppra",
            "the library that finds the fastest time law on a path",
            "install it: pip install 'gripmargin[tuning]' on Linux, 'pip install toppra' with a C++ compiler elsewhere",
        ) from error


@dataclass(frozen=True, eq=False, kw_only=True)
class Rows:
    """Limits along a path: ``a u + b x <= 1`` for path acceleration u and squared path speed x, and x <= top.

    Attributes:
        s: Grid of the path parameter, shape (n,).
        a: Shape (n, rows).
        b: Shape (n, rows).
        top: Largest squared path speed, shape (n,).
    """

    s: FloatArray
    a: FloatArray
    b: FloatArray
    top: FloatArray


def fastest_squares(rows: Rows) -> FloatArray | None:
    """Return the squared path speed of the fastest law from rest to rest at every grid point; None: there is none.

    Rows hold at both ends of every interval (the library's interpolation scheme).
    """
    from toppra import algorithm, constraint  # noqa: PLC0415 - half a second, paid only where a program is retimed

    class Given(constraint.LinearConstraint):  # type: ignore[misc]
        """Rows that were worked out before."""

        def __init__(self) -> None:
            super().__init__()
            self.identical = True
            self.dof = 1

        def compute_constraint_params(self, _path: Any, grid: FloatArray, *_: Any, **__: Any) -> tuple[Any, ...]:
            count = rows.a.shape[1]
            bound = np.stack([np.zeros_like(rows.top), rows.top], axis=1)
            both_ends = constraint.linear_constraint.canlinear_colloc_to_interpolate
            none = np.zeros_like(rows.a)
            found = both_ends(rows.a, rows.b, none, np.eye(count), np.ones(count), bound, None, grid, identical=True)
            return (*found[:5], None, bound)

    logger = logging.getLogger("toppra")
    level = logger.level
    logger.setLevel(logging.CRITICAL)  # what it cannot solve is None, and said by us
    try:
        solver = algorithm.TOPPRA([Given()], _line(rows.s), gridpoints=rows.s, solver_wrapper="seidel")
        _, speed, _ = solver.compute_parameterization(0.0, 0.0)
    finally:
        logger.setLevel(level)
    if speed is None or not np.isfinite(speed).all():
        return None
    return np.asarray(speed, dtype=np.float64) ** 2


def _line(s: FloatArray) -> Any:
    """A path of one dimension, for the library's sake: all rows are given."""
    from toppra import interpolator  # noqa: PLC0415 - as above

    class Line(interpolator.AbstractGeometricPath):  # type: ignore[misc]
        """The parameter itself."""

        dof = 1
        path_interval = np.array([s[0], s[-1]])

        def __call__(self, at: Any, order: int = 0) -> FloatArray:
            values = np.asarray(at, dtype=np.float64)[..., None]
            return values if order == 0 else np.full_like(values, 1.0 if order == 1 else 0.0)

    return Line()


@dataclass(frozen=True, eq=False)
class Law:
    """Path parameter over time: constant acceleration between grid points, averaged over a ramp.

    The moving average turns steps of the path acceleration into ramps, which bounds the jerk; it starts and ends
    at rest without acceleration, and takes the length of the ramp longer.

    Attributes:
        s: Grid of the path parameter, shape (n,).
        square: Squared path speed there, 0 at both ends, shape (n,).
        ramp: Over which the acceleration is spread [s].
    """

    s: FloatArray
    square: FloatArray
    ramp: float
    _t: FloatArray = field(init=False, repr=False)
    _speed: FloatArray = field(init=False, repr=False)
    _slope: FloatArray = field(init=False, repr=False)
    _area: FloatArray = field(init=False, repr=False)

    def __post_init__(self) -> None:
        speed = np.sqrt(np.maximum(self.square, 0.0))
        step = 2.0 * np.diff(self.s) / np.maximum(speed[1:] + speed[:-1], 1e-12)
        slope = np.diff(self.square) / (2.0 * np.diff(self.s))
        area = self.s[:-1] * step + speed[:-1] * step**2 / 2 + slope * step**3 / 6
        knots = {
            "_t": np.concatenate([[0.0], np.cumsum(step)]),
            "_speed": speed,
            "_slope": slope,
            "_area": np.concatenate([[0.0], np.cumsum(area)]),
        }
        for name, values in knots.items():
            object.__setattr__(self, name, values)

    @property
    def duration(self) -> float:
        """[s]."""
        return float(self._t[-1]) + self.ramp

    def at(self, t: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return path parameter, its speed and its acceleration at times from the start, each of shape of ``t``."""
        (area0, s0, v0), (area1, s1, v1) = self._plain(t - self.ramp), self._plain(t)
        return (area1 - area0) / self.ramp, (s1 - s0) / self.ramp, (v1 - v0) / self.ramp

    def jerk(self, t: FloatArray) -> FloatArray:
        """Return the third derivative of the path parameter at times from the start, shape of ``t``."""
        return (self._acceleration(t) - self._acceleration(t - self.ramp)) / self.ramp

    @property
    def changes(self) -> FloatArray:
        """Times at which the third derivative steps, from both sides."""
        knots = np.concatenate([self._t, self._t + self.ramp])
        return np.sort(np.concatenate([knots - BESIDE, knots + BESIDE]))

    def _acceleration(self, t: FloatArray) -> FloatArray:
        knots = self._t
        i = np.clip(np.searchsorted(knots, t, side="right") - 1, 0, self._slope.size - 1)
        return np.where((t > 0.0) & (t < knots[-1]), self._slope[i], 0.0)

    def _plain(self, t: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Integral of the parameter, parameter and speed of the law before averaging, at rest before and after."""
        knots, speed, slope, area = self._t, self._speed, self._slope, self._area
        inside = np.clip(t, 0.0, knots[-1])
        i = np.clip(np.searchsorted(knots, inside, side="right") - 1, 0, slope.size - 1)
        h = inside - knots[i]
        s = self.s[i] + h * (speed[i] + h * slope[i] / 2)
        v = speed[i] + h * slope[i]
        whole = area[i] + h * (self.s[i] + h * (speed[i] / 2 + h * slope[i] / 6))
        whole = whole + np.minimum(t, 0.0) * self.s[0] + np.maximum(t - knots[-1], 0.0) * self.s[-1]
        moving = (t > 0.0) & (t < knots[-1])
        return whole, np.where(t >= knots[-1], self.s[-1], s), np.where(moving, v, 0.0)
