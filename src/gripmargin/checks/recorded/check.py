"""Does the part stay on in the motion that the robot really made, and where is that worse than the program?

A recording is placed in time beside the program, its moves and its carry follow from the program's, and the grip
margin over the carry is worked out anew from what was recorded, with the error of the recording.
"""

from __future__ import annotations

from dataclasses import replace

from gripmargin.base.errors import InputError
from gripmargin.checks import premises
from gripmargin.checks.case import Case, work_out
from gripmargin.checks.check import Check, Judged
from gripmargin.checks.recorded import words
from gripmargin.checks.recorded.figures import MotionComparison, RecordedDetails
from gripmargin.checks.recorded.judging import SWINGING, compared
from gripmargin.checks.recorded.placing import placed
from gripmargin.checks.swing.figures import SwingDetails
from gripmargin.checks.swing.use import swing_target
from gripmargin.motion.polled import unpolled
from gripmargin.motion.trajectory import Trajectory
from gripmargin.results.findings import Outcome, undecided
from gripmargin.workcell.holds import single
from gripmargin.workcell.job import Job


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
    seen, job = _recording_of(job), single(job)
    case = work_out(job)
    if case.carried.size == 0:
        raise InputError(f"job '{job.name}'", "no carried sample", "a phase of kind carry with samples")
    found = _compare(case, seen)
    said = RECORDED.worded(Outcome(results=found.results, findings=found.findings))
    result, *swing = said.results
    return replace(found, result=result, swing=swing[0] if swing else None, findings=said.findings)


def run(case: Case) -> Outcome:
    """Judge the recording of a job.

    Args:
        case: The job worked out, with a recording.
    """
    found = _compare(case, _recording_of(case.job))
    assumed = words.ASSUMED if found.moves else ()
    return Outcome(
        results=found.results, findings=found.findings, assumed=assumed, least=found.least, loads=found.loads
    )


def _recording_of(job: Job) -> Trajectory:
    if job.recording is None:
        raise InputError("recording", "none", "what was recorded, here or in the job")
    return job.recording


def _compare(case: Case, recording: Trajectory) -> MotionComparison:
    recording = unpolled(recording, case.job.stamps)
    found = case.job.unplaced or placed(case, recording)
    comparison = found if isinstance(found, str) else compared(case, recording, found)
    if isinstance(comparison, str):
        return MotionComparison(result=undecided("recorded", case.job.targets.hold, comparison))
    return comparison


RECORDED = Check(
    name="recorded",
    question="Does the part stay on in the motion that the robot really made, and where is it worse than programmed?",
    judged=(
        Judged(
            name="recorded",
            target=lambda job: job.targets.hold if job.recording else None,
            details=RecordedDetails,
            rests_on=premises.HOLDING,
        ),
        Judged(
            name=SWINGING,
            target=lambda job: swing_target(job) if job.recording else None,
            details=SwingDetails,
            rests_on=premises.RECORDED,
        ),
    ),
    run=run,
    result_words=words.result,
    finding_words=words.finding,
    needs=lambda job: None if job.recording else "the job has no recording of what the robot did",
)
