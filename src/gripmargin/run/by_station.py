"""A gripper with several stations: each hold is judged on its own pads, in the frame of its station.

The motion is worked out once. The holds of a station are those of a program of one set of pads; those of different
stations may overlap in time. What a part on the pads of one feels of the other is the motion of the tool, the press and
the release of the other included; at the flange the loads of all of them add up.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.checks.case import dense, work_out
from gripmargin.checks.wrist.aboard import of_hold
from gripmargin.contact.simulation import remembering
from gripmargin.motion.program import ProgramMotion
from gripmargin.motion.stretch import with_fastest
from gripmargin.results.report import Report
from gripmargin.results.samples import SERIES, Samples
from gripmargin.run.by_hold import (
    Judge,
    Made,
    Window,
    judge_each,
    recording_placed,
    samples_of,
    shares_of,
    together,
    windows,
)
from gripmargin.run.elsewhere import places_of
from gripmargin.run.meanwhile import elsewhere_pressed
from gripmargin.workcell.aboard import Aboard
from gripmargin.workcell.job import Job
from gripmargin.workcell.stations import frame_between

OF_TOOL = ("position", "acceleration", "angular_velocity", "angular_acceleration")
OF_PART = ("phase", "force", "moment", *SERIES, "governing", "governed_by")  # what is said of the part of one station


def by_station(job: Job, judge: Judge) -> Report:
    """Judge a program of a gripper with stations, hold by hold, and return the report of all of them.

    Args:
        job: What is asked, without way points.
        judge: How one hold is judged.

    Raises:
        InputError: Something of a hold does not fit together; it is named.
    """
    job = replace(job, trajectory=dense(job.trajectory, job.stamps))
    whole = ProgramMotion.of(job.trajectory, job.robot, stamps=job.stamps)
    motions = {name: with_fastest(whole.regripped(job.gripper.frame_of(name))) for name in job.stations}
    holds = {name: tuple(hold for hold in job.holds if hold.station == name) for name in job.stations}
    places = [
        place for name, station in job.stations.items() for place in places_of(station, holds[name], motions[name].at)
    ]
    several: list[Window] = []
    for name, station in job.stations.items():
        motion = motions[name]
        meanwhile = tuple(elsewhere_pressed(job, name, motion, places))
        several += windows(replace(recording_placed(station, motion), meanwhile=meanwhile), holds[name], motion, places)
    several.sort(key=lambda window: window.hold.number)
    with remembering():
        made = judge_each(several if job.flange is None else _with_aboard(job, several), judge)
    by_name = {name: [each for each in made if each.window.hold.station == name] for name in job.stations}
    shares: dict[str, list[FloatArray]] = {}
    for own in by_name.values():
        for result, rows in shares_of(own).items():
            shares.setdefault(result, []).append(rows)
    least = {result: np.fmin.reduce(rows) for result, rows in shares.items()}
    return together(job, made, _samples(whole, by_name), least)


def _with_aboard(job: Job, several: Sequence[Window]) -> list[Window]:
    """The windows with what the holds of other stations have on their pads meanwhile."""
    known = [_aboard(window) for window in several]
    out = []
    for window in several:
        station, aboard = window.hold.station, []
        for other, theirs in zip(several, known, strict=True):
            if other.hold.station != station and other.first <= window.last and other.last >= window.first:
                there = theirs.over(window.first, window.last, other.first, other.hold.name)
                if there.is_there:
                    aboard.append(there.seen_from(frame_between(job, station, other.hold.station)))
        out.append(replace(window, job=replace(window.job, aboard=tuple(aboard))))
    return out


def _aboard(window: Window) -> Aboard:
    try:
        return of_hold(work_out(window.job, motion=window.motion))
    except InputError as error:
        raise error.of(f"hold {window.hold.name}") from error


def _samples(whole: ProgramMotion, made: Mapping[str, Sequence[Made]]) -> Samples:
    """Motions of the tool frame, and at every sample the figures of the part that is nearest to its limits there."""
    of = [samples_of(each) for each in made.values()]
    least = np.array([np.where(np.isnan(each.governing), np.inf, each.governing) for each in of])
    silent = np.array([np.isnan(each.governing) for each in of])
    idle = np.array([[phase in ("free", "clean") for phase in each.phase] for each in of])
    which = np.lexsort((idle, silent, least), axis=0)[0]  # what is said least of comes last
    joined: dict[str, Any] = {each.name: getattr(of[0], each.name) for each in fields(Samples)}
    for name in OF_PART:
        rows = [getattr(each, name) for each in of]
        if isinstance(rows[0], np.ndarray):
            joined[name] = np.choose(which if rows[0].ndim == 1 else which[:, None], rows)
        else:
            joined[name] = tuple(rows[k][i] for i, k in enumerate(which.tolist()))
    joined |= {name: getattr(whole.at, name) for name in OF_TOOL}
    names = list(made)
    return Samples(**{**joined, "station": tuple(names[k] for k in which.tolist())})
