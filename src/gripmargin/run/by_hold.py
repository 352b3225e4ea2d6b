"""A program of several holds: its motion is worked out once, and each hold is judged as a job of one part."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields, replace
from itertools import chain
from typing import Any, Protocol

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.checks.case import dense
from gripmargin.checks.recorded.alignment import LATEST
from gripmargin.checks.recorded.placing import offset_of
from gripmargin.motion.polled import unpolled
from gripmargin.motion.program import ProgramMotion
from gripmargin.motion.stretch import stretch_of, with_fastest
from gripmargin.results.findings import CheckResult, NotChecked, overall, trouble
from gripmargin.results.holds import of_hold
from gripmargin.results.report import HoldReport, Report
from gripmargin.results.samples import Samples
from gripmargin.run.alike import Alike
from gripmargin.run.cleaned import Kept, kept_clean
from gripmargin.workcell.holds import Hold, cut_between
from gripmargin.workcell.job import Job
from gripmargin.workcell.windows import asked_in


class Judge(Protocol):
    """How one hold is judged."""

    def __call__(self, job: Job, *, motion: ProgramMotion) -> Report:
        """Return the report of a job of one part, whose motion is known."""


def by_hold(job: Job, judge: Judge) -> Report:
    """Judge a program of several holds, and return the report of all of them.

    Holds that differ in place and time alone are judged once.

    Args:
        job: What is asked, without way points.
        judge: How one hold is judged.

    Raises:
        InputError: Something of a hold does not fit together; it is named.
    """
    job = replace(job, trajectory=dense(job.trajectory, job.stamps))
    motion = with_fastest(ProgramMotion.of(job.trajectory, job.robot, stamps=job.stamps))
    job = _recording_placed(job, motion)
    alike = Alike()
    made: list[_Made] = []
    kept = Kept()
    for hold, first, last in _cut(job, motion):
        trajectory, own = stretch_of(job.trajectory, motion, first, last)
        asked = asked_in(job, hold, trajectory, first)
        asked, kept = kept_clean(replace(asked, recording=_recorded_in(job, trajectory.t)), own, kept)
        before = alike.find(asked, own, hold.part)
        try:
            report = judge(asked, motion=own) if before is None else made[before].result.report
        except InputError as error:
            raise error.of(f"hold {hold.name}") from error
        if before is None:
            alike.keep(asked, own, hold.part, len(made))
        made.append(
            _Made(_result(job, hold, first, report, None if before is None else made[before].result), asked, own)
        )
    return _together(job, made)


@dataclass(frozen=True, eq=False)
class _Made:
    result: HoldReport
    job: Job
    motion: ProgramMotion


def _cut(job: Job, motion: ProgramMotion) -> Iterator[tuple[Hold, int, int]]:
    """Each hold with the first and last sample of what is judged with it; neighbours share one."""
    position, first = motion.at.position, 0
    speed = np.maximum(*(np.linalg.norm(v, axis=1) for v in (motion.at.velocity, motion.at.angular_velocity)))
    for hold, after in zip(job.holds, (*job.holds[1:], None), strict=True):
        last = job.trajectory.samples - 1 if after is None else cut_between(job, hold, after, position, speed)
        yield hold, first, last
        first = last


def _result(job: Job, hold: Hold, first: int, report: Report, before: HoldReport | None) -> HoldReport:
    t = job.trajectory.t
    return HoldReport(
        name=hold.name,
        part=hold.part,
        pick=hold.pick,
        nest=hold.nest,
        start=float(t[hold.stretches[0][0]]),
        end=float(t[max(last for _, last, _ in hold.stretches)]),
        first=first,
        like=None if before is None else before.name,
        report=report,
    )


def _recording_placed(job: Job, motion: ProgramMotion) -> Job:
    """The job with its recording placed beside the whole program; as it is where that cannot be."""
    if job.recording is None:
        return job
    job = replace(job, recording=unpolled(job.recording, job.stamps))
    offset = offset_of(job, motion) if job.recording_offset is None else job.recording_offset
    return job if offset is None else replace(job, recording_offset=offset)


def _recorded_in(job: Job, t: FloatArray) -> Any:
    """What of the recording belongs to a stretch of the program, which it may lag; all of it where it is not placed."""
    recording, offset = job.recording, job.recording_offset
    if recording is None or offset is None:
        return recording
    own = recording.t - offset
    inside = (own >= t[0] - LATEST) & (own <= t[-1] + LATEST)
    return recording.taken(inside) if inside.sum() > 1 else recording


def _together(job: Job, made: Sequence[_Made]) -> Report:
    """One report of all holds."""
    holds = tuple(each.result for each in made)
    own = [hold for hold in holds if hold.like is None]
    checks = tuple(_worst(own))
    shares = {
        check.check: np.concatenate(
            [_own(hold.report.shares.get(check.check), made, k) for k, hold in enumerate(holds)]
        )
        for check in checks
    }
    return Report(
        job=job.name,
        verdict=overall(hold.verdict for hold in holds),
        checks=checks,
        findings=tuple(
            sorted(
                (of_hold(finding, hold) for hold in own for finding in hold.report.findings),
                key=lambda finding: finding.start,
            )
        ),
        not_checked=tuple(_not_checked(own)),
        assumed=_each_once(sentence for hold in own for sentence in hold.report.assumed),
        notes=_each_once(sentence for hold in own for sentence in hold.report.notes),
        references=_each_once(source for hold in own for source in hold.report.references),
        samples=_samples(made),
        holds=holds,
        accepted=job.accept,
        shares=shares,
        plotter=holds[0].report.plotter,
    )


def _worst(own: Sequence[HoldReport]) -> Iterator[CheckResult]:
    """For each check its result in the hold where it is worst."""
    by_name: dict[str, list[tuple[HoldReport, CheckResult]]] = {}
    for hold in own:
        for result in hold.report.checks:
            by_name.setdefault(result.check, []).append((hold, result))
    for found in by_name.values():
        hold, result = min(found, key=lambda each: trouble(each[1]))
        yield of_hold(result, hold)


def _not_checked(own: Sequence[HoldReport]) -> Iterator[NotChecked]:
    """What no hold has had checked, and what some have not, which are named."""
    holds: dict[NotChecked, list[str]] = {}
    for hold in own:
        for item in hold.report.not_checked:
            holds.setdefault(item, []).append(hold.name)
    for item, names in holds.items():
        some = f" (holds {', '.join(names[:4])}{', ...' if len(names) > 4 else ''})" if len(names) < len(own) else ""
        yield replace(item, reason=item.reason + some)


def _each_once(sentences: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(sentences))


def _own(values: Any, made: Sequence[_Made], k: int) -> Any:
    """Rows of a hold without the one that it shares with the hold after it; NaN where it has none."""
    n = made[k].motion.at.samples
    rows = np.full(n, np.nan) if values is None else values
    return rows if k == len(made) - 1 else rows[: n - 1]


def _samples(made: Sequence[_Made]) -> Samples:
    """Figures at every sample of the program, of like holds in their own places and times."""
    first = made[0].result.report.samples
    joined: dict[str, Any] = {}
    for name in (each.name for each in fields(Samples)):
        rows = [getattr(each.result.report.samples, name) for each in made]
        if name in ("t", "position"):
            rows = [getattr(each.motion.at, name) for each in made]
        elif name in ("joint_names", "joint_units", "stamp") or len(rows[0]) != first.t.size:
            joined[name] = rows[0]
            continue
        rows = [_own(each, made, k) for k, each in enumerate(rows)]
        joined[name] = np.concatenate(rows) if isinstance(rows[0], np.ndarray) else tuple(chain.from_iterable(rows))
    return Samples(**joined)
