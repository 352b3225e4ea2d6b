"""Does the part stay on in the motion that the robot really made, and where is that worse than the program?

A recording is placed in time beside the program, its moves and its carry follow from the program's, and the grip
margin over the carry is worked out anew from what was recorded, with the error of the recording.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.checks import words
from gripmargin.checks.case import Case, work_out
from gripmargin.checks.hold.check import findings_over
from gripmargin.checks.hold.pieces import margin_figure
from gripmargin.checks.hold.use import Use, pad_use
from gripmargin.checks.recorded.alignment import LATEST, Alignment, align, at, within
from gripmargin.checks.recorded.lateness import lags_of, pieces_late
from gripmargin.contact.loads import part_load, standing_load
from gripmargin.motion.chain import Chain
from gripmargin.motion.program import ProgramMotion
from gripmargin.motion.trajectory import JointTrajectory, Trajectory
from gripmargin.results.findings import CheckResult, Finding, NotChecked, Outcome, Verdict, judge
from gripmargin.workcell.job import Job

SAME: Final = 0.1  # misfit over the way from which a recording is not taken for one of the program
OTHER: Final = 0.7  # the same of one joint by itself; a wrong sign makes 2, a joint that stands still 1
FEWEST: Final = 20  # recorded samples in the carry
AROUND: Final = 1.0  # [s] recorded samples before and after the carry that help to find rates
TURN: Final = 0.1  # [m] arm at which a turn of the tool counts as a way, where poses are compared


@dataclass(frozen=True, kw_only=True)
class MoveComparison:
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


@dataclass(frozen=True, kw_only=True)
class MotionComparison:
    """A recorded motion beside the programmed one.

    Attributes:
        result: Of the check: verdict, margin, its bounds, and sentences.
        findings: Stretches of the recorded motion that fall short or cannot be decided.
        moves: Move by move, in the order of the program; none where the recording could not be placed.
        offset: Time of the recording's clock less that of the program [s], or None.
    """

    result: CheckResult
    findings: tuple[Finding, ...] = ()
    moves: tuple[MoveComparison, ...] = ()
    offset: float | None = None

    @property
    def verdict(self) -> Verdict:
        """Of the check."""
        return self.result.verdict

    @property
    def worst(self) -> MoveComparison | None:
        """The move with the least recorded margin."""
        loaded = [move for move in self.moves if move.recorded is not None]
        return min(loaded, key=lambda move: move.recorded or 0.0) if loaded else None


def compare_motion(job: Job, recording: Trajectory | None = None, *, offset: float | None = None) -> MotionComparison:
    """Compare what a robot did with its program, as grip margins over the carry.

    Args:
        job: The program with its part, pads and targets.
        recording: What was recorded; None: the job's own.
        offset: Time by which the recording's clock leads the program's [s]; None: it is found.

    Raises:
        InputError: There is no recording, or something does not fit together.
    """
    if recording is not None:
        job = replace(job, recording=recording, recording_offset=offset)
    if job.recording is None:
        raise InputError("recording", "none", "what was recorded, here or in the job")
    case = work_out(job)
    if case.carried.size == 0:
        raise InputError(f"job '{job.name}'", "no carried sample", "a phase of kind carry with samples")
    programmed, _ = pad_use(case)
    margin = np.full(job.trajectory.samples, np.nan)
    margin[programmed.samples] = programmed.margin()
    return _compare(case, margin)


def check_recorded(case: Case, margin: FloatArray) -> Outcome:
    """Judge the recording of a job.

    Args:
        case: The job worked out.
        margin: Grip margin of the program at every sample, NaN where the part is not carried, shape (n,).
    """
    if case.job.recording is None:
        return Outcome(
            not_checked=(NotChecked(check="recorded", reason="the job has no recording of what the robot did"),)
        )
    found = _compare(case, margin)
    assumed = (
        "The recorded motion is judged with the bond that the programmed press leaves.",
        "The recorded motion is judged without the part's swing on its pads.",
    )
    return Outcome(results=(found.result,), findings=found.findings, assumed=assumed if found.moves else ())


def _compare(case: Case, margin: FloatArray) -> MotionComparison:
    job, recording = case.job, case.job.recording
    assert recording is not None  # noqa: S101 - the callers have looked
    joints = isinstance(job.trajectory, JointTrajectory) and isinstance(recording, JointTrajectory)
    if isinstance(recording, JointTrajectory) and not joints:
        return _undecided(case, "the recording gives joint values and the program poses of the tool")
    carried = job.trajectory.t[case.carried]
    span = (float(carried[0]), float(carried[-1]))
    places, seen = _places(case, recording, joints)
    found = align(job.trajectory.t, places, recording.t, seen, span, offset=job.recording_offset)
    if found is None:
        covers = recording.t[-1] - recording.t[0]
        return _undecided(
            case,
            f"the recording covers {covers:.3f} s and not the whole carry of the program, {span[1] - span[0]:.3f} s "
            f"from {span[0]:.3f} s on" + _by_offset(job),
        )
    if not found.misfit <= SAME:
        return _undecided(
            case,
            f"the recording does not follow the program: where they agree best they are {100 * found.misfit:.0f} % of "
            "the way apart, so it is of another program, another speed, in another order of joints, or does not cover "
            "the carry" + _by_offset(job),
        )
    if found.astray:
        return _undecided(
            case,
            f"recording and program agree best more than {LATEST:g} s away from any place at which the recording "
            "covers the whole carry" + _by_offset(job),
        )
    if joints and (found.apart > OTHER).any():
        joint = int(np.nanargmax(found.apart))
        return _undecided(
            case,
            f"joint {joint + 1} does not follow the program ({100 * found.apart[joint]:.0f} % of its way apart): its "
            "sign, its zero or its unit may be another",
        )
    if found.runs > 1:
        return _undecided(
            case,
            f"the recording holds {found.runs} runs of the program: cut it to one, or say with "
            "program.recording_offset which one is meant",
        )
    return _judged(case, recording, found, margin, (places, seen), joints=joints)


def _by_offset(job: Job) -> str:
    return "" if job.recording_offset is None else f" (program.recording_offset is {job.recording_offset:g} s)"


def _places(case: Case, recording: Trajectory, joints: bool) -> tuple[FloatArray, FloatArray]:
    """What is compared: joint values, or tool positions with the tool's axes as ways at an arm."""
    if isinstance(recording, JointTrajectory) and isinstance(case.job.trajectory, JointTrajectory) and joints:
        return case.job.trajectory.q, recording.q
    assert not isinstance(recording, JointTrajectory)  # noqa: S101 - the caller has looked
    motion = case.motion.at
    return tuple(  # type: ignore[return-value]
        np.hstack([position, TURN * rotation.reshape(len(position), 9)])
        for position, rotation in ((motion.position, motion.rotation), (recording.position, recording.rotation))
    )


