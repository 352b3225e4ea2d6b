"""Premises on forces of the process: what they do to a part that bends, and to the face of the pads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import columns
from gripmargin.checks.case import Case
from gripmargin.checks.pressed import pressed_by_forces, pressed_by_the_load
from gripmargin.checks.standing import Standing, grips_without
from gripmargin.contact.grip import Grip
from gripmargin.contact.placed import Placed, rows_of
from gripmargin.contact.poked import poked, stretched, unfollowed
from gripmargin.contact.process import every_load
from gripmargin.contact.sheet import Sheet
from gripmargin.kernels.utilisation import largest_utilisation

ROUNDING = 1e-9  # share of a pressure that is rounding


def dented(case: Case) -> Standing:
    """Whether it is known what forces of the process do to pads under a part that bends where they act.

    Of what is asked of the pads where each force counts at its place.
    """
    return _followed(case, [case.grip])


def dented_without_a_pad(case: Case) -> Standing:
    """The same with any one of its pads gone."""
    return _followed(case, grips_without(case))


def dented_beside(case: Case) -> Standing:
    """The same of what counts them as loads spread over the part, with how much more they may use the pads."""
    return _dented(case, 1.0)


def dented_at_once(case: Case) -> Standing:
    """The same of forces that come at once: what they dent overshoots by as much again."""
    return _dented(case, 2.0)


def dented_in_a_stop(case: Case) -> Standing:
    """The same where all that forces may do to the pads counts already, and what they do surely is that of spread ones.

    So of a failure alone: they may use the pads less as well.
    """
    return replace(case.shared(dented_at_once), factor=1.0)


def undented(case: Case) -> Standing:
    """Whether no force of the process bends the part where it acts: how far it moves there is not worked out.

    A plate may ask no more of its pads than a rigid part does, and droop all the same.
    """
    part = case.job.part
    if part.rigid or part.strips is None or not case.pushes:
        return Standing()
    said = "a force of the process bends the part where it acts, and how far it moves there is not worked out"
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


def _followed(case: Case, grips: Sequence[Grip]) -> Standing:
    share = 0.0
    for grip in grips:
        sheet = grip.bonded.sheet
        if sheet is None or not case.pushes:
            continue
        if doubt := unfollowed(sheet, case.pushes):
            return Standing(doubts=(doubt,))
        share = max(share, _at_places(case, grip, sheet)[1])
    return Standing(stretched=share)


def _dented(case: Case, times: float) -> Standing:
    grip, known = case.grip, case.shared(dented)
    if known.doubts or (sheet := grip.bonded.sheet) is None or not case.pushes:
        return known
    more = times * max(whole for whole, _ in poked(sheet, _held(grip), case.pushes))
    most = float(largest_utilisation(grip.face, _spread(case)).max(initial=0.0))
    if more > 0.0 and not most > 0.0:  # no margin is there that a factor could lower
        said = "forces of the process dent the part where they act, which alone uses the pads"
        return Standing(doubts=(f"{said}: how far is not followed; make it stiffer, or let them act above pads",))
    least = _at_places(case, grip, sheet)[0]
    return replace(known, factor=1.0 + more / most if more > 0.0 else 1.0, dents=more, least=least)


def _held(grip: Grip) -> list[tuple[float, float]]:
    """What the pads hold where they hold least, over what counts for places that are left out."""
    least = [float(own.min()) / grip.asked for own in grip.bonded.left]
    return [(pull * own, shear * own) for (pull, shear), own in zip(grip.bonded.full, least, strict=True)]


def _spread(case: Case) -> FloatArray:
    """All loads of the carry, forces of the process as if spread over the part, shape (6, k)."""
    return every_load(case.own_load, case.airborne, case.added)


def _at_places(case: Case, grip: Grip, sheet: Sheet) -> tuple[float, float]:
    """How far pads are used at rest with forces at their places, and the share of its energy that stretches the part.

    The latter at a use of 1, by each combination of forces where it uses the pads most.
    """
    most, share = float(largest_utilisation(grip.face, columns(case.own_load, case.carried)).max(initial=0.0)), 0.0
    placed = Placed.of(grip, case.pushes)
    for more in case.added:
        if placed is None:
            continue
        own, rows = case.own_load[:, more.samples], rows_of(more, case.pushes, more.samples)
        used = placed.peak(placed.loads(own, rows))[0]
        k = int(np.argmax(used))
        forces = [(push.of, rows[6 * i : 6 * i + 6, k]) for i, push in enumerate(case.pushes) if more.factors[i]]
        most = max(most, float(used[k]))
        share = max(share, stretched(sheet, own[:, k] + more.wrench[:, k], forces))
    return most, share / most**2 if most > 0.0 else 0.0
