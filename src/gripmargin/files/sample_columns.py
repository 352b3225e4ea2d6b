"""The figures of a report at every sample as columns whose names tell what they are and their unit."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.results.samples import SERIES, Samples

UNITS: Final = {
    "position": "m",
    "acceleration": "m/s^2",
    "angular_velocity": "rad/s",
    "angular_acceleration": "rad/s^2",
    "force": "N",
    "moment": "N*m",
}
_UNIT_OF_SERIES: Final = {"peel_azimuth": " [rad]"}


def sample_columns(samples: Samples) -> dict[str, NDArray[Any]]:
    """Return the columns: time, phase and move, joints, then vectors as three such as "force_x [N]", then margins.

    What is not known at a sample is NaN. Without labels of moves there is no column of them.

    Args:
        samples: Such as ``report.samples``.
    """
    columns: dict[str, NDArray[Any]] = {"t [s]": samples.t, "phase": np.array(samples.phase, dtype=np.str_)}
    if samples.move:
        columns["move"] = np.array(samples.move, dtype=np.str_)
    for k, (name, unit) in enumerate(zip(samples.joint_names, samples.joint_units, strict=True)):
        columns[f"joint_{name} [{unit}]"] = samples.joints[:, k]
    for name, unit in UNITS.items():
        columns |= {f"{name}_{axis} [{unit}]": getattr(samples, name)[:, k] for k, axis in enumerate("xyz")}
    columns |= {"governing": samples.governing, "governed_by": np.array(samples.governed_by, dtype=np.str_)}
    return columns | {f"{name}{_UNIT_OF_SERIES.get(name, '')}": getattr(samples, name) for name in SERIES}
