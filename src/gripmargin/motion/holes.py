"""Where samples are missing: what may have happened there, bounded or left in doubt.

In: times, samples, and the rates estimated from them.
Out: the rates with more bias at the ends of holes; gaps as doubts.
Error: that of samples as far apart as the hole is wide.

A hole of a few steps, up to `RESOLVED`, is bridged as any two samples are. A wider one is judged as if the whole
record were as sparse as it: the rates at both its ends are estimated once more from samples that far apart, with the
error that such sparse samples have (bursts show in the record itself). One much wider than the steps around it is a
doubt.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import by_parts, differences_of, flagged
from gripmargin.kernels.adaptive_fit import FEWEST
from gripmargin.motion.rates import Rates, estimate_rates
from gripmargin.motion.trajectory import RESOLVED
from gripmargin.motion.turn_rates import estimate_rotation_rates

GAP_STEPS: Final = 5.0  # median steps without a sample that count as a gap, where it is wider than RESOLVED
SINGLY: Final = 40  # holes that are judged one by one; more of them together, by their widths
LIKE: Final = 1.25  # ratio of widths that are taken as one


def gaps(t: FloatArray, places: FloatArray, noise: FloatArray) -> list[tuple[int, int, str]]:
    """Return stretches without samples across which something moved, as (first, last, reason).

    Args:
        t: Times [s], shape (n,).
        places: Positions, shape (n, channels).
        noise: Of the positions, one standard deviation, shape (channels,).
    """
    wide = _gaps_in(t)
    moved = np.any(np.abs(places[wide + 1] - places[wide]) > 4.0 * noise + 1e-9, axis=1)  # noise alone hardly does
    return [
        (
            int(i),
            int(i) + 1,
            f"no sample for {1e3 * (t[i + 1] - t[i]):.0f} ms while the robot moves: a peak may hide there",
        )
        for i in wide[moved]
    ]


def losses(t: FloatArray) -> list[tuple[int, int, str]]:
    """Return stretches in which a recording has lost its samples, as `gaps`: what the robot did there is not known.

    Args:
        t: Times [s], shape (n,).
    """
    return [
        (
            int(i),
            int(i) + 1,
            f"no recorded sample for {1e3 * (t[i + 1] - t[i]):.0f} ms: what the robot did is not known",
        )
        for i in _gaps_in(t)
    ]


def _gaps_in(t: FloatArray) -> NDArray[np.intp]:
    """The intervals that are too wide to tell of, beside the others."""
    step, wide = np.diff(t), holes_in(t)
    return wide[(step[wide] > GAP_STEPS * float(np.median(step))) & (step[wide] > RESOLVED)]


def rest_without_samples(t: FloatArray, sample: int) -> tuple[float, float] | None:
    """Return from when to when there is no sample beside one, where that is a gap if something moves; None: nowhere.

    Args:
        t: Times [s], shape (n,).
        sample: Which.
    """
    least = max(GAP_STEPS * float(np.median(np.diff(t))), RESOLVED)
    beside = t[max(sample - 1, 0) : sample + 2]
    wide = np.flatnonzero(np.diff(beside) > least)
    return (float(beside[wide[0]]), float(beside[wide[0] + 1])) if wide.size else None


def in_holes(t: FloatArray, y: FloatArray, rates: Rates) -> Rates:
    """Return rates whose bias covers what may have happened in holes.

    Args:
        t: Times [s], shape (n,).
        y: Samples, shape (n, channels).
        rates: Estimated from them: first and second derivative, or the first of speeds alone.
    """
    order = 2 if len(rates.second) else 1
    return _covered(t, rates, lambda index: estimate_rates(t[index], y[index], order=order, bursts=False))


def in_turn_holes(t: FloatArray, rotation: FloatArray, rates: Rates) -> Rates:
    """Return angular rates whose bias covers what may have happened in holes.

    Args:
        t: Times [s], shape (n,).
        rotation: Orientations, shape (n, 3, 3).
        rates: Estimated from them.
    """
    return _covered(t, rates, lambda index: estimate_rotation_rates(t[index], rotation[index], bursts=False))


def holes_in(t: FloatArray) -> NDArray[np.intp]:
    """Return the intervals in which a sample is missing, and more than one where they are no wider than RESOLVED.

    Args:
        t: Times [s], shape (n,).
    """
    step = differences_of(t)
    usual = float(np.median(step))
    wide = by_parts(lambda h: (h > 1.5 * usual) & ((h > RESOLVED) | (h > 3.5 * usual)), step, kind=bool)
    return flagged(wide)


def _covered(t: FloatArray, rates: Rates, sparse: Callable[[NDArray[np.intp]], Rates]) -> Rates:
    wide = holes_in(t)
    if wide.size == 0:
        return rates
    names = ("first", "second") if len(rates.second) else ("first",)
    bias = {name: getattr(rates, f"bias_{name}").copy() for name in names}
    for holes, index in _alike(t, wide):
        if index.size < FEWEST:
            continue  # as few samples as that have no small error anyhow
        coarse = sparse(index)
        for ends in (holes, holes + 1):
            at = np.searchsorted(index, ends)
            for name in names:
                apart = np.abs(getattr(coarse, name)[at] - getattr(rates, name)[ends])
                beyond = np.maximum(apart - 2.0 * getattr(coarse, f"sigma_{name}")[at], 0.0)
                most = beyond + getattr(coarse, f"bias_{name}")[at]
                for each in (holes, holes + 1):
                    np.maximum.at(bias[name], each, most)
    return replace(rates, **{f"bias_{name}": value for name, value in bias.items()})


def _alike(t: FloatArray, wide: NDArray[np.intp]) -> Iterator[tuple[NDArray[np.intp], NDArray[np.intp]]]:
    """Holes with samples about as far apart as they are wide: one by one, or many of a width at once."""
    if wide.size <= SINGLY:
        yield from ((wide[k : k + 1], _around(t, int(wide[k]))) for k in range(wide.size))
        return
    width = np.diff(t)[wide]
    sort = np.floor(np.log(width / width.min()) / np.log(LIKE) + 0.01)
    for kind in np.unique(sort):
        holes = wide[sort == kind]
        yield holes, _thinned(t, holes, float(width[sort == kind].max()))


def _thinned(t: FloatArray, holes: NDArray[np.intp], width: float) -> NDArray[np.intp]:
    """Samples about so far apart and seldom further, the ends of holes among them."""
    ends = np.unique(np.concatenate([holes, holes + 1]))
    edges = np.concatenate([[t[0] - width], t[ends], [t[-1] + width]])
    # between two ends the samples nearest to places that part the time evenly
    parts = np.maximum(np.ceil(np.diff(edges) / width - 0.01).astype(np.intp), 1)
    first = np.repeat(edges[:-1], parts)
    count = np.arange(first.size) - np.repeat(np.cumsum(parts) - parts, parts)
    places = first + count * np.repeat(np.diff(edges) / parts, parts)
    after = np.clip(np.searchsorted(t, places), 1, t.size - 1)
    nearest = np.where(places - t[after - 1] < t[after] - places, after - 1, after)
    return np.unique(np.concatenate([nearest, ends]))


def _around(t: FloatArray, i: int) -> NDArray[np.intp]:
    """Samples about as far apart as those at both ends of an interval, these two among them."""
    h = t[i + 1] - t[i]
    steps = np.arange(1, 7)  # on either side; a sample there counts however its stamp is rounded
    before, after = (np.searchsorted(t, at - 1e-6 * h) for at in (t[i] - h * steps[::-1], t[i + 1] + h * steps))
    inside = np.concatenate([before, [i, i + 1], after[after < t.size]])
    return np.unique(inside.astype(np.intp))
