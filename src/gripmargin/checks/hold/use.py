"""How far the pads are used at every carried sample, with what errors of the rates and gaps between samples add."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import by_parts, columns, parts, stored
from gripmargin.checks.case import Case
from gripmargin.checks.use import Asked, Use
from gripmargin.contact.grip import Grip, without
from gripmargin.contact.placed import Placed, rows_of
from gripmargin.contact.process import every_load
from gripmargin.kernels.chord import above
from gripmargin.kernels.face import Face
from gripmargin.kernels.utilisation import peak_utilisation, utilisation_error

COVERAGE = 2.0  # standard deviations kept clear of a target: about 95 % (JCGM 100:2008, 6.2)
SURE = 0.975  # probability with which no noise anywhere in the program explains a failure
CHUNK = 20_000  # samples whose errors are worked out at a time
BESIDE = 2  # samples on either side that a curve between samples hangs on


def pad_use(case: Case) -> tuple[Use, Use]:
    """Return how far the pads are used: by the whole traction, and by tension alone (the peel index)."""
    return use_of(case, case.grip, placed=Placed.of(case.grip, case.pushes))


def use_without(case: Case, lost: int) -> Use:
    """Return how far the other pads are used with one gone; where no target asks for it, its value alone.

    Args:
        case: The job; it has two pads or more.
        lost: Index of the pad that is gone.
    """
    asked = case.job.targets.one_pad_lost is not None
    loads = every_load(case.own_load, case.airborne, case.added)
    grip = without(case.grip, lost, loads)
    return use_of(case, grip, asked=asked, placed=Placed.of(grip, case.pushes))[0]


def uses_without(case: Case) -> tuple[Use, ...]:
    """Return the uses with each of several pads gone; none where there is only one."""
    pads = range(len(case.whole.patches))
    return tuple(use_without(case, lost) for lost in pads) if len(pads) > 1 else ()


def asked_of_the_pads(case: Case) -> Iterator[Asked]:
    """Yield what the targets of the carry ask of the pads, the part hanging still on them."""
    targets = case.job.targets
    whole, tension = case.shared(pad_use)
    yield Asked(name="hold", target=targets.hold, use=whole)
    if targets.peel is not None:
        yield Asked(name="peel", target=targets.peel, use=tension)
    if targets.one_pad_lost is not None:
        lost = case.shared(uses_without)
        unbounded = np.full(whole.samples.size, np.inf)
        nothing_left = replace(whole, value=unbounded, low=unbounded, high=unbounded)
        yield Asked(
            name="one_pad_lost",
            target=targets.one_pad_lost,
            use=max(lost, key=lambda use: use.most) if lost else nothing_left,
        )


def use_of(case: Case, grip: Grip, *, asked: bool = True, placed: Placed | None = None) -> tuple[Use, Use]:
    """Return how far places of any kind are used by the load of the carry, and by its tension alone.

    Args:
        case: The job.
        grip: The places.
        asked: Whether more than the value is wanted: what errors add, and a bound where a part is stretched as well.
        placed: What they feel of forces of the process at their places; None: these act as the rest of the load does.
    """
    samples, face = case.carried, grip.face
    load = case.load if placed is None else case.own_load
    u, at_u, peel, at_peel = peak_utilisation(face, columns(load, samples))
    for more in case.added:  # which of them is worst depends on the places, and on what is asked
        k, own = np.searchsorted(samples, more.samples), case.own_load[:, more.samples]
        if placed is None:
            used = peak_utilisation(face, own + more.wrench)
        else:
            used = placed.peak(placed.loads(own, rows_of(more, case.pushes, more.samples)))
        for value, point, other, there in ((u, at_u, *used[:2]), (peel, at_peel, *used[2:])):
            worse = other > value[k]
            value[k[worse]], point[k[worse]] = other[worse], there[worse]
    noise, bias = rate_errors(case, face, samples) if asked else 2 * (np.broadcast_to(0.0, samples.shape),)
    # With many samples some noise is large somewhere: a failure must stand out from all of it.
    sure = NormalDist().inv_cdf(1.0 - (1.0 - SURE) / max(samples.size, 1))
    doubtful = case.motion.doubtful
    out = []
    for value, point in ((u, at_u), (peel, at_peel)):
        low = by_parts(lambda value, noise, bias: np.maximum(value - sure * noise - bias, 0.0), value, noise, bias)
        high = by_parts(lambda value, noise, bias: value + COVERAGE * noise + bias, value, noise, bias)
        if case.motion.given:
            high = by_parts(np.add, high, above_between(case, samples, value))
        if asked and (bound := beyond(case, grip, high)) is not None:
            most = peak_utilisation(bound, columns(case.load, samples))[0]
            high = by_parts(np.maximum, high, most_of(case, bound, samples, most))
        for part in parts(samples.size):
            high[part][np.isin(samples[part], doubtful) | ~np.isfinite(value[part])] = np.inf
        out.append(Use(samples=samples, value=value, low=low, high=high, point=point, grip=grip))
    return out[0], out[1]


def beyond(case: Case, grip: Grip, high: FloatArray) -> Face | None:
    """Return what bounds the use of pads under a part that is stretched as well as bent; None: no need, or no bound.

    Args:
        case: The job; forces of its process act at places, which no bound has.
        grip: The pads.
        high: The largest use that they may have by small bending, shape (m,).
    """
    return None if grip.film is None or case.pushes else grip.film.beyond(float(high.max(initial=0.0)))


def most_of(case: Case, face: Face, samples: NDArray[np.intp], value: FloatArray) -> FloatArray:
    """Return the largest use that a face may have, with errors of the rates and gaps between samples, shape (m,)."""
    between = above_between(case, samples, value) if case.motion.given else np.broadcast_to(0.0, value.shape)
    rows = value, *rate_errors(case, face, samples), between
    return by_parts(lambda value, noise, bias, more: value + COVERAGE * noise + bias + more, *rows)


def rate_errors(case: Case, face: Face, samples: NDArray[np.intp]) -> tuple[FloatArray, FloatArray]:
    """Return what errors of the rates can add to the utilisation: one sigma of noise, and a bound of the bias."""
    noise, bias = stored(samples.shape), stored(samples.shape)
    error = case.motion.error
    if error is None:
        return noise, bias
    for part in parts(samples.size, size=CHUNK):
        wrong = np.flatnonzero((error.sigma[samples[part]] + error.bias[samples[part]]).any(axis=1))
        if wrong.size:
            at = part.start + wrong
            noise[at], bias[at] = utilisation_error(face, *case.load_errors(samples[at]))
    return noise, bias


def above_between(case: Case, samples: NDArray[np.intp], value: FloatArray) -> FloatArray:
    """Return by how much a figure may exceed its higher neighbour on the way between samples, at both, shape (m,).

    Args:
        case: The job.
        samples: Rising indices into the program, shape (m,).
        value: The figure at them, shape (m,).
    """
    out, t = stored(value.shape), case.job.trajectory.t
    for part in parts(value.size):  # an interval on either side of those, and one more that tells of its curve
        wide = slice(max(part.start - BESIDE, 0), min(part.stop + BESIDE, value.size))
        at = samples[wide]
        more = np.where(np.diff(at) == 1, above(t[at], value[wide]), 0.0)
        more = np.maximum(np.append(more, 0.0), np.append(0.0, more))
        out[part] = more[part.start - wide.start :][: part.stop - part.start]
    return out
