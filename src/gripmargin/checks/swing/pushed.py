"""The swing that forces of the process start when they come and go.

A force that comes at once starts a swing as large as what it does at rest: the part overshoots by as much again (factor
2, undamped). One that comes over a time T starts ``1 + |sin pi x| / (pi x)`` of it with x = T / period, at most
``1 + 1 / (pi x)`` (Chopra, Dynamics of Structures, ch. 4, from memory). When it goes it does so once more, about the
load that is left. In which phase these swings meet depends on fractions of a period that no job tells: their sizes are
added up, and the part's own swing comes on top.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.swing.vibration import Modes
from gripmargin.contact.loads import added_mass
from gripmargin.contact.placed import Placed, rows_of
from gripmargin.contact.process import Push
from gripmargin.contact.swung import Vibration, started
from gripmargin.contact.swung import left as left_of
from gripmargin.kernels.face import Face
from gripmargin.kernels.utilisation import largest_utilisation, peak_utilisation

FINE: Final = 0.2  # [rad] of the fastest mode from one instant to the next at which a swing is looked at
PERIODS: Final = 12  # of the slowest mode over which it is: longer finds more of what occurs
MOST_INSTANTS: Final = 2_000
KEPT: Final = 32  # forces whose swing is not followed again
SLIGHT: Final = 1e-3  # share of the swing below which a mode is not looked at by itself
Occurring = tuple[FloatArray, NDArray[np.intp]]  # how far pads are used, and at which place of the grip
DISPLACED: Final = 2.0  # how often large displacements count; random stops in a physics engine need 1.9


@dataclass(frozen=True, eq=False, kw_only=True)
class Pushed:
    """One combination of process forces over some samples of a stretch in the air, and the swing that it is part of.

    Attributes:
        at: Samples, indices into those of the stretch, rising, shape (m,).
        wrench: What they add to the load at rest, shape (6, m).
        swing: Amplitude of the swing about that which they may have started, as responses, shape (modes, m).
        way: Share of the swing beyond which a mode does not go on the far side of what it is at rest: a damped one
            overshoots less than it started; signed as it is at rest, shape (modes, m).
        sudden: Times since they came at once at which a swing is looked at that surely occurs [s], shape (k,); none
            where they come little by little.
        there: The same on a part that bends, each force at its place; None: they act as the rest of the load does.
    """

    at: NDArray[np.intp]
    wrench: FloatArray
    swing: FloatArray
    way: FloatArray
    sudden: FloatArray
    there: There | None = None


@dataclass(frozen=True, eq=False, kw_only=True)
class There:
    """What forces at their places do to a plate and its own vibrations.

    Attributes:
        placed: The places of the pads that feel them.
        wrench: Of each force, shape (6 forces, m).
        felt: The response of each vibration at rest, shape (modes, m).
        swing: Amplitudes, as `Pushed`.
        way: As `Pushed`.
        reach: Beside that, the least and the largest that places feel of forces as they come, shape (2, 3, places).
        gone: The same in place of all swing, where forces have come and gone however soon; None: that is not known.
    """

    placed: Placed
    wrench: FloatArray
    felt: FloatArray
    swing: FloatArray
    way: FloatArray
    reach: FloatArray
    gone: FloatArray | None = None

    def most(self, own: FloatArray, some: NDArray[np.intp]) -> FloatArray:
        """Return the most that pads may be used at some of its samples, the rest of the load given, shape (m,)."""
        swing, ways = self.swing[:, some], self.way[:, some]
        far = overshoot(self.placed.vibrations[0])[:, None]
        low, high = (np.where(ways * sign > 0.0, far, 1.0) * sign * swing for sign in (-1.0, 1.0))
        loads = self.placed.loads(own, self.wrench[:, some])
        most = self.placed.swung(loads, low, high, self.reach)
        if self.gone is None:
            return most
        return np.minimum(most, self.placed.swung(loads, 0.0 * low, 0.0 * high, self.gone))

    def occurs(self, own: FloatArray, k: NDArray[np.intp], late: FloatArray | None = None) -> Occurring:
        """Return what uses the pads most at some of its samples: at rest, or some times after forces came at once.

        Args:
            own: The rest of the load, shape (6, m).
            k: Which samples, shape (m,).
            late: Times [s], shape (m,).
        """
        response = None if late is None else -self.felt[:, k] * left_after(self.placed.vibrations[0], late)
        return self.placed.peak(self.placed.loads(own, self.wrench[:, k], response))[:2]


@dataclass(frozen=True, eq=False, kw_only=True)
class Pushing:
    """How far pads are used where forces of the process meet the swing of the program; -inf where there are none.

    Attributes:
        modes: The natural vibrations.
        face: The places that count.
        gain: Use that a response of 1 of each mode is worth at most, shape (modes,).
        value: What surely occurs, shape (n,).
        most: The most that there may be, but for what is not known of the motion, shape (n,).
        alone: What the forces by themselves may use, shape (n,).
        point: Place that is used most by what surely occurs, shape (n,).
        load: What the pads carry then, shape (6, n).
        tilt: By which the forces may turn the part on its pads [rad], shape (n,).
    """

    modes: Modes
    face: Face
    gain: FloatArray
    value: FloatArray
    most: FloatArray
    alone: FloatArray
    point: NDArray[np.intp]
    load: FloatArray
    tilt: FloatArray

    @classmethod
    def over(cls, modes: Modes, face: Face, samples: int) -> Pushing:
        """Return one that has met nothing yet."""
        return cls(
            modes=modes,
            face=face,
            gain=modes.gain(face),
            value=np.full(samples, -np.inf),
            most=np.full(samples, -np.inf),
            alone=np.zeros(samples),
            point=np.zeros(samples, dtype=np.intp),
            load=np.full((6, samples), np.nan),
            tilt=np.zeros(samples),
        )

    def meets(self, pushed: Sequence[Pushed], first: int, load: FloatArray, missed: FloatArray) -> None:
        """Look at some samples.

        Args:
            pushed: The forces.
            first: The first of these samples, an index into those of the stretch.
            load: What the pads carry there without the forces, swing included, shape (6, m).
            missed: By how much the use may be larger up to the next sample, shape (m,).
        """
        for force in pushed:
            there = np.flatnonzero((force.at >= first) & (force.at < first + load.shape[1]))
            if there.size == 0:
                continue
            at, wrench, swing = force.at[there], force.wrench[:, there], force.swing[:, there]
            own, tilt = load[:, at - first], self._tilt(wrench, swing)
            loads, ways = own + wrench, force.way[:, there]
            if force.there is None:
                used, alone = (self._with_swing(x, swing, ways) for x in (loads, wrench))
            else:
                used, alone = (force.there.most(x, there) for x in (own, 0.0 * own))
            self.most[at] = np.maximum(self.most[at], (1.0 + DISPLACED * tilt) * used + missed[at - first])
            self.alone[at] = np.maximum(self.alone[at], (1.0 + DISPLACED * tilt) * alone)
            self.tilt[at] = np.maximum(self.tilt[at], tilt)
            at_rest = peak_utilisation(self.face, loads)[:2] if force.there is None else force.there.occurs(own, there)
            self._occurs(at, loads, at_rest)
            if force.sudden.size:
                late = there[len(there) // 2 :]
                k = int(late[np.argmax(used[late - there[0]])])
                swung = self._sudden(loads[:, k - there[0]], force, k)
                every = np.full(force.sudden.size, k)
                peaks = peak_utilisation(self.face, swung)[:2]
                if force.there is not None:
                    peaks = force.there.occurs(own[:, every - there[0]], every, force.sudden)
                self._occurs(force.at[every], swung, peaks)

    def swayed(self, pushed: Sequence[Pushed], loads: FloatArray, missed: FloatArray) -> FloatArray:
        """Look at all samples of a part that is followed out of its place.

        Args:
            pushed: The forces.
            loads: What the pads carry, as `Followed.loads` has it.
            missed: By how much the use may be larger between its instants, shape (n,).

        Returns:
            What surely occurs by whichever law, shape (n,); value, place and load are those of the first one.
        """
        surely = np.full(self.value.size, np.inf)
        for law in loads[::-1]:
            self.value[:] = -np.inf
            for own in law:
                self.meets(pushed, 0, own, missed)
            surely = np.minimum(surely, self.value)
        return surely

    def _with_swing(self, loads: FloatArray, swing: FloatArray, ways: FloatArray) -> FloatArray:
        """The largest use by loads with a swing of each mode about them, however their phases meet, shape (m,).

        The use is convex, so it is largest where every mode is at one of its ends; slight modes count by themselves.
        """
        worth = self.gain[:, None] * swing
        tells = (worth > SLIGHT * worth.sum(axis=0).max(initial=0.0)).any(axis=1)
        most, far = np.zeros(loads.shape[1]), overshoot(self.modes)
        ends = np.stack([np.where(ways * sign > 0.0, far[:, None], 1.0) * sign * swing for sign in (-1.0, 1.0)])
        for some in product((0, 1), repeat=int(tells.sum())):
            swung = self.modes.loads[:, tells] @ ends[list(some), np.flatnonzero(tells)]
            most = np.maximum(most, largest_utilisation(self.face, loads + swung))
        return np.asarray(most + worth[~tells].sum(axis=0))

    def _sudden(self, load: FloatArray, force: Pushed, k: int) -> FloatArray:
        """What the pads carry some times after forces came at once, by what they carry in the end, shape (6, k)."""
        felt = self.modes.shapes.T @ force.wrench[:, k]
        return load[:, None] - self.modes.loads @ (felt[:, None] * left_after(self.modes, force.sudden))

    def _occurs(self, at: NDArray[np.intp], loads: FloatArray, occurring: Occurring) -> None:
        """Keep what uses the pads most of loads that occur at samples, which may be named more than once."""
        used, point = occurring
        order = np.argsort(used, kind="stable")  # the last one stays
        order = order[used[order] > self.value[at[order]]]
        k = at[order]
        self.value[k], self.point[k], self.load[:, k] = used[order], point[order], loads[:, order]

    def _tilt(self, wrench: FloatArray, swing: FloatArray) -> FloatArray:
        shapes = self.modes.shapes
        rest, turned = np.linalg.norm(shapes[3:] @ (shapes.T @ wrench), axis=0), np.abs(shapes[3:]) @ swing
        return np.asarray(rest + np.linalg.norm(turned, axis=0))


def used_by_forces(case: Case, modes: Modes) -> FloatArray:
    """Return how far forces of the process by themselves may use the pads at every sample, swing included, shape (n,).

    Args:
        case: The job.
        modes: The natural vibrations.
    """
    out = np.zeros(case.airborne.size)
    for run in np.split(case.carried, np.flatnonzero(np.diff(case.carried) > 1) + 1):
        forces = pushed_over(case, modes, run, pads_of(case, modes)) if run.size else ()
        if forces:
            pushing = Pushing.over(modes, case.grip.face, run.size)
            pushing.meets(forces, 0, np.zeros((6, run.size)), np.zeros(run.size))
            out[run] = pushing.alone
    return out


def in_air(case: Case, modes: Modes) -> Iterator[tuple[NDArray[np.intp], Pushed]]:
    """Yield what forces of the process do over every stretch in the air, and at which samples of the program.

    Args:
        case: The job.
        modes: The natural vibrations.
    """
    for run in np.split(case.carried, np.flatnonzero(np.diff(case.carried) > 1) + 1):
        for each in pushed_over(case, modes, run) if run.size else ():
            yield run[each.at], each


def pushed_over(
    case: Case, modes: Modes, samples: NDArray[np.intp], placed: Placed | None = None
) -> tuple[Pushed, ...]:
    """Return what forces of the process do over a stretch in the air; nothing where none acts in it.

    Args:
        case: The job.
        modes: The natural vibrations.
        samples: Of the stretch, indices into the program, shape (n,).
        placed: Places that feel where a force acts on a part that bends; None: it acts as the rest of the load does.
    """
    first, last = int(samples[0]), int(samples[-1])
    own = {i: push for i, push in enumerate(case.pushes) if first <= push.samples[0] <= last}
    if not own:
        return ()
    t = case.job.trajectory.t[samples]
    kinds = [_Felt.of(own, [modes] * len(case.pushes), t, first)]
    if placed is not None:
        kinds.append(_Felt.of(own, placed.vibrations, t, first, placed))
    after, out = np.flatnonzero(np.any([kind.gone.any(axis=0) for kind in kinds], axis=0)), []
    for more in (None, *case.added):
        inside = slice(0) if more is None else (more.samples >= first) & (more.samples <= last)
        at = after if more is None else more.samples[inside] - first
        if more is not None and not at.size:
            continue
        rows = rows_of(more, case.pushes, more.samples[inside]) if more else np.zeros((6 * len(case.pushes), at.size))
        factors = () if more is None else more.factors
        met = [kind.met(factors, rows, at) for kind in kinds]
        at_once = more is not None and all(push.rise == 0.0 for i, push in own.items() if more.factors[i])
        there = None
        if placed is not None:
            there = There(placed=placed, wrench=rows, **vars(met[1]), **kinds[1].reach(placed, factors))
        out.append(
            Pushed(
                at=at,
                wrench=rows.reshape(len(case.pushes), 6, at.size).sum(axis=0),
                swing=met[0].swing,
                way=met[0].way,
                sudden=_instants(modes, 0.5 * float(t[at[-1]] - t[at[0]])) if at_once else np.zeros(0),
                there=there,
            )
        )
    return tuple(out)


@dataclass(frozen=True, eq=False)
class _Met:
    """What vibrations feel of some forces: at rest, and amplitudes and ways as `Pushed`, shape (modes, m) each."""

    felt: FloatArray
    swing: FloatArray
    way: FloatArray


@dataclass(frozen=True, eq=False)
class _Felt:
    """Forces of a stretch as vibrations feel them, and the swing that is left of each once it has gone."""

    own: Mapping[int, tuple[Vibration, Push]]
    left: Mapping[int, FloatArray]
    reaches: Mapping[int, FloatArray]

    @classmethod
    def of(
        cls,
        pushes: Mapping[int, Push],
        vibrations: Sequence[Vibration],
        t: FloatArray,
        first: int,
        placed: Placed | None = None,
    ) -> _Felt:
        own = {i: (vibrations[i], push) for i, push in pushes.items()}
        left = {i: left_of(each, push, t, int(push.samples[-1]) - first) for i, (each, push) in own.items()}
        reaches = {} if placed is None else {i: _reach(placed, push, i) for i, push in pushes.items()}
        return cls(own, left, {i: reach for i, reach in reaches.items() if reach is not None})

    def reach(self, placed: Placed, factors: Sequence[float]) -> dict[str, FloatArray]:
        """What places feel of forces that act as they come, and once all have gone; `There` has both."""
        each = [self.reaches[i] * factors[i] for i in self.reaches if factors and factors[i]]
        reach = np.sum([np.sort(own, axis=0) for own in each], axis=0) + np.zeros((2, *placed.face.maps.shape[:2]))
        if factors or len(self.reaches) < len(self.own):
            return {"reach": reach}
        wide = np.sum([own[1] - own[0] for own in self.reaches.values()], axis=0)
        return {"reach": reach, "gone": np.stack([-wide, wide])}

    @property
    def gone(self) -> FloatArray:
        return np.asarray(np.sum(list(self.left.values()), axis=0))

    def met(self, factors: Sequence[float], rows: FloatArray, at: NDArray[np.intp]) -> _Met:
        """One combination of the forces, whose loads are rows of six; no factors: all have gone."""
        acting = [i for i in self.own if factors and factors[i]]
        swings = [
            np.broadcast_to((i not in self.reaches) * started(*own)[:, None], (len(own[0].frequency), at.size))
            if i in acting
            else self.left[i][:, at]
            for i, own in self.own.items()
        ]
        felt = np.sum([each.shapes.T @ rows[6 * i : 6 * i + 6] for i, (each, _) in self.own.items()], axis=0)
        # one that came at once, and stays as it is
        plain = acting and all(self.own[i][1].rise == 0.0 for i in acting) and np.ptp(felt, axis=1).max() == 0
        plain = plain and sum(bool(some.any()) for some in swings) == 1
        return _Met(felt, np.sum(swings, axis=0), np.sign(felt) if plain else np.zeros_like(felt))


@lru_cache(maxsize=KEPT)
def _reach(placed: Placed, push: Push, which: int) -> FloatArray | None:
    return placed.reach(push, which)


def placed_sets(case: Case) -> tuple[Placed, ...]:
    """Return the places of the pads with each set of vibrations of a part that bends; none of a rigid one."""
    sheet, air = case.grip.bonded.sheet, added_mass(case.job.part, case.job.air_density)
    found = (Placed.of(case.grip, case.pushes, which, air) for which in range(0 if sheet is None else len(sheet.bent)))
    return tuple(filter(None, found))


def pads_of(case: Case, modes: Modes) -> Placed | None:
    """Return the places of the pads with the vibrations that a part has; None: it does not bend, or nothing pushes."""
    return None if modes.sheet is None or not case.pushes else case.shared(placed_sets)[modes.sheet[1]]


def _instants(modes: Modes, most: float) -> FloatArray:
    """Times after a load has come at which its swing is looked at [s]: periods of the slowest mode, finely."""
    slowest, fastest = float(modes.frequency.min()), float(modes.frequency.max())
    step = FINE / fastest
    return np.arange(step, min(PERIODS * 2.0 * np.pi / slowest, most, MOST_INSTANTS * step), step)


def overshoot(modes: Vibration) -> FloatArray:
    """Return what is left of a swing after half a period, shape (modes,)."""
    return np.asarray(np.exp(-np.pi * modes.damping / np.sqrt(1.0 - modes.damping**2)))


def left_after(modes: Vibration, time: FloatArray) -> FloatArray:
    """Return what is left of 1, let go at rest, some times after, shape (modes, k)."""
    damped = modes.frequency * np.sqrt(1.0 - modes.damping**2)
    angle, ratio = np.outer(damped, time), modes.frequency * modes.damping / damped
    turn = np.cos(angle) + ratio[:, None] * np.sin(angle)
    return np.asarray(turn * np.exp(-np.outer(modes.damping * modes.frequency, time)))
