"""Why a sample uses the pads as it does: where on the pad, by which cause, in which way."""

from __future__ import annotations

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.hold import words
from gripmargin.checks.hold.figures import Load, SharedMargin, Shares, Spot, Stresses
from gripmargin.checks.margin import Shortfall
from gripmargin.contact.cells import Patch
from gripmargin.contact.grip import Grip
from gripmargin.contact.limit import limit_factor
from gripmargin.contact.loads import load_by_cause
from gripmargin.contact.process import PROCESS
from gripmargin.kernels import utilisation
from gripmargin.kernels.face import Face
from gripmargin.kernels.face import utilisation as use_of

WAYS = ("pull", "peel", "shear", "twist")


def spot_on_pad(patch: Patch, point: FloatArray) -> Spot:
    """Return where a point of a pad is."""
    x, y, z = (float(c) for c in point)
    return Spot(pad=patch.pad.name, point=(x, y, z), azimuth=float(np.arctan2(y, x)))


def load_figures(load: FloatArray) -> Load:
    """Return a load, shape (6,), as figures."""
    return Load(force=tuple(load[:3].tolist()), moment=tuple(load[3:].tolist()))


def stresses_at(case: Case, grip: Grip, point: int, sample: int, *, swing: FloatArray | None = None) -> Stresses:
    """Return the stresses at a place by the load, what it can hold, and how the tension gathers at the edge.

    Args:
        case: The job.
        grip: The places that count.
        point: Which of them.
        sample: Whose load.
        swing: What the part's swing adds to it, shape (6,).
    """
    patch = grip.patch(point)
    load = case.load[:, sample] if swing is None else case.load[:, sample] + swing
    t1, t2, normal = grip.traction(point, load)
    pull, shear = float(grip.pull[point]), float(grip.shear[point])
    on_pad = (grip.bonded.sheet or case.whole).pad_wrench(patch, load)
    mean = float(
        grip.traction_on(patch, patch.centre, load)[2] if grip.bonded.sheet is None else on_pad[2] / patch.area
    )
    return Stresses(
        normal_stress=float(normal),
        shear_stress=float(np.hypot(t1, t2)),
        pull_off_stress=pull,
        shear_strength=shear,
        mean_normal_stress=mean,
        edge_amplification=float(normal / mean) if mean > 0 else None,
        peel_moment=float(np.hypot(on_pad[3], on_pad[4])),
        pad_force=tuple(on_pad[:3].tolist()),
        pad_moment=tuple(on_pad[3:].tolist()),
        set_aside=None if grip.face.plain else _set_aside(grip, point, load),
    )


def _set_aside(grip: Grip, point: int, load: FloatArray) -> float:
    """The use of a place less what its tractions make of it [-]."""
    here = grip.face.only([point])
    whole, alone = (use_of(face, load[:, None])[0][0, 0] for face in (here, Face(here.maps / grip.asked)))
    return float(whole - alone)


def shares(
    case: Case,
    grip: Grip,
    point: int,
    sample: int,
    *,
    swing: FloatArray | None = None,
    undecided: list[str] | None = None,
) -> Shares:
    """Return what the utilisation at a point is made of, as shares that add up to 1.

    The normalised traction is a sum over the causes; each cause's share is its projection on the whole, so
    a negative share relieves. The same is done over the ways a load acts about the centre of the pads:
    pull along the normal, peel about it, shear along the face, twist. What the part's swing adds to the load
    is a cause of its own.

    Args:
        case: The job.
        grip: The places that count.
        point: Which of them.
        sample: Whose load.
        swing: What the part's swing adds to it, shape (6,).
        undecided: Why a verdict is open.
    """
    by_cause = load_by_cause(case.job.part, case.motion.at.take(sample), case.job.gravity, case.job.air_density)
    total, pushed = case.load[:, sample], case.pushed(sample)
    if pushed.any():
        by_cause = by_cause | {PROCESS: pushed}
    if swing is not None:
        by_cause, total = by_cause | {"swing": swing[:, None]}, total + swing
    centre = case.whole.centre
    about_centre = total[3:] - np.cross(centre, total[:3])
    by_way: dict[str, FloatArray] = {}
    for way, keep in zip(WAYS, ((2,), (3, 4), (0, 1), (5,)), strict=True):
        load = np.zeros(6)
        for component in keep:
            load[component] = total[component] if component < 3 else about_centre[component - 3]
        load[3:] += np.cross(centre, load[:3])
        by_way[way] = load[:, None]

    def shared(parts: dict[str, FloatArray]) -> dict[str, float]:
        found = utilisation.shares(grip.face.maps[:, [point]], total[:, None], np.stack(list(parts.values())))
        return dict(zip(parts, found[:, 0].tolist(), strict=True))

    return Shares(
        causes=shared(by_cause),
        ways=shared(by_way),
        loads={cause: load_figures(load[:, 0]) for cause, load in by_cause.items()},
        undecided=None if undecided is None else tuple(undecided),
    )


def doubts(case: Case, short: Shortfall, otherwise: str) -> list[str] | None:
    """Return why a stretch cannot be decided, in sentences; None where it fails.

    Args:
        case: The job.
        short: The stretch.
        otherwise: What is not known of the motion where there is no doubt about it as such.
    """
    if short.fails:
        return None
    known = words.STRETCHED if short.bounded else otherwise
    of_the_data = case.motion.doubts_at(short.sample) or ([known] if short.unknown or short.bounded else [])
    return [*([words.OTHERS_MAY_HOLD] if short.lets_go else []), *of_the_data]


def shared_margin(case: Case, sample: int) -> SharedMargin:
    """Return the factor at which no traction field could carry the load of a sample, with its proof."""
    known = case.shared(_shared_margins)
    if sample not in known:
        known[sample] = _shared_margin(case, sample)
    return known[sample]


def _shared_margins(_: Case) -> dict[int, SharedMargin]:
    return {}


def _shared_margin(case: Case, sample: int) -> SharedMargin:
    strengths = case.grip.bonded.strengths
    if not any((pull > 0).any() for pull, _ in strengths):
        return SharedMargin(shared_margin=None, shared_margin_bounds=(0.0, 0.0), shared_margin_imbalance=0.0)
    found = limit_factor(case.whole, strengths, case.load[:, sample])
    lower, upper = (x if np.isfinite(x) else None for x in (found.lower, found.upper))
    return SharedMargin(
        shared_margin=lower if found.converged else None,
        shared_margin_bounds=(lower, upper),
        shared_margin_imbalance=found.imbalance,
    )
