"""Figures over time made ready to be drawn: fewer points without losing a peak, loads by cause, use of the pads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.backing import displacement_rows
from gripmargin.contact.loads import AIR_CAUSES, rigid_by_cause
from gripmargin.kernels.utilisation import peak_utilisation, shares, squared
from gripmargin.results.findings import CheckResult, Finding
from gripmargin.results.report import Report, Samples
from gripmargin.results.scene import PadState, Scene

IntArray = NDArray[np.intp]
CHUNK = 100_000  # samples whose loads by cause are worked out at a time
REST = 1e-6  # share of the load below which what no cause explains is rounding


def used(margin: FloatArray) -> FloatArray:
    """Return the share of the pads' hold that a margin stands for: its inverse, 0 without load, any shape."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(1.0 / np.maximum(margin, 0.0))


def thinned(t: FloatArray, y: FloatArray, columns: int) -> list[IntArray]:
    """Return the samples that a line drawn over so many columns needs: first, last, least, largest of each.

    A drawing of these is the same as one of all samples (Jugel et al., M4, VLDB 2014, from memory). Samples that are
    no number, or infinite, break the line.

    Args:
        t: Times, rising, shape (n,).
        y: Values, shape (n,).
        columns: Width of the drawing in columns.

    Returns:
        Indices of one unbroken stretch each, rising.
    """
    good = np.flatnonzero(np.isfinite(y))
    if good.size == 0:
        return []
    column = _columns(t, columns)[good]
    order = np.lexsort((y[good], column))
    starts = np.flatnonzero(np.diff(column[order], prepend=-1))
    ends = np.append(starts[1:], good.size) - 1
    in_time = np.flatnonzero(np.diff(column, prepend=-1))
    last_in_time = np.append(in_time[1:], good.size) - 1
    kept = np.unique(np.concatenate([order[starts], order[ends], in_time, last_in_time]))
    stretch = np.cumsum(np.diff(good, prepend=good[0]) > 1)[kept]
    return np.split(good[kept], np.flatnonzero(np.diff(stretch)) + 1)


def stops(t: FloatArray, worst: FloatArray, marked: Sequence[int], count: int) -> IntArray:
    """Return the samples at which figures are given: of each stretch of time the worst, and those that are marked.

    Args:
        t: Times, rising, shape (n,).
        worst: The larger the worse, NaN where there is nothing to say, shape (n,).
        marked: Samples that have to be among them.
        count: How many stretches.

    Returns:
        Rising indices: all of them where there are no more than `count`.
    """
    if t.size <= count:
        return np.arange(t.size)
    column = _columns(t, count)
    order = np.lexsort((np.where(np.isnan(worst), -np.inf, worst), column))
    ends = np.append(np.flatnonzero(np.diff(column[order])), t.size - 1)
    extra = [i for i in marked if 0 <= i < t.size]
    return np.unique(np.concatenate([order[ends], [0, t.size - 1], np.asarray(extra, dtype=np.intp)])).astype(np.intp)


def _columns(t: FloatArray, count: int) -> IntArray:
    span = float(t[-1] - t[0])
    share = (t - t[0]) / span if span > 0 else np.zeros(t.size)
    return np.minimum((share * count).astype(np.intp), count - 1)


def loads_by_cause(samples: Samples, scene: Scene, at: IntArray) -> dict[str, FloatArray]:
    """Return the load at some samples by cause; what no cause explains is called "other".

    Args:
        samples: Of the report.
        scene: Of the report.
        at: Indices, shape (m,).

    Returns:
        For each cause forces [N] and moments [N m] at the tool origin, shape (m, 6); they add up to the load.
    """
    motion = scene.gravity, samples.acceleration, samples.angular_velocity, samples.angular_acceleration
    parts = {cause: load.T for cause, load in rigid_by_cause(scene.part, *(rows[at].T for rows in motion)).items()}
    if scene.air is not None:
        parts |= {cause: load[:, at].T for cause, load in zip(AIR_CAUSES, scene.air, strict=True)}
    total = np.concatenate([samples.force[at], samples.moment[at]], axis=1)
    rest = total - np.sum(list(parts.values()), axis=0)
    if np.abs(rest).max(initial=0.0) > REST * max(np.abs(total).max(initial=0.0), 1e-12):
        parts["other"] = rest
    return parts


def sizes_by_cause(samples: Samples, scene: Scene) -> dict[str, FloatArray]:
    """Return the size of the force [N] and of the moment [N m] of each cause at all samples, shape (2, n)."""
    sizes: dict[str, FloatArray] = {}
    n = samples.t.size
    for first in range(0, n, CHUNK):
        at = np.arange(first, min(first + CHUNK, n))
        for cause, load in loads_by_cause(samples, scene, at).items():
            size = sizes.setdefault(cause, np.zeros((2, n)))
            size[:, at] = np.linalg.norm(load.reshape(-1, 2, 3), axis=2).T
    return sizes


