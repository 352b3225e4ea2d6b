"""How far the pads are used with the part swinging on them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import by_parts, columns, differences_of, filled_with, largest_of, parts, stored
from gripmargin.checks.case import Case
from gripmargin.checks.hold.letting_go import settled
from gripmargin.checks.hold.use import COVERAGE, SURE, beyond, most_of, pad_use
from gripmargin.checks.premises import SWINGING
from gripmargin.checks.resting import raised
from gripmargin.checks.swing.figures import Ringing
from gripmargin.checks.swing.pushed import Pushed, Pushing, pads_of, pushed_over
from gripmargin.checks.swing.response import Swing
from gripmargin.checks.swing.ringing import Block, Stretch, next_too, other_stretches, stretches_of
from gripmargin.checks.swing.spans import largest_between, missed
from gripmargin.checks.swing.sway import LARGEST, Sway, sway_of
from gripmargin.checks.swing.vibration import Modes
from gripmargin.checks.use import Asked, Use
from gripmargin.contact.placed import Placed
from gripmargin.kernels.face import Face
from gripmargin.kernels.march import between
from gripmargin.kernels.utilisation import peak_utilisation
from gripmargin.workcell.job import Job

FINE = 0.5  # [rad] by which the fastest mode that is followed turns from one instant looked at to the next
COARSE = 1.0  # [rad] the same beyond which a mode counts with its whole amplitude instead
MOST_STEPS = 8  # instants looked at from one sample to the next
NEAR = 0.5  # of the largest use: what stays below is not looked at between samples
TYPICAL = 0.9  # share of the intervals that are no wider than what counts as usual


@dataclass(frozen=True, eq=False)
class StretchUse:
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

    @property
    def most(self) -> FloatArray:
        """Largest value it may have, noise included, shape (m,)."""
        return self.high + COVERAGE * self.noise


def use_over(stretch: Stretch, face: Face, sway: Sway | None = None, pushed: Sequence[Pushed] = ()) -> StretchUse:
    """Return how far the pads are used from each sample of a stretch to the next.

    Modes that are slow enough are followed from instant to instant. Between two instants the load stays within an arc's
    height of the straight line through both, and utilisation is convex. Faster modes count with their whole amplitude:
    utilisation is a seminorm, so it grows by no more than that of the amplitude alone.

    Args:
        stretch: With its swing.
        face: The places that count.
        sway: What the part's swing out of its place changes; None: it is left out.
        pushed: What forces of the process add.
    """
    (followed, steps), gain = resolution(stretch.modes, stretch.t), stretch.modes.gain(face)[:, None]
    value, fast, left, unsure, noise = (stored(stretch.samples.shape) for _ in range(5))
    point, load = stored(value.shape, np.intp), stored((6, value.size))
    force = Pushing.over(stretch.modes, face, value.size) if pushed else None
    out_of_place = None if sway is None else sway.followed
    for block in stretch.blocks():
        part, own, found = block.part, slice(0, block.size), block.swing
        peaks, swings = _at_samples(block, face, followed), gain * found.amplitude
        if force is not None and out_of_place is None:
            force.meets(pushed, block.first, peaks[2][:, own], _missed(found, swings, followed, 1)[own])
        value[part], point[part], load[:, part] = (x[..., own] for x in peaks)
        fast[part], left[part] = swings[~followed].sum(axis=0)[own], _missed(found, swings, followed, 1)[own]
        unsure[part], noise[part] = ((gain * next_too(x)).sum(axis=0)[own] for x in (found.unsure, found.sigma))
    enough = NEAR * float(largest_of(np.add, value, fast))
    begins = _beginning(stretch, face)
    for block in stretch.blocks() if steps > 1 else ():
        part = block.part
        highest = next_too(value[part.start : part.stop + 1])[: block.size]
        there = np.flatnonzero(~(highest + fast[part] + left[part] < enough))
        _look_between(block, face, followed, steps, there, (value[part], point[part], load[:, part]))
        left[part][there] = _missed(block.swing, gain * block.swing.amplitude, followed, steps)[there]
    beside = 0.0 if sway is None else sway.more
    least = by_parts(lambda value, unsure: value - unsure - beside, value, unsure)
    most = by_parts(lambda *rows: np.sum(rows, axis=0) + beside, value, fast, left, unsure)
    if out_of_place is not None:
        least, most = out_of_place.least - unsure, out_of_place.most + fast + left + unsure
        there = np.isfinite(out_of_place.value)  # beyond numbers the part is taken to stay in its place
        value = np.where(there, out_of_place.value, value)
        point, load = np.where(there, out_of_place.point, point), np.where(there, out_of_place.load, load)
    if force is not None:
        third = np.zeros(value.size) if out_of_place is None else out_of_place.third
        surely = force.value if out_of_place is None else force.swayed(pushed, out_of_place.loads, left)
        most = np.maximum(most, force.most * (1.0 + third) + fast + unsure + beside)
        least = np.fmax(least, surely * (1.0 - third) - unsure - beside)
        worse = force.value > value
        value, point = np.where(worse, force.value, value), np.where(worse, force.point, point)
        load = np.where(worse, force.load, load)
    if begins is not None:
        first = stretch.start.sample
        beside += 0.0 if force is None else force.alone[first]
        least[first] = max(least[first], begins.value - unsure[first] - beside)
        most[first] = max(most[first], begins.value + begins.missed + unsure[first] + beside)
        if begins.value > value[first]:
            value[first], point[first], load[:, first] = begins.value, begins.point, begins.load
    if sway is not None:
        known = sway.known if force is None else sway.known & (sway.angle + force.tilt <= LARGEST)
        least = by_parts(lambda known, least: np.where(known, least, 0.0), known, least)
        most = by_parts(lambda known, most: np.where(known, most, np.inf), known, most)
    value = by_parts(np.add, value, fast)
    return StretchUse(value=value, low=least, high=most, noise=noise, point=point, load=load)


@dataclass(frozen=True, eq=False, kw_only=True)
class _Beginning:
    """The largest use before the sample at which a stretch begins to be followed.

    Attributes:
        value: Of the instants that are looked at.
        missed: By how much it may be larger between them.
        point: Place that is used most.
        load: What the pads carry then, shape (6,).
    """

    value: float
    missed: float
    point: int
    load: FloatArray


def _beginning(stretch: Stretch, face: Face) -> _Beginning | None:
    """What happens between the instant at which the part leaves its tray and the next sample; None: they are one."""
    start, modes = stretch.start, stretch.modes
    if not start.lead > 0.0:
        return None
    block = next(stretch.blocks())
    response, amplitude = start.within(modes, block.swing.drive, FINE)
    load = modes.loads @ response + block.rest[:, [start.sample]]
    used, at, _, _ = peak_utilisation(face, load)
    k = int(np.argmax(used))
    turn = modes.frequency * start.lead / response.shape[1]  # of each from instant to instant
    missed = float((modes.gain(face) * amplitude) @ between(turn))
    return _Beginning(value=float(used[k]), missed=missed, point=int(at[k]), load=load[:, k])


def _missed(found: Swing, swings: FloatArray, followed: NDArray[np.bool_], parts: int) -> FloatArray:
    """By how much the use may be larger between instants that divide each interval into so many parts."""
    turn = found.modes.frequency[followed, None] * np.append(np.diff(found.drive.t), 0.0) / parts
    return np.asarray((swings[followed] * between(turn)).sum(axis=0))


def resolution(modes: Modes, t: FloatArray) -> tuple[NDArray[np.bool_], int]:
    """Return which modes are followed, shape (modes,), and at how many instants from one sample to the next."""
    usual = float(np.quantile(differences_of(t), TYPICAL)) if t.size > 1 else 0.0
    turn = modes.frequency * usual
    slow = turn <= COARSE * MOST_STEPS
    steps = int(np.clip(np.ceil(turn[slow].max(initial=0.0) / FINE), 1, MOST_STEPS))
    return turn <= COARSE * steps, steps


Peaks = tuple[FloatArray, NDArray[np.intp], FloatArray]


def _at_samples(block: Block, face: Face, followed: NDArray[np.bool_]) -> Peaks:
    """The largest utilisation at each instant by the modes that are followed, its point and its load."""
    found = block.swing
    felt = np.where(followed[:, None], found.response(), found.drive.base)
    load = found.modes.loads @ felt + block.rest
    u, at, _, _ = peak_utilisation(face, load)
    return u, at, load


def _look_between(
    block: Block, face: Face, followed: NDArray[np.bool_], steps: int, near: NDArray[np.intp], peaks: Peaks
) -> None:
    """Put in place of some peaks, shape (m,), what is larger up to the next instant."""
    found, (value, point, load) = block.swing, peaks
    base, rest = found.drive.base, block.rest
    after = np.minimum(near + 1, base.shape[1] - 1)
    for share in np.arange(1, steps) / steps:
        straight = base[:, near] + share * (base[:, after] - base[:, near])
        felt = np.where(followed[:, None], found.response(float(share), near), straight)
        wrench = found.modes.loads @ felt + rest[:, near]
        u, at, _, _ = peak_utilisation(face, wrench)
        more = ~(u <= value[near])
        where = near[more]
        value[where], point[where], load[:, where] = u[more], at[more], wrench[:, more]


@dataclass(frozen=True, eq=False, kw_only=True)
class BuiltUp:
    """What pads may be used whose stiffness lies between two that are known.

    Attributes:
        is_more: Where that is more than at either, shape (samples,).
        swing: The one that was looked at and is largest; None: an end is.
    """

    is_more: NDArray[np.bool_]
    swing: list[Stretch] | None


@dataclass(frozen=True, eq=False, kw_only=True)
class CarrySwing:
    """The part's swing over the whole carry, and how far it uses the pads.

    Attributes:
        stretches: Every stretch in the air.
        sways: How far the part swings out of its place in each.
        still: Use of the pads without any swing.
        use: Use of the pads with the part swinging.
        load: What they carry then at every sample of the program, NaN where the part is not carried, shape (6, n).
        built_up: What they may be used at a stiffness in between; None where it is known.
    """

    stretches: list[Stretch]
    sways: list[Sway]
    still: Use
    use: Use
    load: FloatArray
    built_up: BuiltUp | None = None

    @property
    def modes(self) -> Modes:
        """The natural vibrations."""
        return self.stretches[0].modes

    def stretch_at(self, sample: int) -> Stretch:
        """Return the stretch that a carried sample, an index into the program, belongs to."""
        return next(stretch for stretch in self.stretches if stretch.samples[0] <= sample <= stretch.samples[-1])

    def in_reach(self, sample: int) -> bool:
        """Return whether the part has swung nowhere too far to be judged up to a sample, an index into the program."""
        stretch = self.stretch_at(sample)
        sway = next(sway for each, sway in zip(self.stretches, self.sways, strict=True) if each is stretch)
        return bool(sway.known[: sample - stretch.samples[0] + 1].all())

    def rings_by_force(self, case: Case, sample: int) -> bool:
        """Return whether a force of the process has started a swing in the stretch of a sample, up to there."""
        first = int(self.stretch_at(sample).samples[0])
        return any(first <= push.samples[0] <= sample for push in case.pushes)

    def ringing(self, sample: int) -> tuple[Ringing, ...]:
        """Return how much utilisation the swing of each mode is worth at a carried sample, an index into the program.

        Args:
            sample: Which.
        """
        stretch = self.stretch_at(sample)
        found, at = stretch.at(int(sample - stretch.samples[0]))
        worth = self.modes.gain(self.use.grip.face) * found.amplitude[:, at]
        return tuple(
            Ringing(shape=name, frequency=float(hertz), use=float(use))
            for name, hertz, use in zip(self.modes.names, self.modes.hertz, worth, strict=True)
        )


def swing_use(case: Case) -> CarrySwing:
    """Return the swing over the whole carry.

    What may hide between given samples is taken from the use without any swing.

    Args:
        case: The job; it carries the part in at least one sample.
    """
    still = case.shared(pad_use)[0]
    swung, sways = _swung(case, still.grip.face)
    value, low, high, noise, point, load, built_up = swung
    sure = NormalDist().inv_cdf(1.0 - (1.0 - SURE) / max(still.samples.size, 1))
    low = by_parts(lambda low, noise: np.maximum(low - sure * noise, 0.0), low, noise)
    high = by_parts(
        lambda high, noise, more: high + COVERAGE * noise + more, high, noise, _hidden(case, still.grip.face, still)
    )
    if (bound := beyond(case, still.grip, high)) is not None:
        _, _, most, noise, *_ = _swung(case, bound)[0]
        rows = high, most, noise, _hidden(case, bound, still)
        high = by_parts(lambda high, most, noise, more: np.maximum(high, most + COVERAGE * noise + more), *rows)
    for part in parts(high.size):
        high[part][np.isinf(still.high[part]) | ~np.isfinite(value[part])] = np.inf
    stretches = case.shared(stretches_of)
    rests = [stretch for stretch in stretches if not stretch.start.rate.any() and not case.pushes]
    for stretch in rests:  # there the part hangs in balance, however unsure the swing is that follows
        at = int(np.searchsorted(still.samples, stretch.samples[0]))
        hangs = float(peak_utilisation(still.grip.face, stretch.start.load[:, None])[0][0])
        low[at] = max(low[at], np.fmin(hangs, value[at]))  # out of its place it may hang at a shorter lever
    use = settled(case, replace(still, value=value, low=low, high=high, point=point), load, swing_target(case.job))
    if use.samples.size < case.airborne.size:
        carried, load = load, filled_with(np.nan, case.load.shape)
        for part in parts(use.samples.size):
            load[:, use.samples[part]] = carried[:, part]
    return CarrySwing(stretches=stretches, sways=sways, still=still, use=use, load=load, built_up=built_up)


def _swung(case: Case, face: Face) -> tuple[tuple[Any, ...], list[Sway]]:
    """The use of a face over the carry, as `StretchUse` has it, and the part's sway."""
    stretches = case.shared(stretches_of)
    sways = [sway_of(case, stretch, face, *resolution(stretch.modes, stretch.t)) for stretch in stretches]
    forces = [pushed_over(case, each.modes, each.samples, pads_of(case, each.modes)) for each in stretches]
    parts = [use_over(*each) for each in zip(stretches, [face] * len(sways), sways, forces, strict=True)]
    value, low, high, noise, point, load = (
        _joined([getattr(part, name) for part in parts]) for name in ("value", "low", "high", "noise", "point", "load")
    )
    del parts
    if not (kinds := case.shared(other_stretches)):
        return (value, low, high, noise, point, load, None), sways
    known, apart, level = high, 0.0, 1.0 / (swing_target(case.job) * raised(case, SWINGING))
    plain = {id(some): in_place(case, face, some) for some in (stretches, *kinds)}
    swayed = max(1.0, float(high.max()) / float(plain[id(stretches)][1].max()))  # by leaving its place
    for other in kinds:
        known, apart = (
            np.maximum(known, plain[id(other)][1]),
            apart + abs(float(value.max() - plain[id(other)][0].max())),
        )
    between, worst = in_between(case, face, level / swayed, {key: most for key, (_, most) in plain.items()})
    between, ends = swayed * between, known + apart
    built_up = BuiltUp(is_more=between > ends, swing=worst)
    return (value, low, np.maximum(ends, between), noise, point, load, built_up), sways


