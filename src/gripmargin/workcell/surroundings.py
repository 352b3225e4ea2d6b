"""Where the part is taken from and left."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import pi
from typing import TypeVar

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.workcell.fields import Declared, Fault, key
from gripmargin.workcell.kinds import OFFSETS, OUTLINE, POINT, Flag, Number, Pose, Row, not_negative, positive

LABEL = "lift_off"  # the check that asks how a label leaves its liner


class Pick(Declared, called="pick"):
    """Where the part is taken from.

    Attributes:
        face: The gripped face in the world, +z out of the part.
        flatness: How far the face may lie below the plane of `face`; the press is judged at both ends.
        break_away: Force that holds the part in its tray while it leaves.
        dwell: Time that the tool rests on the part, where the program does not show it; only the rest that the program
            shows counts.
        tolerance: How far from the origin of `face`, along it, the tool frame may come down on the part.
        bed: Outline of the flat solid area on which a part that bends lies, in the xy plane of `face`.
        peel_energy: Of a label on its liner: energy to peel a unit of area off the liner, from a peel test; the largest
            over `peel_speed`. In place of `break_away`.
        peel_angle: Between the liner that is drawn away and the label: 180 deg where it is folded back flat.
        peel_direction: In which the front of the peel runs across the label, about the tool's z axis from x.
        peel_speed: Slowest and fastest front for which `peel_energy` was measured.
        step: Of a stack, or from row to row: by how much the face moves, along its own axes, each time it has been
            used; with `places` each time all of them have.
        places: Of a pallet: where the face lies one time after the other, along its own axes from `face`.
    """

    face: FloatArray = key(Pose(is_face=True), "all")
    flatness: float = key(not_negative("length"), "preload, lift_off, hold, pressure", default=0.0)
    break_away: float = key(not_negative("force"), "preload, lift_off, hold", default=0.0)
    dwell: float | None = key(not_negative("time"), "not yet", default=None)
    tolerance: float | None = key(positive("length"), "all", default=None, absent="anywhere on the part")
    bed: FloatArray | None = key(OUTLINE, "all but flange", default=None, absent="not known")
    peel_energy: float | None = key(positive("energy per area"), LABEL, default=None, absent="no liner")
    peel_angle: float | None = key(
        Number("angle", above=0, most=pi, what="an angle"), LABEL, default=None, absent="not known"
    )
    peel_direction: float | None = key(Number("angle"), LABEL, default=None, absent="not known")
    peel_speed: FloatArray | None = key(Row(positive("speed"), 2), LABEL, default=None, absent="not known")
    step: FloatArray | None = key(POINT, "all", default=None, absent="it stays")
    places: FloatArray | None = key(OFFSETS, "all", default=None, absent="at `face`")

    def faults(self) -> Iterator[Fault]:
        """A liner without its energy, or beside a break-away force; speeds that fall."""
        given = [name for name in ("peel_angle", "peel_direction", "peel_speed") if getattr(self, name) is not None]
        if self.peel_energy is None and given:
            yield "peel_energy", f"nothing, beside pick.{given[0]}", "the energy of the liner from a peel test"
        if self.peel_energy is not None and self.break_away > 0:
            yield "break_away", "a force beside pick.peel_energy", "one of the two: how a liner lets go, or a tray"
        if self.peel_speed is not None and self.peel_speed[0] > self.peel_speed[1]:
            yield "peel_speed", "a slowest speed above the fastest", "the slowest first"


class Nest(Declared, called="nest"):
    """Where the part is left.

    It is the fixture that receives the part; its forces keep the part in it.

    Attributes:
        face: The gripped face of the seated part in the world, +z out of the part.
        hold_down: Force that keeps the part down, beyond its weight; taken to act at the centroid of the support's
            area.
        lateral_force: Largest force along the face that the nest takes.
        moment: Largest moment about the face normal that the nest takes.
        slip: How far the pads may drag the part along its face while it lies there: up to there its nest need not
            withstand them sideways and in torsion.
        support: Outline the part stands on, seen along the face normal, in the xy plane of `face`.
        bed: Outline of the flat solid area on which a part that bends lies, in the xy plane of `face`.
        hold_down_even: Whether `hold_down` pulls evenly on all of the part over `bed`, as a vacuum plate does.
        tolerance: How far the part may be placed off its place: the way along the face from the origin of `face` to
            where the tool frame comes down, and how far the part still swings then to either side, at the corner of its
            outline that moves farthest.
        step: Of a stack, or from row to row: by how much the face moves, along its own axes, each time it has been
            used; with `places` each time all of them have.
        places: Of a pallet: where the face lies one time after the other, along its own axes from `face`.
    """

    face: FloatArray = key(Pose(is_face=True), "all")
    hold_down: float = key(not_negative("force"), "release", default=0.0)
    lateral_force: float | None = key(not_negative("force"), "release", default=None, absent="not known")
    moment: float | None = key(not_negative("moment"), "release", default=None, absent="not known")
    slip: float = key(not_negative("length"), "release", default=0.0)
    support: FloatArray | None = key(OUTLINE, "release", default=None, absent="the part's outline")
    bed: FloatArray | None = key(OUTLINE, "release, pressure", default=None, absent="not known")
    hold_down_even: bool = key(Flag(), "release, pressure", default=False)
    tolerance: float | None = key(positive("length"), "all", default=None, absent="not checked")
    step: FloatArray | None = key(POINT, "all", default=None, absent="it stays")
    places: FloatArray | None = key(OFFSETS, "all", default=None, absent="at `face`")


PlaceOf = TypeVar("PlaceOf", Pick, Nest)


def at_use(place: PlaceOf, use: int, where: str) -> PlaceOf:
    """Return a place as it is when it is used again, with its face there and nothing that moves any more.

    Args:
        place: As it is described.
        use: How often it has been used before.
        where: What messages call it.

    Raises:
        InputError: It has fewer places than that, and no step from there on.
    """
    if place.step is None and place.places is None:
        return place
    places = np.zeros((1, 3)) if place.places is None else place.places
    again, which = divmod(use, len(places))
    if again and place.step is None:
        remedy = "add those that are missing, or step: by how much all of them move then; 0 where it begins anew"
        raise InputError(f"{where}.places", f"{len(places)} places, used {use + 1} times", "a place each time", remedy)
    offset = places[which] + (0.0 if place.step is None else again * place.step)
    face = place.face.copy()
    face[:3, 3] += face[:3, :3] @ offset
    return replace(place, face=face, step=None, places=None)
