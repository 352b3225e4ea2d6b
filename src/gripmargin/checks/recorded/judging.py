"""The recorded motion of a robot, judged on the pads and with the bond of its program, and compared move by move."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.advice import Trials
from gripmargin.checks.case import Case, motion_of
from gripmargin.checks.hold.check import findings_over
from gripmargin.checks.hold.letting_go import settled
from gripmargin.checks.hold.use import pad_use
from gripmargin.checks.margin import margin_figure, margin_result
from gripmargin.checks.recorded import words
from gripmargin.checks.recorded.alignment import LATEST, SAME, at, within
from gripmargin.checks.recorded.figures import MotionComparison, MoveComparison, RecordedDetails
from gripmargin.checks.recorded.lateness import lags_of, pieces_late
from gripmargin.checks.recorded.placing import Placed, carried_moves, way_of
from gripmargin.checks.swing import check as swing
from gripmargin.checks.swing.use import swing_target, swing_use
from gripmargin.checks.use import Use, inverse
from gripmargin.motion.chain import Chain
from gripmargin.motion.holes import losses
from gripmargin.motion.trajectory import Trajectory
from gripmargin.results.findings import CheckResult, Verdict
from gripmargin.workcell.process import timed

FEWEST: Final = 20  # recorded samples in the carry
SWINGING: Final = "swing_as_run"  # name of the result
AROUND: Final = 1.0  # [s] recorded samples before and after the carry that help to find rates


def compared(case: Case, recording: Trajectory, placed: Placed) -> MotionComparison | str:
    """Judge a recording, and compare it with its program.

    Args:
        case: The job.
        recording: What the robot did.
        placed: Both in time.

    Returns:
        The comparison, without sentences; or why there is none, in a sentence.
    """
    lags, pieces = lags_of(case, placed), pieces_late(case, placed)
    latest = float(pieces[np.abs(pieces).argmax()])
    if not abs(latest) < LATEST:
        return words.parts_late(latest, LATEST)
    late = max(abs(lag) for lag in (*lags.values(), *pieces))
    hangs = _hangs(case, placed, late)
    keep = _with_neighbours(placed.t, hangs)
    if hangs.sum() < FEWEST:
        return words.too_few(int(hangs.sum()))
    real = _recorded_case(case, _cut(recording, placed, keep), hangs[keep], late)
    target = case.job.targets.hold
    use = real.shared(pad_use)[0]
    use = settled(real, use, real.load[:, use.samples], target)
    moves = _moves(case, real, lags, placed, keep)
    details = RecordedDetails(
        offset=placed.alignment.offset,
        misfit=placed.alignment.misfit,
        rates=(*(recording.notes[-1:] if recording.timing else ()), *real.motion.notes),
        moves=moves,
        source=recording.source,
        joint_unit=_joint_unit(case.job.robot),
    )
    carry, wanted = real.shared(swing_use), swing_target(case.job)
    swinging = margin_result(real, SWINGING, carry.use, wanted, swing.details_of(carry))
    undecided = swinging.verdict is not Verdict.FAIL
    hanging, rocking = (_trials(case, recording, placed, name) for name in ("recorded", SWINGING))
    uses = {"recorded": (use, real.load[:, use.samples]), SWINGING: (carry.use, carry.load[:, carry.use.samples])}
    by_program = {name: _by_program(case, real, *each) for name, each in uses.items()}
    return MotionComparison(
        result=margin_result(real, "recorded", use, target, details),
        swing=swinging,
        findings=(
            *findings_over(real, use, target, hanging, moves=False),
            *swing.findings_over(real, carry, wanted, rocking, undecided=undecided, moves=False),
        ),
        moves=moves,
        offset=placed.alignment.offset,
        least={name: least for name, (least, _) in by_program.items()},
        loads={name: load for name, (_, load) in by_program.items()},
    )


def _by_program(case: Case, real: Case, use: Use, load: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The least margin that a recording may have at every sample of the program, of the recorded samples next to it.

    With it what the pads carry there, from that at the samples of the use, shape (6, m); NaN where nothing is recorded.
    """
    t, recorded, high = case.job.trajectory.t, real.job.trajectory.t[use.samples], use.high
    after = np.clip(np.searchsorted(recorded, t), 1, recorded.size - 1)
    worst = np.where(high[after - 1] > high[after], after - 1, after)
    program = np.searchsorted(t, recorded).clip(1, t.size - 1)
    order = np.argsort(high, kind="stable")
    own = np.array(worst)
    own[(program - (recorded - t[program - 1] < t[program] - recorded))[order]] = order  # the last one stays
    worst = np.where(high[own] > high[worst], own, worst)
    within = (t >= recorded[0]) & (t <= recorded[-1])
    return np.where(within, inverse(high[worst]), np.nan), np.where(within, load[:, worst], np.nan)


def _trials(case: Case, recording: Trajectory, placed: Placed, name: str) -> Trials:
    """Changes of the pads, with the recording as it is: at another speed the robot would do something else."""

    def results(changed: Case) -> Iterator[CheckResult]:
        found = compared(changed, recording, placed)
        if not isinstance(found, str):
            yield from found.results

    return Trials(case, results, name)


