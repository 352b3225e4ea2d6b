"""The part's swing on its pads over every stretch in the air, and how far it uses the pads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.hold.use import COVERAGE, SURE, Use
from gripmargin.checks.swing.vibration import (
    Doubt,
    Drive,
    Modes,
    Start,
    Swing,
    better,
    estimated_drives,
    given_drive,
    modes_of,
    swing,
)
from gripmargin.contact.loads import part_load, standing_load
from gripmargin.kernels.utilisation import peak_utilisation, traction_size
from gripmargin.motion.rate_error import RateError
from gripmargin.motion.tool_motion import ToolMotion

FINE = 0.5  # [rad] by which the fastest mode that is followed turns from one instant looked at to the next
COARSE = 1.0  # [rad] the same beyond which a mode counts with its whole amplitude instead
MOST_STEPS = 8  # instants looked at from one sample to the next
MOST_INSTANTS = 400_000  # instants looked at in a stretch
TYPICAL = 0.9  # share of the intervals that are no wider than what counts as usual
WHOLE_TURN = np.pi


@dataclass(frozen=True, eq=False, kw_only=True)
class Stretch:
    """The part in the air without a break, from leaving its tray to its nest.

    Attributes:
        samples: Indices into the program, shape (m,).
        owner: The sample at or before each instant, an index into `samples`, shape (n,).
        start: How it begins.
        swing: What the part does; its instants are the samples, or more where those are far apart.
        still: Load of gravity alone, mode by mode, shape (modes, n).
        rest: Load that no mode takes, for lack of mass: the pads carry it at once, shape (6, n).
    """

    samples: NDArray[np.intp]
    owner: NDArray[np.intp]
    start: Start
    swing: Swing
    still: FloatArray
    rest: FloatArray

    def driven(self, drive: Drive, *, modes: Modes | None = None, start: Start | None = None) -> Stretch:
        """Return the stretch under another drive, on other pads, or begun in another way."""
        found = swing(modes or self.swing.modes, drive, start or self.start)
        return replace(self, swing=found, start=start or self.start)


def stretches_of(case: Case, modes: Modes | None = None) -> list[Stretch]:
    """Return every stretch in the air with its swing; see `gripmargin.checks.swing.vibration`.

    Args:
        case: The job; it carries the part in at least one sample.
        modes: Natural vibrations to try instead of those of the job's own pads.
    """
    modes = modes or modes_of(case.backing, case.job.part, case.job.air_density)
    runs = np.split(case.carried, np.flatnonzero(np.diff(case.carried) > 1) + 1)
    return [_stretch(case, modes, run, first=i == 0) for i, run in enumerate(runs) if run.size]


def _stretch(case: Case, modes: Modes, run: NDArray[np.intp], *, first: bool) -> Stretch:
    part, gravity, density, motion = case.job.part, case.job.gravity, case.job.air_density, case.motion
    tools: Sequence[ToolMotion] = (motion.at, *motion.sparse)
    count = len(tools)
    size = count * (run.size - 1) + 1
    t, wrench, standing = np.empty(size), np.empty((6, size)), np.empty((6, size))
    inside = run[:-1]
    step = np.diff(case.job.trajectory.t)[inside]
    for k, tool in enumerate(tools):
        where = run if k == 0 else inside
        t[k::count] = case.job.trajectory.t[where] if k == 0 else case.job.trajectory.t[where] + step * (k / count)
        wrench[:, k::count] = case.load[:, where] if k == 0 else part_load(part, tool, gravity, density)[:, where]
        standing[:, k::count] = case.standing[:, where] if k == 0 else standing_load(part, tool, gravity)[:, where]
    owner = np.arange(size) // count
    start = _start(case, modes, run, wrench, standing, count, first=first)
    excess = _excess(case, run) if count == 1 else None
    if motion.path is None or count > 1:
        drives: tuple[Drive, Drive | None] = given_drive(modes, t, wrench, excess), None
    else:
        drives = estimated_drives(modes, t, wrench, _doubt(case, motion.path, run), start.sample, excess)
    found = better(modes, drives, start, COVERAGE)
    return Stretch(
        samples=run,
        owner=owner,
        start=start,
        swing=found,
        still=modes.shapes.T @ standing,
        rest=wrench - modes.loads @ (modes.shapes.T @ wrench),
    )


def _doubt(case: Case, path: RateError, run: NDArray[np.intp]) -> Doubt:
    return Doubt(
        columns=case.load_per_rate(run),
        sigma=path.sigma[run],
        bias=path.bias[run],
        window=path.window[run],
        unsmoothed=None if path.unsmoothed is None else path.unsmoothed[:, run],
        speed_sigma=path.speed_sigma[run],
        speed_bias=path.speed_bias[run],
        spin=path.spin[run],
        noise=path.noise,
    )


def _excess(case: Case, run: NDArray[np.intp]) -> FloatArray | None:
    """By how much the mean load between samples exceeds the mean of theirs, shape (6, m - 1)."""
    if case.motion.between_mean is None:
        return None
    mean = part_load(case.job.part, case.motion.between_mean, case.job.gravity, case.job.air_density)[:, run[:-1]]
    return np.asarray(mean - (case.load[:, run[:-1]] + case.load[:, run[1:]]) / 2.0)


def _start(
    case: Case,
    modes: Modes,
    run: NDArray[np.intp],
    wrench: FloatArray,
    standing: FloatArray,
    count: int,
    *,
    first: bool,
) -> Start:
    """How a stretch begins: at rest on the pads, or torn off a tray.

    Where the tray is known, the part rests in it until the pads pull with its weight and the break-away force: the
    tool is already moving away from it then, and the part starts with that speed against it.
    """
    pick, com = case.job.pick, case.job.part.com
    held = np.zeros(6)
    if first and pick is not None:
        held[2] = pick.break_away
        held[3:] = np.cross(com, held[:3])
    left = _leaves(case, run) if first else None
    if left is None:
        return Start(sample=0, load=wrench[:, 0] + held, rate=np.zeros(6))
    tool, sample = case.motion.at, int(run[left])
    rate = -np.concatenate([tool.velocity[sample], tool.angular_velocity[sample]])
    return Start(sample=left * count, load=standing[:, left * count] + held, rate=rate)


def _leaves(case: Case, run: NDArray[np.intp]) -> int | None:
    """The first sample of a stretch, an index into it, at which the stretched pads lift the part out of its tray."""
    if case.pickup is None or case.job.pick is None:
        return None
    face = case.job.pick.face
    centre = case.whole.centre
    motion = case.motion.at
    place = motion.position[run] + np.einsum("nij,j->ni", motion.rotation[run], centre)
    height = (place - face[:3, 3]) @ face[:3, 2]
    enough = case.pickup.restraint / float(case.whole.stiffness[2, 2])
    up = np.flatnonzero(height >= enough)
    return int(up[0]) if up.size else None


@dataclass(frozen=True, eq=False)
class Asked:
    """Utilisation over a stretch, at its samples, each shape (m,).

    Attributes:
        value: Largest from each sample to the next, best estimate.
        low: Least value it may have, but for noise.
        high: Largest value it may have, but for noise.
        noise: One standard deviation.
        point: Edge point where it is largest.
        load: What the pads carry there, shape (6, m).
    """

    value: FloatArray
    low: FloatArray
    high: FloatArray
    noise: FloatArray
    point: NDArray[np.intp]
    load: FloatArray


def asked(stretch: Stretch, maps: FloatArray) -> Asked:
    """Return how far the pads are used from each sample of a stretch to the next.

    Modes that are slow enough are followed from instant to instant. Between two instants the load stays within an arc's
    height of the straight line through both, and utilisation is convex. Faster modes count with their whole amplitude:
    utilisation is a seminorm, so it grows by no more than that of the amplitude alone.

    Args:
        stretch: With its swing.
        maps: Load wrench to normalised traction, shape (3, points, 6).
    """
    found = stretch.swing
    t, drive, modes = found.drive.t, found.drive, found.modes
    h = np.append(np.diff(t), 0.0)
    usual = float(np.quantile(h[:-1], TYPICAL)) if t.size > 1 else 0.0
    turn = modes.frequency * usual
    slow = turn <= COARSE * MOST_STEPS
    steps = int(np.ceil(turn[slow].max(initial=0.0) / FINE))
    steps = int(np.clip(steps, 1, min(MOST_STEPS, max(1, MOST_INSTANTS // t.size))))
    followed = turn <= COARSE * steps
    gain = traction_size(maps, modes.loads).max(axis=0)
    value, point, load = np.full(t.size, -1.0), np.zeros(t.size, dtype=np.intp), np.zeros((6, t.size))
    rise = np.diff(drive.base, append=drive.base[:, -1:])
    for k in range(steps):
        share = k / steps
        felt = np.where(followed[:, None], found.response(share), drive.base + share * rise)
        wrench = modes.loads @ felt + stretch.rest
        u, at, _, _ = peak_utilisation(maps, wrench)
        more = ~(u <= value)
        value, point = np.where(more, u, value), np.where(more, at, point)
        load = np.where(more, wrench, load)
    swings = gain[:, None] * found.amplitude
    arc = 1.0 - np.cos(np.minimum(modes.frequency[:, None] * h / (2.0 * steps), WHOLE_TURN))
    fast = swings[~followed].sum(axis=0)
    missed = (swings * arc)[followed].sum(axis=0)
    unsure, noise = ((gain[:, None] * x).sum(axis=0) for x in (next_too(found.unsure), next_too(found.sigma)))
    firsts = np.flatnonzero(np.diff(stretch.owner, prepend=-1))
    best = _largest(value, firsts)
    return Asked(
        value=np.maximum.reduceat(value + fast, firsts),
        low=np.maximum.reduceat(value - unsure, firsts),
        high=np.maximum.reduceat(value + fast + missed + unsure, firsts),
        noise=np.maximum.reduceat(noise, firsts),
        point=point[best],
        load=load[:, best],
    )


def next_too(values: FloatArray) -> FloatArray:
    """The larger of each value and the next, along the last axis."""
    out = values.copy()
    out[..., :-1] = np.maximum(values[..., :-1], values[..., 1:])
    return out


def _largest(values: FloatArray, firsts: NDArray[np.intp]) -> NDArray[np.intp]:
    """Index of the largest value of each group that begins at the given places."""
    ends = np.append(firsts[1:], values.size)
    if (ends - firsts == 1).all():
        return firsts
    width = int((ends - firsts).max())
    index = np.minimum(firsts[:, None] + np.arange(width), ends[:, None] - 1)
    return np.asarray(index[np.arange(firsts.size), np.argmax(values[index], axis=1)])


def swing_use(case: Case, stretches: Sequence[Stretch], still: Use) -> tuple[Use, FloatArray]:
    """Return how far the pads are used with the part swinging, and what they carry then, shape (6, m).

    Args:
        case: The job.
        stretches: Of the whole carry.
        still: The use without any swing; what may hide between given samples is taken from it.
    """
    parts = [asked(stretch, still.maps) for stretch in stretches]
    value, low, high, noise = (
        np.concatenate([getattr(part, name) for part in parts]) for name in ("value", "low", "high", "noise")
    )
    sure = NormalDist().inv_cdf(1.0 - (1.0 - SURE) / max(still.samples.size, 1))
    hidden = still.high - still.value if case.motion.error is None else 0.0
    low, high = np.maximum(low - sure * noise, 0.0), high + COVERAGE * noise + hidden
    high[np.isinf(still.high) | ~np.isfinite(value)] = np.inf
    point = np.concatenate([part.point for part in parts])
    use = replace(still, value=value, low=low, high=high, point=point)
    return use, np.concatenate([part.load for part in parts], axis=1)


def peak_of_stretches(stretches: Sequence[Stretch], maps: FloatArray) -> float:
    """Return the largest utilisation that may occur over some stretches."""
    parts = [asked(stretch, maps) for stretch in stretches]
    return max(float((part.high + COVERAGE * part.noise).max()) for part in parts)
