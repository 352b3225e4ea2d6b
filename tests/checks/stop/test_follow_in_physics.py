"""Random stops in a physics engine: large displacements and all, none uses the pads more than the check allows.

`python tests/checks/stop/test_follow_in_physics.py 170` runs more of them, of each kind.
"""

import sys

import numpy as np
import pytest

from gripmargin.checks.case import work_out
from gripmargin.checks.stop.use import Stopping, stop_use
from support import simulated

SEEDS = range(6)


def tried(seed, kind):
    """What a stop came to in the engine, and over it the least, the value, and the most that the check says."""
    random = np.random.default_rng([seed, simulated.KINDS.index(kind)])
    moves, job = simulated.random_job(random, kind, sudden=False)
    case = work_out(job)
    sample = int(np.argmin(np.abs(case.job.trajectory.t - 0.001 * random.integers(100, 900))))
    stopping = Stopping(case=case, stop=job.stop)
    stopped = simulated.stopped_by(stopping, moves, sample)
    found, _ = simulated.largest_use(case, moves, stopped)
    use = stop_use(stopping, stopping.kinds[0], np.array([sample]))
    return np.array([use.low[0], use.value[0], use.high[0]]) / found


@pytest.mark.parametrize("kind", simulated.KINDS)
def test_stops_of_parts_that_swing_at_20_hz_or_more(kind):
    low, value, high = np.array([tried(seed, kind) for seed in SEEDS]).T
    assert (low <= 1.002).all()
    assert (high >= 0.998).all()
    assert np.median(value) == pytest.approx(1.0, abs=3e-3)  # large displacements
    assert np.median(high) < 1.05
    assert np.quantile(high, 0.9) < 1.15


if __name__ == "__main__":
    for kind in simulated.KINDS:
        low, value, high = np.array([tried(seed, kind) for seed in range(int(sys.argv[1]))]).T
        print(f"{kind}: {low.size} stops, over the truth: least up to {low.max():.4f}, value {np.median(value):.4f}")  # noqa: T201
        print(f"  most {high.min():.4f} to {high.max():.3f}, median {np.median(high):.3f}, nine of ten", end=" ")  # noqa: T201
        print(f"{np.quantile(high, 0.9):.3f}")  # noqa: T201
