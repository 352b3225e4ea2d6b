"""Accelerations of programs of positions with digits: narrow between steps, hard bounds of digits, jitter said."""

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.motion import closer_bounds
from gripmargin.motion.program import ProgramMotion
from gripmargin.motion.rates import estimate_rates
from support.steps import LAWS, MinimumJerk

MILLIDEGREE = np.radians(1e-3)


def error(rates):
    return 2 * rates.sigma_second + rates.bias_second


def width(kind, step, digit=MILLIDEGREE, programs=4):
    """Mean of the stated error over the highest acceleration."""
    t = np.arange(round(3.0 / step)) * step
    found = []
    for seed in range(programs):
        law = LAWS[kind](np.random.default_rng([seed, 5]), 3.0, step)
        q, _, a = law(t + 0.37 * step)
        rates = estimate_rates(t, np.rint(q / digit)[:, None] * digit)
        found.append(error(rates).mean() / np.abs(a).max())
    return np.mean(found)


# Shares of the peak at 2, 4, 8, 20 ms. With half the height of each step on either side of it, as a fit across it has
# it, they are 27, 30, 41, 82 % for trapezoids.
WIDTHS = [
    ("trapezoid", (0.07, 0.06, 0.06, 0.25)),
    ("bang-bang", (0.06, 0.05, 0.05, 0.13)),
    ("S-curve", (0.05, 0.055, 0.05, 0.045)),
    ("minimum jerk", (0.012, 0.012, 0.012, 0.03)),
    ("blends", (0.08, 0.06, 0.3, 0.4)),
]


@pytest.mark.parametrize(("kind", "shares"), WIDTHS)
def test_the_error_is_a_small_share_of_the_peak(kind, shares):
    found = [width(kind, step) for step in (0.002, 0.004, 0.008, 0.02)]
    assert (np.array(found) <= shares).all(), found


def arm():
    """Three joints about the vertical, 0.4, 0.4 and 0.2 m long."""
    places = [gm.pose(xyz=(0, 0, 0.4)), gm.pose(xyz=(0.4, 0, 0)), gm.pose(xyz=(0.4, 0, 0))]
    return gm.chain_from_axes(places, [(0, 0, 1.0)] * 3, [True] * 3, gm.pose(xyz=(0.2, 0, 0), rpy=(np.pi, 0, 0)))


