"""What a part that bends does when it swings, beyond the six ways in which its loads at rest bend it.

Its swing is followed in those six ways (`Sheet.swinging`). With up to twelve more, in which the inertia of the first
ones bends it, and of these in turn, slow and sudden loads are known to a few percent, as the modes of the whole plate
tell (`tests/contact/test_sheet_vibration.py`). How much more they ask of the pads is the measure of what is left out.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.grip import Grip
from gripmargin.contact.poked import Place, moved_by
from gripmargin.contact.sheet import KEPT, Sheet
from gripmargin.kernels.face import NOTHING
from gripmargin.kernels.modes import natural_modes
from gripmargin.kernels.oscillator import free_vibration, response
from gripmargin.kernels.plate import factored

RISES = (0.0, 0.25, 0.5, 1.0, 2.0)  # times in which a load comes, in periods of the slowest vibration
FOLLOWED = 6.0  # periods over which it is looked at
STEPS = 12  # instants in a period of the fastest vibration that counts
MOST_STEPS = 2_000
AT_ONCE = 1_024  # samples at a time: memory alone
ALIKE = 1e-9  # share of its energy below which a way of bending is one of the others


@lru_cache(maxsize=KEPT)
def left_out(sheet: Sheet, grip: Grip) -> float:
    """Return how many times as much a swinging plate asks of the pads as its swing in six ways does, 1 or more [-].

    The largest over loads that come at once and over some time, along the normal and tilting, and over the rigidities
    that the plate may have.

    Args:
        sheet: The plate on its pads.
        grip: The places that count.
    """
    return max(_left_out(sheet, grip, which) for which in range(len(sheet.bent)))


def _left_out(sheet: Sheet, grip: Grip, which: int) -> float:
    few, many = (vibrations(sheet, blocks, which) for blocks in (1, 3))
    pulls = [_pull(sheet, grip, ways) for _, ways in (few, many)]
    felt = [ways.T @ sheet.model.load[:, 2:5] for _, ways in (few, many)]
    slowest, fastest = float(few[0].min()), float(few[0].max())
    t = np.linspace(0.0, FOLLOWED * 2.0 * np.pi / slowest, int(min(FOLLOWED * STEPS * fastest / slowest, MOST_STEPS)))
    most = 1.0
    for rise in RISES:
        peaks = []
        for (frequency, _), pull, load in zip((few, many), pulls, felt, strict=True):
            response = _response(frequency[:, None], t, rise * 2.0 * np.pi / slowest)
            peaks.append([np.abs((pull * one) @ response).max() for one in load.T])
        most = max(most, float((np.array(peaks[1]) / np.array(peaks[0])).max()))
    return most


def shaken(sheet: Sheet, grip: Grip, t: FloatArray, load: FloatArray) -> float:
    """Return how many times as much a plate asks of the pads as in six ways when it is shaken, 1 or more [-].

    Its ways are followed under the load as it is, for each rigidity that it may have. Only the pads damp them, each by
    its share of the elastic energy.

    Args:
        sheet: The plate on its pads.
        grip: The places that count.
        t: Times [s], increasing, shape (n,).
        load: At the tool origin, straight between samples, shape (6, n).
    """
    return max(_shaken(sheet, grip, t, load, which) for which in range(len(sheet.bent)))


def _shaken(sheet: Sheet, grip: Grip, t: FloatArray, load: FloatArray, which: int) -> float:
    peaks = []
    for frequency, ways in (vibrations(sheet, blocks, which) for blocks in (1, 3)):
        damping, felt = np.zeros(frequency.size), (ways.T @ sheet.model.load) @ load
        for patch, springs in zip(grip.whole.patches, sheet.model.springs_of_pads, strict=True):
            damping += (patch.pad.material.damping_ratio or 0.0) * np.einsum("nm,nm->m", ways, springs @ ways)
        still = felt[:, 0], np.zeros(frequency.size)
        answer = response(t, felt, frequency, damping, free_vibration(t, felt, frequency, damping, still))
        pull = _pull(sheet, grip, ways)
        peaks.append(max(float((pull @ answer[:, k : k + AT_ONCE]).max()) for k in range(0, t.size, AT_ONCE)))
    return max(1.0, peaks[1] / max(peaks[0], NOTHING))


@lru_cache(maxsize=KEPT)
def vibrations(
    sheet: Sheet, blocks: int, which: int = 0, places: tuple[Place, ...] = ()
) -> tuple[FloatArray, FloatArray]:
    """Return vibrations of a plate by load-dependent Ritz vectors.

    Wilson, Yuan & Dickens, Earthq. Eng. Struct. Dyn. 10(6), 1982 (from memory).

    Args:
        sheet: The plate on its pads.
        blocks: How many sets of vectors: what the loads do at rest, what the inertia of that does, and so on.
        which: Index of the rigidity.
        places: Where forces bend it as well.

    Returns:
        Circular frequencies [rad/s], rising, shape (modes,), and the unknowns of the plate for each, scaled so that its
        elastic energy is 1/2 J, shape (n, modes).
    """
    model = sheet.model
    stiffness = model.stiffness(model.rigidities[which])
    found = [np.hstack([sheet.bent[which], *(moved_by(sheet, place)[which] for place in places)])]
    solve = factored(stiffness).solve
    for _ in range(blocks - 1):
        found.append(solve(model.mass @ found[-1]))
    ways = np.concatenate(found, axis=1)
    ways /= np.sqrt(np.einsum("nm,nm->m", ways, stiffness @ ways))
    energy, mix = np.linalg.eigh(ways.T @ (stiffness @ ways))
    some = energy > ALIKE
    ways = ways @ (mix[:, some] / np.sqrt(energy[some]))
    frequency, shapes = natural_modes(np.eye(ways.shape[1]), ways.T @ (model.mass @ ways))
    return frequency, ways @ shapes


def _pull(sheet: Sheet, grip: Grip, ways: FloatArray) -> FloatArray:
    """Tension over the pull-off stress at the places of a grip, each once, shape (places, modes)."""
    out = []
    for i, patch in enumerate(grip.whole.patches):
        own = np.flatnonzero(grip.owner == i)
        own = own[np.unique(grip.points[own], axis=0, return_index=True)[1]]  # they are there for each rigidity
        out.append(sheet.model.traction(patch, grip.points[own], ways)[2] / grip.pull[own, None])
    return np.concatenate(out)


def _response(frequency: FloatArray, t: FloatArray, rise: float) -> FloatArray:
    """An undamped oscillator under a load of 1 that comes at once or steadily in a time (Chopra ch. 4, from memory)."""
    if rise == 0.0:
        return 1.0 - np.cos(frequency * t)
    late = np.maximum(t - rise, 0.0)
    return np.asarray((t - late) / rise - (np.sin(frequency * t) - np.sin(frequency * late)) / (frequency * rise))
