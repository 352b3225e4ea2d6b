"""What a hold puts on the gripper in the course of a program: part, contact in press and release, process forces."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.checks.case import Case
from gripmargin.checks.swing.pushed import in_air
from gripmargin.checks.swing.ringing import mode_sets
from gripmargin.contact.handover import Release
from gripmargin.contact.relative import RelativeMotion
from gripmargin.contact.simulation import ContactHistory
from gripmargin.workcell.aboard import Aboard, Push

Contact = tuple[ContactHistory, RelativeMotion, NDArray[np.intp], bool]


def of_hold(case: Case) -> Aboard:
    """Return what the hold of a case puts on the gripper, with all contact that was followed.

    Presses are followed with the face where it lies highest and lowest, by its flatness: what both push is sure.
    Releases are followed on pads as strong as they may be: they may pull less.
    """
    n, hanging = case.airborne.size, case.airborne
    contact, sure = np.zeros((6, n)), np.zeros((6, n))
    at: list[NDArray[np.intp]] = [np.zeros(0, dtype=np.intp)]
    instants: list[FloatArray] = [np.zeros((6, 0))]
    for history, relative, samples, is_sure in _contacts(case):
        sample = np.minimum(np.arange(history.row_of_sample.size), relative.samples - 1)
        rows = _on_gripper(history, relative, history.row_of_sample, sample)
        free = ~hanging[samples[sample]]
        contact[:, samples[sample[free]]] = rows[:, free]
        if is_sure:
            sure[:, samples[sample[free]]] = rows[:, free]
        for beside in (history.sample, np.minimum(history.sample + 1, relative.samples - 1)):
            found = _on_gripper(history, relative, np.arange(history.t.size), beside)
            free = ~hanging[samples[beside]] & found.any(axis=0)
            at.append(samples[beside[free]])
            instants.append(found[:, free])
    missing = dict(_unfollowed(case))
    return Aboard(
        mass=case.job.part.mass,
        com=case.job.part.com,
        inertia=case.job.part.inertia,
        hangs=hanging,
        contact=contact,
        sure=sure,
        at=np.concatenate(at),
        instants=np.hstack(instants),
        pushes=tuple(pushes_of(case)),
        unfollowed=" and ".join(missing),
        unknown=np.any([*missing.values()], axis=0) & ~hanging if missing else None,
    )


def _unfollowed(case: Case) -> Iterator[tuple[str, NDArray[np.bool_]]]:
    """What the phases name of contact and nobody could follow, and its samples, shape (n,)."""
    phases, where = case.job.phases, case.job.phase_map
    if case.pickup is None and any(phase.kind == "preload" for phase in phases):
        yield "press", where.covers("preload")
    followed = [down.samples for down in case.putdowns if isinstance(down, Release)]
    if len(followed) < sum(phase.kind == "release" for phase in phases):
        missed = where.covers("release").copy()
        for samples in followed:
            missed[samples] = False
        yield "release", missed


def pushes_of(case: Case) -> Iterator[Push]:
    """Yield what forces of the process put on the gripper, while they act and until their swing has faded."""
    if not case.pushes:
        return
    modes = case.shared(mode_sets)[-1]
    for at, pushed in in_air(case, modes):
        yield at, pushed.wrench, modes.loads, pushed.swing


def all_of(case: Case) -> tuple[Aboard, ...]:
    """Return all that is on the gripper in a case, its own part first.

    Contact counts where the gripper has several stations: what one presses then adds to what the others carry.

    Raises:
        InputError: What others carry is that of a program with other samples.
    """
    n, part = case.airborne.size, case.job.part
    if case.job.station:
        own = case.shared(of_hold)
    else:
        none, nowhere = np.zeros((6, n)), np.zeros(0, dtype=np.intp)
        own = Aboard(
            mass=part.mass,
            com=part.com,
            inertia=part.inertia,
            hangs=case.airborne,
            contact=none,
            sure=none,
            at=nowhere,
            instants=np.zeros((6, 0)),
            pushes=tuple(pushes_of(case)),
        )
    if any(each.hangs.size != n for each in case.job.aboard):
        raise InputError("aboard", "loads of other stations over another program", f"{n} samples")
    return own, *case.job.aboard


def not_followed(aboard: Sequence[Aboard]) -> NDArray[np.bool_]:
    """Return at which samples a press or a release that was not followed adds to what other stations have, shape (n,).

    Of a part that is alone on the gripper it counts no more than on a gripper without stations.
    """
    unknown = [np.zeros_like(each.hangs) if each.unknown is None else each.unknown for each in aboard]
    several = np.sum([each.hangs | there for each, there in zip(aboard, unknown, strict=True)], axis=0) > 1
    return np.asarray(np.any(unknown, axis=0) & several)


def _contacts(case: Case) -> Iterator[Contact]:
    """Presses and releases that were followed: history, motion over it, its samples, whether it surely pushes so.

    Later ones go before earlier ones.
    """
    pickup = case.pickup
    if pickup is not None:
        yield pickup.history, pickup.relative, pickup.samples, True
        if pickup.hard is not pickup.history:
            yield pickup.hard, pickup.relative, pickup.samples, False
    for down in case.putdowns:
        if isinstance(down, Release):
            yield down.history, down.relative, down.samples, False


def _on_gripper(
    history: ContactHistory, relative: RelativeMotion, rows: NDArray[np.intp], samples: NDArray[np.intp]
) -> FloatArray:
    """The reaction of some rows on the gripper about the tool origin, tool axes, with the tool as at some samples."""
    force, place = history.force[rows], relative.position[samples]
    moment = history.moment[rows] - np.cross(place, force)
    to_tool = relative.rotation[samples].transpose(0, 2, 1)
    return -np.concatenate([np.einsum("kij,kj->ik", to_tool, each) for each in (force, moment)])
