"""Figures and places in words, as the reports print them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from gripmargin.checks.margin import WorstMargin
from gripmargin.results.findings import CheckResult, Finding, Place, Verdict


def figure(value: float | None) -> str:
    """A margin, ratio or share: two decimals, a dash where there is none."""
    if value is None or not np.isfinite(value):
        return "-"
    return f"{value:.2f}" if abs(value) < 100 else f"{value:.3g}" if not 1e3 <= abs(value) < 1e6 else f"{value:.0f}"


def plain(value: float, digits: int) -> str:
    """A number with so many decimals and never a minus zero."""
    return f"{round(value, digits) + 0.0:.{digits}f}"


def stress(pascal: float) -> str:
    """A stress in N/cm^2, the unit of pad data."""
    return f"{plain(pascal / 1e4, 2)} N/cm^2"


def spot(point: Sequence[float], azimuth: float) -> str:
    """A place on the pads [m] and its azimuth about the tool's z axis [rad]."""
    return f"x {plain(1e3 * point[0], 1)}, y {plain(1e3 * point[1], 1)} mm ({np.degrees(azimuth):.0f} deg about tool z)"


def load(force: Sequence[float], moment: Sequence[float]) -> str:
    """A load at the tool origin [N, N m]."""
    fx, fy, fz = (plain(f, 2) for f in force)
    mx, my, mz = (plain(1e3 * m, 0) for m in moment)
    force_text, moment_text = f"x {fx}, y {fy}, z {fz} N", f"x {mx}, y {my}, z {mz} N mm"
    return f"force {force_text} (z pulls off), moment {moment_text} about the tool frame's origin"


def spans(times: Sequence[tuple[float, float]], most: int = 3) -> str:
    """Stretches of time [s]."""
    shown = ", ".join(f"{a:.3f} to {b:.3f} s" for a, b in times[:most])
    left = len(times) - most
    return f"{shown} and {left} more span{'s' if left > 1 else ''}" if left > 0 else shown


def in_move(move: str | None) -> str:
    """Which move, where there are labels."""
    return "" if move is None else f" in move '{move}'"


def when(place: Place) -> str:
    """A sample: its time, and its move where there are labels."""
    return f"{place.t:.3f} s{in_move(place.move)}"


def elsewhere(check: CheckResult) -> str:
    """Where the least value that a result may have is, if not where its best estimate is; with a space before it."""
    if check.low_at is None or check.at is None or check.low_at.sample == check.at.sample:
        return ""
    return f" at {when(check.low_at)}"


def move_first(move: str | None) -> str:
    """Which move, at the head of a sentence; nothing where there are no labels."""
    return "" if move is None else f"move '{move}', "


def slow(subject: str, factor: float) -> str:
    """Say by which speed factor something is slow enough."""
    return f"slow {subject} to {factor:.2f} of its speed (its time times {1 / factor:.2f})"


def motion(move: str | None, start: float, end: float) -> str:
    """Say which motion is meant: a move, or where there are no labels the time [s] from one rest to the next."""
    return f"the motion from {start:.3f} to {end:.3f} s" if move is None else f"move '{move}'"


def where_and_how_much(finding: Finding, worst: WorstMargin) -> str:
    """The head of a sentence about a stretch: which move, when, and how far its margin goes."""
    margin = f"margin {figure(worst.margin)}"
    if finding.verdict is not Verdict.FAIL:
        margin += f", may be as low as {figure(worst.margin_low)}" if worst.margin_low else ", may be anything"
    return f"{move_first(worst.at.move)}{spans(finding.spans)}: {margin}"


def exact_rates_decide(*, poses: bool) -> str:
    """Say that no positions decide it; of a program of poses or of joint values."""
    return f"{_give_rates(poses)}: the check is decided only where they have next to no error, as was tried"


def _give_rates(poses: bool) -> str:
    rates, places = ("velocities", "poses") if poses else ("joint speeds", "positions")
    return f"give {rates} and accelerations with the {places}"


def closer_rates_decide(part: float, at: float, error: tuple[float, float], *, poses: bool) -> str:
    """Say how well accelerations have to be known.

    Args:
        part: Of the error with which the check is decided.
        at: When it counts [s].
        error: Of the acceleration of the tool's origin [m/s^2] and of its turn [rad/s^2] now.
        poses: Whether the program is one of poses.
    """
    line, turn = error
    return (
        f"with accelerations known to {part * line:.2g} m/s^2 and {part * turn:.2g} rad/s^2 (now {line:.2g} and "
        f"{turn:.2g} at {at:.3f} s) the check is decided, as was tried: {_give_rates(poses)}"
    )


def ranked(parts: Mapping[str, float]) -> str:
    """Shares in words, largest first; small ones are left out."""
    order = sorted(parts.items(), key=lambda item: -item[1])
    said = [f"{name} {100 * share:.0f} %" for name, share in order if share >= 0.05]
    relief = [f"{name} relieves {-100 * share:.0f} %" for name, share in order if share <= -0.05]
    return ", ".join(said + relief) or "nothing in particular"
