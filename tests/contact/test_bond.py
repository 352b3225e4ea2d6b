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


def of_pads(seed=3):
    """Five pulls of each of four pads: 10 % from pad to pad, 4 % within."""
    random, picks, pads = np.random.default_rng(seed), np.tile([0.0, 50.0, 100.0, 200.0, 400.0], 4), np.arange(4)
    logs = -8e-4 * picks + 0.1 * random.normal(size=4).repeat(5) + 0.04 * random.normal(size=20)
    return np.column_stack([picks, 75e3 * np.exp(logs), (pads + 1.0).repeat(5)])


def test_pads_that_were_pulled_again_and_again_count_as_few():
    """The same pulls taken as those of many pads promise more; the release is judged against more, too."""
    rows = of_pads()
    told, many = pad(pulls=rows), pad(pulls=rows[:, :2])
    assert after(told, 200)[0] < 0.9 * after(many, 200)[0]
    assert clean_strength(told, PART)[0] > 1.1 * clean_strength(many, PART)[0]


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        (of_pads()[:10], "pulls of 2 pads"),
        (of_pads()[[0, 1, 5, 6, 10]], "pad 3 pulled only after 0 picks"),
        (of_pads()[[0, 1, 5, 6, 10, 11]], "two pulls a pad"),
        ([[0, 7e4, 1], [9, 6e4, None], [0, 7e4, 2], [9, 6e4, 2]], "others without"),
        (np.ones((4, 4)), "shape"),
    ],
)
def test_records_of_pads_that_tell_nothing_are_refused(rows, message):
    with pytest.raises(gm.InputError, match=message):
        pad(pulls=rows)


def test_what_was_tested_is_what_three_pads_were_pulled_after():
    rows = of_pads()
    assert pad(pulls=rows[:, :2]).material.pulled_up_to == 400
    assert pad(pulls=np.delete(rows, [4, 9], axis=0)).material.pulled_up_to == 200
    assert pad().material.pulled_up_to == np.inf


def test_dirt_takes_down_to_the_floor_and_each_cleaning_its_share():
    """S_inf + (S_0 - S_inf) e^(-n/n0), n0 = -1/ln(1 - f): exponential approach; times rho^c."""
    worn = pad(fouling_per_cycle=0.01, fouling_floor=0.6, recovery=0.98)
    for picks, cleanings in [(0, 0), (50, 0), (1000, 0), (50, 10)]:
        left = (0.6 + 0.4 * np.exp(50 * np.log(0.99)) if picks == 50 else 1.0 if picks == 0 else 0.6) * 0.98**cleanings
        gripper = gm.Gripper(pads=(worn,), cycles_since_cleaning=picks, cleanings=cleanings)
        assert holding_strength(worn, PART, gripper)[0] == pytest.approx(0.8 * 75e3 * left, rel=1e-4)
    assert clean_strength(worn, PART)[0] == pytest.approx(0.8 * 75e3)
    with pytest.raises(gm.InputError, match="a floor without fouling_per_cycle"):
        pad(fouling_floor=0.5)
