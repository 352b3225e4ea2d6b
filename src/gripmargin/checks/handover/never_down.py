"""A part that is let go before it is down in its nest, or that is set down so askew that the pads are torn off."""

from __future__ import annotations

import math

import numpy as np

from gripmargin.checks.case import Case
from gripmargin.contact.handover import Putdown
from gripmargin.results.findings import CheckResult, Finding, Remedy, Verdict


def never_down(case: Case, putdown: Putdown, target: float) -> tuple[CheckResult, Finding]:
    """Return the failure: the release itself is then not simulated."""
    place = case.place(int(putdown.samples[0]))
    seat = putdown.seat
    if seat.seated:
        askew = f"askew by {np.degrees(seat.tilt):.2f} deg when it is set down: the pads are torn off at one side"
        text, line, cause = f"the part is {askew}", f"the part is {askew}", "the part is set down askew"
        remedy = Remedy(
            action="seat",
            text=f"bring the tool parallel to the nest (now {np.degrees(seat.tilt):.2f} deg off), or correct nest.face",
            figures={"tilt": seat.tilt},
        )
    else:
        high = f"{1e3 * seat.height:.2f} mm above its nest"
        text = f"the part is {high} when it is let go"
        line, cause = f"the part is never closer than {high}", "the part is not down in its nest"
        lower = math.ceil(1e5 * seat.height - 1e-6) / 1e5
        remedy = Remedy(
            action="seat",
            text=f"go {1e3 * lower:.2f} mm lower before the release, or correct nest.face",
            figures={"lower": lower},
        )
    span = (place.t, float(case.job.trajectory.t[putdown.samples[-1]]))
    result = CheckResult(
        check="release",
        verdict=Verdict.FAIL,
        value=0.0,
        low=0.0,
        high=0.0,
        target=target,
        at=place,
        details={"seat_height": seat.height, "seat_tilt": seat.tilt},
        text="restraint of the part in its nest over what the pads demand, at the worst instant",
        lines=(line,),
        measure="ratio",
    )
    finding = Finding(
        check="release",
        verdict=Verdict.FAIL,
        start=span[0],
        end=span[1],
        spans=(span,),
        worst={
            "t": place.t,
            "sample": place.sample,
            "move": place.move,
            "seat_height": seat.height,
            "seat_tilt": seat.tilt,
        },
        because={"cause": cause},
        remedies=(remedy,),
        text=text,
    )
    return result, finding
