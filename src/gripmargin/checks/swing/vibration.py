"""The part swings on its soft pads: natural frequencies and shapes.

The part is a rigid body on the elastic layer of the pads: ``M x'' + C x' + K x = w(t)``, with its displacement x
against the gripper (translation of the tool origin [m] and rotation [rad], tool axes) and the load w that it would
put on a rigid gripper. K x is what the pads then carry. Turned into modes these are oscillators on their own
(Rayleigh; any text on vibration). The turning of the tool while the part swings is slow against the swing and left
out. What swing a load history starts is in `gripmargin.checks.swing.response`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.backing import Backing
from gripmargin.contact.loads import added_mass, load_per_acceleration
from gripmargin.contact.sheet import Sheet
from gripmargin.contact.swung import Vibration, vibration_of
from gripmargin.kernels.face import Face
from gripmargin.kernels.modes import natural_modes
from gripmargin.kernels.utilisation import traction_size
from gripmargin.workcell import STANDARD_AIR_DENSITY, Part

WORDS = ("slide along x", "slide along y", "pull", "rock about x", "rock about y", "twist")
NAMED = 0.25  # share of the motion's energy from which a second word is needed


@dataclass(frozen=True, eq=False, kw_only=True)
class Modes(Vibration):
    """Natural vibrations of the part on its pads, slowest first.

    Attributes:
        loads: What the pads carry for a response of 1, stiffness times shapes, shape (6, modes).
        names: In words.
        sheet: Of a part that bends how it does so, and by which of its Poisson's ratios; None: it is rigid.
    """

    loads: FloatArray
    names: tuple[str, ...]
    sheet: tuple[Sheet, int] | None = None

    def moved(self, points: FloatArray) -> FloatArray:
        """Return how places of the part move for a response of 1 of each mode, shape (points, 3, modes) [m].

        Args:
            points: Tool frame [m], shape (points, 3).
        """
        if self.sheet is not None:
            sheet, ratio = self.sheet
            return sheet.model.moved(points, sheet.bent[ratio] @ self.loads)
        return np.stack([self.shapes[:3] + np.cross(self.shapes[3:].T, point).T for point in points])

    @property
    def hertz(self) -> FloatArray:
        """Natural frequencies [Hz], shape (modes,)."""
        return self.frequency / (2.0 * np.pi)

    @property
    def damped_frequency(self) -> FloatArray:
        """Angular frequencies with the damping [rad/s], shape (modes,)."""
        return np.asarray(self.frequency * np.sqrt(1.0 - self.damping * self.damping))

    def stiffer(self, factor: float) -> Modes:
        """Return the modes on pads so many times as stiff."""
        root = np.sqrt(factor)
        return replace(self, frequency=self.frequency * root, shapes=self.shapes / root, loads=self.loads * root)

    def gain(self, face: Face) -> FloatArray:
        """Return the largest utilisation that a response of 1 of each mode is worth, shape (modes,).

        Args:
            face: The places that count.
        """
        return np.asarray(traction_size(face, self.loads).max(axis=0))

    def damped(self, ratio: float) -> Modes:
        """Return the modes with another share of critical damping."""
        return replace(self, damping=np.full(self.frequency.size, ratio))


def modes_of(backing: Backing, part: Part, air_density: float = STANDARD_AIR_DENSITY) -> Modes:
    """Return the natural vibrations of a rigid part on its pads.

    Args:
        backing: The pads.
        part: The part; with a drag area the air that it takes along counts.
        air_density: [kg/m^3].
    """
    pads = np.stack([backing.patch_stiffness(patch) for patch in backing.patches])
    return _modes(backing, part, backing.stiffness, -load_per_acceleration(part, air_density), pads)


def modes_of_sheet(sheet: Sheet, air_density: float = STANDARD_AIR_DENSITY) -> Iterator[Modes]:
    """Yield those of a part that bends, one for each Poisson's ratio that it may have; bending itself damps nothing.

    Args:
        sheet: The part on its pads.
        air_density: [kg/m^3].
    """
    for ratio in range(len(sheet.bent)):
        matrices = sheet.swinging(ratio, added_mass(sheet.part, air_density))
        yield replace(_modes(sheet.backing, sheet.part, *matrices), sheet=(sheet, ratio))


def mixed(one: Modes, other: Modes, share: float) -> Modes:
    """Return the vibrations at a stiffness between those of two sets: a share of the way from one to the other.

    Stiffness, mass and damping of both are joined by straight lines (`K(s) = K + s (K' - K)`); shapes follow from them.
    Where a motion has no mass to swing both have the same shapes, and only the frequencies lie between.

    Args:
        one: The vibrations at 0; names are theirs.
        other: Those at 1, as many.
        share: 0 to 1.
    """
    whole = one.loads.shape[0] == one.frequency.size == other.frequency.size
    root = one.loads / one.frequency  # M = R R'; coordinates in which it is 1
    turn = np.linalg.lstsq(root, other.loads, rcond=None)[0] if whole else np.diag(other.frequency)
    own = np.stack([one.frequency**2, np.ones_like(one.frequency), 2.0 * one.damping * one.frequency])
    factors = np.stack([np.ones_like(one.frequency), other.frequency**-2.0, 2.0 * other.damping / other.frequency])
    stiffness, mass, damping = (
        (1.0 - share) * np.diag(a) + share * (turn * b) @ turn.T for a, b in zip(own, factors, strict=True)
    )
    # x' K x = 1, as `natural_modes` has it
    frequency, ways = natural_modes(stiffness, mass)
    loads = root @ stiffness @ ways
    shapes = np.linalg.solve(root.T, ways) if whole else one.shapes * one.frequency @ ways
    return replace(
        one,
        frequency=frequency,
        damping=np.einsum("im,ij,jm->m", ways, damping, ways) * frequency / 2.0,
        shapes=shapes,
        loads=loads,
    )


def _modes(backing: Backing, part: Part, stiffness: FloatArray, mass: FloatArray, pads: FloatArray) -> Modes:
    own = vibration_of(backing, stiffness, mass, pads)
    return Modes(
        frequency=own.frequency,
        damping=own.damping,
        shapes=own.shapes,
        loads=stiffness @ own.shapes,
        names=tuple(_name(shape, part) for shape in own.shapes.T),
    )


def _name(shape: FloatArray, part: Part) -> str:
    """What a shape mostly is, by the energy of its motion about the part's centre of mass."""
    slide, turn = shape[:3] + np.cross(shape[3:], part.com), shape[3:]
    energy = np.concatenate([part.mass * slide**2, turn * (part.inertia @ turn)])
    shares = energy / energy.sum()
    first, second = np.argsort(-shares)[:2]
    return f"{WORDS[first]} with {WORDS[second]}" if shares[second] >= NAMED else WORDS[first]
