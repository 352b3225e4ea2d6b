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
from gripmargin.contact.grip import grip_of
from gripmargin.kernels.utilisation import peak_utilisation
from gripmargin.workcell import Gripper, Part


@dataclass(frozen=True, kw_only=True)
class Reading:
    """What one load asks of the pads.

    Attributes:
        margin: Factor by which the load could grow before a place on a pad's edge lets go [-]; inf without load.
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

    The margin is that of first peel on an elastic backing, quasi-static, on wholly bonded pads; a uniform plate with a
    modulus, not called rigid, bends on them. See `check` for whole programs, which
    also judges the press, the release, stops and the part's swing.
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

    def margins(self, force: ArrayLike, moment: ArrayLike) -> FloatArray:
        """Return the grip margin of each of many loads.

        Args:
            force: What the part does to the gripper, tool axes [N], shape (n, 3); z > 0 pulls the part off.
            moment: About the tool origin [N m], shape (n, 3).

        Returns:
            Shape (n,), inf where nothing pulls.

        Raises:
            InputError: Other shapes, or what is not a finite number.
        """
        forces = frozen(force, (None, 3), "force")
        moments = frozen(moment, (len(forces), 3), "moment")
        used = peak_utilisation(self._face, np.concatenate([forces, moments], axis=1).T)[0]
        with np.errstate(divide="ignore"):
            return np.asarray(1.0 / used)

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
            margin=float(1.0 / used[0]) if used[0] > 0 else float("inf"),
            peel_index=float(peel[0]),
            pad=self._backing.patches[int(self._owner[point])].pad.name,
            point=self._points[point].copy(),
        )
