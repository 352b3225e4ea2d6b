"""A recorded motion beside the programmed one, as figures: move by move, and over the carry."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from gripmargin.base.arrays import FloatArray
from gripmargin.results.findings import CheckResult, Finding, Verdict, overall
from gripmargin.results.record import Record, aside


@dataclass(frozen=True, kw_only=True)
class MoveComparison(Record):
    """One move, as programmed and as recorded.

    Attributes:
        move: Its label; None where the program has none.
        programmed: Worst margin of the program in its carried samples; None where nothing pulls.
        recorded: The same of the recording.
        recorded_low: Least value that may have.
        recorded_high: Largest value it may have.
        ratio: What the real motion asks of the pads over what the program asks; above 1 is worse.
        t: Time of the worst recorded sample, by the program's clock [s].
        lag: By which the recorded motion is late [s].
        joint_deviation: Largest distance of a joint from its programmed way, lag taken out [rad or m]; None where
            poses are compared.
        tool_deviation: The same of the tool's origin [m].
    """

    move: str | None
    programmed: float | None
    recorded: float | None
    recorded_low: float | None
    recorded_high: float | None
    ratio: float | None
    t: float
    lag: float
    joint_deviation: float | None
    tool_deviation: float


def worst_of(moves: Iterable[MoveComparison]) -> MoveComparison | None:
    """Return the move with the least recorded margin; None where nothing pulls in any."""
    loaded = [move for move in moves if move.recorded is not None]
    return min(loaded, key=lambda move: move.recorded or 0.0, default=None)


@dataclass(frozen=True, eq=False, kw_only=True)
class RecordedDetails(Record):
    """What is known of a recording beyond its margin.

    Attributes:
        offset: Time of its clock less that of the program [s].
        misfit: Root mean square of what is left between both, over that of the program about its mean [-].
        rates: How stamps, speeds and accelerations came about, in sentences.
        moves: Move by move.
        source: Where the recording is from.
        joint_unit: Of a joint's deviation.
    """

    offset: float
    misfit: float
    rates: tuple[str, ...]
    moves: tuple[MoveComparison, ...]
    source: str = aside()
    joint_unit: str = aside()


@dataclass(frozen=True, kw_only=True)
class MotionComparison:
    """A recorded motion beside the programmed one.

    Attributes:
        result: With the part at rest on the pads: verdict, margin, its bounds, and sentences.
        swing: The same with the part swinging on them; None where the recording could not be placed.
        findings: Stretches of the recorded motion that fall short or cannot be decided.
        moves: Move by move, in the order of the program; none where the recording could not be placed.
        offset: Time of the recording's clock less that of the program [s], or None.
        least: Least margin that the recorded motion may have at every sample of the program, by the result's name; NaN
            outside the recorded carry, each shape (n,).
        loads: What the pads carry then [N, N m], likewise, each shape (6, n).
    """

    result: CheckResult
    swing: CheckResult | None = None
    findings: tuple[Finding, ...] = ()
    moves: tuple[MoveComparison, ...] = ()
    offset: float | None = None
    least: Mapping[str, FloatArray] = field(default_factory=dict, repr=False, compare=False)
    loads: Mapping[str, FloatArray] = field(default_factory=dict, repr=False, compare=False)

    @property
    def results(self) -> tuple[CheckResult, ...]:
        """All there are."""
        return (self.result,) if self.swing is None else (self.result, self.swing)

    @property
    def verdict(self) -> Verdict:
        """The worst of its results."""
        return overall(result.verdict for result in self.results)

    @property
    def worst(self) -> MoveComparison | None:
        """The move with the least recorded margin."""
        return worst_of(self.moves)
