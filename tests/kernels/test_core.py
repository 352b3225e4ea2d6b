"""Kernels in C: that they are there, can be switched off, and give what numpy gives (IEEE 754, binary64)."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.kernels import core
from gripmargin.kernels.sway import displaced_load, fed_back
from support.both_ways import assert_same, both_ways, need_the_core

ROOT = Path(__file__).parents[2]
HERE = Path(core.__file__).parent


@pytest.fixture
def loaded_anew():
    """Whatever a test makes of the library, the next one loads it again."""
    core.library.cache_clear()
    yield
    core.library.cache_clear()


def test_what_was_built_is_of_these_sources():
    need_the_core()
    newest = max(path.stat().st_mtime for path in HERE.glob("*.[ch]"))
    assert core.built().stat().st_mtime >= newest, "install the package again: sources of the kernels have changed"


def test_every_source_is_built_and_handed_out():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    (module,) = project["tool"]["setuptools"]["ext-modules"]
    named = {ROOT / name for name in (*module["sources"], *module["depends"])}
    assert named == set(HERE.glob("*.[ch]"))
    assert module["optional"]
    assert not any("fast" in flag for flag in module["extra-compile-args"])


@pytest.mark.parametrize("said", ["off", "OFF", "0", "no", "false"])
def test_it_is_switched_off(monkeypatch, said):
    monkeypatch.setenv(core.SWITCH, said)
    assert core.kernel("follow") is None


def test_another_interface_is_not_used(monkeypatch, loaded_anew):
    need_the_core()
    core.library.cache_clear()
    monkeypatch.setattr(core, "INTERFACE", core.INTERFACE + 1)
    assert core.kernel("follow") is None


@pytest.mark.parametrize("there", [True, False])
def test_without_a_library_that_loads_numpy_does_it(monkeypatch, tmp_path, loaded_anew, there):
    monkeypatch.setattr(core, "__file__", str(tmp_path / "__init__.py"))
    if there:
        (tmp_path / "_compiled.abi3.so").write_text("of another machine")
        (tmp_path / "_compiled.pyd").write_text("of another machine")
    assert (core.built() is not None) == there
    assert core.kernel("follow") is None


def test_arrays_to_write_are_contiguous_and_of_known_kinds():
    need_the_core()
    run, some = core.kernel("displaced_load"), np.zeros((6, 8))
    with pytest.raises(ValueError, match="an array to write is not contiguous"):
        run((0, 0), (), (some[:, ::2],))
    with pytest.raises(TypeError, match="float32"):
        run((0, 0), (some.astype(np.float32),), (some,))


def body(samples, seed=0):
    """A body and its ways, at random; turns of all sizes, most of them large."""
    random = np.random.default_rng(seed)
    com, pivot, root = random.normal(size=3), random.normal(size=3), random.normal(size=(3, 3))
    way = tuple(random.normal(size=(6, samples)) * 10.0 ** random.uniform(-6, 0, samples) for _ in range(3))
    frame, carried = random.normal(size=(3, 3, samples)), random.normal(size=(6, samples))
    return 1.3, com, root @ root.T, pivot, frame, way, carried


@pytest.mark.parametrize("in_turns", [False, True])
@pytest.mark.parametrize("samples", [0, 1, 300])
def test_load_of_a_body_out_of_its_place(monkeypatch, samples, in_turns):
    given = body(samples)
    assert_same(*both_ways(monkeypatch, lambda: displaced_load(*given, in_turns=in_turns)))


@pytest.mark.filterwarnings("ignore:invalid value:RuntimeWarning")
@pytest.mark.parametrize("in_turns", [False, True])
def test_what_is_no_number_stays_none_and_stays_at_its_sample(monkeypatch, in_turns):
    *of_body, frame, way, carried = body(40)
    rows = [frame[0], frame[1], frame[2], *way, carried]
    for at, (row, wrong) in enumerate((row, wrong) for row in rows for wrong in (np.nan, np.inf)):
        row[at % len(row), 2 * at + 1] = wrong
    by_numpy, by_core = both_ways(monkeypatch, lambda: displaced_load(*of_body, frame, way, carried, in_turns=in_turns))
    assert np.isnan(by_numpy).any(axis=0).sum() == 14
    assert_same(by_numpy, by_core)


def test_arrays_that_are_read_may_lie_anyhow(monkeypatch):
    *of_body, frame, way, carried = body(90)
    frame, way, carried = frame[..., ::3], tuple(np.asfortranarray(row[:, ::3]) for row in way), carried[::-1, ::-3]
    assert_same(*both_ways(monkeypatch, lambda: displaced_load(*of_body, frame, way, carried, in_turns=True)))


@pytest.mark.parametrize("wrong", [False, True])
def test_oscillators_fed_back(monkeypatch, wrong):
    """Slow and fast, damped so much that a window spans hundreds of e-folds, one of them no longer a number."""
    random = np.random.default_rng(3)
    t = np.cumsum(random.uniform(0.001, 0.003, 1500))
    load = np.cumsum(random.normal(size=(3, t.size)), axis=1)
    if wrong:
        load[1, 900] = np.nan
    frequency, damping = np.array([9.0, 40.0, 700.0]), np.array([0.0, 0.05, 0.9])
    start = random.normal(size=3), random.normal(size=3)
    slow = np.array([True, True, False])

    def task():
        def some(part, y, rate, bend):
            return 0.01 * y + 1e-4 * rate + 1e-6 * bend

        return fed_back(t, load.copy(), frequency, damping, start, some, slow, hangs=True, strength=0.02)

    (by_numpy, end), (by_core, end_by_core) = both_ways(monkeypatch, task)
    assert end == end_by_core
    assert (end < t.size) == wrong
    assert_same(by_numpy[:, :end], by_core[:, :end])


def numbers(report, where=""):
    """The leaves of a report, with their places."""
    if isinstance(report, dict | list):
        for key, value in report.items() if isinstance(report, dict) else enumerate(report):
            yield from numbers(value, f"{where}/{key}")
    else:
        yield where, report


def test_a_whole_job_is_the_same_without_them(monkeypatch):
    job = ROOT / "trajectories" / "window.toml"
    by_numpy, by_core = both_ways(monkeypatch, lambda: dict(numbers(gm.report_tree(gm.check_file(job), samples=True))))
    assert by_numpy.keys() == by_core.keys()
    assert len(by_numpy) > 100
    for where, value in by_numpy.items():
        assert by_core[where] == (pytest.approx(value, rel=1e-12) if isinstance(value, float) else value), where
