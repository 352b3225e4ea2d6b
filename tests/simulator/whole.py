"""A whole program: pressed on in the tray, carried, put into the nest, let go."""

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import count

import numpy as np
import shapely

from simulator.cells import cut
from simulator.hanging import Hanging, first_break, most
from simulator.held import AROUND, Bond, Held, flat, seen

WAYS = ("lift", "slide", "turn", "tip")


@dataclass(frozen=True)
class Taken:
    """The state in which the part could leave its tray: bond, tool in the part's frame, pull [N], time [s]."""

    bond: object
    turn: np.ndarray
    shift: np.ndarray
    pull: float
    time: float


class Whole:
    """What a program does to the part that it handles.

    Args:
        job: Pads, part, pick, nest and gravity: a `gm.Job` with both places; its program is not looked at.
        motion: The motion itself at any time: ``poses(t)``, ``rates(t)`` and ``samples``, the times to look at.
        gap: How far the part's face lies below its plane, over x and y of `gm.Pick.face`.
        finer: Factor on the number of rings and pieces of the faces, and of steps.
        tray: What the pads do in the tray, of a job that differs in the part's mass alone.

    Attributes:
        activation: Least share of the full strength over the pads when the press ends.
        pressure: Highest contact pressure on the part, in the tray, in its nest, and by its own load in between [Pa].
        tray: What the pads do in the tray, step by step, whatever keeps the part there.
        state: In which the pads take the part out of its tray (`Taken`), or None: it stays.
        seat: When it is down in its nest [s], or None: never.
        arrives: Whether it is still on the pads then.
        let_go: In the nest, on a full bond and on the one that there is: what the pads do to the part (n, 6), and
            whether it is free in the end.
    """

    def __init__(self, job, motion, gap=flat, finer=1, tray=None):
        self.job, self.motion, self.gap, self.finer = job, motion, gap, finer
        self.cells, self.survived = cut(job.gripper, job.part, finer), {}  # by check and factor
        self.weight = job.part.mass * np.linalg.norm(job.gravity)
        self.tray = tray or Remembered(self._in_the_tray())
        self.press()
        self.carry()

    def press(self):
        """In the tray: until the pads pull with weight and break-away force, and on while they hold."""
        pick = self.job.pick
        up = pick.face[:3, 2]
        self.needed = -self.job.part.mass * self.job.gravity @ up + pick.break_away
        self.pressed, self.highest, pulls, highest = Bond.none(self.cells), 0.0, [], 0.0
        for t, turn, shift, reaction, bond in self.tray:
            pull = reaction.wrench[-1, 2]
            if highest < self.needed:
                self.highest = max(self.highest, reaction.pressure)
                if pull <= 0.0 and reaction.pressure > 0.0:
                    self.pressed, pulls, highest = bond, [], 0.0
            elif pull <= 0.0:
                break
            if pull > highest:
                pulls.append(Taken(bond, turn, shift, pull, t))
                highest = pull
        share = np.where(self.pressed.bonded, self.pressed.share, 0.0)
        self.activation, self.pulls = share.min(), pulls

    def _in_the_tray(self):
        held = Held(self.cells, self.gap, finer=self.finer)
        for step in held.steps(self.motion, self.job.pick.face, self.motion.samples):
            yield *step, held.bond

    def taken(self, pull):
        """The first state in which the pads pull so hard, or None."""
        return next((state for state in self.pulls if state.pull >= pull), None)

    def hanging(self, state):
        """The part on the pads that have just taken it."""
        held = Held(self.cells, self.gap, state.bond)
        stretch, _, gap = held.stretch(state.turn, state.shift)
        return Hanging(self.cells, state.bond, stretch, gap)

    def lifts(self, factor):
        """Whether the part leaves its tray where weight and break-away force are so many times as large."""
        state = self.taken(factor * self.needed)
        if state is None:
            return False
        up = state.turn.T @ np.array([0.0, 0.0, 1.0])
        force = -factor * self.needed * up
        load = np.concatenate([force, np.cross(self.job.part.com, force)])
        hanging = self.hanging(state)
        return hanging.carry(load[None]) is not None

    def carry(self):
        """In the air: from where the pads take the part until it is down in its nest."""
        self.seat, self.state = None, self.taken(self.needed)
        if self.state is None:
            return
        turn, shift, times = self.state.turn, self.state.shift, _denser(self.motion.samples)
        times = times[times > self.state.time]
        # The frame of the part's data: the tool's as it took the part, but level on the part's face.
        self.gripped = _level(_pose(turn, shift), np.eye(4)) @ np.diag([1.0, -1.0, -1.0, 1.0])
        self.air = self.hanging(self.state)
        first = self.loads(np.array([self.state.time]))
        found = self.air.carry(first)
        # The part's frame in the tool's: as the tool stood, and moved by the weight that hangs from the pads.
        self.in_tool = (_small(found[1]) if found else np.eye(4)) @ _pose(turn.T, -turn.T @ shift)
        middle = turn @ self.cells.at @ self.cells.area / self.cells.area.sum() + shift
        face = (self.in_tool @ [*middle[:2], 0.0, 1.0])[:3]
        turns, shifts = seen(self.motion, self.job.nest.face, times)
        place = turns @ face + shifts
        down = (place[:, 2] <= 0.0) & (np.linalg.norm(place[:, :2], axis=1) < AROUND)
        if down.any():
            self.seat, times = times[down.argmax()], times[: down.argmax()]
        self.air_loads = np.vstack([first, self.loads(times)])

    def loads(self, times):
        """The part's load on the gripper at the tool origin, tool axes, shape (n, 6)."""
        return loads(self.job.part, self.job.gravity, self.motion, times)

    def carries(self, factor):
        """Whether the part stays on with the load in the air so many times as large."""
        return self.state is not None and self.air.carry(factor * self.air_loads) is not None

    @cached_property
    def left(self):
        """In the nest: what the pads do to the part, whether it arrives, and the highest pressure there and on the way.

        From where the part is down to the end, on a full bond and on the one that it has.
        """
        if self.seat is None:
            return [], False, 0.0
        job, times = self.job, self.motion.samples
        times = np.concatenate([[self.seat], times[times > self.seat]])
        clean = replace(job.gripper, cycles_since_cleaning=0)
        full = Held(cut(clean, job.part, self.finer), self.gap, finer=self.finer, fully=True)
        full.bond_fully(*(x[0] for x in seen(self.motion, self.frame, times[:1])))
        ways, found = [self.follow(full, times)], self.air.carry(self.air_loads)
        if found is not None:
            bond = self.state.bond
            bond = replace(
                bond, bonded=found[0], **{k: np.where(found[0], getattr(bond, k), 0.0) for k in ("peak", "floor")}
            )
            ways.append(self.follow(Held(self.cells, self.gap, bond, self.finer, fully=True), times))
        carried = 0.0 if found is None else self.air.highest
        return [way[:2] for way in ways], found is not None, max(carried, *(highest for *_, highest in ways))

    @cached_property
    def frame(self):
        """The part's frame in the world, once it is down in its nest, shape (4, 4)."""
        tool = _pose(*(x[0] for x in self.motion.poses(np.array([self.seat]))))
        return _level(tool @ self.in_tool, self.job.nest.face)

    @property
    def let_go(self):
        """See above."""
        return self.left[0]

    @property
    def arrives(self):
        """See above."""
        return self.left[1]

    @property
    def pressure(self):
        """See above."""
        return max(self.highest, self.left[2])

    def follow(self, held, times):
        """Follow the tool to the end: what the pads do to the part (n, 6), whether it is free then, the pressure."""
        wrenches, bonded, before, highest = [np.zeros((1, 6))], 1.0, np.inf, 0.0
        for _, _, _, reaction in held.steps(self.motion, self.frame, times):
            highest, bonded = max(highest, reaction.pressure), reaction.bonded
            if 0.0 < reaction.wrench[-1, 2] < before:  # the weight still hangs from the pads, the nest takes it over
                before = reaction.wrench[-1, 2]
            else:
                before = 0.0
                wrenches.append(reaction.wrench)
        return np.concatenate(wrenches), bonded == 0.0, highest

    def ratios(self, nest=None):
        """Least restraint over demand by way, on a full bond and on the one that there is; 0 where it is not let go."""
        part, nest = self.job.part, nest or self.job.nest
        com, height = (self.gripped @ [*part.com, 1.0])[:3] if self.let_go else None, part.thickness or 0.0
        found = []
        for wrench, free in self.let_go:
            ratio = statics(wrench, self.weight, com, nest, self._support(), height)
            found.append({way: float(ratio[way].min()) if free else 0.0 for way in WAYS})
        return found or [dict.fromkeys(WAYS, 0.0)]

    def _support(self):
        """Outline on which the part stands in its nest, in the part's frame, shape (k, 2)."""
        corners, frame = self.job.nest.support, np.linalg.inv(self.frame) @ self.job.nest.face
        if corners is None:
            corners, frame = self.job.part.outline, self.gripped
        return corners @ frame[:2, :2].T + frame[:2, 3]

    def factors(self):
        """Factors of collapse and of first break: lift_off, hold, first break of both."""
        lift, hold = most(self.lifts), most(self.carries)
        first = first_break(self.air, self.air_loads) if self.state is not None else 0.0
        return {"lift_off": lift, "hold": hold, "first break": first}


