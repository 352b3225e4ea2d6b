"""Bounds of the second derivative between steps, against laws of which it is known exactly.

Widths of one piece are closed forms: over T an error of +-d leaves a constant second derivative +-16 d/T^2, the end of
a straight one +-96 d/T^2 (the second derivatives of Chebyshev polynomials, d T_2'' (2/T)^2 and d T_3'' (2/T)^2).
"""

import numpy as np
import pytest

from gripmargin.kernels.pieces import piece_bounds
from support.steps import LAWS, Pieces, extremes

DIGITS = (np.radians(1e-3), np.radians(1e-4), 1e-6, 2 * np.pi / 2**17)
STEPS = (0.001, 0.002, 0.004, 0.008, 0.02)


def bounded(y, error):
    return (rows[0] for rows in piece_bounds((y - y[0])[None], np.array([error]))[:3])


def beside(high):
    """The largest of both samples of an interval and one more on either side."""
    padded = np.concatenate([high[:1], high, high[-1:]])
    return np.max([padded[k : k + high.size - 1] for k in range(4)], axis=0)


def around(high):
    """The largest of a sample and its neighbours."""
    return np.max([np.append(high[1:], high[-1]), high, np.append(high[0], high[:-1])], axis=0)


def missed(law, step, digit, late, seconds=2.5):
    """(intervals in which a followed law lies outside, whether its peak does, mean width over peak, share followed)."""
    t = late + np.arange(round(seconds / step)) * step
    low, high, followed = bounded(np.rint(law(t)[0] / digit) * digit, 0.5 * digit + 1e-14)
    least, largest = extremes(law, t)
    peak = np.abs([least, largest]).max()
    slack = 1e-3 * peak
    outside = (largest > beside(high / step**2) + slack) | (least < -beside(-low / step**2) - slack)
    outside &= followed[1:] & followed[:-1]
    at_peak = np.maximum(-least, largest) > 0.999 * peak
    width = ((high - low)[followed] / 2 / step**2).mean() / peak
    reached = np.maximum(beside(high), beside(-low)) / step**2 >= 0.999 * peak
    return outside.sum(), (at_peak & ~reached & followed[1:] & followed[:-1]).any(), width, followed.mean()


# Law, intervals that may lie outside of some 60,000, largest mean width, least share that is followed.
FOLLOWED = [
    ("trapezoid", 0, 0.04, 0.97),
    ("bang-bang", 0, 0.04, 0.97),
    ("S-curve", 2, 0.07, 0.95),
    ("minimum jerk", 0, 0.04, 0.85),
    ("blends", 5, 0.045, 0.85),
]


@pytest.mark.parametrize(("kind", "few", "widest", "least"), FOLLOWED)
def test_what_is_followed_is_never_higher(kind, few, widest, least):
    found = []
    for step in STEPS:
        for seed in range(4):
            rng = np.random.default_rng([seed, round(1e6 * step)])
            law = LAWS[kind](rng, 2.5, step)
            found.append(missed(law, step, DIGITS[seed % 4], rng.uniform(0, step)))
    outside, peaks, width, followed = (np.array(column) for column in zip(*found, strict=True))
    assert outside.sum() <= few
    assert not peaks.any()
    assert width.mean() <= widest
    assert followed.mean() >= least


@pytest.mark.parametrize(("straight", "programs", "few"), [(False, 50, 1.6e-3), (True, 100, 3e-4)])
def test_pieces_at_the_edge_of_what_digits_show(straight, programs, few):
    """Pieces of 8 to 60 samples whose changes are 1 to 300 times what an error of 1 hides."""
    outside, followed = [], []
    for seed in range(int(straight), 2 * programs, 2):
        rng = np.random.default_rng(seed)
        pieces, a = [], 0.0
        while sum(lasts for lasts, *_ in pieces) < 400:
            lasts, size = rng.uniform(8, 60), rng.choice([-1, 0, 1]) * 10 ** rng.uniform(0, 2.5)
            after = a if straight else 8 * size / lasts**2
            pieces.append((lasts, 60 * size / lasts**3 if straight else 0.0, after - a))
            a = after
        pieces[-1] = (1e9, *pieces[-1][1:])
        law, t = Pieces(pieces), rng.uniform(0, 1) + np.arange(400.0)
        q, _, truth = law(t)
        low, high, known = bounded(2 * np.rint(q / 2), 1.0)
        outside.append(((truth > around(high)) | (truth < -around(-low)))[known].mean())
        followed.append(known.mean())
    assert np.mean(followed) >= 0.999
    assert np.mean(outside) <= few


