"""A program as a list of holds: one part on the pads, from its press to the end of its release.

Which there are follows from the order of the phases: each preload begins a hold, and what is on the pads has to be let
go before the next one.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from difflib import get_close_matches
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.workcell.pads import Gripper
from gripmargin.workcell.surroundings import at_use

if TYPE_CHECKING:
    from gripmargin.workcell.job import Job

TABLES = {"part": "parts", "pick": "picks", "nest": "nests"}
STILL: Final = 1e-3  # [m/s, rad/s] below which a tool stands still
AT_REST: Final = 2.0  # by which a place at rest may be nearer than another and is cut at all the same
Stretch = tuple[int, int, int]  # first and last sample, index of the phase


@dataclass(frozen=True, kw_only=True)
class Hold:
    """One part on the pads.

    Attributes:
        number: Its place in the program, from 1.
        part: Name of its part, empty where there is but one.
        pick: Name of the place that it is taken from, likewise.
        nest: Name of the place that it is left at, likewise.
        stretches: Where its phases lie, in order of time: first sample, last sample, index of the phase.
        pick_use: How often its place was taken from before.
        nest_use: How often its place was left at before.
        picks: Made in the program before it, since the pads were cleaned.
        cleanings: Cleaning moves in the program before it.
        station: Of the gripper, on whose pads it is; empty where all pads carry the same part.
    """

    number: int
    part: str = ""
    pick: str = ""
    nest: str = ""
    stretches: tuple[Stretch, ...] = ()
    pick_use: int = 0
    nest_use: int = 0
    picks: int = 0
    cleanings: int = 0
    station: str = ""

    @property
    def name(self) -> str:
        """What reports call it."""
        return f"{self.number} {self.part}".rstrip() + (f" on {self.station}" if self.station else "")

    def own(self, job: Job) -> dict[str, Any]:
        """Return its part, pick and nest, the places as they are by then, of a program's job."""
        own: dict[str, Any] = {}
        for one, several in TABLES.items():
            name = getattr(self, one)
            own[one] = getattr(job, several)[name] if name else getattr(job, one)
        for place, use in (("pick", self.pick_use), ("nest", self.nest_use)):
            if own[place] is not None:
                own[place] = at_use(own[place], use, _where(place, getattr(self, place)))
        return own

    def job(self, job: Job, **changes: Any) -> Job:
        """Return what is asked of this hold as a job of one part.

        Args:
            job: The program's.
            changes: Of further fields.
        """
        own: dict[str, Any] = {"parts": {}, "picks": {}, "nests": {}} | self.own(job)
        own["gripper"] = self._dirtier(job.gripper)
        own["phases"] = tuple(replace(phase, part=None, pick=None, nest=None) for phase in job.phases)
        own["counted"] = True
        return replace(job, **{**own, **changes})

    def _dirtier(self, gripper: Gripper) -> Gripper:
        """The pads after some picks of this program, and cleanings."""
        if not self.picks and not self.cleanings:
            return gripper
        before = 0.0 if self.cleanings else gripper.cycles_since_cleaning
        return replace(gripper, cycles_since_cleaning=before + self.picks, cleanings=gripper.cleanings + self.cleanings)


def single(job: Job) -> Job:
    """Return a job of one hold with its part and its places as they are; most jobs are it already.

    Raises:
        InputError: It has several, or several stations that may.
    """
    if job.counted:
        return job
    holds = job.holds
    if names := job.gripper.station_names:
        raise InputError(
            f"job '{job.name}'",
            f"a gripper with stations ({', '.join(names)})",
            "a job with one part on the pads",
            "gripmargin check judges each hold; for anything else make a job of it, with the pads of its station alone",
        )
    if len(holds) > 1:
        found = f"a program of {len(holds)} holds ({', '.join(hold.name for hold in holds[:4])}"
        raise InputError(
            f"job '{job.name}'",
            f"{found}{', ...)' if len(holds) > 4 else ')'}",
            "a job with one part on the pads",
            "gripmargin check judges it hold by hold; for anything else make a job of the hold in question",
        )
    (hold,) = holds
    moves = any(
        place is not None and (place.step is not None or place.places is not None) for place in (job.pick, job.nest)
    )
    moves = moves or hold.cleanings > 0
    return hold.job(job) if moves or any(getattr(job, several) for several in TABLES.values()) else job


def holds_of(job: Job) -> tuple[Hold, ...]:
    """Return the holds of a program, at least one, in their order.

    Raises:
        InputError: A part that is not let go before the next one, a release without a part, a name that is missing.
    """
    found = []
    uses: dict[tuple[str, str], int] = {}
    begins: list[int] = []  # of the holds before
    cleaned = [first for first, _, _ in job.phase_map.cleanings()]
    for number, stretches in enumerate(_split(job), start=1):
        named = {one: _named(job, one, stretches) for one in TABLES}
        kinds = {job.phases[i].kind for _, _, i in stretches}
        taken = ("pick", named["pick"]), ("nest", named["nest"])
        use = [uses.get(place, 0) for place in taken]
        for place, kind in zip(taken, ("preload", "release"), strict=True):
            uses[place] = uses.get(place, 0) + (kind in kinds)
        begin = stretches[0][0] if stretches else 0
        before = [clean for clean in cleaned if clean < begin]
        since = sum(each > before[-1] for each in begins) if before else number - 1
        moves = 1 + sum(any(a < each < b for each in begins) for a, b in pairwise(before)) if before else 0
        begins.append(begin)
        hold = Hold(
            number=number,
            **named,
            stretches=stretches,
            pick_use=use[0],
            nest_use=use[1],
            picks=since,
            cleanings=moves,
        )
        found.append(hold)
    return tuple(found)