def _undecided(case: Case, reason: str) -> MotionComparison:
    return MotionComparison(
        result=CheckResult(
            check="recorded",
            verdict=Verdict.UNDECIDED,
            value=None,
            low=None,
            high=None,
            target=case.job.targets.hold,
            at=None,
            text=reason,
            lines=(reason,),
        )
    )


def _judged(
    case: Case,
    recording: Trajectory,
    found: Alignment,
    margin: FloatArray,
    compared: tuple[FloatArray, FloatArray],
    *,
    joints: bool,
) -> MotionComparison:
    job = case.job
    program = job.trajectory
    t = recording.t - found.offset
    lags = lags_of(case, t, compared)
    pieces = pieces_late(case, t, compared)
    if not float(np.abs(pieces).max()) < LATEST:
        late = float(pieces[np.abs(pieces).argmax()])
        how = "late" if late > 0 else "early"
        return _undecided(
            case,
            f"parts of the recording are {abs(late):.2f} s {how}, more than the {LATEST:g} s of a controller: it "
            "pauses, or runs at another speed, and where its carry begins and ends is not known",
        )
    late = max((abs(lag) for lag in (*lags.values(), *pieces)), default=0.0)
    hangs = _hangs(case, t, late)
    keep = _stretch(t, hangs)
    if int(hangs[keep].sum()) < FEWEST:
        return _undecided(case, f"the recording has only {int(hangs[keep].sum())} samples in the carry")
    nearest = np.clip(np.searchsorted(program.t, t, side="right") - 1, 0, program.samples - 1)
    labels = None if program.moves is None else tuple(program.moves[i] for i in nearest[keep])
    real = _recorded_case(case, _cut(recording, t, keep, labels), hangs[keep])
    use, _ = pad_use(real)
    low, high = float(use.high.max()), float(use.low.max())
    with np.errstate(divide="ignore"):
        verdict = judge(float(1.0 / np.float64(low)), float(1.0 / np.float64(high)), job.targets.hold)
    worst = int(np.argmax(use.high if verdict is Verdict.UNDECIDED else use.value))
    away = compared[1][keep], _at_lag(case, real, lags, compared[0])
    moves = _moves(case, real, use, margin, lags, away if joints else None)
    result = CheckResult(
        check="recorded",
        verdict=verdict,
        value=margin_figure(float(use.value.max())),
        low=margin_figure(low),
        high=margin_figure(high),
        target=job.targets.hold,
        at=real.place(int(use.samples[worst])),
        details={
            "offset": found.offset,
            "misfit": found.misfit,
            "rates": list(real.motion.notes),
            "moves": [asdict(move) for move in moves],
        },
        text="grip margin over the carry of the recorded motion; times are the program's, samples the recording's",
    )
    comparison = MotionComparison(
        result=result,
        findings=tuple(findings_over(real, "recorded", use, job.targets.hold)),
        moves=moves,
        offset=found.offset,
    )
    return replace(
        comparison, result=replace(result, lines=_lines(comparison, found, recording, real.motion, case.job.robot))
    )


