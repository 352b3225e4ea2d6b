"""The load kernel: the parts no reference library covers, arrays that are left alone."""

import numpy as np

from gripmargin.kernels.wrench import load_wrench


def test_one_sample_at_a_time_or_all_at_once_is_the_same():
    random = np.random.default_rng(0)
    inertia = np.diag([1.0, 2.0, 2.5])
    vectors = random.normal(size=(4, 3, 9))
    whole = load_wrench(0.7, np.array([0.1, 0.0, -0.2]), inertia, *vectors)
    single = np.hstack([load_wrench(0.7, np.array([0.1, 0.0, -0.2]), inertia, *vectors[:, :, [i]]) for i in range(9)])
    np.testing.assert_allclose(whole, single, rtol=1e-14)


def test_input_is_left_alone():
    vectors = np.random.default_rng(1).normal(size=(4, 3, 5))
    kept = vectors.copy()
    load_wrench(0.7, np.array([0.1, 0.3, -0.2]), np.eye(3), *vectors)
    np.testing.assert_array_equal(vectors, kept)


def test_what_is_no_number_stays_visible():
    vectors = np.random.default_rng(2).normal(size=(4, 3, 5))
    for row in range(4):
        bad = vectors.copy()
        bad[row, 0, 2] = np.nan
        assert np.isnan(load_wrench(0.7, np.zeros(3), np.eye(3), *bad)[:, 2]).any()
