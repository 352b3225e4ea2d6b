"""The use of points that hold something before any load, against the definition of it, solved by halving."""

import numpy as np
import pytest

from gripmargin.kernels.face import NOTHING, Face, joined, utilisation


def face(seed, *, start=0.5, slack=0.2, spent=0.3, points=20):
    """Random points; what the start and what is spent take of them leaves something."""
    rng = np.random.default_rng(seed)
    way = rng.normal(size=(3, points))
    return Face(
        maps=rng.normal(size=(3, points, 6)),
        slack=rng.uniform(0.0, slack, (points, 2)),
        spread=rng.normal(size=(2, 6, 6)),
        start=start * way / np.linalg.norm(way, axis=0),
        spent=rng.uniform(0.0, spent, points),
    )


def by_halving(face, load):
    """The least u at which |(a1 u + t1, a2 u + t2, max(a3 u + t3, 0))| + e <= (1 - spent) u, shape (points,)."""
    t = np.einsum("cpi,i->cp", face.maps, load)
    e = sum(face.slack[:, g] * np.linalg.norm(face.spread[g] @ load) for g in range(len(face.spread)))
    low, high = np.zeros(face.points), np.full(face.points, 1e9)
    for _ in range(100):
        u = 0.5 * (low + high)
        a = face.start * u + t
        carried = np.sqrt(a[0] ** 2 + a[1] ** 2 + np.maximum(a[2], 0.0) ** 2)
        enough = carried + e <= (1.0 - face.spent) * u
        low, high = np.where(enough, low, u), np.where(enough, u, high)
    return high


@pytest.mark.parametrize("seed", range(4))
def test_it_is_the_least_that_its_definition_allows(seed):
    one = face(seed)
    loads = np.random.default_rng(seed + 100).normal(size=(6, 5))
    found = np.stack([by_halving(one, load) for load in loads.T], axis=1)
    np.testing.assert_allclose(utilisation(one, loads)[0], found, rtol=1e-9)


def test_that_by_tension_alone_by_hand():
    """0.6 of pull and 0.05 allowed for, on 0.9 that is left, of which 0.4 is pulled before any load."""
    pull = Face(
        maps=np.array([[[0.3, 0, 0, 0, 0, 0]], [[0.0] * 6], [[0.6, 0, 0, 0, 0, 0]]]),
        slack=np.array([[0.05]]),
        spread=np.eye(6)[None],
        start=np.array([[0.1], [0.0], [0.4]]),
        spent=np.array([0.1]),
    )
    load = np.eye(6)[:, :1]
    assert utilisation(pull, load)[1] == pytest.approx(0.65 / 0.5)
    alone = utilisation(pull.pulled_alone(), load)
    assert alone[0] == pytest.approx(0.65 / 0.5)
    assert utilisation(pull, -load)[1] == pytest.approx(0.05 / 0.5)


def test_what_is_free_of_a_load_from_any_side_by_hand():
    """0.9 is left of the point; its start takes 0.5 (3-4-5), pressure none of it; of another all."""
    some = Face(
        maps=np.zeros((3, 2, 6)),
        start=np.array([[0.3, 1.0], [0.4, 0.0], [-2.0, 0.0]]),
        spent=np.array([0.1, 0.1]),
    )
    assert some.free == pytest.approx([0.4, NOTHING])


def test_several_faces_as_one_are_used_as_each_alone():
    plain, linear = Face(face(1).maps), Face(face(2).maps, spent=face(2).spent)
    loads = np.random.default_rng(7).normal(size=(6, 3))
    for several in ([plain, plain], [face(3), plain, linear, face(4)]):
        each = [utilisation(one, loads) for one in several]
        for both, alone in zip(utilisation(joined(several), loads), zip(*each, strict=True), strict=True):
            np.testing.assert_allclose(both, np.concatenate(alone), rtol=1e-12)
