"""What drawings of a report need beyond its figures: pads with bond and backing, handovers over time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.backing import displacement_rows
from gripmargin.contact.cells import Patch
from gripmargin.contact.loads import AIR_CAUSES, rigid_by_cause
from gripmargin.contact.process import PROCESS
from gripmargin.contact.sheet import Sheet
from gripmargin.kernels.face import Face, squared, utilisation
from gripmargin.kernels.utilisation import largest_utilisation, peak_utilisation, shares
from gripmargin.results.samples import Samples
from gripmargin.workcell import Part

if TYPE_CHECKING:
    from gripmargin.results.tuned import Move

IntArray = NDArray[np.intp]

CHUNK = 100_000  # samples whose loads by cause are worked out at a time
SPEEDS = (0.3, 0.6, 0.8, 1.0, 1.25, 1.6, 2.0, 3.0)  # factors at which the most used samples of a move are looked for
MOST_LOOKED_AT = 3e7  # of places, samples and factors together: about half a second
REST = 1e-6  # share of the load below which what no cause explains is rounding


@dataclass(frozen=True, eq=False, kw_only=True)
class PadState:
    """One pad on the part.

    Attributes:
        patch: Its contact with the part.
        bond: Share of the full strength that each cell holds after the preload [-], shape (m,).
        counted: Whether margins count on a cell, shape (m,).
        edge: The places of theirs that may be used most, tool frame [m], shape (v, 3); empty where there are none.
        edge_bond: Share of the full strength that each of these holds [-], shape (v,).
        pull_off_stress: Of a full bond [Pa].
        shear_strength: Of a full bond [Pa].
    """

    patch: Patch
    bond: FloatArray
    counted: NDArray[np.bool_]
    edge: FloatArray
    edge_bond: FloatArray
    pull_off_stress: float
    shear_strength: float

    def utilisation(self, traction: FloatArray, bond: FloatArray) -> FloatArray:
        """Return how far tractions use what places hold.

        Args:
            traction: Pad axes [Pa], shape (3, p).
            bond: Share of the full strength that each place holds, shape (p,).

        Returns:
            Shape (p,), NaN where nothing holds.
        """
        shear2 = (traction[0] ** 2 + traction[1] ** 2) / self.shear_strength**2
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(bond > 0, np.sqrt(squared(shear2, traction[2] / self.pull_off_stress)) / bond, np.nan)


@dataclass(frozen=True, eq=False, kw_only=True)
class HandoverRecord:
    """One preload or release over time, in the face frame of tray or nest.

    Attributes:
        kind: preload or release.
        t: Time of each row [s], shape (k,).
        force: Of the gripper on the part [N], shape (k, 3); a positive z lifts the part.
        moment: The same about the face frame's origin [N m], shape (k, 3).
        held: Share of each pad's full strength that is bonded [-], shape (k, pads).
        held_total: Of all pads together [-], shape (k,).
        pressure: Highest contact pressure of each pad [Pa], shape (k, pads).
        demand: For each way in which the part could leave its nest, what the pads ask [N or N m], shape (k,); of a
            preload the pull along the face normal alone, under "lift".
        available: What restrains it, likewise; NaN where the job does not say.
        pressed: Of a preload: times [s], the share of the contact area that is pressed then [-], and the mean share of
            full adhesion that the pressure so far gives by the pads' law, dwell not counted [-]; shape (3, p). None
            for a release.
    """

    kind: str
    t: FloatArray
    force: FloatArray
    moment: FloatArray
    held: FloatArray
    held_total: FloatArray
    pressure: FloatArray
    demand: dict[str, FloatArray]
    available: dict[str, FloatArray]
    pressed: FloatArray | None = None


@dataclass(frozen=True, eq=False)
class EdgeUse:
    """The most used place on the edge of the pads at one load.

    Attributes:
        pad: Index of the pad.
        point: Tool frame [m], shape (3,).
        use: Utilisation there [-].
        peel_pad: Index of the pad with the highest tension over pull-off stress.
        peel_point: Where that is [m], shape (3,); None where nothing pulls.
        peel: That tension over the pull-off stress [-].
    """

    pad: int
    point: FloatArray
    use: float
    peel_pad: int
    peel_point: FloatArray | None
    peel: float


@dataclass(frozen=True, eq=False, kw_only=True)
class Scene:
    """What drawings need; SI, tool axes unless said otherwise.

    Attributes:
        part: The part as gripped.
        gravity: At every sample [m/s^2], shape (n, 3).
        axis: The tool's z axis in the world at every sample, shape (n, 3).
        airborne: Whether the part hangs on the pads, sample by sample, shape (n,).
        pads: In the order of the job.
        compliance: Of the pads that count, from the load at the tool origin to the displacement there, shape (6, 6).
        face: The places that may be used most, as arrays.
        points: Where they are, tool frame [m], shape (points, 3).
        owner: Index of the pad of each, shape (points,).
        asked: Factor on the load that `face` has beyond `compliance` [-].
        handovers: Preload and releases that were simulated, in order of time.
        flatness: Of the part's face in its tray [m].
        loads: What the pads carry at every sample where another result than hold says so, by its name, at the tool
            origin [N, N m], NaN elsewhere, shape (6, n).
        sheet: The part as it bends on the pads; None: it counts as rigid.
        air: Loads of the air at every sample, drag and added mass [N, N m], shape (2, 6, n); None without a drag area.
        moves: The program cut at its rests, as it is; none of a job on trial.
        raised: Factor on the targets of the carry, for what bending of the part may add to the use of the pads [-].
        doubts: Why a margin of the carry is not known whatever the load, a sentence each.
        pushed: Loads of the process at every sample [N, N m], shape (6, n); None without such forces.
    """

    part: Part
    gravity: FloatArray
    axis: FloatArray
    airborne: NDArray[np.bool_]
    pads: tuple[PadState, ...]
    compliance: FloatArray
    face: Face
    points: FloatArray
    owner: IntArray
    asked: float = 1.0
    handovers: tuple[HandoverRecord, ...] = field(default=())
    flatness: float = 0.0
    loads: Mapping[str, FloatArray] = field(default_factory=dict)
    sheet: Sheet | None = None
    air: FloatArray | None = None
    moves: tuple[Move, ...] = ()
    raised: float = 1.0
    doubts: tuple[str, ...] = ()
    pushed: FloatArray | None = None

    def loads_by_cause(self, samples: Samples, at: IntArray) -> dict[str, FloatArray]:
        """Return the load at some samples by cause; what no cause explains is called "other".

        Args:
            samples: Of the report.
            at: Indices, shape (m,).

        Returns:
            For each cause forces [N] and moments [N m] at the tool origin, shape (m, 6); they add up to the load.
        """
        motion = self.gravity, samples.acceleration, samples.angular_velocity, samples.angular_acceleration
        parts = {cause: load.T for cause, load in rigid_by_cause(self.part, *(rows[at].T for rows in motion)).items()}
        if self.air is not None:
            parts |= {cause: load[:, at].T for cause, load in zip(AIR_CAUSES, self.air, strict=True)}
        if self.pushed is not None:
            parts[PROCESS] = self.pushed[:, at].T
        total = np.concatenate([samples.force[at], samples.moment[at]], axis=1)
        rest = total - np.sum(list(parts.values()), axis=0)
        if np.abs(rest).max(initial=0.0) > REST * max(np.abs(total).max(initial=0.0), 1e-12):
            parts["other"] = rest
        return parts

    def sizes_by_cause(self, samples: Samples) -> dict[str, FloatArray]:
        """Return the size of the force [N] and of the moment [N m] of each cause at all samples, shape (2, n)."""
        sizes: dict[str, FloatArray] = {}
        n = samples.t.size
        for first in range(0, n, CHUNK):
            at = np.arange(first, min(first + CHUNK, n))
            for cause, load in self.loads_by_cause(samples, at).items():
                size = sizes.setdefault(cause, np.zeros((2, n)))
                size[:, at] = np.linalg.norm(load.reshape(-1, 2, 3), axis=2).T
        return sizes

    @property
    def standing(self) -> FloatArray:
        """What of the load stays at any speed at every sample, at the tool origin [N, N m], shape (6, n).

        That of gravity, and of forces of the process.
        """
        weight = self.part.mass * self.gravity
        still = np.concatenate([weight, np.cross(self.part.com, weight)], axis=1).T
        return still if self.pushed is None else still + self.pushed

    def worst_at_speeds(self, samples: Samples, moves: Sequence[Move]) -> list[int]:
        """Return the samples at which the hold margin of some moves is least at factors on their speed.

        Load and errors of the rates grow with the square of the factor, gravity stays. None where there are so many
        samples and places that it would take long.

        Args:
            samples: Of the report.
            moves: Stretches of the program.
        """
        at = np.flatnonzero(~np.isnan(samples.hold_margin))
        if at.size * self.face.points * len(SPEEDS) > MOST_LOOKED_AT:
            return []
        still = self.standing[:, at]
        moving = np.concatenate([samples.force[at], samples.moment[at]], axis=1).T - still
        with np.errstate(divide="ignore", invalid="ignore"):
            added = 1.0 / samples.hold_margin_low[at] - 1.0 / samples.hold_margin[at]
        added = np.where(np.isfinite(added), added, 0.0)
        spans = [np.searchsorted(samples.t[at], [move.start, np.nextafter(move.end, np.inf)]) for move in moves]
        found: set[int] = set()
        for k in SPEEDS:
            use = largest_utilisation(self.face, still + k**2 * moving)
            for row in (use, use + k**2 * added):
                found |= {int(at[i + row[i:j].argmax()]) for i, j in spans if j > i}
        return sorted(found)

    def tractions(self, pad: PadState, points: FloatArray, load: FloatArray) -> FloatArray:
        """Return the traction at places of a pad under a load.

        Args:
            pad: One of its pads.
            points: In the tool frame [m], shape (p, 3).
            load: At the tool origin, shape (6,) or (6, m).

        Returns:
            Along the pad's x and y, then normal, tension positive [Pa], shape (3, p) or (3, p, m).
        """
        if self.sheet is not None:
            return np.asarray(self.sheet.traction_maps(pad.patch, points)[0] @ load)
        rows = displacement_rows(points, pad.patch.rotation) * pad.patch.stiffness_per_area()[:, None, None]
        return np.asarray(rows @ (self.compliance @ load))

    def edge_use(self, load: FloatArray) -> EdgeUse | None:
        """Return where the edge of the pads is used most by a load, shape (6,); None where no cell counts."""
        if not any((pad.edge_bond > 0).any() for pad in self.pads):
            return None
        use, tension = (figures[:, 0] for figures in utilisation(self.face, load[:, None]))
        worst, peeling = int(np.argmax(use)), int(np.argmax(tension))
        return EdgeUse(
            pad=int(self.owner[worst]),
            point=self.points[worst],
            use=float(use[worst]),
            peel_pad=int(self.owner[peeling]),
            peel_point=self.points[peeling] if tension[peeling] > 0 else None,
            peel=float(tension[peeling]),
        )

    def use_by_cause(self, parts: dict[str, FloatArray]) -> dict[str, FloatArray]:
        """Return what the use of the pads at their most used edge point is made of, sample by sample.

        Each cause counts with the projection of its normalised traction on that of the whole load, as findings do; what
        is below zero relieves. The parts add up to the utilisation.

        Args:
            parts: Loads by cause, each of shape (m, 6).

        Returns:
            For each cause shape (m,) [-]; empty where no cell counts.
        """
        if not any((pad.edge_bond > 0).any() for pad in self.pads):
            return {}
        total = np.sum(list(parts.values()), axis=0)
        use, point, _, _ = peak_utilisation(self.face, total.T)
        share = shares(self.face.maps[:, point], total.T, np.stack([load.T for load in parts.values()]))
        return dict(zip(parts, use * share, strict=True))
