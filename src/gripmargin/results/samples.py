"""Figures of a report at every sample of the program."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray

# Figures at every sample that checks give; NaN everywhere where a check was not made.
SERIES: Final = (
    "hold_margin",
    "hold_margin_low",
    "peel_index",
    "peel_azimuth",
    "stop_margin",
    "swing_margin",
    "swing_margin_low",
)


@dataclass(frozen=True, kw_only=True)
class Samples:
    """Figures at every sample, SI, radians.

    Attributes:
        t: Times [s], shape (n,).
        phase: preload, carry, release, free or clean for each sample.
        move: Label of each sample; empty where the trajectory has none.
        position: Tool origin in the world [m], shape (n, 3).
        acceleration: Of the tool origin, without gravity, tool axes [m/s^2], shape (n, 3).
        angular_velocity: Tool axes [rad/s], shape (n, 3).
        angular_acceleration: Tool axes [rad/s^2], shape (n, 3).
        force: Of the part on the gripper, tool axes [N], shape (n, 3); z > 0 pulls the part off.
        moment: About the tool origin [N m], shape (n, 3).
        hold_margin: Grip margin [-], NaN outside carry phases, inf where nothing pulls, shape (n,).
        hold_margin_low: Least value it may have with the errors of the rates, likewise.
        peel_index: Largest tension over pull-off stress [-], NaN outside carry phases, shape (n,).
        peel_azimuth: Where that is, about the tool's z axis [rad], NaN without tension, shape (n,).
        stop_margin: Grip margin if the robot stops from there [-], NaN outside the carry and without stop data, inf
            where nothing pulls, shape (n,).
        swing_margin: Grip margin with the part swinging on its pads [-], NaN outside carry phases, shape (n,).
        swing_margin_low: Least value it may have, likewise.
        governing: Least share of its target that the figure of any result may have [-], NaN where none says anything,
            inf where nothing pulls, shape (n,).
        governed_by: Which result that is, by its name; empty where none says anything.
        joints: Values of the joints [rad or m], shape (n, joints); none for a program of poses.
        joint_names: Their names, or q1, q2 and so on.
        joint_units: Their units, rad or m.
        station: Of a gripper with several, the station whose part the figures are of; empty else.
        stamp: What time 0 is by the clock of a recording [ns since 1970]; 0: it is not known.
    """

    t: FloatArray
    phase: Sequence[str]
    move: Sequence[str]
    position: FloatArray
    acceleration: FloatArray
    angular_velocity: FloatArray
    angular_acceleration: FloatArray
    force: FloatArray
    moment: FloatArray
    hold_margin: FloatArray
    hold_margin_low: FloatArray
    peel_index: FloatArray
    peel_azimuth: FloatArray
    stop_margin: FloatArray
    swing_margin: FloatArray
    swing_margin_low: FloatArray
    governing: FloatArray
    governed_by: Sequence[str]
    joints: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))
    joint_names: tuple[str, ...] = ()
    joint_units: tuple[str, ...] = ()
    station: Sequence[str] = ()
    stamp: int = 0
