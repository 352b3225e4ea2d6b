"""Speed, acceleration and jerk between samples: against polynomials and laws of constant jerk, by hand."""

import numpy as np
import pytest

from gripmargin.motion.between import law_of
from gripmargin.motion.trajectory import JointTrajectory
from gripmargin.tuning.peaks import peaks


def peaks_of(t, q, qd, qdd):
    return peaks(*law_of(JointTrajectory(t=t, q=q, qd=qd, qdd=qdd)))


ROOT = np.sqrt(2.0)  # [m]
RATES = [0.001, 0.004, 0.008, 0.02]


def minimum_jerk(step, *, duration=2.0):
    """A root of two metres from a rest to a rest, so that no value is round; the move begins at a sample."""
    n = round(duration / step)
    t = step * np.arange(-5, n + 6)
    s = np.clip(t / duration, 0, 1)
    q = 10 * s**3 - 15 * s**4 + 6 * s**5
    qd, qdd = 30 * s**2 * (1 - s) ** 2 / duration, 60 * s * (1 - s) * (1 - 2 * s) / duration**2
    return t, *(ROOT * rows[:, None] for rows in (q, qd, qdd))


def constant_jerks(pieces, step, late=0.0):
    """(duration, jerk) one after the other, sampled; the first sample lies so much after the start."""
    ends = np.cumsum([duration for duration, _ in pieces])
    t = np.arange(late, ends[-1], step)
    out = np.zeros((3, t.size))
    state, start = np.zeros(3), 0.0
    for end, (duration, jerk) in zip(ends, pieces, strict=True):
        at = t >= start - 1e-12
        for x, where in ((t[at] - start, at), (duration, None)):
            q, v, a = state
            moved = q + v * x + a * x**2 / 2 + jerk * x**3 / 6, v + a * x + jerk * x**2 / 2, a + jerk * x
            if where is not None:
                out[:, where] = moved
            else:
                state = np.array(moved)
        start = end
    return t, *(rows[:, None] for rows in out)


@pytest.mark.parametrize("step", RATES)
def test_a_polynomial_of_degree_five_is_exact_at_any_rate(step):
    # over L in T: 15/8 L/T, 10/sqrt(3) L/T^2, 60 L/T^3 (Flash & Hogan 1985), the last at both ends
    found = peaks_of(*minimum_jerk(step))
    assert found.speed.max() / ROOT == pytest.approx(15 / 8 / 2, rel=1e-6)
    assert found.acceleration.max() / ROOT == pytest.approx(10 / np.sqrt(3) / 4, rel=1e-6)
    assert found.jerk.max() / ROOT == pytest.approx(60 / 8, rel=1e-6)


def test_a_short_move_by_few_samples_is_exact_as_well():
    # 7 samples a move; the steepest change from sample to sample is 0.64 of the jerk at its ends
    t, q, qd, qdd = minimum_jerk(0.02, duration=0.14)
    assert peaks_of(t, q, qd, qdd).jerk.max() == pytest.approx(60 * ROOT / 0.14**3, rel=1e-6)
    assert np.abs(np.diff(qdd, axis=0) / 0.02).max() < 0.7 * 60 * ROOT / 0.14**3


@pytest.mark.parametrize("step", RATES)
@pytest.mark.parametrize("rounded", [False, True])
def test_jerk_of_laws_of_constant_jerk_is_never_missed(step, rounded):
    """Phases of two intervals and more begin anywhere between samples; short ones may be called too steep."""
    random = np.random.default_rng(1)
    seen = []
    for _ in range(30):
        rise, hold, cruise = random.uniform(max(0.02, 2 * step), 0.1), random.uniform(0, 0.1), random.uniform(0, 0.2)
        way = [(rise, 100.0), (hold, 0.0), (rise, -100.0), (cruise, 0.0), (rise, -100.0), (hold, 0.0), (rise, 100.0)]
        t, q, qd, qdd = constant_jerks([(0.1, 0.0), *way, (0.1, 0.0)], step, random.uniform(0, step))
        if rounded:  # as files have it
            q, qd, qdd = np.round(q, 6), np.round(qd, 6), np.round(qdd, 5)
        seen.append(peaks_of(t, q, qd, qdd).jerk.max() / 100.0)
    assert min(seen) >= 0.9999
    assert np.median(seen) < 1.05
    assert max(seen) < 1.8


def test_a_step_counts_from_sample_to_sample():
    # a trapezoid of 5 m/s^2 sampled every 4 ms; marked by two samples it is the same step
    t, q, qd, qdd = constant_jerks([(0.1, 0.0), (0.4, 0.0)], 0.004)
    x = np.maximum(t - 0.1, 0.0)[:, None]
    q, qd, qdd = 2.5 * x**2, 5.0 * x, np.where(t > 0.1 - 1e-9, 5.0, 0.0)[:, None]
    assert peaks_of(t, q, qd, qdd).jerk.max() == pytest.approx(5.0 / 0.004)
    at = int(np.flatnonzero(qdd)[0])
    marked = [np.insert(rows, at, rows[at] - (1e-8 if i == 0 else 0), axis=0) for i, rows in enumerate((t, q, qd, qdd))]
    marked[3][at] = 0.0
    assert peaks_of(*marked).jerk.max() == pytest.approx(5.0 / 0.004, rel=1e-5)
