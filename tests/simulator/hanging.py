"""The part in the air: six displacements of a rigid body on springs of which the weakest break, one after the other."""

import numpy as np

from simulator.cells import NOTHING

FEW, MANY = 4, 64  # samples looked at together, at least and at most
FEWEST = 3  # cells that can hold a body at all
GONE = 0.1  # m: the part is elsewhere


class Hanging:
    """A part on its pads from where they took it over.

    The part's displacement is small: a shift of its point at the tool origin, and a turn, in the tool frame.
    """

    def __init__(self, cells, bond, stretch, gap):
        """Take over.

        Args:
            cells: The faces.
            bond: What holds how much: a `held.Bond`.
            stretch: Of each cell in pad axes; of one that holds nothing its gap [m], shape (3, n).
            gap: Of each cell along its pad's axis, below 0 where it is pressed, shape (n,).
        """
        self.whole, self.host = bond.bonded & bond.bonded[cells.host], cells.host
        pull, slide = (1.0 / np.maximum(held * bond.share, NOTHING) for held in (cells.tension, cells.shear))
        self.rates = pull * cells.stiffness[2], (slide * cells.stiffness[0]) ** 2
        self.weight, self.normal_stiffness, self.highest = cells.stiffness * cells.area, cells.stiffness[2], 0.0
        self.start = np.where(self.whole, stretch, 0.0)
        self.start[2] = np.where(self.whole, stretch[2], gap)
        axes = np.moveaxis(cells.axes, 1, -1)
        self.maps = np.concatenate([axes, np.cross(cells.at.T, axes)], axis=-1)  # (3, n, 6)
        self.flat = self.maps.reshape(-1, 6)
        beside = np.concatenate([self.maps, self.start[..., None]], axis=-1)
        each = self.weight[..., None, None] * self.maps[..., None] * beside[:, :, None]
        self.each, self.normal = (kept.reshape(-1, 42) for kept in (each.sum(axis=0), each[2]))  # of each cell
        self.ways, self.bears = _bears(self.maps, cells, bond)

    def use(self, stretch, whole):
        """Square of the utilisation of what is whole, 0 elsewhere, by the stretch (3, n) or (3, n, samples)."""
        extra = (...,) + (None,) * (stretch.ndim - 2)
        x, y, z = stretch
        tension = np.maximum(z, 0.0) * (self.rates[0] * whole)[extra]
        return tension**2 + (x**2 + y**2) * (self.rates[1] * whole)[extra]

    def system(self, whole, closed):
        """Stiffness (6, 6) and the load that holds the starting stretch, with what is whole or pressed together."""
        both = whole @ self.each
        if closed.any():
            both += closed @ self.normal
        both = both.reshape(6, 7)
        return both[:, :6], both[:, 6]

    def settle(self, load, whole, moved):
        """Break cells under a load (6,) until the rest holds it; returns what is whole, the part, or None: lost.

        Args:
            load: At the tool origin, tool axes, shape (6,).
            whole: What is whole at first, shape (n,).
            moved: Where the part was before, shape (6,).
        """
        whole, stretch = whole.copy(), self.start + self.maps @ moved
        asked = self.ways @ load
        while whole[self.host].sum() >= FEWEST and (asked <= self.bears @ whole).all():
            found = self.balance(load, whole, moved, stretch)
            if found is None:
                return None
            moved, stretch = found
            use = self.use(stretch, whole)
            worst = use.argmax()
            if use[worst] <= 1.0:
                return whole, moved
            whole[self.host == self.host[worst]] = False
        return None

    def balance(self, load, whole, moved, stretch):
        """Displacement (6,) and stretch (3, n) in equilibrium, or None: the least energy of what is whole or pressed.

        Args:
            load: Shape (6,).
            whole: What is whole, shape (n,).
            moved: Where to begin, shape (6,).
            stretch: There, shape (3, n).
        """
        for _ in range(50):
            closed = ~whole & (stretch[2] < 0.0)
            stiffness, held = self.system(whole, closed)
            try:
                step = np.linalg.solve(stiffness, load - held) - moved
            except np.linalg.LinAlgError:
                return None
            away = self.maps @ (moved + step)
            reached = self.start + away
            if (closed == (~whole & (reached[2] < 0.0))).all():  # then this is the least energy
                return (moved + step, reached) if np.abs(away).max() < GONE else None
            share, slope = 1.0, (stiffness @ moved + held - load) @ step
            if -slope <= 1e-12 * abs(load @ moved) + 1e-18:
                return moved, stretch
            energy = self._energy(stretch, whole) - load @ moved
            while self._energy(self.start + self.maps @ (moved + share * step), whole) - load @ (
                moved + share * step
            ) > energy + 0.3 * share * slope + 1e-15 * abs(energy):
                share /= 2.0
            moved = moved + share * step
            stretch = self.start + self.maps @ moved
            if np.abs(stretch - self.start).max() > GONE:
                return None
        return None

    def _energy(self, stretch, whole):
        held = np.where(whole, stretch, np.array([[0.0], [0.0], [1.0]]) * np.minimum(stretch, 0.0))
        return (self.weight * held**2).sum() / 2

    def carry(self, loads):
        """Carry loads (samples, 6) one after the other; returns what is whole and where the part is, or None: lost.

        How hard a cell then presses on the part at most is kept as `highest` [Pa].

        Returns:
            Whole cells (n,) and the part's displacement (6,) at the last sample.
        """
        whole, k, moved, many, self.highest = self.whole, 0, np.zeros(6), FEW, 0.0
        while k < len(loads):
            found = self.settle(loads[k], whole, moved)
            if found is None:
                return None
            whole, moved = found
            # As long as the same cells hold, the next samples are a matter of one matrix.
            closed = ~whole & ((self.start + self.maps @ moved)[2] < 0.0)
            stiffness, held = self.system(whole, closed)
            block = loads[k + 1 : k + 1 + many]
            places = np.linalg.solve(stiffness, (block - held).T)
            stretch = self.start[..., None] + self.maps @ places
            amiss = (self.use(stretch, whole) > 1.0).any(axis=0)
            amiss |= (((stretch[2] < 0.0) & ~whole[:, None]) != closed[:, None]).any(axis=0)
            good = int(amiss.argmax()) if amiss.any() else len(block)
            moved = places[:, good - 1] if good else moved
            pressed = np.column_stack([self.start[2] + self.maps[2] @ found[1], stretch[2][:, :good]])
            self.highest = max(self.highest, (-self.normal_stiffness[:, None] * pressed).max())
            many = min(2 * many, MANY) if good == len(block) else FEW
            k += 1 + good
        return whole, moved


