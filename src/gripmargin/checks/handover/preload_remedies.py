"""What to change where a preload leaves the pads with too little adhesion."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import reduce

import numpy as np

from gripmargin.checks.handover import words
from gripmargin.checks.handover.pressing import ROUNDING, Pressing
from gripmargin.contact.activation import ActivationLaw, PadFace
from gripmargin.contact.simulation import PadCells
from gripmargin.results.findings import Remedy, short_of
from gripmargin.workcell import Part


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


def remedies(pressed: Pressing, part: Part, target: float) -> list[Remedy]:
    """Return deeper, more nearly parallel, or longer; each is a change of the touch move alone."""
    pickup, lacks = pressed.pickup, []
    for face, cells in zip(pickup.faces, pickup.history.pads, strict=True):
        need = _pressure_for(face.law, target)
        if need is None:
            return [Remedy(action="none", text=words.unreachable(face.patch.pad.name, target))]
        lacks.append(_lack(pressed, part, face, cells, need))
    nothing = Lack(deeper=0.0, tilt=math.inf, longer=0.0, room=math.inf)
    return _changes(pressed, reduce(Lack.and_of, lacks, nothing))


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


def _changes(pressed: Pressing, lack: Lack) -> list[Remedy]:
    out = []
    longer = math.ceil(100 * lack.longer) / 100
    now = float(np.degrees(pressed.tilt))
    step = math.ceil(1e5 * lack.deeper - 1e-6) / 1e5  # whole hundredths of a millimetre
    if 0 < step <= lack.room:
        figures = {"deeper": step, "longer": longer}
        out.append(Remedy(action="press deeper", text=words.press_deeper(step, longer), figures=figures))
    if 0 < lack.tilt < 1 and pressed.tilted:
        limit = math.floor(100 * now * lack.tilt) / 100
        figures = {"tilt": float(np.deg2rad(limit)), "longer": longer}
        out.append(Remedy(action="align", text=words.align(limit, now, longer), figures=figures))
    if out:
        return out
    if longer > 0 and lack.deeper <= 0:
        out.append(Remedy(action="dwell", text=words.dwell(longer), figures={"longer": longer}))
    elif pressed.tilted:
        out.append(Remedy(action="align", text=words.BOTH, figures={"tilt": 0.0, "longer": longer}))
    else:
        out.append(Remedy(action="none", text=words.TOO_MUCH))
    return out


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
