"""A job of way points: judged under every common time law, of which the worst counts."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Protocol

from gripmargin.motion.planned import LAWS, REFERENCE, TimeLawName, corners_cut, sample_waypoints
from gripmargin.motion.trajectory import Trajectory
from gripmargin.motion.waypoints import Waypoints
from gripmargin.results.findings import Finding
from gripmargin.results.report import Report
from gripmargin.results.time_laws import CheckUnderLaw, TimeLaw
from gripmargin.workcell.job import Job

OWN_LAW = (
    "the path that the controller itself samples, or a log of the robot, as program.trajectory needs no such assumption"
)


class Judge(Protocol):
    """How one sampled program is judged."""

    def __call__(self, job: Job, *, trial: bool) -> Report:
        """Return the report; of a trial the results alone."""


def under_every_law(job: Job, waypoints: Waypoints, judge: Judge, *, trial: bool = False) -> Report:
    """Judge a job of way points under every law, and return the report of the worst, which says so.

    Args:
        job: What is asked.
        waypoints: Its program.
        judge: How a sampled program is judged.
        trial: Whether only the results count.
    """
    tried = []
    for law, blends in variants(waypoints):
        sampled = _as_sampled(job, waypoints, law, blends)
        report = judge(sampled, trial=True)
        t = sampled.trajectory.t
        each = TimeLaw(
            law=law,
            blends=blends,
            duration=float(t[-1] - t[0]),
            verdict=report.verdict,
            counts=False,
            checks=tuple(CheckUnderLaw.of(result) for result in report.checks),
        )
        tried.append((each, law, sampled))
    worst, _, sampled = min(tried, key=lambda entry: entry[0].severity)
    report = judge(sampled, trial=trial)
    laws = tuple(replace(each, counts=each is worst) for each, _, _ in tried)
    return replace(
        report,
        findings=tuple(_under_one_law(finding) for finding in report.findings),
        time_laws=laws,
        assumed=(_assumption(worst, laws), *report.assumed),
        notes=(*report.notes, *_corners(job, waypoints, sampled.trajectory, blends=worst.blends)),
        references=(*report.references, REFERENCE),
    )


def variants(waypoints: Waypoints) -> Iterator[tuple[TimeLawName, bool]]:
    """Return the laws to judge way points under, each stopping at all of them and, where they blend, with blends."""
    for law in LAWS:
        for blends in (False, True) if waypoints.blends else (False,):
            yield law, blends


def _as_sampled(job: Job, waypoints: Waypoints, law: TimeLawName, blends: bool) -> Job:
    trajectory = sample_waypoints(waypoints, robot=job.robot, law=law, blends=blends)
    return replace(job, trajectory=trajectory, waypoints=None)


def _under_one_law(finding: Finding) -> Finding:
    """What was shown to be enough was shown under one law alone: it is a hint."""
    return replace(finding, remedies=tuple(replace(remedy, shown=False) for remedy in finding.remedies))


def _assumption(worst: TimeLaw, laws: tuple[TimeLaw, ...]) -> str:
    names = list(dict.fromkeys(law.law for law in laws))
    stops = ", each stopping at every way point and with its blends" if any(law.blends for law in laws) else ""
    return (
        "The time law is assumed: the program is way points, and what is between them is up to the controller. Judged "
        f"under {', '.join(names[:-1])} and {names[-1]} with the given peaks of speed and acceleration{stops}; the "
        f"worst counts: {worst.name}. Another law may ask more of the pads: {OWN_LAW}."
    )


def _corners(job: Job, waypoints: Waypoints, trajectory: Trajectory, *, blends: bool) -> Iterator[str]:
    """By how much the tool passes the way points that blend."""
    cut = corners_cut(waypoints, trajectory, job.robot) if blends else ()
    if cut:
        shown = ", ".join(f"of move {i} ('{waypoints.points[i].move}') by {1e3 * far:.1f} mm" for i, far in cut)
        yield f"With blends the tool passes the ends of moves: {shown}."
