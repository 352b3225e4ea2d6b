"""Premises on forces of the process: what they do to a part that bends, and to the face of the pads."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from gripmargin.checks.case import Case
from gripmargin.checks.pressed import pressed_by_forces, pressed_by_the_load
from gripmargin.checks.standing import Standing, grips_without
from gripmargin.contact.grip import Grip
from gripmargin.contact.poked import poked, stretched, surely, unfollowed
from gripmargin.contact.sheet import Sheet
from gripmargin.kernels.utilisation import peak_utilisation

ROUNDING = 1e-9  # share of a pressure that is rounding


def dented(case: Case) -> Standing:
    """Whether it is known what forces of the process do to pads under a part that bends where they act."""
    return _dented(case, [case.grip], 1.0)


def dented_at_once(case: Case) -> Standing:
    """The same of forces that come at once: what they dent overshoots by as much again."""
    return _dented(case, [case.grip], 2.0)


def dented_without_a_pad(case: Case) -> Standing:
    """The same at rest with any one of its pads gone."""
    return _dented(case, grips_without(case), 1.0)


def undented(case: Case) -> Standing:
    """Whether no force of the process bends the part where it acts: how far it droops there is not worked out.

    A plate may ask no more of its pads than a rigid part does, and droop all the same.
    """
    part = case.job.part
    if part.rigid or part.strips is None or not case.pushes:
        return Standing()
    said = "a force of the process bends the part where it acts, and how far it droops there is not worked out"
    return Standing(doubts=(f"{said}; state part.rigid = true if its bending can be neglected",))


def unbuckled(case: Case) -> Standing:
    """Whether what presses in the carry leaves the face as the press did: beyond its overload it holds less."""
    said, pads = [], [patch.pad for patch in case.whole.patches]
    if all(pad.material.overload_pressure is None for pad in pads):
        return Standing()
    by_forces, by_load = case.shared(pressed_by_forces), case.shared(pressed_by_the_load)
    for pressed in (*by_forces, *by_load):
        pad, most = pads[pressed.pad], float(pressed.most.max(initial=0.0))
        limit, what = pad.material.overload_pressure, "forces of the process" if pressed in by_forces else "the part"
        if limit is not None and most > limit * (1.0 + ROUNDING):
            at = case.place(int(pressed.samples[np.argmax(pressed.most)]))
            said.append(
                f"{what} may press pad '{pad.name}' with up to {most / 1e4:.2f} N/cm^2 at {at.t:.3f} s, "
                f"above its overload pressure of {limit / 1e4:.2f} N/cm^2: "
                "its face buckles, and what it holds afterwards is not followed; a smaller force, nearer to the middle "
                "of the pads, or larger pads would help"
            )
    return Standing(doubts=tuple(said))


def _dented(case: Case, grips: Sequence[Grip], times: float) -> Standing:
    factor, dents, least, share = 1.0, 0.0, 0.0, 0.0
    for grip in grips:
        sheet = grip.bonded.sheet
        if sheet is None or not case.pushes:
            continue
        if (force := unfollowed(sheet, case.pushes)) is not None:
            said = f"force '{force.name}' of the process turns or pulls along a part that bends, or acts beside it"
            return Standing(doubts=(f"{said}: what that does to the pads is not followed; say where on it it acts",))
        more, use = times * poked(sheet, _held(grip), case.pushes), _with_forces(case, grip, sheet)
        if more > 0.0 and not use[0] > 0.0:  # no margin is there that a factor could lower
            said = "forces of the process dent the part where they act, which alone uses the pads"
            return Standing(doubts=(f"{said}: how far is not followed; make it stiffer, or let them act above pads",))
        factor, dents = max(factor, 1.0 + more / use[0] if more > 0.0 else 1.0), max(dents, more)
        least = max(least, use[1])
        share = max(share, use[2])
    return Standing(factor=factor, dents=dents, least=least, stretched=share)


def _held(grip: Grip) -> list[tuple[float, float]]:
    """What the pads hold where they hold least, over what counts for places that are left out."""
    least = [float(own.min()) / grip.asked for own in grip.bonded.left]
    return [(pull * own, shear * own) for (pull, shear), own in zip(grip.bonded.full, least, strict=True)]


def _with_forces(case: Case, grip: Grip, sheet: Sheet) -> tuple[float, float, float]:
    """How far pads are used with forces spread over the part, how far they surely are with them at their places.

    And the share of its energy that stretches the part then, at a use of 1 of the first.
    """
    most, least = float(peak_utilisation(grip.face, case.load[:, case.carried])[0].max(initial=0.0)), 0.0
    share = 0.0
    for more in case.added:
        load = case.own_load[:, more.samples] + more.wrench
        used = peak_utilisation(grip.face, load)[0]
        k = int(np.argmax(used))
        there = [(f, push) for f, push in zip(more.factors, case.pushes, strict=True) if f]
        forces = [(push.of, f * float(push.wrench[2, more.samples[k] - push.samples[0]])) for f, push in there]
        most = max(most, float(used[k]))
        least = max(least, surely(sheet, _held(grip), load[:, k], forces))
        share = max(share, stretched(sheet, load[:, k], forces))
    return most, least, share / most**2 if most > 0.0 else 0.0
