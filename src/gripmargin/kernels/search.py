"""Search by halving."""

from __future__ import annotations

from collections.abc import Callable


def furthest(holds: Callable[[float], bool], start: float, end: float, *, halvings: int = 24) -> float:
    """Return the value furthest from start towards end that was found to hold, where start does and end does not.

    With a start above the end that is the least value that is enough, else the largest that is still right.

    Args:
        holds: Whether a value is right; from one end to the other it changes once.
        start: A value that is right.
        end: One that need not be.
        halvings: How often the way between them is halved.
    """
    for _ in range(halvings):
        middle = (start + end) / 2
        start, end = (middle, end) if holds(middle) else (start, middle)
    return start
