"""A program of several holds: its motion is worked out once, and each hold is judged as a job of one part."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
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
from gripmargin.run.elsewhere import Lying, comes_down, places_of
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
    places = tuple(places_of(job, job.holds, motion.at))
    made = judge_each(windows(recording_placed(job, motion), job.holds, motion, places), judge)
    return together(job, made, samples_of(made), shares_of(made))


@dataclass(frozen=True, eq=False, kw_only=True)
class Window:
    """A hold with the stretch of the program that is judged with it.

    Attributes:
        hold: The hold.
        job: What is asked of it, as a job of one part.
        motion: Over the stretch.
        first: Sample of the program that is its first one.
        start: When the first phase of the hold begins [s].
        end: When its last phase ends [s].
    """

    hold: Hold
    job: Job
    motion: ProgramMotion
    first: int
    start: float
    end: float

    @property
    def last(self) -> int:
        """Sample of the program that is its last one."""
        return self.first + self.motion.at.samples - 1


@dataclass(frozen=True, eq=False)
class Made:
    """A window with what it came to."""

    window: Window
    result: HoldReport


def windows(job: Job, holds: Sequence[Hold], motion: ProgramMotion, places: Sequence[Lying]) -> Iterator[Window]:
    """Yield each hold of one set of pads with its stretch of the program; neighbours share a sample.

    Args:
        job: What is asked of these pads, its recording placed.
        holds: In the order of time.
        motion: Over the whole program.
        places: Where parts lie, of all holds.
    """
    position, first, t = motion.at.position, 0, job.trajectory.t
    speed = np.maximum(*(np.linalg.norm(v, axis=1) for v in (motion.at.velocity, motion.at.angular_velocity)))
    kept = Kept()
    for hold, after in zip(holds, (*holds[1:], None), strict=True):
        last = job.trajectory.samples - 1 if after is None else cut_between(job, hold, after, position, speed)
        trajectory, own = stretch_of(job.trajectory, motion, first, last)
        asked = replace(asked_in(job, hold, trajectory, first), recording=_recorded_in(job, trajectory.t))
        asked, kept = kept_clean(replace(asked, elsewhere=comes_down(job, hold, motion.at, places)), own, kept)
        start = t[hold.stretches[0][0] if hold.stretches else first]  # none where pads are cleaned and nothing else
        end = t[max((each for _, each, _ in hold.stretches), default=last)]
        yield Window(hold=hold, job=asked, motion=own, first=first, start=float(start), end=float(end))
        first = last


def judge_each(several: Iterable[Window], judge: Judge) -> list[Made]:
    """Judge holds, those that do not differ but in place and time once.

    Raises:
        InputError: Something of a hold does not fit together; it is named.
    """
    alike = Alike()
    made: list[Made] = []
    for window in several:
        hold = window.hold
        before = alike.find(window.job, window.motion, hold.part)
        try:
            report = judge(window.job, motion=window.motion) if before is None else made[before].result.report
        except InputError as error:
            raise error.of(f"hold {hold.name}") from error
        if before is None:
            alike.keep(window.job, window.motion, hold.part, len(made))
        made.append(Made(window, _result(window, report, None if before is None else made[before].result)))
    return made


def _result(window: Window, report: Report, before: HoldReport | None) -> HoldReport:
    hold = window.hold
    return HoldReport(
        name=hold.name,
        part=hold.part,
        pick=hold.pick,
        nest=hold.nest,
        station=hold.station,
        start=window.start,
        end=window.end,
        first=window.first,
        like=None if before is None else before.name,
        report=report,
    )


def recording_placed(job: Job, motion: ProgramMotion) -> Job:
    """The job with its recording placed beside the whole program, or why that cannot be.

    A hold by itself would be found in it, but of equal ones another may be meant, and one may be missing.
    """
    if job.recording is None:
        return job
    job = replace(job, recording=unpolled(job.recording, job.stamps))
    offset = offset_of(job, motion) if job.recording_offset is None else job.recording_offset
    return replace(job, unplaced=offset) if isinstance(offset, str) else replace(job, recording_offset=offset)


def _recorded_in(job: Job, t: FloatArray) -> Any:
    """What of the recording belongs to a stretch of the program, which it may lag; all of it where it is not placed."""
    recording, offset = job.recording, job.recording_offset
    if recording is None or offset is None:
        return recording
    own = recording.t - offset
    inside = (own >= t[0] - LATEST) & (own <= t[-1] + LATEST)
    return recording.taken(inside) if inside.sum() > 1 else recording


def together(job: Job, made: Sequence[Made], samples: Samples, shares: Mapping[str, FloatArray]) -> Report:
    """Return one report of all holds.

    Args:
        job: The program's.
        made: The holds, in the order in which they begin.
        samples: Figures at every sample of the program.
        shares: Least share of its target that the figure of each result may have at each, likewise.
    """
    holds = tuple(each.result for each in made)
    own = [hold for hold in holds if hold.like is None]
    return Report(
        job=job.name,
        verdict=overall(hold.verdict for hold in holds),
        checks=tuple(_worst(own)),
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
        samples=samples,
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


def _own(values: Any, made: Sequence[Made], k: int) -> Any:
    """Rows of a hold without the one that it shares with the hold after it; NaN where it has none."""
    n = made[k].window.motion.at.samples
    rows = np.full(n, np.nan) if values is None else values
    return rows if k == len(made) - 1 else rows[: n - 1]


def shares_of(made: Sequence[Made]) -> dict[str, FloatArray]:
    """Return for each result the least share of its target at every sample of the program, of holds in a row."""
    names = dict.fromkeys(check.check for each in made for check in each.result.report.checks)
    return {
        name: np.concatenate([_own(each.result.report.shares.get(name), made, k) for k, each in enumerate(made)])
        for name in names
    }


def samples_of(made: Sequence[Made]) -> Samples:
    """Return figures at every sample of the program, of holds in a row, of like ones in their own places and times."""
    first = made[0].result.report.samples
    joined: dict[str, Any] = {}
    for name in (each.name for each in fields(Samples)):
        rows = [getattr(each.result.report.samples, name) for each in made]
        if name in ("t", "position"):
            rows = [getattr(each.window.motion.at, name) for each in made]
        elif name in ("joint_names", "joint_units", "stamp") or len(rows[0]) != first.t.size:
            joined[name] = rows[0]
            continue
        rows = [_own(each, made, k) for k, each in enumerate(rows)]
        joined[name] = np.concatenate(rows) if isinstance(rows[0], np.ndarray) else tuple(chain.from_iterable(rows))
    return Samples(**joined)
