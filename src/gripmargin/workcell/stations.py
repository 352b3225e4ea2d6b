"""A gripper with several stations: what each does is a program of its own, with its pads, its phases and its frame."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError, InputErrors
from gripmargin.workcell.holds import Hold

if TYPE_CHECKING:
    from gripmargin.workcell.job import Job


def at_stations(job: Job) -> dict[str, Job]:
    """Return what is asked of each station whose parts the phases name, as a job of its own.

    Raises:
        InputErrors: Phases or forces without a station or with one that no pads have, what does not fit together at a
            station.
    """
    if problems := [*_unnamed(job)]:
        raise InputErrors(problems)
    out = {}
    for name in job.gripper.station_names:
        numbers = [i for i, phase in enumerate(job.phases) if phase.station in (name, None)]
        if name in _unused(job):
            continue
        try:
            out[name] = _at_station(job, name, numbers)
        except InputErrors as errors:
            problems += [_of_program(problem, numbers) for problem in errors.problems]
        except InputError as error:
            problems.append(_of_program(error, numbers))
    if problems:
        raise InputErrors(problems)
    return out


def holds_at(stations: Mapping[str, Job]) -> tuple[Hold, ...]:
    """Return the holds of all stations in the order in which they begin, numbered through.

    A place that several stations take from or leave at is used in the order in which they do.
    """
    found = [
        (hold.stretches[0][0] if hold.stretches else 0, job, hold) for job in stations.values() for hold in job.holds
    ]
    found.sort(key=lambda each: each[0])
    uses = {"pick": [0] * len(found), "nest": [0] * len(found)}
    for place, kind in (("pick", "preload"), ("nest", "release")):
        count: dict[str, int] = {}
        when = [
            (first, k)
            for k, (_, job, hold) in enumerate(found)
            for first in [min((a for a, _, i in hold.stretches if job.phases[i].kind == kind), default=None)]
            if first is not None
        ]
        for _, k in sorted(when):
            name = getattr(found[k][2], place)
            uses[place][k] = count.get(name, 0)
            count[name] = uses[place][k] + 1
    return tuple(
        replace(hold, number=k + 1, station=job.station, pick_use=uses["pick"][k], nest_use=uses["nest"][k])
        for k, (_, job, hold) in enumerate(found)
    )


def frame_between(job: Job, one: str, other: str) -> FloatArray:
    """Return the pose of the frame of another station in that of one, shape (4, 4)."""
    return np.asarray(np.linalg.inv(job.gripper.frame_of(one)) @ job.gripper.frame_of(other))


def _at_station(job: Job, name: str, numbers: Sequence[int]) -> Job:
    frame = job.gripper.frame_of(name)
    changes: dict[str, Any] = {
        "gripper": job.gripper.at_station(name),
        "phases": tuple(replace(job.phases[i], station=None) for i in numbers),
        "process": tuple(replace(force, station=None) for force in job.process if force.station == name),
        "station": name,
        "assumed": (*job.assumed, *_idle(job)),
    } | _left_out(job, name)
    if not np.array_equal(frame, np.eye(4)):
        changes["robot"] = None if job.robot is None else job.robot.mounted(tool=frame)
        changes["frame"] = frame
        if job.flange is not None and job.flange.wrist is not None:
            changes["flange"] = replace(job.flange, wrist=np.linalg.inv(frame) @ job.flange.wrist)
    if job.waypoints is not None:  # whose time law is one of the program
        changes["waypoints"] = None
    return replace(job, **changes)


def _left_out(job: Job, name: str) -> dict[str, Any]:
    """Cleaners and places that only other stations come to: nothing is asked of them here."""
    kinds = {phase.kind for phase in job.phases if phase.station == name}
    others = {phase.kind for phase in job.phases} - kinds
    none: dict[str, dict[str, Any]] = {
        "clean": {"cleaners": ()},
        "preload": {"pick": None, "picks": {}},
        "release": {"nest": None, "nests": {}},
    }
    return {field: value for kind in none if kind in others for field, value in none[kind].items()}


def _unused(job: Job) -> list[str]:
    """Stations that no phase but free ones names."""
    used = {phase.station for phase in job.phases if phase.kind != "free"}
    return [name for name in job.gripper.station_names if name not in used]


def _idle(job: Job) -> Iterator[str]:
    for name in _unused(job):
        yield f"Station {name} of the gripper has free phases alone: nothing hangs on it."


def _unnamed(job: Job) -> Iterator[InputError]:
    """Phases and forces that name no station, or one that no pads have."""
    names = job.gripper.station_names
    known = ", ".join(f"'{name}'" for name in names)
    told = [(f"program.phases[{i}]", phase.station, phase.kind == "free") for i, phase in enumerate(job.phases)]
    told += [(f"process[{i}]", force.station, False) for i, force in enumerate(job.process)]
    for where, station, may_miss in told:
        if station is None and names and not may_miss:
            yield InputError(f"{where}.station", "nothing, on a gripper with stations", f"which of {known}")
        elif station is not None and station not in names:
            near = get_close_matches(station, names, n=1)
            remedy = f"did you mean '{near[0]}'?" if near else f'give its pads station = "{station}"'
            due = f"a station that pads belong to ({known or 'none do'})"
            yield InputError(f"{where}.station", f"'{station}'", due, remedy)
    if names and len(_unused(job)) == len(names):
        due, remedy = "phases, each with its station", "name at least where each part is pressed on and let go"
        yield InputError("program.phases", "none, on a gripper with stations", due, remedy)
        return
    named = {phase.station for phase in job.phases}
    for name in names:
        if name not in named:  # what it may pick up unsaid would be neither judged nor counted
            due = "phases of every station that pads belong to"
            remedy = "name where it presses and lets go; where it stays empty, name its moves in a free phase"
            yield InputError("program.phases", f"none of station '{name}'", due, remedy)


def _of_program(problem: InputError, numbers: Sequence[int]) -> InputError:
    """What is wrong with the phases of a station, by their numbers in the program."""

    def renumbered(text: str) -> str:
        return re.sub(r"program\.phases\[(\d+)\]", lambda m: f"program.phases[{numbers[int(m[1])]}]", text)

    facts = (problem.where, problem.found, problem.expected, problem.remedy)
    return type(problem)(*(renumbered(fact) for fact in facts))