def name_problems(job: Job) -> Iterator[InputError]:
    """Yield what is wrong with names: those that the job does not have, parts and places that no phase names."""
    for one, several in TABLES.items():
        known: Mapping[str, Any] = getattr(job, several)
        used = set()
        for i, phase in enumerate(job.phases):
            name = getattr(phase, one)
            if name is not None and name not in known:
                near = get_close_matches(name, list(known), n=1)
                due = f"one of {', '.join(known)}" if known else f"no name, for there is no table [{several}.{name}]"
                remedy = f"did you mean '{near[0]}'?" if near else ""
                yield InputError(f"program.phases[{i}].{one}", f"'{name}'", due, remedy)
            used.add(name)
        for name in known:
            if len(known) > 1 and name not in used and not job.station:  # another station may use it
                due, remedy = "a phase that names it", f'{one} = "{name}" in a phase, or leave it out'
                yield InputError(f"{several}.{name}", f"a {one} that no phase names", due, remedy)


def _split(job: Job) -> list[tuple[Stretch, ...]]:
    """The stretches of each hold."""
    holds: list[list[Stretch]] = [[]]
    kinds: list[str] = []  # of the hold
    for stretch in job.phase_map.stretches():
        kind = job.phases[stretch[2]].kind
        again = "preload" in kinds and (kinds[-1] != "preload" or _another(job, holds[-1], stretch))
        if kind == "preload" and (again or "release" in kinds):
            if kinds[-1] != "release":
                raise _not_released(job, holds[-1], stretch)
            holds.append([])
            kinds = []
        holds[-1].append(stretch)
        kinds.append(kind)
    for stretches in holds:
        if len(holds) > 1 or any(job.phases[i].kind == "preload" for _, _, i in stretches):
            _refuse_without_part(job, stretches)
    return [tuple(stretches) for stretches in holds]


def _another(job: Job, before: list[Stretch], now: Stretch) -> bool:
    """Whether a preload that follows a preload is that of another part."""
    name = job.phases[now[2]].part
    return name is not None and any(job.phases[i].part not in (None, name) for _, _, i in before)


def _said(job: Job, stretch: Stretch) -> str:
    first, last, i = stretch
    t = job.trajectory.t
    return f"the {job.phases[i].kind} program.phases[{i}] ({t[first]:.3f} to {t[last]:.3f} s)"


def _not_released(job: Job, before: list[Stretch], now: Stretch) -> InputError:
    found = f"{_said(job, now)} while the part of {_said(job, before[0])} is still on the pads"
    due = "a release of the one part before the preload of the next"
    remedy = "check the order of the phases; a release has to be named even where it has no move of its own"
    return InputError("program.phases", found, due, remedy)


def _refuse_without_part(job: Job, stretches: list[Stretch]) -> None:
    """What has been pressed on is carried and let go once."""
    released: Stretch | None = None
    for stretch in stretches:
        kind = job.phases[stretch[2]].kind
        goes_on = kind == "release" and released is not None and stretch[0] <= released[1] + 1
        if released is not None and not goes_on:
            found = f"{_said(job, stretch)} after {_said(job, released)}, without a preload between them"
            remedy = "name the preload of the part that is taken there, or leave moves without a part out of the phase"
            raise InputError("program.phases", found, "a preload for each part that is taken", remedy)
        released = stretch if kind == "release" else released


def _named(job: Job, one: str, stretches: tuple[Stretch, ...]) -> str:
    """Which part or place a hold has: what its phases name, else the only one."""
    known = list(getattr(job, TABLES[one]))
    given = {i: name for _, _, i in stretches if (name := getattr(job.phases[i], one)) is not None}
    first = next(iter(given.values()), "")
    for i, name in given.items():
        if name != first:
            found = f"'{name}', and '{first}' in a phase of the same hold before"
            raise InputError(f"program.phases[{i}].{one}", found, f"one {one} from the preload to the release")
    if first:
        return first
    kind = {"pick": "preload", "nest": "release"}.get(one)
    asked = [s for s in stretches if kind in (None, job.phases[s[2]].kind)]
    if len(known) > 1 and (asked or one == "part"):
        where = f"program.phases[{asked[0][2]}].{one}" if asked else "program.phases"
        due = f"which of {', '.join(known)}"
        raise InputError(where, f"no name, beside {len(known)} {TABLES[one]}", due)
    # a place that no phase of the hold belongs to is any of them: what is asked of it is then undecided
    return known[0] if known else ""


def _where(one: str, name: str) -> str:
    return f"{TABLES[one]}.{name}" if name else one


def cut_between(job: Job, before: Hold, after: Hold, position: FloatArray, speed: FloatArray) -> int:
    """Return the sample at which a program is cut between two holds: as far as may be from both of their parts.

    Args:
        job: The program's.
        before: The hold that has ended there.
        after: The one that has not begun.
        position: Tool origin in the world [m], shape (n, 3).
        speed: The larger of that of the tool's origin and of its turning [m/s, rad/s], shape (n,).
    """
    end, begin = max(last for _, last, _ in before.stretches), after.stretches[0][0]
    rows, cleaned = job.trajectory.rows, [last for _, last, _ in job.phase_map.cleanings() if end <= last <= begin]
    between = rows[(rows >= max([end, *(last + 1 for last in cleaned)])) & (rows <= max(begin, end))]
    if between.size == 0:
        return max([end, *cleaned])
    left, taken = before.stretches[-1][0], after.stretches[0][1]  # as a release begins, and as a press ends
    away = np.minimum(*(np.linalg.norm(position[between] - position[at], axis=1) for at in (left, taken)))
    return int(between[np.argmax(away * np.where(speed[between] < STILL, AT_REST, 1.0))])
