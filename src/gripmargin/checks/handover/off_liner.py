"""The moment a label leaves its liner: the front of the peel crosses it, and the weaker interface opens first."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import partial

import numpy as np

from gripmargin.checks.advice import Change, Trials, ordered
from gripmargin.checks.case import Case
from gripmargin.checks.handover import lift_off_words as words
from gripmargin.checks.handover.figures import Cause, LiftOffDetails, LinerDetails, WorstLiftOff
from gripmargin.checks.hold.explain import load_figures, spot_on_pad
from gripmargin.checks.hold.remedies import strengthened
from gripmargin.checks.use import inverse
from gripmargin.contact.limit import limit_factor
from gripmargin.contact.liner import Peel, crossing, interfaces
from gripmargin.contact.pickup import Pickup
from gripmargin.results.findings import CheckResult, Finding, Remedy, Verdict, exact, finite, judge, undecided
from gripmargin.workcell import Pick
from gripmargin.workcell.job import Job

SHARPER = np.deg2rad([60.0, 90.0, 120.0, 135.0, 150.0, 165.0, 180.0])  # angles of a liner that are tried
SAME = 1e-9  # share by which a speed may be outside the range of a test


def off_its_liner(case: Case, pickup: Pickup, trials: Trials) -> tuple[CheckResult, tuple[Finding, ...]]:
    """Return the result of a label's lift-off, and what falls short."""
    pick, target, sample = pickup.pick, case.job.targets.hold, int(pickup.samples[-1])
    peel = _peel(pick)
    if peel is None or case.job.part.outline is None:
        return undecided("lift_off", target, words.NO_FRONT, remedy=words.GIVE_FRONT), ()
    speed, until = _front(case, sample, peel)
    if pick.peel_speed is None or not _within(speed, pick):
        asked = words.peel_speed(speed, None if pick.peel_speed is None else pick.peel_speed.tolist())
        return undecided("lift_off", target, asked, remedy=words.TEST_AT_SPEED), ()
    if not case.grip.bonded.even:
        return undecided("lift_off", target, words.UNEVEN_LABEL, remedy=words.PRESS_EVENLY), ()
    if any(push.samples[0] <= until and push.samples[-1] >= sample for push in case.pushes):
        return undecided("lift_off", target, words.FORCES, remedy=words.FORCES_LATER), ()
    found = crossing(case.grip, case.job.part, peel, case.standing(sample)[:, 0])
    weakest = interfaces(case.grip, peel.energy)
    k, held = found.worst, float(inverse(found.use.max()))
    low = min(float(inverse(found.most.max())), weakest)
    grip = case.grip.bonded
    high = held if found.known else limit_factor(grip.whole, grip.strengths, found.load[:, k]).upper
    place, on_pads = case.place(sample), load_figures(found.load[:, k])
    details = LiftOffDetails(
        break_away=0.0,
        load=on_pads,
        liner=LinerDetails(
            force_per_width=float(np.linalg.norm(peel.force)),
            front=float(found.place[k]),
            speed=speed,
            energy_ratio=weakest,
            small_bending=finite(held),
        ),
    )
    result = replace(
        exact("lift_off", min(held, max(weakest, low)), target, place, details),
        low=finite(low),
        high=finite(max(high, low)),
        verdict=judge(low, max(high, low), target),
    )
    if result.verdict is Verdict.PASS:
        return result, ()
    why = words.WEAKER_INTERFACE if weakest == low else words.STRETCHED_LABEL
    stronger = strengthened(case.job, _asked(low, weakest), target)
    remedies = ordered((trials.tried(_sharper(case.job)), trials.tried(stronger)))
    return result, (
        Finding(
            check="lift_off",
            verdict=result.verdict,
            start=place.t,
            end=place.t,
            spans=((place.t, place.t),),
            worst=WorstLiftOff(
                at=place,
                margin=result.value,
                margin_low=result.low,
                spot=spot_on_pad(case.whole.patches[int(found.owner[k])], found.spot[k]),
                load=on_pads,
            ),
            because=Cause(cause=words.CAUSE, undecided=None if result.verdict is Verdict.FAIL else (why,)),
            remedies=remedies or (Remedy(action="none", text=words.NO_BOND),),
            share=(result.low or 0.0) / target,
        ),
    )


def _asked(low: float, weakest: float) -> float:
    """The use that the strength of the pads has to make up for; energy goes with its square."""
    return float(inverse(low if weakest > low else np.sqrt(low)))


def _peel(pick: Pick) -> Peel | None:
    if pick.peel_energy is None or pick.peel_angle is None or pick.peel_direction is None:
        return None
    return Peel(energy=pick.peel_energy, angle=pick.peel_angle, direction=pick.peel_direction)


def _front(case: Case, sample: int, peel: Peel) -> tuple[float, int]:
    """The largest speed of the front [m/s], of the tool over ``1 - cos angle``, and when it has drawn the liner off."""
    motion, t = case.motion.at, case.job.trajectory.t
    speed = np.linalg.norm(motion.velocity[sample:], axis=1)
    way = np.concatenate([[0.0], np.cumsum(np.diff(t[sample:]) * (speed[1:] + speed[:-1]) / 2.0)])
    last = int(np.searchsorted(way, peel.way(case.job.part)))
    return float(speed[: last + 1].max()) / peel.opening, sample + last


def _within(speed: float, pick: Pick) -> bool:
    slowest, fastest = (0.0, 0.0) if pick.peel_speed is None else pick.peel_speed
    return bool(slowest * (1.0 - SAME) <= speed <= fastest * (1.0 + SAME))


def _sharper(job: Job) -> Iterator[Change]:
    """Larger angles between liner and label, the least first."""
    pick = job.pick
    if pick is None or pick.peel_angle is None:
        return
    for angle in SHARPER[pick.peel_angle + SAME < SHARPER]:
        yield Change(
            remedy=Remedy(action="peel angle", text=words.sharper(angle), figures={"angle": float(angle)}),
            job=partial(_drawn_at, job, pick, float(angle)),
        )


def _drawn_at(job: Job, pick: Pick, angle: float) -> Job:
    return replace(job, pick=replace(pick, peel_angle=angle))
