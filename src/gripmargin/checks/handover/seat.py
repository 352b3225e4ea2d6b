"""A part that is let go before it is down in its nest, or that is set down so askew that the pads are torn off."""

from __future__ import annotations

import math

from gripmargin.checks.case import Case
from gripmargin.checks.handover import words
from gripmargin.checks.handover.figures import Cause, NeverDown, ReleaseDetails, Seat
from gripmargin.contact.handover import Putdown
from gripmargin.results.findings import CheckResult, Finding, Remedy, exact


def never_down(case: Case, putdown: Putdown) -> tuple[CheckResult, Finding]:
    """Return the failure: the release itself is then not simulated."""
    place, found = case.place(int(putdown.samples[0])), putdown.seat
    if found.seated:
        seat = Seat(seat_height=found.height, seated="askew", seat_tilt=found.tilt)
        cause, text, figures = words.ASKEW, words.level(found.tilt), {"tilt": found.tilt}
    else:
        seat = Seat(seat_height=found.height, seated="above", seat_tilt=found.tilt)
        lower = math.ceil(1e5 * found.height - 1e-6) / 1e5
        cause, text, figures = words.NOT_DOWN, words.lower(lower), {"lower": lower}
    details = ReleaseDetails(seat=seat, course=None)
    result = exact("release", 0.0, case.job.targets.release, place, details, measure="ratio")
    end = float(case.job.trajectory.t[putdown.samples[-1]])
    return result, Finding(
        check="release",
        verdict=result.verdict,
        start=place.t,
        end=end,
        spans=((place.t, end),),
        worst=NeverDown(at=place, seat=seat),
        because=Cause(cause=cause),
        remedies=(Remedy(action="seat", text=text, figures=figures),),
    )