class Remembered:
    """What an iterator yields, once or again, made when it is first asked for."""

    def __init__(self, source):
        """Take it."""
        self.source, self.known = source, []

    def __iter__(self):
        """Yield what is known, and then more."""
        for k in count():
            if k == len(self.known):
                more = next(self.source, None)
                if more is None:
                    return
                self.known.append(more)
            yield self.known[k]


def loads(part, gravity, motion, times):
    """The part's load on the gripper at the tool origin, tool axes, shape (n, 6): Newton and Euler."""
    turn, _ = motion.poses(times)
    acceleration, omega, alpha = (np.einsum("tij,ti->tj", turn, rate) for rate in motion.rates(times))
    com = np.broadcast_to(part.com, omega.shape)
    of_com = acceleration + np.cross(alpha, com) + np.cross(omega, np.cross(omega, com))
    force = part.mass * (gravity @ turn - of_com)
    spin = alpha @ part.inertia + np.cross(omega, omega @ part.inertia)
    return np.hstack([force, np.cross(com, force) - spin])


def statics(wrench, weight, com, nest, support, height):
    """Restraint over demand by way, each (n,), of a part in its nest under what the pads do to it.

    Args:
        wrench: Force on the part [N] and moment about the origin of its frame [N m], in that frame, z up out of its
            face, shape (n, 6).
        weight: N.
        com: Centre of mass in that frame [m], shape (3,).
        nest: `gm.Nest`.
        support: Corners on which the part stands [m], shape (k, 2).
        height: Of the gripped face above them [m].
    """
    force, moment = np.hsplit(wrench, 2)
    hull = shapely.Polygon(support).convex_hull
    corners = shapely.get_coordinates(shapely.orient_polygons(hull).exterior)[:-1]
    middle = shapely.get_coordinates(shapely.Polygon(support).centroid)[0]
    along = np.roll(corners, -1, axis=0) - corners
    along /= np.linalg.norm(along, axis=1)[:, None]
    outward = np.column_stack([along[:, 1], -along[:, 0]])

    def inside(point):
        return ((corners - point) * outward).sum(axis=1)

    held = weight * inside(com[:2]) + nest.hold_down * inside(middle)
    edge = np.column_stack([corners, np.full(len(corners), -height)])
    about = moment[:, None] - np.cross(edge, force[:, None])
    asked = {
        "lift": force[:, 2],
        "slide": np.hypot(force[:, 0], force[:, 1]),
        "turn": np.abs(moment[:, 2] - np.cross(com, force)[:, 2]),
        "tip": (about[..., :2] * along).sum(axis=-1),
    }
    restraint = {"lift": weight + nest.hold_down, "slide": nest.lateral_force, "turn": nest.moment, "tip": held}
    with np.errstate(divide="ignore", invalid="ignore"):
        ratios = {way: np.where(asked[way] > 0.0, restraint[way] / asked[way], np.inf) for way in WAYS}
    return ratios | {"tip": np.maximum(ratios["tip"].min(axis=1), 0.0)}


def _denser(times):
    """Times with three more between each two."""
    return np.interp(np.arange(4 * len(times) - 3) / 4, np.arange(len(times)), times)


def _pose(turn, place):
    pose = np.eye(4)
    pose[:3, :3], pose[:3, 3] = turn, place
    return pose


def _small(displacement):
    """A small shift and turn (6,) as a pose."""
    x, y, z = displacement[3:]
    return _pose(np.array([[1, -z, y], [z, 1, -x], [-y, x, 1]]), displacement[:3])


def _level(frame, face):
    """A frame set down on a face: its z axis that of the face, its origin on it."""
    z, origin = face[:3, 2], frame[:3, 3]
    x = frame[:3, 0] - frame[:3, 0] @ z * z
    x /= np.linalg.norm(x)
    return _pose(np.column_stack([x, np.cross(z, x), z]), origin - (origin - face[:3, 3]) @ z * z)