@pytest.mark.parametrize("uneven", [False, True])
@pytest.mark.parametrize("toggles", [0, 1, 10])
def test_a_joint_within_one_digit_is_at_rest(toggles, uneven):
    """Four decimals at 10.6 ms; the others never move by a single digit, so that no change tells what a digit is."""
    t = np.arange(300) * 0.0106
    if uneven:
        t = t + 0.004 * np.random.default_rng(1).uniform(-1, 1, t.size)
    still = 0.3 + 1e-4 * (np.isin(np.arange(300) // 10, 3 + 2 * np.arange(toggles)))
    moving = [0.6 * t + 0.02 * np.sin(3 * t), -0.5 * t + 0.02 * np.sin(2 * t)]
    rates = estimate_rates(t, np.round(np.column_stack([*moving, still]), 4))
    assert error(rates)[:, 2].max() <= 1e-7
    assert not np.abs(rates.second[:, 2]).max() > 1e-7


def toothed(height, period, scatter=0.0, rest=0):
    """A saw of a planner's grid about a slow swing, each 4 ms to 1 urad, after a rest: times, values, true rates."""
    fine, every = np.arange(0.0, 1.6, 1e-5), 400
    accelerations = 8.0 * np.sin(2 * fine) + height * ((fine / period) % 1.0 - 0.5)
    y = (np.cumsum(np.cumsum(accelerations)) * 1e-10)[::every]
    y = np.concatenate([np.zeros(rest), y]) + scatter * np.random.default_rng(0).normal(size=rest + y.size)
    return np.arange(y.size) * 0.004, np.round(y, 6), fine, accelerations


@pytest.mark.parametrize(("height", "period"), [(2.0, 0.0144), (1.6, 0.0131), (1.4, 0.0144)])
def test_teeth_of_a_saw_that_smoothing_takes_for_noise_are_reached(height, period):
    """All of them, 0.1 ms apart, within the bounds of both samples; without them one in eight of an instant is not."""
    t, y, fine, true = toothed(height, period)
    rates = estimate_rates(t, y[:, None])
    assert 1.5 < rates.noise[0] / 5e-7 < 3.0
    high = (rates.second + error(rates))[:, 0]
    fine, true = fine[10_000:-20_000:10], true[10_000:-20_000:10]
    at = (fine / 0.004).astype(int)
    assert (true <= np.maximum(high[at], high[at + 1])).all()


@pytest.mark.parametrize(("scatter", "rest"), [(1.5e-6, 100), (2.5e-6, 0)])
def test_noise_is_no_saw_where_it_is_seen_at_rest_or_is_more_than_a_few_digits(scatter, rest):
    """Three half digits, with a rest, and five without: smoothing finds accelerations to a hundredth, teeth do not."""
    t, y, *_ = toothed(0.0, 1.0, scatter, rest)
    assert np.median(error(estimate_rates(t, y[:, None]))) < 0.1


def test_noise_many_times_the_digits_is_judged_by_its_statistics():
    """Short windows of it may lie on a parabola by chance; the bounds of digits would be closer, and wrong."""
    t = np.arange(1500) * 0.004
    q = np.sin(3 * t) + 3e-5 * np.random.default_rng(0).normal(size=t.size)
    rates = estimate_rates(t, np.round(q, 6)[:, None])
    assert (rates.sigma_second > 0).all()
    assert (np.abs(rates.second[:, 0] + 9 * np.sin(3 * t)) <= error(rates)[:, 0]).mean() >= 0.99


class TestJitter:
    """A joint at rest whose value moves by a little where inverse kinematics ends on another digit."""

    @staticmethod
    def program(size):
        t = np.arange(500) * 0.004
        move = MinimumJerk(np.random.default_rng(1), 1.5, 0.004)(t)[0]
        q = np.column_stack([0.4 * move, np.full(t.size, 0.3), -0.3 * move])
        q[310:, 1] += size
        return gm.JointTrajectory(t=t, q=q)

    def test_three_microradians_are_bounded_by_their_own_band_and_said(self):
        made, plain = (ProgramMotion.of(self.program(size), arm()) for size in (3e-6, 0.0))
        most, without = (m.error.sizes(np.arange(500))[:, 1].max() for m in (made, plain))
        # a move of 3 urad within half of 4 ms: 5.77 d/T^2 is 4.3 rad/s^2 (Flash & Hogan, 1985)
        assert most <= without + 0.5
        assert [note for note in made.notes if note.startswith("Jitter")] == [
            "Jitter: joint 2 moves by 3e-06 rad within one or two samples at 1.228 s; what strays from a motion by "
            "less than 5e-06 rad for less than three samples is not taken for acceleration."
        ]
        assert not [note for note in plain.notes if note.startswith("Jitter")]

    @pytest.mark.parametrize(("size", "bounded"), [(4e-6, False), (1.1e-5, True)])
    def test_what_does_not_stay_within_its_band_is_motion(self, size, bounded):
        """A jump of twice the band stays on both sides of a joint at rest; else 5.77 d/T^2 in half an interval."""
        made = ProgramMotion.of(self.program(size), arm())
        assert any(note.startswith("Jitter") for note in made.notes) != bounded
        assert (made.error.bias[300:320, 1].max() >= 5.77 * size / 0.002**2) == bounded

    def test_what_is_more_says_joint_place_and_size(self):
        made = ProgramMotion.of(self.program(3e-5), arm())
        assert made.error_sentence(310).endswith(
            "from joint 2, which moves by 3e-05 rad there within one or two samples"
        )


@pytest.mark.parametrize("digit", [1e-6, 1e-5])
def test_pieces_never_make_a_wider_bound_than_the_fit_does_without_them(monkeypatch, digit):
    """Accelerations of 0.3 rad/s^2 for 80 ms at 1 kHz: their pieces are short, their bounds wide, and hold."""
    a = np.zeros(400)
    a[101:180], a[251:330] = 1.0, -1.0
    t, q = np.arange(400) * 0.001, 0.3e-6 * np.cumsum(np.cumsum(a))
    samples = np.rint(q / digit)[:, None] * digit
    found = estimate_rates(t, samples)
    narrow = error(found)
    steady = np.convolve(np.abs(np.diff(a, prepend=0.0)), np.ones(5), "same") == 0.0
    assert (np.abs(found.second[:, 0] - 0.3 * a) <= narrow[:, 0])[steady].all()
    unknown = lambda y, error: (0 * y, 0 * y, np.zeros(y.shape, dtype=bool), 0 * y)  # noqa: E731
    monkeypatch.setattr(closer_bounds, "piece_bounds", unknown)
    plain = error(estimate_rates(t, samples))
    assert (narrow <= plain * (1 + 1e-9)).all()
    assert np.mean(narrow < 0.9 * plain) > 0.2