def _hangs(case: Case, t: FloatArray, late: float) -> NDArray[np.bool_]:
    """In which recorded samples the part hangs on the pads: as in the program, and as much longer as moves are late."""
    air = case.airborne.astype(np.int8)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], air, [0]]))).reshape(-1, 2)
    program_t = case.job.trajectory.t
    out = np.zeros(t.size, dtype=bool)
    for first, end in edges:
        out |= within(t, (float(program_t[first]) - late, float(program_t[end - 1]) + late))
    return out


def _stretch(t: FloatArray, hangs: NDArray[np.bool_]) -> NDArray[np.bool_]:
    carried = t[hangs]
    return within(t, (float(carried[0]) - AROUND, float(carried[-1]) + AROUND)) if carried.size else hangs


def _cut(recording: Trajectory, t: FloatArray, keep: NDArray[np.bool_], labels: tuple[str, ...] | None) -> Trajectory:
    if isinstance(recording, JointTrajectory):
        qd, qdd = (None if rate is None else rate[keep] for rate in (recording.qd, recording.qdd))
        return replace(recording, t=t[keep], q=recording.q[keep], qd=qd, qdd=qdd, moves=labels)
    return replace(
        recording, t=t[keep], position=recording.position[keep], rotation=recording.rotation[keep], moves=labels
    )


def _recorded_case(case: Case, recording: Trajectory, hangs: NDArray[np.bool_]) -> Case:
    """The case with the recorded motion in place of the program's, on the same pads with the same bond."""
    job = replace(
        case.job, trajectory=recording, recording=None, recording_offset=None, phases=(), pick=None, nest=None
    )
    motion = ProgramMotion.of(job.trajectory, job.robot, stamps=job.stamps)
    return replace(
        case,
        job=job,
        motion=motion,
        load=part_load(job.part, motion.at, job.gravity, job.air_density),
        standing=standing_load(job.part, motion.at, job.gravity),
        airborne=hangs,
    )


def _at_lag(case: Case, real: Case, lags: dict[str | None, float], places: FloatArray) -> FloatArray:
    """The program's places at the recorded samples, each move as late as it was recorded."""
    return at(_shifted(real, lags), case.job.trajectory.t, places)


