"""What loads of size 1 ask of each place on the pads at most, whatever they do: in balance, at once, by ramps.

The load is linear in gravity, in the tool's acceleration and angular acceleration, and in products of its angular
velocities. A place asks most where each of them lies as it likes least, so what a place asks is at most a sum of sizes
(`gripmargin.kernels.gauge`): in balance, and with the part swinging, where each size grows by what that part of the
load can start (`gripmargin.kernels.impulse`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.swing.vibration import Modes
from gripmargin.contact.loads import air_load, load_per_acceleration, rigid_by_cause, standing_load
from gripmargin.kernels.face import Face
from gripmargin.kernels.gauge import FEWER, RINGS, gauge_rows
from gripmargin.kernels.impulse import Groups, Impulse, lags
from gripmargin.motion.tool_motion import pose_motion
from gripmargin.tuning.rounds import by_ramps, in_balance, of_round
from gripmargin.workcell.job import Job

GROUPS: Final = {  # which components of `inputs` are one load
    "any": [0, 1, 2],
    "level": [0, 1],
    "x": [0],
    "y": [1],
    "z": [2],
    "turn": [3, 4, 5],
    "spin": [5],
    "air": [15],
    "whirl": [6, 7, 8, 9, 10, 11],
    "spun": [8],
    "gravity": [12, 13, 14],
    "aside": [12, 13],
    "few": [0, 1, 2],
}
NAMES: Final = list(GROUPS)
QUICK: Final = NAMES.index("whirl")  # those before it may change at once
WITHIN: Final = {"level": "any", "x": "any", "y": "any", "z": "any", "spin": "turn"}  # loads that another one holds
MOVES: Final = 4  # ramps of one move from standstill to standstill: to its acceleration, off, to its braking, off
BOUNDED, KNOWN = 1, 2  # how well the swing of a row is known: by those about it, itself; 0: mode by mode
ROUNDED: Final = 1.0 + 1e-5  # beyond what single precision may lose of a sum of a few
INSTANT: Final = 1e-9  # [s] that stands for at once
BY_RATE: Final = "rest", "lag", "bend"  # in the order of `Impulse.alone`
Kind = str | float | tuple[str, float]
Swings = dict[str | float, FloatArray]


class Sizes:
    """Of all places and directions of a face, its rows."""

    def __init__(
        self,
        face: Face,
        inputs: FloatArray,
        sets: Sequence[Modes] = (),
        held: FloatArray | None = None,
        ramps: Sequence[float] = (),
        *,
        fades: bool = True,
    ) -> None:
        """Work out the sizes in balance, and bounds of the others.

        Args:
            face: The places.
            inputs: As `inputs` returns them, shape (6, components).
            sets: Natural vibrations that the part may have; none: it hangs still.
            held: Load that the part hangs on beside its weight when it leaves its tray, shape (6,).
            ramps: Times in which a load may go from none to its largest [s], each above 0.
            fades: Whether swings fade; else only what is asked of a stop and of one move is known.
        """
        self._rows, self._inputs, self._ramps = gauge_rows(face, FEWER if sets else RINGS), inputs, list(ramps)
        rows = self._rows
        self._groups: Groups = list(GROUPS.values())
        loose = rows.slack @ _spread(rows.spread @ inputs, self._groups)
        self.still = _sizes(rows.load @ inputs, self._groups)
        self.still[:, [NAMES.index("whirl"), NAMES.index("spun")]] = _whirled(rows.load @ inputs[:, GROUPS["whirl"]])
        self.still += loose
        self._loosened = loose
        pull = rows.load @ inputs[:, GROUPS["gravity"]]
        self._down, self._aside = pull[:, 2], np.hypot(pull[:, 0], pull[:, 1])
        self._loose = rows.slack @ _spread(rows.spread @ inputs, [GROUPS["gravity"][2:], GROUPS["gravity"][:2]])
        self._sets = [(modes, Impulse.of(modes.frequency, modes.damping)) for modes in sets if fades]
        self._apart = [  # of the vibrations that count and of others, to see what they differ by
            Impulse.of(np.append(sets[-1].frequency, other.frequency), np.append(sets[-1].damping, other.damping))
            for other in sets[:-1]
            if fades
        ]
        self._unsure = 2.0 * len(sets) - 1.0  # by how much vibrations may differ counts on top
        self._held = np.zeros(self.count)
        self._stage = {name: np.full(self.count, KNOWN) for name in NAMES}
        self._columns: dict[tuple[Kind, str], FloatArray] = {
            ("still", name): np.ascontiguousarray(column) for name, column in zip(NAMES, self.still.T, strict=True)
        }
        self.swings = np.zeros((self.count, 0)) if not sets else np.abs(rows.load @ sets[-1].loads)
        for modes in sets:
            hangs = np.abs(rows.load @ modes.loads) @ np.abs(modes.shapes.T @ (np.zeros(6) if held is None else held))
            self._held = np.maximum(self._held, hangs)
        self._modes, self._seen = sets, dict[str, int]()
        if sets:
            kinds: list[Kind] = ["stop", *(("one move", ramp) for ramp in (0.0, *self._ramps))]
            self._columns |= {(kind, "few"): np.empty(self.count) for kind in kinds}
            self._put_few(slice(None), lambda factors, shares: np.linalg.norm(factors, axis=2) @ shares.T)
            self._stage["few"][:] = 0
        if self._sets:
            self._bound(loose)

    @property
    def count(self) -> int:
        """Number of rows."""
        return len(self._rows.load)

    def column(self, kind: Kind, name: str) -> FloatArray:
        """Return what a load asks of each row, shape (rows,).

        Args:
            kind: "still": in balance; a time, 0 among them: by ramps [s]; "rest": by its rate, beside the balance [s];
                "lag" and "bend" in place of that: by its rate [s], and by how much that changes in a second [s^2];
                "beside" in place of that: by its rate, where it is of size 1 as well [s];
                of circles "still"; of level ones by ramps, inf until it is refined;
                "stop": on and off at once, in any direction; ("one move", ramp): by `MOVES` ramps, both of "few".
            name: Of the load, as in `GROUPS`, or of a circle, as `gripmargin.tuning.rounds` has it. A part without
                vibrations follows at once.
        """
        circle = of_round(name)
        if circle is not None and ("still", name) not in self._columns:
            self._columns["still", name] = self._round(*circle)
            if circle[1] and self._sets:
                self._columns |= {(ramp, name): np.full(self.count, np.inf) for ramp in self._ramps}
                self._stage[name] = np.zeros(self.count, dtype=int)
        if not self.swings.shape[1]:
            return np.zeros(self.count) if kind in ("beside", *BY_RATE) else self._columns["still", name]
        return self._columns[kind, name]

    def gravity(self, tilt: float, gravity: float) -> FloatArray:
        """Return what gravity asks of each row, from any side within a tilt, and what held the part, shape (rows,)."""
        lean = np.minimum(np.arctan2(self._aside, self._down), tilt)
        loose = self._loose @ [1.0, np.sin(min(tilt, np.pi / 2.0))]
        return np.asarray(gravity * (self._down * np.cos(lean) + self._aside * np.sin(lean) + loose) + self._held)

    def _round(self, radius: float, level: bool) -> FloatArray:
        """What circles ask in balance, shape (rows,)."""
        wide, turn = (NAMES.index(name) for name in (("level", "spin") if level else ("any", "turn")))
        loose = np.sqrt(2.0) * radius * self._loosened[:, wide] + self._loosened[:, turn]
        return in_balance(self._rows.load @ self._inputs[:, :6], radius, level) + loose

    def _put_round(self, some: NDArray[np.intp], name: str, radius: float) -> None:
        """What level circles by ramps ask: along and turn are one load."""
        load, along, turn = self._rows.load[some], NAMES.index("level"), NAMES.index("spin")
        of = self._inputs[:, [0, 1, 5]] * [radius, radius, 1.0]
        main, impulse = self._sets[-1]
        own = _factors(main, load, of)
        swings: list[tuple[FloatArray, ...]] = [(impulse.ways(own),)]
        for (modes, other), apart in zip(self._sets[:-1], self._apart, strict=True):
            factors = _factors(modes, load, of)
            differ = apart.ways(np.concatenate([own, -factors], axis=1))
            swings += [(swings[0][0], differ), (other.ways(factors), differ)]
        loose = self._columns["still", name][some] - in_balance(load @ self._inputs[:, :6], radius, level=True)
        slack = radius * self._slack["rest"][some, along] + self._slack["rest"][some, turn]
        for ramp in self._ramps:
            asked = [by_ramps(load @ of, *(way / ramp**2 for way in ways)) for ways in swings]
            self._columns[ramp, name][some] = np.max(asked, axis=0) + loose + slack / ramp

    def known(self, rows: NDArray[np.intp], names: Iterable[str]) -> NDArray[np.bool_]:
        """Return of which rows the swing that some loads start is known as well as it will be, shape of ``rows``."""
        stages = [self._stage[name][rows] >= self._best(name) for name in names if name in self._stage]
        return np.asarray(np.all(stages, axis=0))

    def refine(self, rows: NDArray[np.intp], names: Iterable[str]) -> None:
        """Bound the swing of some rows by that of those about them, or where that was done work it out itself."""
        for name in filter(self._stage.__contains__, names):
            near, stage = self._rows.near, self._stage[name]
            if name == "few":
                some = rows[stage[rows] != KNOWN]
                self._put_few(some, _ring)
                stage[some] = KNOWN
                continue
            if (circle := of_round(name)) is not None:
                some = rows[stage[rows] != KNOWN]
                self._put_round(some, name, circle[0])
                stage[some] = KNOWN
                continue
            if self._narrowed(name):
                continue
            looked_at = np.zeros(self.count, dtype=bool)
            looked_at[rows[(stage[rows] == BOUNDED) & (stage[rows] < self._best(name))]] = True
            looked_at[near[rows[stage[rows] < BOUNDED]]] = True
            some = np.flatnonzero(looked_at & (stage != KNOWN))
            if some.size == 0:
                continue
            self._put(name, some, self._swing(name, some))
            stage[some] = KNOWN
            between = np.flatnonzero(stage < BOUNDED)
            between = between[(stage[near[between]] == KNOWN).all(axis=1)]
            share, about = self._rows.share[between], near[between]
            for kind in self._kinds(name):  # all but "beside" are seminorms, and no more than "rest"
                column, of = self._columns[kind, name], self._columns["rest" if kind == "beside" else kind, name]
                column[between] = np.minimum(column[between], np.einsum("rn,rn->r", share, of[about]))
            stage[between] = BOUNDED

    def _narrowed(self, name: str) -> bool:
        """Take what is known of a load that holds this one, if that is more than when it was looked at last."""
        wide = WITHIN.get(name)
        more = 0 if wide is None else int(np.count_nonzero(self._stage[wide]))
        if wide is None or more == self._seen.get(name, 0):
            return False
        self._seen[name] = more
        for kind in self._kinds(name):
            column = self._columns[kind, name]
            np.minimum(column, self._columns[kind, wide], out=column)
        return True

    def _best(self, name: str) -> int:
        """How well it is worth knowing: what goes with the speed is little of the whole."""
        return BOUNDED if name in NAMES[QUICK:-1] else KNOWN

    def _kinds(self, name: str) -> list[str | float]:
        """How a load may change: gravity, and what goes with the square of a speed, never at once."""
        return ["rest"] if NAMES.index(name) >= QUICK else [0.0, "rest", "beside", *self._ramps]

    def _swing(self, name: str, some: NDArray[np.intp]) -> Swings:
        """What the modes do of a load, by how it may change, shape (rows,) each."""
        components, kinds = GROUPS[name], self._kinds(name)
        load, of, whole = self._rows.load[some], self._inputs[:, components], [list(range(len(components)))]

        def most(impulse: Impulse, factors: FloatArray) -> Swings:
            if len(kinds) == 1:
                return {"rest": impulse.slowly(factors, whole)[:, 0]}
            *quick, eased = impulse.most(factors, whole, self._ramps)
            return {kind: each[:, 0] for kind, each in zip(kinds, (*quick, *eased), strict=True)}

        main, impulse = self._sets[-1]
        own = _factors(main, load, of)
        out = most(impulse, own)
        for (modes, other), apart in zip(self._sets[:-1], self._apart, strict=True):
            factors = _factors(modes, load, of)
            another, differ = most(other, factors), most(apart, np.concatenate([own, -factors], axis=1))
            out = {kind: np.maximum(out[kind], another[kind]) + differ[kind] for kind in kinds}
        return out

    def _put(self, name: str, some: NDArray[np.intp] | slice, swings: Swings) -> None:
        """Take what the modes do, with what nobody knows of them, and what no mode does."""
        i = NAMES.index(name)
        slack, more = {kind: each[some, i] for kind, each in self._slack.items()}, self._more[some, i]
        for kind, swung in swings.items():
            if kind == "beside" or kind in BY_RATE:
                self._columns[kind, name][some] = swung + slack["rest" if kind == "beside" else kind]
            elif kind == 0.0:
                self._columns[kind, name][some] = swung + slack[0.0] + more
            else:
                eased = np.minimum(slack[0.0], slack["still"] + slack["rest"] / float(kind))
                self._columns[kind, name][some] = swung + eased + more

    def _put_few(self, some: NDArray[np.intp] | slice, ring: Callable[[FloatArray, FloatArray], FloatArray]) -> None:
        """What a stop and one move ask: few steps and ramps, whose swings all count as if they never faded.

        Args:
            some: Rows.
            ring: As `_ring`, what the swings of all modes come to at most after a step.
        """
        rows, of = self._rows, self._inputs[:, GROUPS["few"]]
        still, ramps = self.still[some, NAMES.index("few")], np.array([0.0, *self._ramps])
        rung, left, ahead = np.zeros(still.size), *np.zeros((2, ramps.size, still.size))
        for modes in self._modes:
            step = np.linalg.norm(modes.shapes.T @ of, axis=1)
            slack = rows.slack[some] @ (np.linalg.norm(rows.spread @ modes.loads, axis=1) * step)
            lead, change = lags(modes.frequency, modes.damping)
            each = np.maximum(ramps, INSTANT)[:, None]
            over = np.minimum(lead, each)  # while the last ramp runs: of each mode until another one is ahead most
            then = np.minimum(lead, over[:, :, None]) / each[:, :, None]
            shares = np.vstack([np.ones(lead.size), np.minimum(1.0, change / each), then.reshape(-1, lead.size)])
            asked = (ring(_factors(modes, rows.load[some], of), shares) + slack @ shares.T).T
            rung, left = np.maximum(rung, asked[0]), np.maximum(left, asked[1 : 1 + ramps.size])
            more = asked[1 + ramps.size :].reshape(*over.shape, -1) - (over / each)[:, :, None] * still
            ahead = np.maximum(ahead, more.max(axis=1))
        rung, left, ahead = (self._unsure * each for each in (rung, left, ahead))
        self._columns["stop", "few"][some] = np.maximum(still + rung, 2.0 * rung)
        for ramp, swung, more in zip(ramps.tolist(), left, ahead, strict=True):
            last = np.maximum(still + more, swung)
            self._columns[("one move", ramp), "few"][some] = (MOVES - 1.0) * swung + last

    def _bound(self, loose: FloatArray) -> None:
        """Bounds of what swings add, mode by mode, and between rows that are worked out."""
        rows, kinds = self._rows, list[str | float]([0.0, *BY_RATE])
        main, impulse = self._sets[-1]
        own = _factors(main, rows.load, self._inputs)
        most, still = np.array(impulse.bounds(own, self._groups)), self.still.copy()
        spread = self._spreads(main, impulse)
        for (modes, other), apart in zip(self._sets[:-1], self._apart, strict=True):
            factors = _factors(modes, rows.load, self._inputs)
            each = np.array(other.bounds(factors, self._groups))
            differ = most + each
            if factors.shape == own.shape:
                sizes = _groups_of(own, self._groups), _groups_of(own - factors, self._groups)
                terms = zip(apart.differ, other.alone, strict=True)
                differ = np.minimum(differ, [(sizes[0] @ x + sizes[1] @ y).T for x, y in terms])
            most = np.maximum(most, each) + differ
            still = still + _sizes((own - factors).sum(axis=1), self._groups)
            spread = np.maximum(spread, self._spreads(modes, other))
        bounds: Swings = dict(zip(kinds, most, strict=True))
        self._slack: Swings = dict(zip(kinds, rows.slack @ spread, strict=True)) | {"still": loose}
        self._more = self._unmoved()
        bounds["beside"] = bounds["rest"]
        for ramp in self._ramps:
            bounds[ramp] = np.minimum(bounds[0.0], still + bounds["rest"] / ramp)
        for i, name in enumerate(NAMES[: NAMES.index("few")]):
            here = [*self._kinds(name), *BY_RATE[1:]]  # which are little, and stay as they are here
            self._columns |= {(kind, name): np.empty(self.count) for kind in here}
            self._put(name, slice(None), {kind: bounds[kind][:, i] for kind in here})
            self._stage[name][:] = 0

    def _spreads(self, modes: Modes, impulse: Impulse) -> FloatArray:
        """The same of what nobody knows, mode by mode, shape (kinds, matrices, groups)."""
        rows = self._rows
        if not rows.slack.any():
            return np.zeros((1 + len(BY_RATE), len(rows.spread), len(self._groups)))
        each = [impulse.bounds(_factors(modes, one, self._inputs), self._groups) for one in rows.spread]
        return np.linalg.norm(each, axis=2).swapaxes(0, 1)

    def _unmoved(self) -> FloatArray:
        """What no mode takes, for lack of mass, shape (rows, groups)."""
        modes = self._sets[-1][0]
        left = self._inputs - modes.loads @ (modes.shapes.T @ self._inputs)
        small = np.abs(left).max() <= 1e-9 * np.abs(self._inputs).max()
        return np.zeros_like(self.still) if small else _sizes(self._rows.load @ left, self._groups)


def inputs(job: Job) -> FloatArray:
    """Return what a unit of each cause puts on the gripper, components as in `GROUPS`, shape (6, components).

    Acceleration and angular acceleration of the tool; products of its angular velocities, squares first, scaled so
    that their size is the square of the velocity's; gravity; a force of the air.

    Args:
        job: With part and air.
    """
    part, air = job.part, job.air_density
    units = np.vstack([np.eye(3), [[1, 1, 0], [1, 0, 1], [0, 1, 1]]])
    zero, level = np.zeros((6, 3)), np.broadcast_to(np.eye(3), (6, 3, 3))
    turning = pose_motion(np.arange(6.0), zero, level, zero, zero, units, zero)
    whirl = sum(rigid_by_cause(part, zero.T, zero.T, units.T, zero.T).values())
    arm = np.zeros(6)
    if part.drag_area is not None:
        whirl = whirl + air_load(part, turning, air)[1]
        x, y = part.face_centroid
        arm = np.array([0.0, 0.0, 1.0, y, -x, 0.0])
    whirl = np.asarray(whirl)
    for column, (i, j) in zip((3, 4, 5), ((0, 1), (0, 2), (1, 2)), strict=True):
        whirl[:, column] = (whirl[:, column] - whirl[:, i] - whirl[:, j]) / np.sqrt(2.0)
    at_rest = pose_motion(np.arange(3.0), zero[:3], level[:3], zero[:3], zero[:3], zero[:3], zero[:3])
    weight = np.column_stack([standing_load(part, at_rest, axis)[:, 0] for axis in np.eye(3)])
    return np.column_stack([load_per_acceleration(part, air), whirl, weight, arm])


def _factors(modes: Modes, load: FloatArray, components: FloatArray) -> FloatArray:
    """Factors on the modes' answers, shape (rows, modes, components)."""
    return np.asarray((load @ modes.loads)[:, :, None] * (modes.shapes.T @ components)[None])


