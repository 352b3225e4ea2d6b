"""The grip margin of loads that somebody else has worked out, for the inside of a simulation loop."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from gripmargin.base.arrays import FloatArray, frozen
from gripmargin.contact.backing import Backing
from gripmargin.contact.bending import sheet_on
from gripmargin.contact.bond import holding_strength
from gripmargin.contact.bonded import Bonded
from gripmargin.contact.cells import cut_pads
from gripmargin.contact.film import STRETCHED
from gripmargin.contact.grip import grip_of
from gripmargin.contact.stretching import Stretching
from gripmargin.kernels.utilisation import peak_utilisation
from gripmargin.workcell import Gripper, Part


@dataclass(frozen=True, kw_only=True)
class Reading:
    """What one load asks of the pads.

    Attributes:
        margin: Factor by which the load could grow before a place on a pad lets go [-]; inf without load, 0 where none
            is known: the part bends, and is stretched too far to tell.
        peel_index: Largest tension over pull-off stress [-].
        pad: Name of the pad that is used most.
        point: Where on its edge, tool frame [m], shape (3,).
    """

    margin: float
    peel_index: float
    pad: str
    point: FloatArray


class MarginMeter:
    """Pads on a part, ready to judge one load after the other.

    The margin is that of first peel on an elastic backing, quasi-static, on wholly bonded pads. A uniform plate with a
    modulus, not called rigid, bends on them by small deflections, under loads as inertia and weight spread them. Where
    it would be stretched as well, by more than a twentieth of its energy, the margin is 0: none is known. Air,
    forces at single places, the part's swing, what it takes to follow pads that let go, and whatever else `check`
    doubts are not looked at: a load has to hold what is to count, and `check` judges whole programs.
    """

    def __init__(self, gripper: Gripper, part: Part) -> None:
        """Cut the pads with the part's outline and work out their stiffness.

        Args:
            gripper: The pads, in the tool frame.
            part: The part as gripped.

        Raises:
            InputError: A pad that misses the part, or one too thin and wide to be solved.
        """
        self._backing = Backing(cut_pads(gripper.pads, part))
        strengths = tuple(holding_strength(patch.pad, part, gripper) for patch in self._backing.patches)
        sheet_on(self._backing, strengths, part)  # what cannot be solved is refused
        grip = grip_of(Bonded(whole=self._backing, full=strengths, part=part), np.zeros((6, 0)))
        self._face, self._points, self._owner = grip.face, grip.points, grip.owner
        sheet = grip.bonded.sheet
        self._stretching = None if sheet is None else Stretching.of(sheet)

    def margins(self, force: ArrayLike, moment: ArrayLike) -> FloatArray:
        """Return the grip margin of each of many loads.

        Args:
            force: What the part does to the gripper, tool axes [N], shape (n, 3); z > 0 pulls the part off.
            moment: About the tool origin [N m], shape (n, 3).

        Returns:
            Shape (n,), inf where nothing pulls, 0 where a part that bends is stretched too far to tell.

        Raises:
            InputError: Other shapes, or what is not a finite number.
        """
        forces = frozen(force, (None, 3), "force")
        moments = frozen(moment, (len(forces), 3), "moment")
        load = np.concatenate([forces, moments], axis=1).T
        return self._margins(load, peak_utilisation(self._face, load)[0])

    def read(self, force: ArrayLike, moment: ArrayLike) -> Reading:
        """Return what one load asks of the pads.

        Args:
            force: What the part does to the gripper, tool axes [N], shape (3,); z > 0 pulls the part off.
            moment: About the tool origin [N m], shape (3,).

        Raises:
            InputError: Other shapes, or what is not a finite number.
        """
        load = np.concatenate([frozen(force, (3,), "force"), frozen(moment, (3,), "moment")])
        used, at, peel, _ = peak_utilisation(self._face, load[:, None])
        point = int(at[0])
        return Reading(
            margin=float(self._margins(load[:, None], used)[0]),
            peel_index=float(peel[0]),
            pad=self._backing.patches[int(self._owner[point])].pad.name,
            point=self._points[point].copy(),
        )

    def _margins(self, load: FloatArray, used: FloatArray) -> FloatArray:
        with np.errstate(divide="ignore"):
            margins = np.asarray(1.0 / used)
        if self._stretching is not None:
            margins[self._stretching.share(load) > STRETCHED] = 0.0
        return margins
