"""The moment the part leaves its tray: weight and break-away force on the bond, at rest."""

from __future__ import annotations

import math

import numpy as np

from gripmargin.checks.advice import Trials
from gripmargin.checks.case import Case
from gripmargin.checks.handover import words
from gripmargin.checks.handover.figures import Cause, LiftOffDetails, WorstLiftOff
from gripmargin.checks.hold.explain import load_figures, spot_on_pad
from gripmargin.checks.hold.remedies import strengthened
from gripmargin.contact.handover import Pickup
from gripmargin.kernels.utilisation import peak_utilisation
from gripmargin.results.findings import CheckResult, Finding, Remedy, Verdict, exact, finite


def lift_off(case: Case, pickup: Pickup, trials: Trials) -> tuple[CheckResult, tuple[Finding, ...]]:
    """Return the result, and what falls short."""
    sample, target = int(pickup.samples[-1]), case.job.targets.hold
    away = pickup.pick.break_away
    pull = pickup.relative.rotation[-1].T @ np.array([0.0, 0.0, -away])  # the tray keeps the part down
    load = case.standing[:, sample] + np.concatenate([pull, np.cross(case.job.part.com, pull)])
    maps, owner = case.backing.edge_maps(case.strengths)
    used, point, _, _ = peak_utilisation(maps, load[:, None])
    margin = math.inf if used[0] <= 0 else 1.0 / float(used[0])
    place, on_pads = case.place(sample), load_figures(load)
    result = exact("lift_off", margin, target, place, LiftOffDetails(break_away=away, load=on_pads))
    if result.verdict is Verdict.PASS:
        return result, ()
    figure = finite(margin)
    stronger = trials.tried(strengthened(case.job, float(used[0]), target))
    return result, (
        Finding(
            check="lift_off",
            verdict=result.verdict,
            start=place.t,
            end=place.t,
            spans=((place.t, place.t),),
            worst=WorstLiftOff(
                at=place,
                margin=figure,
                margin_low=figure,
                spot=spot_on_pad(case.backing, int(owner[point[0]]), case.backing.edge_points()[point[0]]),
                load=on_pads,
            ),
            because=Cause(cause=words.LIFT_OFF_CAUSE),
            remedies=(stronger or Remedy(action="none", text=words.NO_BOND),),
            share=(figure or 0.0) / target,
        ),
    )
