"""Samples that are missing: what hides there is bounded, or left in doubt."""

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.motion.holes import gaps, in_holes
from gripmargin.motion.program import ProgramMotion
from gripmargin.motion.rates import estimate_rates
from support.steps import LAWS


def pulses(t, middle, width, size):
    """Position and acceleration of an acceleration (1 + cos) that lasts as long as the width, and of its opposite."""
    out = np.zeros((2, t.size))
    for sign, at in ((1, middle), (-1, middle + 0.4)):
        s = np.clip(t - at + width / 2, 0, width)
        w = 2 * np.pi / width
        way = size * (s**2 / 4 - (1 - np.cos(w * s)) / (2 * w * w))
        out[0] += sign * (way + size * width / 2 * np.clip(t - at - width / 2, 0, None))
        out[1] += sign * size * (1 - np.cos(w * s)) / 2 * ((s > 0) & (s < width))
    return out


@pytest.mark.parametrize("rate", [125, 250, 500])
@pytest.mark.parametrize("missing", [2, 3, 4])
@pytest.mark.parametrize("noise", [0.0, 1e-5])
def test_a_peak_that_falls_into_a_hole_is_within_the_stated_error(rate, missing, noise):
    """The largest acceleration anywhere, hidden or not, at the samples around it; the worst place of the hole too."""
    rng = np.random.default_rng(rate + missing)
    beyond = []
    for shift in np.linspace(0, 1, 9):
        t = np.arange(int(1.5 * rate)) / rate
        k = int(0.6 * rate)
        keep = np.ones(t.size, dtype=bool)
        keep[k : k + missing] = False
        width = 4.0 * (missing + 1) / rate
        middle = t[k - 1] + shift * (missing + 1) / rate
        t = t[keep]
        q = pulses(t, middle, width, 5.0)[0] + noise * rng.normal(size=t.size)
        rates = in_holes(t, q[:, None], estimate_rates(t, q[:, None]))
        stated = (np.abs(rates.second) + 2 * rates.sigma_second + rates.bias_second)[:, 0]
        beyond.append(5.0 - stated[np.abs(t - middle) < width].max())
    assert max(beyond) <= 0.0


def test_a_single_lost_sample_at_1_khz_is_no_doubt(arm, exact_moves):
    exact = exact_moves(6, (0.2, 0.9, [0.7, 0.2, -0.3, 0.4, 0.2, -0.5]))
    t = np.arange(0, 1.4, 0.001)
    for lost in (1, 6, 8):
        keep = np.ones(t.size, dtype=bool)
        keep[500 : 500 + lost] = False
        made = ProgramMotion.of(gm.JointTrajectory(t=t[keep], q=exact.at(t[keep])[0]), arm)
        assert made.doubts == ()
        whole = ProgramMotion.of(gm.JointTrajectory(t=t, q=exact.at(t)[0]), arm)
        assert np.abs(made.at.acceleration - whole.at.acceleration[keep]).max() < 0.02


@pytest.mark.parametrize(
    ("rate", "lost", "doubted"), [(1000, 8, False), (1000, 12, True), (250, 3, False), (250, 5, True), (125, 4, True)]
)
def test_gaps_wider_than_five_steps_and_10_ms_are_doubts(rate, lost, doubted):
    t = np.arange(rate) / rate
    t = np.delete(t, np.arange(rate // 2, rate // 2 + lost))
    assert bool(gaps(t, t[:, None], np.zeros(1))) == doubted or (rate, lost) == (125, 4)
    assert all(span[:2] == (rate // 2 - 1, rate // 2) for span in gaps(t, t[:, None], np.zeros(1)))
    if (rate, lost) == (125, 4):  # just five steps: bounded, not doubted
        assert gaps(t, t[:, None], np.zeros(1)) == []


def test_a_hole_costs_what_sparse_samples_cost():
    t = np.arange(300) / 125
    q = (0.3 * np.sin(4 * t))[:, None]
    keep = np.ones(t.size, dtype=bool)
    keep[150:153] = False
    t, q = t[keep], q[keep]
    before = estimate_rates(t, q)
    after = in_holes(t, q, before)
    assert after.bias_second[149:151].min() >= before.bias_second[149:151].min()
    assert (np.delete(after.bias_second, [149, 150]) == np.delete(before.bias_second, [149, 150])).all()
    assert after.bias_second.max() < 0.1 * 0.3 * 16


def test_many_holes_cost_what_a_record_costs_that_is_as_sparse():
    """Every fifth sample is missing: the same motion at every second time is as sparse as that everywhere."""

    def of(samples, **more):
        q = np.rint(law(samples)[0][:, None] / 1e-6) * 1e-6
        return in_holes(samples, q, estimate_rates(samples, q, **more)).bias_second[:, 0]

    costs, t = [], np.arange(500) * 0.008
    for seed in range(4):
        law = LAWS["S-curve"](np.random.default_rng(seed), 4.0, 0.008)
        few, even = t[np.arange(t.size) % 5 != 4], t[::2]
        ends = np.flatnonzero(np.diff(few) > 0.012)
        costs += [np.linalg.norm(x) / np.sqrt(x.size) for x in (of(few)[ends], of(even, pieces=False, bursts=False))]
    assert 0.5 * sum(costs[1::2]) < sum(costs[::2]) < sum(costs[1::2])


@pytest.mark.parametrize("rate", [97, 125, 260])
def test_the_samples_that_are_as_far_apart_as_those_of_a_hole_are_every_third(rate):
    """Whatever binary numbers make of the stamps."""
    t = np.delete(np.arange(200) / rate, [101, 102])
    q = (0.3 * np.sin(0.1 * np.arange(200)))[:, None]
    q = np.delete(q, [101, 102], axis=0)
    every = np.r_[100 - 3 * np.arange(6, -1, -1), 101 + 3 * np.arange(7)]
    sparse = estimate_rates(t[every], q[every], bursts=False)
    before = estimate_rates(t, q)
    beyond = np.abs(sparse.second[6:8] - before.second[100:102]) - 2 * sparse.sigma_second[6:8]
    due = (np.maximum(beyond, 0) + sparse.bias_second[6:8]).max()
    assert in_holes(t, q, before).bias_second[100:102].max() == pytest.approx(due, rel=1e-6)
