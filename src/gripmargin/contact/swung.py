"""The natural vibrations of a part on its pads, and what forces of the process swing of them as they come and go.

One that comes at once starts a swing as large as what it does at rest; one that comes over a time T the less, the more
periods that takes (Chopra, Dynamics of Structures, ch. 4, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gripmargin.base.arrays import FloatArray, Value
from gripmargin.contact.backing import Backing
from gripmargin.contact.process import Push
from gripmargin.kernels.modes import natural_modes

MOST_DAMPED = 0.95  # of critical; beyond that a part hardly swings, and less damping is the safe side


@dataclass(frozen=True, eq=False, kw_only=True)
class Vibration(Value):
    """Natural vibrations, slowest first.

    Attributes:
        frequency: Undamped, angular [rad/s], shape (modes,).
        damping: Share of critical damping [-], shape (modes,).
        shapes: Displacements of the part at the tool origin, scaled so that each one's elastic energy is 1/2 J,
            shape (6, modes).
    """

    frequency: FloatArray
    damping: FloatArray
    shapes: FloatArray


def vibration_of(backing: Backing, stiffness: FloatArray, mass: FloatArray, pads: FloatArray) -> Vibration:
    """Return the natural vibrations on pads.

    The damping of a mode is the mean of the pads' damping ratios, weighted with the elastic energy that each pad takes
    in it (modal strain energy: Ungar & Kerwin, J. Acoust. Soc. Am. 34(7), 1962, from memory); a pad that gives none
    counts as undamped.

    Args:
        backing: The pads.
        stiffness: Against motions of the tool origin, shape (6, 6).
        mass: The same, shape (6, 6).
        pads: Share of the stiffness that each pad has, shape (pads, 6, 6).
    """
    frequency, shapes = natural_modes(stiffness, mass)
    ratios = np.array([patch.pad.material.damping_ratio or 0.0 for patch in backing.patches])
    damping = np.minimum(ratios @ np.einsum("im,pij,jm->pm", shapes, pads, shapes), MOST_DAMPED)
    return Vibration(frequency=frequency, damping=damping, shapes=shapes)


def started(modes: Vibration, push: Push) -> FloatArray:
    """Return the swing that a force may start as it comes, as a response of each mode, shape (modes,).

    What turns with the tool meanwhile changes little by little: each change starts as much at most.
    """
    felt = modes.shapes.T @ push.wrench
    share = np.ones(modes.frequency.size)
    if push.rise > 0.0:
        share = np.minimum(2.0 / (modes.frequency * push.rise), 1.0)
    return np.asarray(share * np.abs(felt).max(axis=1) + np.abs(np.diff(felt, axis=1)).sum(axis=1))


def left(modes: Vibration, push: Push, t: FloatArray, last: int) -> FloatArray:
    """Return the swing that is left of a force that has come and gone, about the load without it, shape (modes, n).

    It may go anywhere between its last two samples, and may have come as late as it likes. One that acts until the
    part is put down does not go before.

    Args:
        modes: The natural vibrations.
        push: The force.
        t: Times of the samples of a stretch in the air [s], shape (n,).
        last: Index among them of the last sample at which the force acts.
    """
    if last >= t.size - 1:
        return np.zeros((modes.frequency.size, t.size))
    gone = max(last - 1, 0)
    fading = np.exp(-(modes.damping * modes.frequency)[:, None] * np.maximum(t - t[last], 0.0))
    out = 2.0 * started(modes, push)[:, None] * fading
    out[:, :gone] = 0.0
    return out
