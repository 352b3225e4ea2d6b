"""What pads hold that got dirty: by the user's own pulls."""

import numpy as np
import pytest
from scipy import stats

import gripmargin as gm
from gripmargin.contact.bond import clean_strength, holding_strength

PICKS = np.repeat([0.0, 50.0, 100.0, 200.0, 400.0], 6)
PULLS = 75e3 * np.exp(-8e-4 * PICKS + 0.08 * np.tile(stats.norm.ppf((np.arange(6) + 0.5) / 6), 5))
PART = gm.Part(mass=1, com=[0, 0, 0], inertia=[1e-3, 1e-3, 1e-3, 0, 0, 0], surface_factor=0.8)


def pad(pull_off_stress=75e3, **more):
    film = gm.PadMaterial(
        pull_off_stress=pull_off_stress, shear_strength=60e3, normal_stiffness=1e8, shear_stiffness=3.3e7, **more
    )
    return gm.Pad.rectangle("a", film, [0.05, 0.05])


def after(pad, picks):
    return holding_strength(pad, PART, gm.Gripper(pads=(pad,), cycles_since_cleaning=picks))


@pytest.mark.parametrize(("picks", "low"), [(0, 59.3095e3), (100, 55.0503e3), (300, 46.6545e3), (400, 42.6612e3)])
def test_pulls_tell_what_nearly_all_pads_hold(picks, low):
    """99 % with a confidence of 95 %: regression of logarithms, noncentral t (scipy.stats, by hand); shear alike."""
    dirty = pad(pulls=np.column_stack([PICKS, PULLS]))
    assert after(dirty, picks) == pytest.approx((0.8 * low, 0.8 * 60e3 * low / 75e3), rel=1e-5)


def test_a_clean_pad_may_hold_more_than_the_low_value_that_is_stated():
    """Where a release has to break it: as far above the line as the low bound is below it, 75 kPa / 59.3095 kPa."""
    dirty = pad(pulls=np.column_stack([PICKS, PULLS]))
    assert clean_strength(dirty, PART)[0] == pytest.approx(0.8 * 75e3 * 75 / 59.3095, rel=1e-5)
    assert clean_strength(pad(), PART) == pytest.approx((0.8 * 75e3, 0.8 * 60e3))


def test_a_stated_strength_below_the_pulls_is_not_raised():
    assert after(pad(40e3, pulls=np.column_stack([PICKS, PULLS])), 0) == pytest.approx((0.8 * 40e3, 0.8 * 60e3))


@pytest.mark.parametrize(
    ("pulls", "message"),
    [
        (np.array([[0, 7e4], [0, 7e4], [9, 6e4]]), "3 pulls"),
        (np.array([[5, 7e4]] * 4), "all pulls after 5 picks"),
        (np.array([[0, 7e4], [0, 0], [9, 6e4], [9, 6e4]]), r"pulls\[1\]"),
        (np.array([[0, 7e4], [0, 7e4], [9, 6e4], [-9, 6e4]]), r"pulls\[3\]"),
    ],
)
def test_pulls_that_tell_nothing_are_refused(pulls, message):
    with pytest.raises(gm.InputError, match=message):
        pad(pulls=pulls)


def test_two_ways_to_get_dirty_are_one_too_many():
    with pytest.raises(gm.InputError, match="one of them"):
        pad(pulls=np.column_stack([PICKS, PULLS]), fouling_per_cycle=0.001)