def tractions(scene: Scene, pad: PadState, points: FloatArray, load: FloatArray) -> FloatArray:
    """Return the traction at places of a pad under a load.

    Args:
        scene: For the compliance of the pads.
        pad: One of its pads.
        points: In the tool frame [m], shape (p, 3).
        load: At the tool origin, shape (6,) or (6, m).

    Returns:
        Along the pad's x and y, then normal, tension positive [Pa], shape (3, p) or (3, p, m).
    """
    rows = displacement_rows(points, pad.patch.rotation) * pad.patch.stiffness_per_area()[:, None, None]
    return np.asarray(rows @ (scene.compliance @ load))


def utilisation(pad: PadState, traction: FloatArray) -> FloatArray:
    """Return how far tractions use what a pad surely holds: shape (3, ...) [Pa] to (...) [-]."""
    if pad.pull_off_stress <= 0 or pad.shear_strength <= 0:
        return np.full(traction.shape[1:], np.nan)
    shear2 = (traction[0] ** 2 + traction[1] ** 2) / pad.shear_strength**2
    return np.sqrt(squared(shear2, traction[2] / pad.pull_off_stress))


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


def edge_use(scene: Scene, load: FloatArray) -> EdgeUse | None:
    """Return where the edge of the pads is used most by a load, shape (6,); None where no cell counts."""
    found: list[tuple[float, int, FloatArray]] = []
    peel: list[tuple[float, int, FloatArray]] = []
    for i, pad in enumerate(scene.pads):
        if len(pad.edge) == 0 or pad.pull_off_stress <= 0:
            continue
        traction = tractions(scene, pad, pad.edge, load)
        use, tension = utilisation(pad, traction), np.maximum(traction[2], 0.0) / pad.pull_off_stress
        k, j = int(np.argmax(use)), int(np.argmax(tension))
        found.append((float(use[k]), i, pad.edge[k]))
        peel.append((float(tension[j]), i, pad.edge[j]))
    if not found:
        return None
    worst, peeling = max(found, key=lambda f: f[0]), max(peel, key=lambda f: f[0])
    return EdgeUse(
        pad=worst[1],
        point=worst[2],
        use=worst[0],
        peel_pad=peeling[1],
        peel_point=peeling[2] if peeling[0] > 0 else None,
        peel=peeling[0],
    )


def use_by_cause(scene: Scene, parts: dict[str, FloatArray]) -> dict[str, FloatArray]:
    """Return what the use of the pads at their most used edge point is made of, sample by sample.

    Each cause counts with the projection of its normalised traction on that of the whole load, as findings do; what
    is below zero relieves. The parts add up to the utilisation.

    Args:
        scene: Of the report.
        parts: Loads by cause, each of shape (m, 6).

    Returns:
        For each cause shape (m,) [-]; empty where no cell counts.
    """
    maps = []
    for pad in scene.pads:
        if len(pad.edge) and pad.pull_off_stress > 0:
            held = np.array([pad.shear_strength, pad.shear_strength, pad.pull_off_stress])[:, None, None]
            maps.append(tractions(scene, pad, pad.edge, np.eye(6)) / held)
    if not maps:
        return {}
    edges = np.concatenate(maps, axis=1)  # (3, points, 6)
    total = np.sum(list(parts.values()), axis=0)
    use, point, _, _ = peak_utilisation(edges, total.T)
    share = shares(edges[:, point], total.T, np.stack([load.T for load in parts.values()]))
    return dict(zip(parts, use * share, strict=True))


def sample_of(report: Report, finding: Finding) -> int | None:
    """Return the sample of the program at which a finding is worst; None where it names none.

    What concerns a recording numbers the recording's samples, so its time says where that is in the program.
    """
    n, sample = report.samples.t.size, finding.worst.get("sample")
    if not isinstance(sample, int) or n == 0:
        return None
    if finding.check == "recorded":
        return _nearest(report.samples.t, float(finding.worst.get("t", finding.start)))
    return sample if 0 <= sample < n else None


def check_sample(report: Report, check: CheckResult) -> int | None:
    """Return the sample of the program at which a check is worst, likewise."""
    if check.at is None or report.samples.t.size == 0:
        return None
    if check.check == "recorded":
        return _nearest(report.samples.t, check.at.t)
    return check.at.sample if 0 <= check.at.sample < report.samples.t.size else None


def _nearest(t: FloatArray, when: float) -> int:
    return int(np.argmin(np.abs(t - when)))


def worst_sample(report: Report) -> int | None:
    """Return the sample that a report is about: of the worst finding, else of the hold check, else the first."""
    ranked = by_severity(report)
    candidates = [sample_of(report, f) for f in ranked if f.check == "hold"]
    candidates += [sample_of(report, f) for f in ranked if f.verdict == "fail"]
    candidates += [check_sample(report, check) for check in report.checks if check.check == "hold"]
    candidates += [sample_of(report, f) for f in ranked]
    return next((i for i in candidates if i is not None), 0 if report.samples.t.size else None)


def by_severity(report: Report) -> list[Finding]:
    """Return the findings, those that fail first, of each kind the least margin first."""

    def rank(finding: Finding) -> tuple[bool, float, float]:
        low = next((v for k in ("margin_low", "ratio", "activation") if (v := finding.worst.get(k)) is not None), 0.0)
        return (finding.verdict != "fail", float(low), finding.start)

    return sorted(report.findings, key=rank)
