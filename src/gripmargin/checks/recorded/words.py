"""What the comparison of a recording with its program found, in sentences."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from gripmargin.checks import words
from gripmargin.checks.check import Said, SaidOfFinding
from gripmargin.checks.hold import words as hold_words
from gripmargin.checks.recorded.figures import MoveComparison, RecordedDetails, worst_of
from gripmargin.checks.swing import words as swing_words
from gripmargin.checks.swing.figures import SwingDetails, WorstSwing
from gripmargin.results.findings import CheckResult, Finding

RECORDED = "grip margin over the carry of the recorded motion; times are the program's, samples the recording's"
RECORDED_SWING = "the same with the part swinging on its backing"
ASSUMED = (
    "The recorded motion is judged with the bond that the programmed press leaves.",
    "The recorded motion is what the recording shows: links and gears that yield behind the encoders are not in it.",
    "Shaking that does not stand out from a recording's noise, or is faster than three quarters of its rate, is "
    "taken as none.",
)
JOINTS_BESIDE_POSES = "the recording gives joint values and the program poses of the tool"


def result(found: CheckResult, details: RecordedDetails | SwingDetails) -> Said:
    """Say what the recorded motion comes to."""
    if isinstance(details, SwingDetails):
        return RECORDED_SWING, swing_words.swing_result(found, details)[1]
    return RECORDED, tuple(_lines(details))


def finding(found: Finding, worst: Any, because: Any) -> SaidOfFinding:
    """Say where the recorded motion falls short, with the part swinging or hanging still."""
    say = swing_words.swing_finding if isinstance(worst, WorstSwing) else hold_words.finding
    return say(found, worst, because)


def _lines(details: RecordedDetails) -> Iterator[str]:
    worst = worst_of(details.moves)
    if worst is not None and worst.ratio is not None:
        yield _worst(worst, worst.ratio)
    for move in details.moves:
        yield _move(move, details.joint_unit)
    yield f"{details.source}: its clock leads the program's by {details.offset:.4f} s"
    for note in details.rates:
        yield f"{details.source}: {note[:1].lower()}{note[1:]}"


def _worst(move: MoveComparison, ratio: float) -> str:
    place = f"in move '{move.move}'" if move.move is not None else f"at {move.t:.3f} s"
    more = 100 * (ratio - 1)
    how = f"{more:.0f} % more" if more >= 0.5 else f"{-more:.0f} % less" if more <= -0.5 else "as much"
    return (
        f"{place} the real motion takes {how} of the pads: margin {words.figure(move.recorded)} instead of "
        f"{words.figure(move.programmed)}"
    )


def _move(move: MoveComparison, joint_unit: str) -> str:
    bounds = f"{words.figure(move.recorded_low)} to {words.figure(move.recorded_high)}"
    name = f"move '{move.move}'" if move.move is not None else "carry"
    joint = "" if move.joint_deviation is None else f"{move.joint_deviation:.2g} {joint_unit} at a joint, "
    when = f"{1e3 * abs(move.lag):.1f} ms {'late' if move.lag >= 0 else 'early'}"
    return (
        f"{name}: recorded {words.figure(move.recorded)} ({bounds}), programmed {words.figure(move.programmed)}; "
        f"off its way by {joint}{1e3 * move.tool_deviation:.2g} mm at the tool, {when}"
    )


def too_short(covers: float, span: tuple[float, float], missing: tuple[float, float]) -> str:
    """Say that a recording of a length [s] does not cover the carry, from one time to another [s].

    Args:
        covers: That length [s].
        span: First and last time of the carry [s].
        missing: What is missing at the beginning and at the end of that [s]; nothing above 0: it is too short anyhow.
    """
    ends = [f"the {end} {t:.3f} s" for end, t in zip(("first", "last"), missing, strict=True) if t > 0]
    there = f"{span[0]:.3f} to {span[1]:.3f} s"
    if not ends:
        return f"the recording is {covers:.3f} s long and covers not the whole carry of the program, {there}"
    return f"the recording covers not the whole carry of the program, {there}: {' and '.join(ends)} of it are missing"


def another_motion(misfit: float) -> str:
    """Say that a recording is not of the program."""
    return (
        f"the recording does not follow the program: where they agree best they are {100 * misfit:.0f} % of the way "
        "apart, so it is of another program, another speed, in another order of joints, or does not cover the carry"
    )


def astray(latest: float) -> str:
    """Say that a recording fits only where it does not cover the carry, further than a time [s] away."""
    return (
        f"recording and program agree best more than {latest:g} s away from any place at which the recording covers "
        "the whole carry"
    )


def by_offset(offset: float | None) -> str:
    """Say which offset [s] the job gives."""
    return "" if offset is None else f" (program.recording_offset is {offset:g} s)"


def joint_apart(joint: int, apart: float) -> str:
    """Say that one joint, an index, does not follow the program."""
    return (
        f"joint {joint + 1} does not follow the program ({100 * apart:.0f} % of its way apart): its sign, its zero or "
        "its unit may be another"
    )


def several_runs(runs: int) -> str:
    """Say that a recording holds the program more than once."""
    return (
        f"the recording holds {runs} runs of the program: cut it to one, or say with program.recording_offset which "
        "one is meant"
    )


def parts_late(late: float, latest: float) -> str:
    """Say that parts of a recording are later [s] than a controller may be."""
    return (
        f"parts of the recording are {abs(late):.2f} s {'late' if late > 0 else 'early'}, more than the {latest:g} s "
        "of a controller: it pauses, or runs at another speed, and where its carry begins and ends is not known"
    )


def too_few(samples: int) -> str:
    """Say that a recording has hardly any samples in the carry."""
    return f"the recording has only {samples} samples in the carry"