@pytest.mark.parametrize("samples", [21, 41, 85, 129])
def test_one_constant_piece_is_as_narrow_as_its_digits_allow(samples):
    """At the middle of it, by half of the window and twice the error: 8 times 16 d/T^2, and no more for the rest."""
    t = np.arange(float(samples))
    law = 7.0 * t**2
    low, high, followed = bounded(np.rint(law), 0.5)
    assert followed.all()
    assert (low <= 14.0).all()
    assert (high >= 14.0).all()
    closed = 16 * 0.5 / (samples - 1) ** 2
    middle = samples // 2
    assert 4.0 * closed <= (high - low)[middle] / 2 <= 1.3 * 8.0 * closed


def test_a_step_between_long_pieces_costs_nothing():
    """0 to 1 rad/s^2 at 4 ms and 1e-3 deg: both sides of the step are known to 2 % one sample from it."""
    law = Pieces([(0.3, 0, 0), (0.3, 0, 1.0), (0.3, 0, -1.0)])
    for late in (0.0, 0.001, 0.002, 0.003):
        t = late + np.arange(220) * 0.004
        digit = np.radians(1e-3)
        low, high, followed = (row / 0.004**2 for row in bounded(np.rint(law(t)[0] / digit) * digit, digit / 2))
        before, after = (t < 0.3 - 0.008) & (t > 0.1), (t > 0.3 + 0.008) & (t < 0.5)
        # 8 d/(r h)^2 is what a change over r samples hides: 4.4 rad/s^2 for one, 1 for two
        assert followed.all()
        assert (high - low)[(t > 0.36) & (t < 0.54)].max() < 0.15
        assert (np.abs(low)[before] < 0.3).all()
        assert (np.abs(high - 1.0)[after] < 0.3).all()


@pytest.mark.parametrize("step", [0.016, 0.008, 0.004, 0.002])
def test_steps_cost_nothing_where_digits_do_not_limit_it(step):
    """Half the height of a step at two samples would be 8, 4, 2, 1 % of the peak in the mean."""
    law = LAWS["trapezoid"](np.random.default_rng(1), 2.5, step)
    t = 0.001 + np.arange(round(2.5 / step)) * step
    low, high, followed = bounded(np.rint(law(t)[0] / 1e-11) * 1e-11, 0.5e-11)
    assert followed.mean() > 0.97
    assert (high - low)[followed].mean() / step**2 < 1e-6


@pytest.mark.parametrize("apart", [1, 2, 4])
def test_a_short_phase_that_digits_show_over_more_samples_is_not_followed(apart):
    """A change of speed u within half a sample moves a second difference over k intervals by u k, 5.2 errors."""
    t = np.arange(200.0)
    speed = 1.3 * 4.0 / apart
    law = Pieces([(100.25, 0, 0), (0.5, 0, 2 * speed), (1e9, 0, -2 * speed)])
    y = law(t)[0]
    _, _, followed = bounded(y, 1.0)
    assert not followed[99:102].any()


def test_what_no_window_holds_is_not_followed_nor_are_its_neighbours():
    law = Pieces([(0.5, 0, 0), (0.023, 0, -20.0), (0.4, 0, 20.0)])
    t = np.arange(110) * 0.008
    _, high, followed = bounded(np.rint(law(t)[0] / 1e-6) * 1e-6, 0.5e-6)
    unknown = np.flatnonzero(~np.isfinite(high))
    assert unknown.size
    assert not followed[unknown[0] - 1 : unknown[-1] + 2].any()
    assert followed[:55].all()
    assert followed[75:].all()


def test_five_points_on_a_cubic_by_symmetry_are_no_piece():
    """A move over four intervals, exact: its peak is 5.77 d/T^2 (Flash & Hogan, 1985), 0.0036; a cubic has 0.0029."""
    s = np.clip((np.arange(80.0) - 40) / 4, 0, 1)
    _, _, followed = bounded(0.01 * s**3 * (10 - 15 * s + 6 * s**2), 1e-16)
    assert not followed[41:44].any()


@pytest.mark.parametrize("place", [0, 13, 59])
def test_a_straight_acceleration_is_held_where_it_is(place):
    """The cubic c i^3 / 6, with acceleration c i at sample i (closed form)."""
    c = 1e-3
    y = c * (np.arange(60.0) - place) ** 3 / 6
    low, high, followed = bounded(y, 1e-7)
    due = c * (np.arange(60) - place)
    assert followed.all()
    assert (low <= due).all()
    assert (due <= high).all()
    assert (high - low).max() < 0.01 * c


@pytest.mark.parametrize(("step", "seed"), [(0.001, 148), (0.002, 148), (0.004, 108), (0.008, 123)])
def test_a_blend_between_two_long_pieces_of_which_one_sample_is_on_neither_is_one_of_its_own(step, seed):
    """Two long pieces explain what lies between them only where they meet."""
    rng = np.random.default_rng([seed, round(1e6 * step)])
    law = LAWS["blends"](rng, 2.5, step)
    outside, peak_missed, *_ = missed(law, step, DIGITS[seed % 4], rng.uniform(0, step))
    assert (outside, peak_missed) == (0, False)
