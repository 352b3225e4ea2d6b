"""A part that is let go before it is down in its nest, or that is set down so askew that the pads are torn off."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from gripmargin.checks.advice import Change, Trials, ordered
from gripmargin.checks.case import Case
from gripmargin.checks.changes import deeper, levelled
from gripmargin.checks.handover import words
from gripmargin.checks.handover.figures import Cause, NeverDown, ReleaseDetails, Seat
from gripmargin.contact.putdown import Putdown
from gripmargin.results.findings import CheckResult, Finding, Remedy, Verdict, exact
from gripmargin.workcell.job import Job


def never_down(case: Case, putdown: Putdown, trials: Trials) -> tuple[CheckResult, Finding]:
    """Return the failure, open where a face bowed otherwise is let go: the release itself is then not simulated."""
    place, found = case.place(int(putdown.samples[0])), putdown.seat
    lower = 0.0 if found.seated else math.ceil(1e5 * found.height - 1e-6) / 1e5
    if found.seated:
        seat = Seat(seat_height=found.height, seated="askew", seat_tilt=found.tilt)
        cause, text, figures = words.ASKEW, words.level(found.tilt), {"tilt": found.tilt}
    else:
        seat = Seat(seat_height=found.height, seated="above", seat_tilt=found.tilt)
        cause, text, figures = words.NOT_DOWN, words.lower(lower), {"lower": lower}
    remedy = Remedy(action="seat", text=text, figures=figures)
    details = ReleaseDetails(seat=seat, course=None)
    result = exact("release", 0.0, case.job.targets.release, place, details, measure="ratio")
    if putdown.may_be_down:
        result = replace(result, verdict=Verdict.UNDECIDED)
        cause = words.HELD_BEFORE["bowed"][0]
    end = float(case.job.trajectory.t[putdown.samples[-1]])
    return result, Finding(
        check="release",
        verdict=result.verdict,
        start=place.t,
        end=end,
        spans=((place.t, end),),
        worst=NeverDown(at=place, seat=seat),
        because=Cause(cause=cause),
        remedies=ordered([trials.tried([Change(remedy=remedy, job=lambda: _seated(case, putdown, lower))])]),
    )


def _seated(case: Case, putdown: Putdown, lower: float) -> Job:
    """The job with a nest that lies as the advice has it: nearer by a way [m], or parallel to the pads."""
    nest = putdown.nest
    if lower > 0:
        return replace(case.job, nest=replace(nest, face=deeper(nest.face, lower)))
    sample = int(putdown.samples[0])
    tool = case.motion.at.take(sample)
    rotation = tool.rotation[0]
    place = tool.position[0] + rotation @ case.whole.centre
    normal = np.stack([f.patch.area * f.patch.rotation[:, 2] for f in putdown.faces]).sum(axis=0)
    axis = np.cross(nest.face[:3, 2], -rotation @ normal)
    size = float(np.linalg.norm(axis))
    if not size > 0:
        return case.job
    face = levelled(nest.face, place, axis / size, putdown.seat.tilt)
    return replace(case.job, nest=replace(nest, face=face))