def _groups_of(factors: FloatArray, groups: Groups) -> FloatArray:
    """Sizes of the factors of each mode, shape (groups, rows, modes)."""
    return np.stack([np.linalg.norm(factors[:, :, group], axis=2) for group in groups])


def _ring(factors: FloatArray, shares: FloatArray) -> FloatArray:
    """The most that shares of the swings of all modes come to after a step in any direction, shape (rows, shares)."""
    modes = factors.shape[1]
    signs = np.array([[1.0, *each] for each in product((-1.0, 1.0), repeat=modes - 1)], dtype=np.float32)
    signed = (signs[:, None] * shares).reshape(-1, modes).astype(np.float32)
    sums = signed @ factors.astype(np.float32)  # (rows, signs and shares, components)
    most = np.einsum("rsc,rsc->rs", sums, sums).reshape(len(factors), len(signs), -1).max(axis=1)
    return np.sqrt(most.astype(float)) * ROUNDED


def _whirled(values: FloatArray) -> FloatArray:
    """The most that products of angular velocities of size 1 ask, about any axis and about z, shape (rows, 2).

    They are those of one vector w: ``w Q w`` is at most the largest eigenvalue of Q, and what is less than none does
    not count, for the tool need not turn.
    """
    whole = np.zeros((len(values), 3, 3))
    for column, (i, j) in zip(values.T, ((0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2)), strict=True):
        whole[:, i, j] = whole[:, j, i] = column if i == j else column / np.sqrt(2.0)
    return np.maximum(np.column_stack([np.linalg.eigvalsh(whole)[:, -1], whole[:, 2, 2]]), 0.0)


def _sizes(values: FloatArray, groups: Groups) -> FloatArray:
    return np.stack([np.linalg.norm(values[:, group], axis=1) for group in groups], axis=1)


def _spread(values: FloatArray, groups: Groups) -> FloatArray:
    """The largest size of what a load of size 1 is turned into, shape (matrices, groups)."""
    return np.stack([np.linalg.norm(values[:, :, group], ord=2, axis=(1, 2)) for group in groups], axis=1)
