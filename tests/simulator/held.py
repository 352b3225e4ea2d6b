"""The faces while tray or nest hold the part: each cell follows the displacement of the tool, by itself.

A cell that is pressed on long enough bonds: it is anchored to the point of the part that it touches, and holds a share
of its strength by the highest pressure since. It breaks where it is used up, and drags along from there on. It bonds
again when its pressure rises: by that rise above the lowest pressure since it broke, or fully, as is asked; the first
is the least that a press leaves, the second the most that a release has to break.

The part's frame has z out of the gripped face. Its face may lie below the plane z = 0 by a gap that depends on x and y.
"""

from dataclasses import dataclass

import numpy as np

STEP = 0.04  # of the stretch at which a cell breaks: the way of a cell in a step
MOST = 200  # steps from one time to the next
TOUCH = 0.1  # Pa: a rise that is none
AROUND = 0.15  # m: how far from its frame's origin a part may be touched


def flat(x, y):
    """Gap of a plane face."""
    return 0.0


@dataclass(frozen=True)
class Bond:
    """What became of each cell.

    Attributes:
        bonded: Whether it holds, shape (n,).
        share: Of its full strength, shape (n,).
        peak: Highest pressure since it last stood off the part or broke, shape (n,).
        floor: Pressure above which it bonds: the lowest since it broke, shape (n,).
        under: Time under pressure since it last stood off, shape (n,).
        anchor: Point of the part that it holds, or the one it touches, in the part's frame, shape (3, n).
    """

    bonded: np.ndarray
    share: np.ndarray
    peak: np.ndarray
    floor: np.ndarray
    under: np.ndarray
    anchor: np.ndarray

    @classmethod
    def none(cls, cells):
        """Before the first touch."""
        n = cells.area.size
        return cls(np.zeros(n, dtype=bool), *np.zeros((4, n)), np.zeros((3, n)))


@dataclass(frozen=True)
class Reaction:
    """What the pads do to the part in a step.

    Attributes:
        wrench: Force [N] and moment about the part frame's origin [N m] on the part, in that frame: just before its
            cells break, where any do, and after, shape (1 or 2, 6).
        pressure: Highest on the part, along its normal, Pa.
        bonded: Area that holds after it, m^2.
        energy: Set free by breaking cells in this step, J.
        stored: In the backing after it, J.
    """

    wrench: np.ndarray
    pressure: float
    bonded: float
    energy: float
    stored: float


