"""Limits that nobody worked out, to be shown."""

import numpy as np

import gripmargin as gm
from gripmargin.results.limits import DIRECTIONS


def limits(*, known=True, **more):
    """Made-up limits, falling with the tilt and rising with the ramp."""
    tilts, ramps = np.deg2rad([0.0, 20.0, 90.0]), np.array([0.0, 0.1, np.inf])
    grid = np.array([3.0, 2.0, 1.0])[:, None] * np.array([0.2, 0.8, 1.0]) if known else np.full((3, 3), np.nan)
    values = {
        "job": 'plate <b> & "co"',
        "verdict": gm.Verdict.PASS if known else gm.Verdict.UNDECIDED,
        "tilts": tilts,
        "ramps": ramps,
        "linear": dict.fromkeys(DIRECTIONS, grid),
        "turning": {"any": grid, "spin": grid},
        "together": grid / 2,
        "radii": np.array([0.1]),
        "circling": grid[None],
        "one_move": grid,
        "stop": grid[:, 0],
        "targets": {"hold": 2.0},
        "frequencies": np.array([10.0]),
    }
    return gm.Limits(**values | more)
