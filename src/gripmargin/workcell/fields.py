"""Checks of single values, shared by what a person describes."""

from __future__ import annotations

import numpy as np

from gripmargin.errors import InputError


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
