"""What tuning a program comes to: speeds, moves, a retimed program, a better grasp; and why not more."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from gripmargin.base.arrays import FloatArray
from gripmargin.results.choice import Choice
from gripmargin.results.findings import Verdict
from gripmargin.results.report import Report
from gripmargin.workcell.job import Job

SCHEMA = "gripmargin-tuning/1"


@dataclass(frozen=True, kw_only=True)
class Limit:
    """What keeps a program from being faster.

    Attributes:
        by: Name of a check, "joint speed", "joint acceleration", "joint jerk", or "range" where nothing does.
        t: Time in the program as it is now [s], or None.
        sample: Its sample, or None.
        move: Label of its move, or None.
        pad: Pad that reaches its target there, or None.
        joint: Joint that reaches its limit there, counted from 1, or None.
        causes: Shares of the causes in the use of the pad at the speed found, see `loads.CAUSES`.
        text: All this in words.
    """

    by: str
    text: str
    t: float | None = None
    sample: int | None = None
    move: str | None = None
    pad: str | None = None
    joint: int | None = None
    causes: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, eq=False, kw_only=True)
class Curve:
    """Margin over speed.

    Attributes:
        speed: Factors on the speed of the whole program [-], shape (k,).
        ratio: Least margin over the carry, over its target, errors of the rates included [-], shape (k,).
    """

    speed: FloatArray
    ratio: FloatArray


@dataclass(frozen=True, eq=False, kw_only=True)
class Override:
    """One factor on the speed of the whole program.

    Attributes:
        factor: The largest found with which the program passes every check; None where there is none.
        closed_form: What the pads and joints alone would allow, before the whole program was checked.
        limit: What keeps it from being larger.
        curve: Margin over speed.
        cycle_now: Time of the program [s].
        cycle_then: With the factor [s], or None.
        job: The job at that speed, or None.
        report: What the checker says of it; without a factor, of the slowest program tried.
        rows: Its moves at that speed, none of them kept; none without a factor.
    """

    factor: float | None
    closed_form: float
    limit: Limit
    curve: Curve
    cycle_now: float
    cycle_then: float | None
    job: Job | None
    report: Report | None
    rows: tuple[Move, ...] = ()


def saved(now: float, then: float | None) -> tuple[float | None, float | None]:
    """Return the gain in a time, in the unit it is in and in per cent of it; below 0 where it gets longer.

    Args:
        now: As it is.
        then: What it becomes; None: it is not known, and neither is the gain.
    """
    return (None, None) if then is None else (now - then, 100.0 * (now - then) / now)


@dataclass(frozen=True, kw_only=True)
class Setting:
    """The speeds of a stretch as a robot's program takes them.

    Attributes:
        percent: Of the programmed speed [%].
        tool_speed: Largest speed of the tool's origin [m/s].
        tool_acceleration: Its largest acceleration [m/s^2].
        joint: The fastest joint, counted from 1; None in a program of poses.
        joint_speed: Its largest speed [rad/s, or m/s where it slides], or None.
        joint_slides: Whether it slides.
        acceleration_time: Time in which that joint, or the tool, gets up to its largest speed [s].
        braking_time: Time in which it comes to rest from there [s].
    """

    percent: float
    tool_speed: float
    tool_acceleration: float
    joint: int | None
    joint_speed: float | None
    joint_slides: bool
    acceleration_time: float
    braking_time: float


@dataclass(frozen=True, kw_only=True)
class Move:
    """A stretch between rests.

    Attributes:
        moves: Labels of the moves in it; more than one where they blend into each other; empty without labels.
        start: Its first time now [s].
        end: Its last time now [s].
        factor: On its speed [-]; 1 where it is kept.
        time_then: [s].
        limit: What keeps it from being faster; None where it is kept.
        kept: Why it is not tuned; empty where it is.
        setting: Its speeds as a robot's program takes them; None where it stands still, has a new time law,
            or the program does not pass.
    """

    moves: tuple[str, ...]
    start: float
    end: float
    factor: float
    time_then: float
    limit: Limit | None
    kept: str = ""
    setting: Setting | None = None

    @property
    def time_now(self) -> float:
        """[s]."""
        return self.end - self.start

    @property
    def name(self) -> str:
        """The labels, or the times."""
        return " + ".join(self.moves) or f"{self.start:.3f} to {self.end:.3f} s"


@dataclass(frozen=True, eq=False, kw_only=True)
class Moves:
    """A factor for each move between rests.

    Attributes:
        rows: The moves in order.
        cycle_now: Time of the program [s].
        cycle_then: With the factors [s].
        passed: Whether the program with these factors passes every check.
        job: The job with these factors.
        report: What the checker says of it.
    """

    rows: tuple[Move, ...]
    cycle_now: float
    cycle_then: float
    passed: bool
    job: Job
    report: Report


@dataclass(frozen=True, eq=False, kw_only=True)
class Retimed:
    """The program with a new time law on the path of its carry.

    Attributes:
        rows: The stretches between rests; the factor is time now over time then.
        cycle_now: Time of the program [s].
        cycle_then: [s].
        passed: Whether it passes every check.
        job: The job with the new trajectory.
        report: What the checker says of it, at `rate` or finer.
        rate: Samples a second [1/s].
        deviation: Largest distance of the new path from the given one [rad or m].
        ramp: Time over which the path acceleration is spread, by stretch [s], shape (stretches,).
        reached: Least margin over its target over the retimed carry [-].
        by: "retiming", or "moves" or "override" where that was as fast.
        rounds: How often the program was checked before it was given out.
        positions: What the checker says of it as positions alone, every 4 ms and to 1e-4 deg or 1 um; None: no program.
        by_shape: Whether that is by the law which the positions of its moves show; else it is by the samples alone.
    """

    rows: tuple[Move, ...]
    cycle_now: float
    cycle_then: float
    passed: bool
    job: Job
    report: Report
    rate: float
    deviation: float
    ramp: tuple[float, ...]
    reached: float
    by: str
    rounds: int
    positions: Report | None = None
    by_shape: bool = False


@dataclass(frozen=True, kw_only=True)
class Standstill:
    """Where gravity alone is too much: no speed helps.

    Attributes:
        check: Whose target it misses.
        t: [s].
        sample: Index.
        move: Label, or None.
        margin: At standstill [-].
        target: [-].
        tilt: Least angle by which the tool would have to be tilted for the target [rad]; None: none helps.
        tilt_axis: About this axis in the tool frame, shape (3,), or None.
        best_margin: At the best tilt of all [-].
        text: All this in words.
    """

    check: str
    t: float
    sample: int
    move: str | None
    margin: float
    target: float
    tilt: float | None
    tilt_axis: tuple[float, float, float] | None
    best_margin: float
    text: str


@dataclass(frozen=True, kw_only=True)
class Grasp:
    """A better grasp for the program at its present speed.

    Attributes:
        ratio_now: Least margin over its target [-].
        shift: Of the pads on the part along the tool's x and y [m].
        ratio_shifted: With that shift [-].
        region: Bounds of the shift: least x, largest x, least y, largest y [m].
        tilt: Of the tool during the carry that helps most, up to `tuning.grasp.STEEPEST` [rad].
        tilt_axis: About this axis in the tool frame, shape (3,).
        ratio_tilted: With that tilt, for the same path of the centre of mass [-].
        area_factor: On the area of every pad that the targets need at the present speed; None: none that was tried.
        text: All this, each in a sentence.
        choices: Pads of all materials at hand, the smallest that carry; the best first.
    """

    ratio_now: float
    shift: tuple[float, float]
    ratio_shifted: float
    region: tuple[float, float, float, float]
    tilt: float
    tilt_axis: tuple[float, float, float]
    ratio_tilted: float
    area_factor: float | None
    text: tuple[str, ...]
    choices: tuple[Choice, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Tuning:
    """What tuning a job comes to.

    Attributes:
        job: Name of the job.
        verdict: Pass where every program asked for was found and passes; fail where none can be, undecided where
            nobody can tell.
        override: One factor for the whole program; None where gravity alone is too much.
        moves: A factor for each move; None likewise.
        retimed: A new time law; None where it was not asked for, or likewise.
        standstill: Where gravity alone is too much; None where it is not.
        grasp: A better grasp, or None where it was not asked for.
        blocked: What keeps the program from passing at any speed, in sentences.
        notes: What was taken for granted.
        references: Published sources of the methods that ran.
    """

    job: str
    verdict: Verdict
    override: Override | None = None
    moves: Moves | None = None
    retimed: Retimed | None = None
    standstill: Standstill | None = None
    grasp: Grasp | None = None
    blocked: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    references: tuple[str, ...] = ()

    @property
    def passed(self) -> bool:
        """Whether every program asked for was found and passes."""
        return self.verdict is Verdict.PASS

    def figures(self) -> dict[str, Any]:
        """Return the factors by name of the move, for scripts."""
        rows = self.moves.rows if self.moves else ()
        return {row.name: row.factor for row in rows}
