"""The utilisation as the largest of linear figures."""

import numpy as np
import pytest

from gripmargin.kernels import gauge
from gripmargin.kernels.face import Face, utilisation
from gripmargin.kernels.gauge import gauge_rows, half_sphere

RNG = np.random.default_rng(3)
UNIT = RNG.normal(size=(4000, 3))
UNIT /= np.linalg.norm(UNIT, axis=1, keepdims=True)
UNIT[:, 2] = np.abs(UNIT[:, 2])


def faces():
    maps = RNG.normal(size=(3, 5, 6))
    spread, slack = RNG.normal(size=(2, 6, 6)), 0.05 * RNG.uniform(size=(5, 2))
    start, spent = 0.15 * RNG.normal(size=(3, 5)), 0.1 * RNG.uniform(size=5)
    yield "plain", Face(maps)
    yield "slack", Face(maps, slack=slack, spread=spread)
    yield "locked in", Face(maps, start=start, spent=spent)
    yield "all", Face(maps, slack=slack, spread=spread, start=start, spent=spent)


@pytest.mark.parametrize("rings", [6, 15])
def test_no_direction_is_farther_from_the_grid_than_it_says(rings):
    grid, cosine = half_sphere(rings)
    assert len(grid) == 4 * rings**2 + 1
    nearest = (UNIT @ grid.T).max(axis=1)
    assert nearest.min() >= cosine - 1e-12
    assert 1.0 - nearest.min() > 0.8 * (1.0 - cosine)  # in the middle of four near the edge the bound is nearly met


@pytest.mark.parametrize(("name", "face"), list(faces()))
def test_where_no_row_is_above_one_no_utilisation_is(name, face):
    """Against the utilisation itself: never less, and no more than 1 % above it."""
    rows, load = gauge_rows(face), RNG.normal(size=(6, 300))
    size = np.linalg.norm(rows.spread @ load, axis=1)
    most = (rows.load @ load + rows.slack @ size).max(axis=0)
    due = utilisation(face, load)[0].max(axis=0)
    assert (most >= due * (1 - 1e-12)).all()
    assert (most <= 1.01 * due).all()


@pytest.mark.parametrize(("most", "over"), [(3000, 0.02), (1, 0.06)])
def test_many_places_have_a_coarser_grid(monkeypatch, most, over):
    """Still never less than the utilisation, and timid by no more than the grid of 9 or 18 degrees is."""
    monkeypatch.setattr(gauge, "MOST", most)
    for _, face in faces():
        rows, load = gauge_rows(face), RNG.normal(size=(6, 300))
        found = (rows.load @ load + rows.slack @ np.linalg.norm(rows.spread @ load, axis=1)).max(axis=0)
        due = utilisation(face, load)[0].max(axis=0)
        assert (found >= due * (1 - 1e-12)).all()
        assert (found <= (1 + over) * due).all()
        value = np.linalg.norm(rows.load @ RNG.normal(size=(6, 3)), axis=1)
        assert (value <= (rows.share * value[rows.near]).sum(axis=1) * (1 + 1e-9) + 1e-12).all()


@pytest.mark.parametrize(("name", "face"), list(faces()))
def test_rows_between_coarse_ones_are_bounded_by_them(name, face):
    """Of any seminorm; none of 60 random ones is bounded by more than a seventh above the row that is bounded worst."""
    rows = gauge_rows(face)
    assert np.isin(rows.near, rows.coarse).all()
    over = []
    for _ in range(60):
        value = np.linalg.norm(rows.load @ RNG.normal(size=(6, 3)), axis=1) + rows.slack @ RNG.uniform(
            size=rows.slack.shape[1]
        )
        bound = (rows.share * value[rows.near]).sum(axis=1)
        assert (value <= bound * (1 + 1e-9)).all()
        over.append((bound[value.argmax()] / value.max()) - 1)
    assert max(over) < 1 / 7