def _bears(maps, cells, bond):
    """Ways (k, 6) along which no cell is pressed, and what each cell bears along them at most (k, n).

    Straight off and tilted about a line beside all pads, slid, and twisted: what a load asks along such a way beyond
    what all whole cells bear there no equilibrium gives, whichever cells press on the part.
    """
    angle = np.arange(8) * np.pi / 4
    aside, none = np.stack([np.cos(angle), np.sin(angle)], axis=1), np.zeros((8, 3))
    far = (aside @ cells.at[:2]).max(axis=1, keepdims=True)
    tilted = np.hstack([none[:, :2], far, -aside[:, 1:], aside[:, :1], none[:, :1]])
    slid = np.hstack([aside, none, none[:, :1]])
    ways = np.vstack([np.eye(6)[[2, 5]], -np.eye(6)[[5]], tilted, slid])
    along = np.einsum("cni,ki->ckn", maps, ways)
    lift = np.maximum(-along[2] / maps[2, :, 2], 0.0).max(axis=1)  # so much straight off, and none is pressed
    ways[:, 2] += lift
    along += lift[:, None] * maps[:, None, :, 2]
    bears = cells.area * bond.share * np.hypot(cells.tension * along[2], cells.shear * np.hypot(along[0], along[1]))
    return ways, bears * (1.0 + 1e-9)


def most(survives, low=0.02, high=64.0, within=2e-3):
    """Largest factor that is survived, by bisection of its logarithm; 0 where none is, inf where all are."""
    if not survives(low):
        return 0.0
    if survives(high):
        return np.inf
    while high > low * (1.0 + within):
        middle = np.sqrt(low * high)
        low, high = (middle, high) if survives(middle) else (low, middle)
    return low


def first_break(hanging, loads):
    """Largest factor on all loads (samples, 6) at which no cell is used up yet."""
    whole, closed = hanging.whole, ~hanging.whole & (hanging.start[2] < 0.0)
    stiffness, held = hanging.system(whole, closed)
    rest = hanging.start + hanging.maps @ np.linalg.solve(stiffness, -held)
    grown = hanging.maps @ np.linalg.solve(stiffness, loads.T)
    return most(lambda factor: (hanging.use(rest[..., None] + factor * grown, whole) <= 1.0).all())