def _shifted(real: Case, lags: dict[str | None, float]) -> FloatArray:
    recording = real.job.trajectory
    labels: tuple[str | None, ...] = recording.moves or (None,) * recording.samples
    return recording.t - np.array([lags.get(label, 0.0) for label in labels])


def _moves(
    case: Case,
    real: Case,
    use: Use,
    margin: FloatArray,
    lags: dict[str | None, float],
    joints: tuple[FloatArray, FloatArray] | None,
) -> tuple[MoveComparison, ...]:
    program, recording = case.job.trajectory, real.job.trajectory
    tool = np.linalg.norm(
        real.motion.at.position - at(_shifted(real, lags), program.t, case.motion.at.position), axis=1
    )
    names: list[str | None] = list(dict.fromkeys(program.moves[i] for i in case.carried)) if program.moves else [None]
    of_program = np.array(program.moves) if program.moves else None
    of_recording = np.array(recording.moves) if recording.moves else None
    out = []
    for name in names:
        ours = case.carried if of_program is None else case.carried[of_program[case.carried] == name]
        k = np.arange(use.samples.size) if of_recording is None else np.flatnonzero(of_recording[use.samples] == name)
        if k.size == 0 or ours.size == 0:
            continue
        worst = int(k[np.argmax(use.value[k])])
        with np.errstate(divide="ignore"):
            asked = float(np.max(1.0 / margin[ours]))
        value = float(use.value[worst])
        samples = use.samples[k]
        out.append(
            MoveComparison(
                move=name,
                programmed=margin_figure(asked),
                recorded=margin_figure(value),
                recorded_low=margin_figure(float(use.high[k].max())),
                recorded_high=margin_figure(float(use.low[k].max())),
                ratio=value / asked if asked > 0 and np.isfinite(asked) else None,
                t=float(recording.t[use.samples[worst]]),
                lag=lags.get(name, 0.0),
                joint_deviation=None
                if joints is None
                else float(np.abs(joints[0][samples] - joints[1][samples]).max()),
                tool_deviation=float(tool[samples].max()),
            )
        )
    return tuple(out)


def _lines(
    found: MotionComparison, placed: Alignment, recording: Trajectory, motion: ProgramMotion, robot: Chain | None
) -> tuple[str, ...]:
    unit = "rad" if robot is None or all(robot.revolute) else "rad or m" if any(robot.revolute) else "m"
    lines = [sentence] if (sentence := _where(found)) else []
    for move in found.moves:
        bounds = f"{words.figure(move.recorded_low)} to {words.figure(move.recorded_high)}"
        name = f"move '{move.move}'" if move.move is not None else "carry"
        joint = "" if move.joint_deviation is None else f"{move.joint_deviation:.2g} {unit} at a joint, "
        when = f"{1e3 * abs(move.lag):.1f} ms {'late' if move.lag >= 0 else 'early'}"
        lines.append(
            f"{name}: recorded {words.figure(move.recorded)} ({bounds}), programmed {words.figure(move.programmed)}; "
            f"off its way by {joint}{1e3 * move.tool_deviation:.2g} mm at the tool, {when}"
        )
    lines.append(f"{recording.source}: its clock leads the program's by {placed.offset:.4f} s")
    lines += [f"{recording.source}: {note[:1].lower()}{note[1:]}" for note in motion.notes]
    return tuple(lines)


def _where(found: MotionComparison) -> str:
    worst = found.worst
    if worst is None or worst.ratio is None:
        return ""
    place = f"in move '{worst.move}'" if worst.move is not None else f"at {worst.t:.3f} s"
    more = 100 * (worst.ratio - 1)
    how = (
        f"takes {more:.0f} % more" if more >= 0.5 else f"takes {-more:.0f} % less" if more <= -0.5 else "takes as much"
    )
    return (
        f"{place} the real motion {how} of the pads: margin {words.figure(worst.recorded)} instead of "
        f"{words.figure(worst.programmed)}"
    )
