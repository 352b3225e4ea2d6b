"""What to change where a preload leaves the pads with too little adhesion."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import reduce

import numpy as np

from gripmargin.checks import changes
from gripmargin.checks.advice import Change, Trials, ordered
from gripmargin.checks.case import Case
from gripmargin.checks.handover import words
from gripmargin.checks.handover.pressing import ROUNDING, Pressing
from gripmargin.contact.activation import ActivationLaw, PadFace
from gripmargin.contact.simulation import PadCells
from gripmargin.results.findings import Remedy, short_of
from gripmargin.workcell import Part
from gripmargin.workcell.job import Job

FURTHER = (0.0, 1e-5, 3e-5, 1e-4)  # [m] beyond a way that was found, until the check passes
LESS_TILT = (1.0, 0.9, 0.5, 0.0)  # times the tilt that was found, the same


@dataclass(frozen=True, eq=False, kw_only=True)
class Lack:
    """What a press lacks, each by itself.

    Attributes:
        deeper: Depth [m].
        tilt: Share of the tilt that may be left [-]; inf where it costs nothing.
        longer: Rest [s].
        room: How much deeper pads may be pressed for the sake of the part and of themselves [m].
    """

    deeper: float
    tilt: float
    longer: float
    room: float

    def and_of(self, other: Lack) -> Lack:
        """Return what two pads lack together."""
        return Lack(
            deeper=max(self.deeper, other.deeper),
            tilt=min(self.tilt, other.tilt),
            longer=max(self.longer, other.longer),
            room=min(self.room, other.room),
        )


def remedies(case: Case, pressed: Pressing, target: float, trials: Trials) -> tuple[Remedy, ...]:
    """Return deeper, less deep, more nearly parallel, or longer; each is a change of the touch move alone.

    Args:
        case: The job.
        pressed: How the preload pressed.
        target: Share of full adhesion wanted.
        trials: Of the preload.
    """
    pickup, lacks = pressed.pickup, []
    for face, cells in zip(pickup.faces, pickup.history.pads, strict=True):
        need = _pressure_for(face.law, target)
        if need is None:
            return (Remedy(action="none", text=words.unreachable(face.patch.pad.name, target)),)
        lacks.append(_lack(pressed, case.job.part, face, cells, need))
    nothing = Lack(deeper=-math.inf, tilt=math.inf, longer=0.0, room=math.inf)
    lack = reduce(Lack.and_of, lacks, nothing)
    press = Touch(case=case, pressed=pressed, longer=math.ceil(100 * lack.longer) / 100)
    found = [trials.tried(each) for each in (press.deeper(lack), press.less_deep(lack), press.parallel(lack))]
    if not any(found):
        found = [trials.tried(press.for_longer(lack))]
    return ordered(found) or (Remedy(action="none", text=words.TOO_MUCH),)


def _lack(pressed: Pressing, part: Part, face: PadFace, cells: PadCells, need: float) -> Lack:
    material = face.patch.pad.material
    below = pressed.below(np.concatenate([face.patch.points, face.patch.edge]))
    depth = below - float(face.gap.max())
    lowest, needed = float(depth.min()), need / material.normal_stiffness
    centre = float(face.patch.areas @ depth[: face.patch.areas.size] / face.patch.area)
    limits = [x for x in (part.max_pressure, material.overload_pressure) if x is not None]
    longer = 0.0
    if material.min_dwell is not None:
        # a cell that does not touch yet will do so last, and rest about as long as those that now touch last
        touched = cells.contact_time[cells.contact_time > 0]
        longer = material.min_dwell - float(touched.min() if touched.size else 0.0)
    return Lack(
        deeper=needed - lowest,
        tilt=(centre - needed) / (centre - lowest) if centre > lowest else math.inf,
        longer=longer,
        room=min(limits, default=math.inf) / material.normal_stiffness - float(below.max()),
    )


@dataclass(frozen=True, eq=False, kw_only=True)
class Touch:
    """Changes of the move that presses the pads on, to the pads: of the place and the tilt of the face.

    Attributes:
        case: The job.
        pressed: How the preload pressed.
        longer: Rest that each change needs beside it [s].
    """

    case: Case
    pressed: Pressing
    longer: float

    def deeper(self, lack: Lack) -> Iterator[Change]:
        """Yield deeper presses, as deep as part and pads may take."""
        for step in _steps(lack.deeper):
            if 0 < step <= lack.room:
                figures = {"deeper": step, "longer": self.longer}
                text = words.press_deeper(step, self.longer)
                yield self._change(Remedy(action="press deeper", text=text, figures=figures), depth=step)

    def less_deep(self, lack: Lack) -> Iterator[Change]:
        """Yield presses less deep, as deep as the bond needs."""
        for step in _steps(-lack.room):
            if 0 < step <= -lack.deeper:
                figures = {"less": step, "longer": self.longer, "during": "preload"}
                text = words.press_less_deep(step, self.longer)
                yield self._change(Remedy(action="press less", text=text, figures=figures), depth=-step)

    def parallel(self, lack: Lack) -> Iterator[Change]:
        """Yield smaller tilts of the tool to the face."""
        if not (0 < lack.tilt < 1 and self.pressed.tilted):
            return
        now = float(np.degrees(self.pressed.tilt))
        for share in LESS_TILT:
            limit = math.floor(100 * now * lack.tilt * share) / 100
            figures = {"tilt": float(np.deg2rad(limit)), "longer": self.longer}
            text = words.align(limit, now, self.longer)
            yield self._change(Remedy(action="align", text=text, figures=figures), tilt=np.deg2rad(limit))

    def for_longer(self, lack: Lack) -> Iterator[Change]:
        """Yield a longer rest where that is all there is to it; else a parallel tool as deep as may be."""
        if self.longer > 0 and lack.deeper <= 0:
            remedy = Remedy(action="dwell", text=words.dwell(self.longer), figures={"longer": self.longer})
            yield self._change(remedy)
        elif self.pressed.tilted:
            centre = float(self.pressed.below(self.case.whole.centre[None])[0])
            lowest = float(self.pressed.below(np.concatenate([f.patch.edge for f in self.pressed.pickup.faces])).min())
            for step in _steps(max(lack.deeper - (centre - lowest), 0.0)):
                figures = {"tilt": 0.0, "deeper": step, "longer": self.longer}
                remedy = Remedy(action="align", text=words.both(step, self.longer), figures=figures)
                yield self._change(remedy, depth=step, tilt=0.0)

    def _change(self, remedy: Remedy, *, depth: float = 0.0, tilt: float | None = None) -> Change:
        return Change(remedy=remedy, job=lambda: self._job(depth, tilt))

    def _job(self, depth: float, tilt: float | None) -> Job:
        job, sample, tool = self.case.job, self.pressed.sample, self.case.motion.at
        pick = self.pressed.pickup.pick
        face = pick.face
        if tilt is not None:
            rotation = tool.rotation[sample]
            centre = tool.position[sample] + rotation @ self.case.whole.centre
            axis = np.cross(face[:3, 2], -rotation[:, 2])
            face = changes.levelled(face, centre, axis / np.linalg.norm(axis), self.pressed.tilt - tilt)
        changed = replace(job, pick=replace(pick, face=changes.deeper(face, depth)))
        return changes.paused(changed, sample, self.longer)


def _steps(least: float) -> list[float]:
    """Ways [m] from one on, each in whole hundredths of a millimetre; none from one that is not known."""
    if not math.isfinite(least):
        return []
    return list(dict.fromkeys(math.ceil(1e5 * (least + more) - 1e-6) / 1e5 for more in FURTHER))


def _pressure_for(law: ActivationLaw, target: float) -> float | None:
    """The least pressure from which on an activation is reached [Pa]; None where it never is."""
    reached = np.flatnonzero(~short_of(law.share + ROUNDING, target))
    if reached.size == 0:
        return None
    i = int(reached[0])
    if i == 0:
        return 0.0
    part = (target - law.share[i - 1]) / (law.share[i] - law.share[i - 1])
    return float(law.pressure[i - 1] + part * (law.pressure[i] - law.pressure[i - 1]))
