"""The swing at every stiffness between those that the part's pads may have, not at both ends alone.

A program may be made for a frequency in between. Between two stiffnesses K and K' the pads carry nearly the chord of
what they carry at both: at a share s of the way the chord leaves over the force ``s (1 - s) (K' - K) (x - x')``, x and
x' the swings at both (closed form: put it into the equation of motion), a quarter of the product at most. What that
force makes the part swing by, followed in time, is what the chord may be off. Utilisation is convex: where it is
little, the pads are used no more in between than at one end. Where it is not, the middle is followed too.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.swing.response import Swing
from gripmargin.checks.swing.ringing import Stretch, next_too, on_modes, other_stretches, stretches_of
from gripmargin.checks.swing.vibration import mixed
from gripmargin.kernels.law_defects import MARKED
from gripmargin.kernels.oscillator import fading_sum

ENOUGH: Final = 1.01  # most over largest that is good enough
AT_FIRST: Final = 8  # stiffnesses that are followed to come so close; more are to know whether pads are on target
MOST: Final = 96  # stiffnesses that are followed at all: time alone, what is left over is told as such
TURN: Final = 0.5  # [rad] by which a mode turns between instants at which the chord's force is looked at
STEPS: Final = 8  # of them from one sample to the next at most; a faster mode counts with its whole amplitude

Swinging = list[Stretch]
Look = Callable[[Swinging], FloatArray]
Apart = Callable[[Swinging, Swinging], FloatArray]


def largest_between(case: Case, look: Look, apart: Apart, *, level: float = 0.0) -> tuple[FloatArray, Swinging | None]:
    """Return the most that something may be at any stiffness that the pads may have.

    Args:
        case: The job.
        look: The swing at one stiffness to the most that it may be there, any shape.
        apart: The swings at two of them to what it may be more in between than at either.
        level: What it may be without harm: more than a few are looked at only where that is in doubt.

    Returns:
        The most, and the swing in between at which it is largest; None where it is so at an end.
    """
    most, worst, known = np.zeros(1), None, 0.0
    one = case.shared(stretches_of)
    for other in case.shared(other_stretches):
        nodes = [(share, swings, look(swings)) for share, swings in ((0.0, one), (1.0, other))]
        gaps = [_gap(apart, *nodes)]
        while len(nodes) < MOST:
            k = int(np.argmax([each.max() for each in gaps]))
            largest = max(float(found.max()) for _, _, found in nodes)
            late = np.inf if largest > level else level  # what is too much already is not looked at more closely
            if not gaps[k].max() > max(ENOUGH * largest, 0.0 if len(nodes) <= AT_FIRST else late):
                break
            share = (nodes[k][0] + nodes[k + 1][0]) / 2.0
            swings = on_modes(case, mixed(one[0].modes, other[0].modes, share))
            nodes.insert(k + 1, (share, swings, look(swings)))
            gaps[k : k + 1] = [_gap(apart, a, b) for a, b in pairwise(nodes[k : k + 3])]
        most = np.maximum(most, np.max(gaps, axis=0))
        peaks = [float(found.max()) for _, _, found in nodes]
        known, k = max(known, peaks[0], peaks[-1]), int(np.argmax(peaks))
        if peaks[k] > ENOUGH * known:
            worst, known = nodes[k][1], peaks[k]
    return most, worst


def _gap(
    apart: Apart, one: tuple[float, Swinging, FloatArray], other: tuple[float, Swinging, FloatArray]
) -> FloatArray:
    return np.asarray(np.maximum(one[2], other[2]) + apart(one[1], other[1]))


def missed(one: Stretch, other: Stretch) -> FloatArray:
    """Return by how much more each mode may swing in between than the chord of both says, shape (modes, n).

    Args:
        one: The swing at one stiffness; modes are its own.
        other: That at the other one.
    """
    out = np.empty((one.modes.frequency.size, one.samples.size))
    sums: list[complex | None] = [None] * one.modes.frequency.size
    for here, there in zip(one.blocks(), other.blocks(), strict=True):
        found, direct = chord_force(here.swing, there.swing)
        rates = np.minimum(*(each.modes.damping * each.modes.frequency for each in (one, other)))
        rows = np.empty((rates.size, found.shape[1]))
        for i, rate in enumerate(rates):
            rows[i] = fading_sum(here.swing.drive.t, found[i], complex(-rate), sums[i]).real
            sums[i] = complex(rows[i, -1])
        out[:, here.part] = next_too(rows + direct)[:, : here.size]
    return out


def chord_force(one: Swing, other: Swing) -> tuple[FloatArray, FloatArray]:
    """What the chord's force starts of swing up to each sample since the one before, and itself, shape (modes, n)."""
    a, b = one.modes, other.modes
    across, along = a.shapes.T @ b.loads, a.loads.T @ b.shapes
    t, stiff = one.drive.t, across @ across.T - np.eye(a.frequency.size)
    pole_a, pole_b = (m.frequency * (-m.damping + 1j * np.sqrt(1.0 - m.damping**2)) for m in (a, b))
    step = np.append(np.diff(t), 0.0)
    usual, fastest = float(np.median(step)), np.maximum(a.frequency, b.frequency)
    count = int(np.clip(np.ceil(fastest.max() * usual / TURN), 1, STEPS))
    slow = fastest * usual <= 2.0 * TURN * count
    parts = [one.vibration, other.vibration]
    turns = [np.exp(pole[:, None] * step / count) for pole in (pole_a, pole_b)]
    size, mean = np.zeros((2, a.frequency.size, t.size))
    for k in range(count + 1):
        force = 0.25 * np.abs(stiff @ parts[0].imag - (across - along) @ parts[1].imag)
        if not slow.all():
            force[~slow] = 0.25 * np.abs(stiff[~slow] @ parts[0] - (across - along)[~slow] @ parts[1])
        np.maximum(size, np.where(step > MARKED, force, 0.0), out=size)  # over a step it is about a load that is none
        mean += force * ((0.5 if k in (0, count) else 1.0) / count)
        parts = [part * turn for part, turn in zip(parts, turns, strict=True)]
    swung = (fastest / np.sqrt(1.0 - np.maximum(a.damping, b.damping) ** 2))[:, None] * mean * step
    return np.concatenate([np.zeros((a.frequency.size, 1)), swung[:, :-1]], axis=1), size