class Held:
    """Pads on a part that does not move."""

    def __init__(self, cells, gap=flat, bond=None, finer=1, fully=False):
        """Take the pads with a bond; ``fully``: what is pressed on again bonds with its full strength."""
        self.cells, self.gap, self.finer, self.fully = cells, gap, finer, fully
        self.bond = Bond.none(cells) if bond is None else bond
        self.before = np.zeros(cells.area.size)  # gap in the last step, where it was one

    def stretch(self, turn, shift):
        """Stretch of each cell in pad axes (3, n), its foot on the face (3, n), its gap along the pad's axis (n,).

        Args:
            turn: Tool axes in the part's frame, shape (3, 3).
            shift: Tool origin there, shape (3,).
        """
        at = turn @ self.cells.at + shift[:, None]
        normal = turn @ self.cells.axes[2]
        gap = (at[2] + self.gap(at[0], at[1])) / -normal[2]
        foot = at + gap * normal
        stretch = (self.cells.axes * (turn.T @ (self.bond.anchor - at))).sum(axis=1)
        stretch[:, ~self.bond.bonded] = 0.0
        stretch[2] = np.where(self.bond.bonded, stretch[2], np.minimum(gap, 0.0))
        return stretch, foot, gap

    def step(self, turn, shift, time):
        """Move the tool there within some time; returns the `Reaction`."""
        cells, bond = self.cells, self.bond
        stretch, foot, gap = self.stretch(turn, shift)
        pressure = np.maximum(-cells.stiffness[2] * stretch[2], 0.0)
        on_part = (turn[2] @ (cells.axes * (cells.stiffness * stretch)[:, None]).sum(axis=0)) * bond.bonded
        on_part = np.where(bond.bonded, on_part, pressure / -(turn[2] @ cells.axes[2]))
        loose = ~bond.bonded & (bond.floor > 0.0)
        peak = np.where(loose, pressure, np.maximum(bond.peak, pressure))
        share = bond.share
        if (peak != bond.peak).any():
            had = np.where(bond.bonded, bond.share, 0.0)
            share = cells.share(peak, np.where(self.fully & loose, 1.0, had), bond.floor)
        use = np.where(bond.bonded, cells.use(stretch, share), 0.0)
        breaks = use >= 1.0
        # What springs back as it breaks is not pressed on: it counts from the pressure of its backing alone.
        alone = np.maximum(-cells.stiffness[2] * gap, 0.0)
        floor = np.where(
            breaks, np.maximum(alone, TOUCH), np.where(loose, np.minimum(bond.floor, pressure), bond.floor)
        )
        floor = np.where(loose & (pressure > 0.0), np.maximum(floor, TOUCH), floor)
        pressed = np.clip(-gap / np.maximum(self.before - gap, 1e-15), 0.0, 1.0)  # share of the step
        under = bond.under + np.where(pressure > 0.0, time * pressed, 0.0)
        self.before = np.maximum(gap, 0.0)
        holds = bond.bonded & ~breaks
        bonded = holds | (~breaks & (pressure > floor + TOUCH) & (under >= cells.dwell))
        away = ~bonded & (gap > 0.0)
        held, anchor = (np.where(those, bond.anchor, foot) for those in (bond.bonded, holds))
        self.bond = Bond(bonded, share, *(np.where(away, 0.0, x) for x in (peak, floor, under)), anchor)
        wrench, stored = self._on_part(turn, stretch, anchor, holds)
        wrenches, energy = [wrench], 0.0
        if breaks.any():
            # A cell that breaks within the step bore at most what it can; after it the backing alone is pressed.
            wrenches[0], before = self._on_part(
                turn, stretch / np.where(breaks, np.maximum(use, 1.0), 1.0), held, bond.bonded
            )
            pressed = np.minimum(stretch, 0.0) * np.array([[0.0], [0.0], [1.0]])
            wrench, stored = self._on_part(turn, np.where(breaks, pressed, stretch), anchor, holds)
            wrenches, energy = [*wrenches, wrench], before - stored
        return Reaction(np.array(wrenches), on_part.max(), (cells.area * bonded).sum(), energy, stored)

    def bond_fully(self, turn, shift):
        """Let every cell hold with its full strength, unstrained along the face, where the tool is."""
        _, foot, _ = self.stretch(turn, shift)
        one, nought = np.ones(self.cells.area.size), np.zeros(self.cells.area.size)
        self.bond = Bond(one > 0.0, one, nought, nought, np.inf * one, foot)

    def _on_part(self, turn, stretch, anchor, holds):
        """Wrench on the part (6,) and energy in the backing; what does not hold presses without friction."""
        stress = self.cells.area * self.cells.stiffness * stretch
        pull = -(turn @ (self.cells.axes * stress[:, None]).sum(axis=0))
        pull[:2] *= holds
        pull[2] = np.where(holds, pull[2], stress[2] / -(turn[2] @ self.cells.axes[2]))
        about = anchor @ pull.T
        moment = [about[1, 2] - about[2, 1], about[2, 0] - about[0, 2], about[0, 1] - about[1, 0]]
        return np.concatenate([pull.sum(axis=1), moment]), (stress * stretch).sum() / 2

    def steps(self, motion, frame, times):
        """Follow the tool over some times; yields the time, the tool in the part's frame and the `Reaction`.

        Args:
            motion: Gives the tool's rotation (n, 3, 3) and position (n, 3) in the world at times.
            frame: Part frame in the world, shape (4, 4).
            times: Rising, shape (n,); cells within reach of the part go in smaller steps between them.
        """
        cells = self.cells
        brittle = np.minimum(cells.tension / cells.stiffness[2], cells.shear / cells.stiffness[0]).min()
        reach = 1.5 * (cells.tension / cells.stiffness[2]).max() + 1e-4
        turns, shifts = seen(motion, frame, times)
        where = np.einsum("tij,jn->tin", turns, cells.at) + shifts[..., None]
        way = np.linalg.norm(np.diff(where, axis=0), axis=1).max(axis=1)
        near = (where[:, 2].min(axis=1) < reach) & (np.linalg.norm(shifts[:, :2], axis=1) < AROUND)
        for k in range(len(times) - 1):
            if not (near[k] or near[k + 1] or self.bond.bonded.any()):
                continue
            parts = int(np.clip(np.ceil(self.finer * way[k] / (STEP * brittle)), 1, MOST))
            within = times[k] + (times[k + 1] - times[k]) * np.arange(1, parts + 1) / parts
            for t, turn, shift in zip(within, *seen(motion, frame, within), strict=True):
                yield t, turn, shift, self.step(turn, shift, (times[k + 1] - times[k]) / parts)


def seen(motion, frame, times):
    """Tool axes (n, 3, 3) and origins (n, 3) in a part's frame."""
    turn, place = motion.poses(times)
    return frame[:3, :3].T @ turn, (place - frame[:3, 3]) @ frame[:3, :3]
