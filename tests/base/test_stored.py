"""Long arrays are mapped from files without a name, and are the same numbers as those in memory."""

import gc
import pickle

import numpy as np
import pytest

from gripmargin.base import stored
from gripmargin.base.errors import InputError
from gripmargin.base.labels import Labels


@pytest.fixture(autouse=True)
def short(monkeypatch, tmp_path):
    """Mapped from 64 bytes on, four samples at a time, in a folder of the test's own."""
    monkeypatch.setattr(stored, "LONG", 64)
    monkeypatch.setattr(stored, "PART", 4)
    monkeypatch.setattr(stored.tempfile, "tempdir", str(tmp_path))


def test_what_is_written_stays_after_it_has_left_memory(tmp_path):
    array = stored.stored((1000, 3))
    assert not array.any()
    array[:] = np.arange(3000.0).reshape(1000, 3)
    stored.leave()
    assert np.array_equal(array, np.arange(3000.0).reshape(1000, 3))
    assert not array.flags.owndata
    del array
    gc.collect()
    assert not list(tmp_path.iterdir())


def test_a_folder_without_room_is_an_error_that_names_it(monkeypatch, tmp_path):
    monkeypatch.setattr(stored.tempfile, "tempdir", str(tmp_path / "none"))
    with pytest.raises(InputError, match=r"no room for an array of 0 MB .*TMPDIR"):
        stored.stored((1000,))


@pytest.mark.parametrize("n", [1, 4, 5, 31])
def test_parts_give_what_numpy_gives_at_once(n):
    x = np.random.default_rng(n).normal(size=(n, 3))
    flags = x[:, 0] > 0.0
    assert np.array_equal(stored.by_parts(np.square, x), x**2)
    assert np.array_equal(stored.largest_of(np.abs, x), np.abs(x).max(axis=0))
    assert np.array_equal(stored.flagged(flags), np.flatnonzero(flags))
    assert np.array_equal(stored.columns(x.T, np.flatnonzero(flags)), x.T[:, flags])
    assert np.array_equal(stored.turned(x), x.T)
    assert np.array_equal(stored.column(x, 1), x[:, 1])
    assert np.array_equal(stored.beside(list(x.T)), x)
    assert np.array_equal(stored.numbered(n), np.arange(n))
    assert np.array_equal(stored.differences_of(x[:, 0]), np.diff(x[:, 0]))


def test_not_a_number_is_the_largest():
    assert np.isnan(stored.largest_of(np.abs, np.array([1.0] * 5 + [np.nan] + [2.0] * 5)))


def test_labels_are_as_a_tuple_of_them():
    words = ("carry", "carry", "free", "carry", "free", "free", "carry")
    found = Labels(("free", "carry"), np.array([word == "carry" for word in words], dtype=np.uint8))
    assert found == words
    assert words == found
    assert tuple(found) == words
    assert found[1:4] == words[1:4]
    assert found != words[:-1]
    assert hash(found) == hash(words)
    assert pickle.loads(pickle.dumps(found)) == words
    assert np.array(found).tolist() == list(words)