def _joint_unit(robot: Chain | None) -> str:
    return "rad" if robot is None or all(robot.revolute) else "rad or m" if any(robot.revolute) else "m"


def _hangs(case: Case, placed: Placed, late: float) -> NDArray[np.bool_]:
    """In which recorded samples the part hangs on the pads: as in the program, and as much longer as moves are late.

    A program that ends with the part on the pads leaves it there: the arm may ring after its last sample. So the part
    hangs on for as long as the robot stays near where the program leaves it.
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[False], case.airborne, [False]]).astype(np.int8))).reshape(-1, 2)
    t, program_t, out = placed.t, case.job.trajectory.t, np.zeros(placed.t.size, dtype=bool)
    for first, end in edges:
        out |= within(t, (float(program_t[first]) - late, float(program_t[end - 1]) + late))
    if case.airborne[-1]:
        left = np.linalg.norm(placed.recorded - placed.programmed[-1], axis=1) > SAME * way_of(case, placed)
        after = t > program_t[-1] + late
        out |= after & ~np.maximum.accumulate(after & left)
    return out


def _with_neighbours(t: FloatArray, hangs: NDArray[np.bool_]) -> NDArray[np.bool_]:
    carried = t[hangs]
    return within(t, (float(carried[0]) - AROUND, float(carried[-1]) + AROUND)) if carried.size else hangs


def _cut(recording: Trajectory, placed: Placed, keep: NDArray[np.bool_]) -> Trajectory:
    """Some samples of a recording, by the program's clock and with its moves."""
    t = placed.t[keep]
    moves = None if placed.labels is None else tuple(placed.labels[i] for i in np.flatnonzero(keep))
    return replace(recording.taken(keep, t=t), moves=moves)


def _recorded_case(case: Case, recording: Trajectory, hangs: NDArray[np.bool_], late: float) -> Case:
    """The case with the recorded motion in place of the program's, on the same pads with the same bond."""
    job, first, last = case.job, recording.t[0], recording.t[-1]
    forces = [each for force in job.process for each in timed(force, job.trajectory, job.nest, late)]
    job = replace(
        job,
        trajectory=recording,
        recording=None,
        recording_offset=None,
        phases=(),
        nest=None,
        process=tuple(force for force in forces if force.span and force.span[0] < last and force.span[1] > first),
    )
    motion = motion_of(job)
    motion = replace(motion, doubts=(*motion.doubts, *losses(recording.t)))
    return case.moved(motion, job=job, airborne=hangs, recorded=True)


def _moves(
    case: Case, real: Case, lags: dict[str | None, float], placed: Placed, keep: NDArray[np.bool_]
) -> tuple[MoveComparison, ...]:
    """Compare move by move; a move without samples in either is left out."""
    planned, use = case.shared(pad_use)[0], real.shared(pad_use)[0]
    joint, tool = _deviations(case, real, lags, placed, keep)
    out = []
    for name in carried_moves(case):
        ours = _in_move(case.job.trajectory, planned.samples, name)
        theirs = _in_move(real.job.trajectory, use.samples, name)
        if ours.size == 0 or theirs.size == 0:
            continue
        worst = int(theirs[np.argmax(use.value[theirs])])
        asked, found = float(planned.value[ours].max()), float(use.value[worst])
        samples = use.samples[theirs]
        out.append(
            MoveComparison(
                move=name,
                programmed=margin_figure(asked),
                recorded=margin_figure(found),
                recorded_low=margin_figure(float(use.high[theirs].max())),
                recorded_high=margin_figure(float(use.low[theirs].max())),
                ratio=found / asked if asked > 0 and np.isfinite(asked) else None,
                t=float(real.job.trajectory.t[use.samples[worst]]),
                lag=lags.get(name, 0.0),
                joint_deviation=float(joint[samples].max()) if placed.joints else None,
                tool_deviation=float(tool[samples].max()),
            )
        )
    return tuple(out)


def _in_move(trajectory: Trajectory, samples: NDArray[np.intp], name: str | None) -> NDArray[np.intp]:
    """Which of some samples belong to a move, indices into them; all of them where moves have no labels."""
    if trajectory.moves is None:
        return np.arange(samples.size)
    return np.flatnonzero(np.array(trajectory.moves)[samples] == name)


def _deviations(
    case: Case, real: Case, lags: dict[str | None, float], placed: Placed, keep: NDArray[np.bool_]
) -> tuple[FloatArray, FloatArray]:
    """How far places and tool are from their programmed ways at the recorded samples, each move as late as it was."""
    program, recording = case.job.trajectory, real.job.trajectory
    labels: tuple[str | None, ...] = recording.moves or (None,) * recording.samples
    t = recording.t - np.array([lags.get(label, 0.0) for label in labels])
    places = np.abs(placed.recorded[keep] - at(t, program.t, placed.programmed)).max(axis=1)
    return places, np.linalg.norm(real.motion.at.position - at(t, program.t, case.motion.at.position), axis=1)