PlacesOf = Callable[[Case, Modes], Placed | None]  # what feels where forces act, with vibrations that a part has


def in_place(
    case: Case, face: Face, stretches: Sequence[Stretch], places_of: PlacesOf = pads_of
) -> tuple[FloatArray, FloatArray]:
    """The use, and the most that it may be but for noise, of a part that stays in its place, shape (samples,) each."""
    found = [
        use_over(each, face, None, pushed_over(case, each.modes, each.samples, places_of(case, each.modes)))
        for each in stretches
    ]
    return _joined([part.value for part in found]), _joined([part.high for part in found])


def in_between(
    case: Case,
    face: Face,
    level: float = 0.0,
    known: Mapping[int, FloatArray] | None = None,
    places_of: PlacesOf = pads_of,
) -> tuple[FloatArray, list[Stretch] | None]:
    """Return the most that the pads may be used, however stiff they are, by a part that stays in its place.

    Args:
        case: The job; its pads may be as stiff as their core alone, as all of them, or anything in between.
        face: The places that count.
        level: What the use may be without harm.
        known: The most of swings that have been looked at, by their identity.
        places_of: What feels where forces of the process act.

    Returns:
        The most but for noise, shape (samples,), and the swing in between that does most; None where an end does.
    """

    def look(some: list[Stretch]) -> FloatArray:
        return known[id(some)] if known and id(some) in known else in_place(case, face, some, places_of)[1]

    def apart(one: list[Stretch], other: list[Stretch]) -> FloatArray:
        pairs = list(zip(one, other, strict=True))
        return np.asarray(_joined([np.maximum(*(x.modes.gain(face) for x in pair)) @ missed(*pair) for pair in pairs]))

    return largest_between(case, look, apart, level=level)


def _hidden(case: Case, face: Face, still: Use) -> FloatArray:
    """What may hide between given samples."""
    if not case.motion.given:
        return np.broadcast_to(0.0, still.value.shape)
    if face is still.grip.face and beyond(case, still.grip, still.high) is None:
        return by_parts(np.subtract, still.high, still.value)
    value = peak_utilisation(face, columns(case.load, still.samples))[0]
    return by_parts(np.subtract, most_of(case, face, still.samples, value), value)


def _joined(rows: list[Any]) -> Any:
    return rows[0] if len(rows) == 1 else np.concatenate(rows, axis=-1)


def swing_target(job: Job) -> float:
    """Return the margin wanted with the part swinging: that of hold where there is none of its own."""
    return job.targets.hold if job.targets.swing is None else job.targets.swing


def asked_of_the_pads(case: Case) -> Iterator[Asked]:
    """Yield what the target of the swing asks of the pads."""
    yield Asked(name="swing", target=swing_target(case.job), use=case.shared(swing_use).use)
