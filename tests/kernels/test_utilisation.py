"""Utilisation, its error and the largest scale, each against a plain loop or a search."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gripmargin.kernels.face import Face, squared
from gripmargin.kernels.utilisation import (
    largest_scale,
    largest_utilisation,
    peak_utilisation,
    points_needed,
    shares,
    utilisation_error,
)


def plain(maps, wrench):
    """Utilisation and tension at every point by the definition, one point at a time."""
    points = maps.shape[1]
    used, tension = np.empty(points), np.empty(points)
    for p in range(points):
        t1, t2, s = maps[:, p] @ wrench
        tension[p] = max(s, 0.0)
        used[p] = np.sqrt(t1**2 + t2**2 + tension[p] ** 2)
    return used, tension


def random_case(seed, points=5, samples=4):
    random = np.random.default_rng(seed)
    return random, random.normal(size=(3, points, 6)), random.normal(size=(6, samples))


class TestPeak:
    @given(seed=st.integers(0, 2**32 - 1))
    @settings(derandomize=True, deadline=None, max_examples=40)
    def test_is_the_largest_by_the_definition(self, seed):
        _, maps, wrench = random_case(seed)
        u, at, peel, at_peel = peak_utilisation(Face(maps), wrench)
        for i in range(wrench.shape[1]):
            used, tension = plain(maps, wrench[:, i])
            assert u[i] == pytest.approx(used.max(), rel=1e-12)
            assert at[i] == used.argmax()
            assert peel[i] == pytest.approx(tension.max(), rel=1e-12)
            assert tension[at_peel[i]] == pytest.approx(tension.max(), rel=1e-12)

    def test_blocks_leave_no_trace(self):
        _, maps, wrench = random_case(5, samples=20_000)
        pieces = zip(*(peak_utilisation(Face(maps), part) for part in np.split(wrench, 20, axis=1)), strict=True)
        for a, b in zip(peak_utilisation(Face(maps), wrench), pieces, strict=True):
            np.testing.assert_allclose(a, np.concatenate(b), rtol=1e-13)

    @pytest.mark.parametrize("component", range(6))
    @pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
    def test_a_load_that_is_no_number_is_no_small_utilisation(self, component, bad):
        _, maps, wrench = random_case(6, samples=3)
        wrench[component, 1] = bad
        with np.errstate(invalid="ignore"):
            u, *_ = peak_utilisation(Face(maps), wrench)
        assert not np.isfinite(u[1])
        assert np.isfinite(u[[0, 2]]).all()


class TestError:
    @given(seed=st.integers(0, 2**32 - 1))
    @settings(derandomize=True, deadline=None, max_examples=60)
    def test_no_combination_of_signs_moves_the_peak_by_more_than_the_sum(self, seed):
        random, maps, wrench = random_case(seed)
        units = random.normal(size=(3, 6, wrench.shape[1]))
        size = random.uniform(0.0, 0.6, (wrench.shape[1], 3))
        columns = units * size.T[:, None, :]
        rss, total = utilisation_error(Face(maps), units, size, size)
        before = peak_utilisation(Face(maps), wrench)[0]
        for signs in np.array(np.meshgrid(*[[-1, 1]] * 3)).reshape(3, -1).T:
            after = peak_utilisation(Face(maps), wrench + np.einsum("c,cwn->wn", signs, columns))[0]
            assert (np.abs(after - before) <= total * (1 + 1e-12)).all()
        assert (rss <= total * (1 + 1e-12)).all()

    def test_one_cause_at_one_point_is_the_size_of_its_traction(self):
        maps = np.zeros((3, 1, 6))
        maps[0, 0, 0], maps[2, 0, 2] = 3.0, 2.0
        column = np.array([1.0, 0, -2.0, 0, 0, 0])[None, :, None]
        rss, total = utilisation_error(Face(maps), column / 2.0, *2 * (np.full((1, 1), 2.0),))
        assert rss[0] == total[0] == pytest.approx(5.0)  # 3 by shear and 4 by tension

    def test_two_causes_count_where_they_do_most(self):
        """3 and 4 at one point, 1 and 2 at another: the root of the squares is 5, the sum 7."""
        maps = np.zeros((3, 2, 6))
        maps[0, :, :2] = [[3.0, 4.0], [1.0, 2.0]]
        rss, total = utilisation_error(Face(maps), np.eye(6)[:2, :, None], *2 * (np.ones((1, 2)),))
        assert (rss[0], total[0]) == pytest.approx((5.0, 7.0))


class TestLargestScale:
    @given(seed=st.integers(0, 2**32 - 1), size=st.floats(-2, 2))
    @settings(derandomize=True, deadline=None, max_examples=50)
    def test_agrees_with_bisection(self, seed, size):
        random, maps, still = random_case(seed)
        moving = random.normal(size=still.shape) * 10.0**size
        limit = 1.5 * float(peak_utilisation(Face(maps), still)[0].max())
        found = largest_scale(Face(maps), still, moving, limit)
        for i in range(still.shape[1]):
            assert found[i] == pytest.approx(bisected(maps, still[:, i], moving[:, i], limit), rel=1e-9)

    def test_gravity_alone_beyond_the_limit_has_no_scale(self):
        _, maps, still = random_case(7)
        peak = peak_utilisation(Face(maps), still)[0]
        assert np.isnan(largest_scale(Face(maps), still, np.zeros_like(still), 0.99 * float(peak.min()))).all()

    def test_a_motion_that_only_presses_is_not_limited(self):
        maps = np.zeros((3, 1, 6))
        maps[2, 0, 2] = 1.0
        pressing = np.array([0, 0, -1.0, 0, 0, 0])[:, None]
        assert np.isposinf(largest_scale(Face(maps), np.zeros((6, 1)), pressing, 1.0)).all()

    @pytest.mark.parametrize("which", [0, 1])
    @pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
    def test_a_load_that_is_no_number_has_no_scale(self, which, bad):
        random, maps, still = random_case(8)
        loads = [still, random.normal(size=still.shape)]
        limit = 2.0 * float(peak_utilisation(Face(maps), still)[0].max())
        loads[which][3, 1] = bad
        with np.errstate(invalid="ignore"):
            found = largest_scale(Face(maps), *loads, limit)
        assert np.isnan(found[1])
        assert np.isfinite(np.delete(found, 1)).all()

    @given(seed=st.integers(0, 2**32 - 1))
    @settings(derandomize=True, deadline=None, max_examples=60)
    def test_the_scale_uses_the_limit_up_and_no_more(self, seed):
        random, maps, still = random_case(seed)
        moving = random.normal(size=still.shape) * 3
        limit = 1.2 * float(peak_utilisation(Face(maps), still)[0].max())
        square = largest_scale(Face(maps), still, moving, limit)
        finite = np.isfinite(square)
        used = peak_utilisation(Face(maps), (still + square * moving)[:, finite])[0]
        np.testing.assert_allclose(used, limit, rtol=1e-9)


def bisected(maps, still, moving, limit):
    """The largest factor by search; utilisation is convex in it, so the admissible factors form an interval."""

    def within(factor):
        return plain(maps, still + factor * moving)[0].max() <= limit

    low, high = 0.0, 1.0
    while within(high):
        low, high = high, 2 * high
        if high > 1e12:
            return np.inf
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if within(middle) else (low, middle)
    return low


def test_no_number_gives_no_number():
    maps, load = np.ones((3, 2, 6)), np.zeros((6, 3))
    load[2, 1] = np.nan
    assert largest_utilisation(Face(maps), load) == pytest.approx([0.0, np.nan, 0.0], nan_ok=True)


@pytest.mark.parametrize("points", [4, 5_000])
def test_the_largest_utilisation_is_that_of_the_peak(points):
    random = np.random.default_rng(2)
    face, load = Face(random.normal(size=(3, points, 6))), random.normal(size=(6, 40))
    assert largest_utilisation(face, load) == pytest.approx(peak_utilisation(face, load)[0])
    offset = Face(face.maps, spent=np.full(points, 0.5))  # half of it is used up
    assert largest_utilisation(offset, load) == pytest.approx(2.0 * peak_utilisation(face, load)[0])


def test_the_squared_utilisation_is_that_of_the_tension_alone_where_nothing_shears():
    assert squared(np.zeros(3), np.array([0.5, -2.0, 0.0])).tolist() == [0.25, 0.0, 0.0]
    assert squared(np.array([0.64]), np.array([0.6]))[0] == pytest.approx(1.0)  # 0.8 by shear and 0.6 by tension
    assert np.isnan(squared(np.zeros(1), np.array([np.nan]))).all()


@given(seed=st.integers(0, 2**32 - 1))
@settings(derandomize=True, deadline=None, max_examples=40)
def test_shares_add_up_and_are_slopes_of_the_utilisation(seed):
    """A part's share is how the utilisation changes with its size: d log u / d log size (Euler, homogeneous)."""
    random, maps, _ = random_case(seed, points=4)
    parts = random.normal(size=(3, 6, 4))
    total = parts.sum(axis=0)
    found = shares(maps, total, parts)
    assert found.sum(axis=0) == pytest.approx(np.ones(4))

    def use(load):
        t1, t2, s = np.einsum("cni,in->cn", maps, load)
        return np.sqrt(t1**2 + t2**2 + np.maximum(s, 0.0) ** 2)

    for part, share in zip(parts, found, strict=True):
        up, down = use(total + 1e-6 * part), use(total - 1e-6 * part)
        assert (up - down) / 2e-6 / use(total) == pytest.approx(share, abs=1e-6)


def test_a_point_that_is_not_used_has_no_shares():
    assert shares(np.ones((3, 2, 6)), np.zeros((6, 2)), np.ones((3, 6, 2))).tolist() == np.zeros((3, 2)).tolist()


def test_up_to_250_points_none_is_left_out():
    """They cost little; of more some do, for a hundredth at least."""
    maps = np.random.default_rng(2).normal(size=(3, 251, 6))
    few, missed = points_needed(Face(maps[:, 1:]), 1e-3)
    assert (few.tolist(), missed) == (list(range(250)), 0.0)
    few, missed = points_needed(Face(maps), 1e-3)
    assert few.size < 130
    assert missed >= 0.01
