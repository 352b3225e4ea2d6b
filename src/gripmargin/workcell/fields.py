"""Checks of single values, shared by what a person describes."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from gripmargin.base.arrays import FloatArray, frozen
from gripmargin.base.errors import InputError


def positive(value: float, where: str, unit: str, *, zero: bool = False) -> float:
    """Return a number above 0 (or 0 itself), or raise an InputError that names it and its unit."""
    number = float(value)
    if not np.isfinite(number) or number < 0 or (number == 0 and not zero):
        raise InputError(where, f"{number:g}", f"a value {'of 0 or more' if zero else 'above 0'} [{unit}]")
    return number


def put(target: object, name: str, value: object) -> None:
    """Store a checked value in a frozen dataclass."""
    object.__setattr__(target, name, value)


def optional(target: object, key: str, owner: str, unit: str, *, zero: bool = False) -> None:
    """Check a quantity that may be left out (None)."""
    value = getattr(target, key)
    if value is not None:
        put(target, key, positive(value, f"{owner}.{key}", unit, zero=zero))


def inertia_matrix(value: ArrayLike, where: str) -> FloatArray:
    """Return the inertia of a body about its centre of mass [kg m^2], shape (3, 3), or raise an InputError.

    Args:
        value: Shape (3, 3), or (6,): xx yy zz xy xz yz.
        where: What to call it.

    Raises:
        InputError: An inertia that no body can have.
    """
    given = np.asarray(value, dtype=np.float64)
    if given.shape == (6,):
        xx, yy, zz, xy, xz, yz = given
        given = np.array([[xx, xy, xz], [xy, yy, yz], [xz, yz, zz]])
    inertia = frozen(given, (3, 3), where)
    scale = float(np.abs(inertia).max())
    if not np.allclose(inertia, inertia.T, rtol=0, atol=1e-9 * scale):
        raise InputError(where, "a matrix that is not symmetric", "a symmetric one")
    a, b, c = np.linalg.eigvalsh(inertia)
    if a < -1e-9 * scale or scale == 0.0:
        raise InputError(where, f"principal moments {a:.3g}, {b:.3g}, {c:.3g}", "moments above 0")
    if a + b < c * (1 - 1e-6):
        raise InputError(
            where,
            f"principal moments {a:.3g}, {b:.3g}, {c:.3g}: the largest exceeds the sum of the others",
            "moments that a body can have (each at most the sum of the other two)",
            "check the order xx yy zz xy xz yz, the units and the signs",
        )
    return inertia
