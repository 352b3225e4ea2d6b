"""The life of cells by the kernels in C, against numpy, on cells, pasts and motions at random."""

from dataclasses import fields, replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from gripmargin.contact.activation import ActivationLaw
from gripmargin.contact.cell_life import follow
from gripmargin.contact.cell_states import CellState, CellStates, CellTable, Knots, Trace
from gripmargin.contact.simulation import simulate
from support.both_ways import assert_same, both_ways

LAWS = (
    ActivationLaw(np.zeros(1), np.ones(1), "none"),
    ActivationLaw(np.array([0.0, 4e4]), np.array([0.1, 0.9]), "full preload"),
    ActivationLaw(np.array([0.0, 1e4, 2e4, 6e4]), np.array([0.0, 0.6, 0.4, 1.0]), "measured curve"),
)
WAY = 1.2e-3  # [m], of the order of what breaks a bond


@pytest.fixture
def cells(pad_face):
    """Three pads by different laws, with and without a least dwell and an overload, one that gathers."""
    kinds = ({"min_dwell": 0.02}, {"overload_pressure": 7e4, "overload_residual": 0.1}, {"min_dwell": 0.004})
    faces = [pad_face(law=law, across=6, **kind) for law, kind in zip(LAWS, kinds, strict=True)]
    faces[1] = replace(faces[1], gathers=True)
    return CellTable.of(faces, 2e-6)


def stretch(cells, steps, seed, *, smooth=False):
    """A motion at random, in which pads are pressed, lifted, turned and dragged; ``smooth``: pressures only fall."""
    random = np.random.default_rng(seed)
    size, pads = cells.area.size, len(cells.laws)
    walk = np.cumsum(random.normal(size=(steps + 1, 6)), axis=0)
    turned = Rotation.from_rotvec(0.01 * walk[:, 3:]).as_matrix() @ np.diag([1.0, -1.0, -1.0])
    pressure = 4e4 * np.cumsum(random.normal(size=(steps + 1, size)), axis=0)
    if smooth:
        pressure = -np.sort(-pressure, axis=0)
    return Knots(
        t=np.cumsum(random.uniform(0.001, 0.004, steps + 1)),
        rotation=turned,
        position=WAY * walk[:, :3],
        twist=1e-3 * random.normal(size=(steps, 6)),
        pressure=pressure,
        lean=np.array([0.0, 0.0, 1.0]) + 0.1 * random.normal(size=(steps + 1, pads, 3)),
        contact_stiffness=1e8 * random.uniform(0.5, 1.0, (steps + 1, pads)),
    )


def past(cells, knots, seed):
    """What may be known of cells at the begin of a stretch."""
    random, size = np.random.default_rng(seed), cells.area.size
    now = CellStates.none(size)
    now.state[:] = random.integers(0, 3, size)
    now.touched_at[:] = cells.root @ knots.rotation[0].T + knots.position[0]
    now.anchor[:] = now.touched_at + 0.1 * WAY * random.normal(size=(size, 3))
    now.stretch[:] = 0.1 * WAY * random.normal(size=(size, 3))
    now.stretch[now.state != CellState.BONDED] = 0.0
    now.floor[:], now.peak[:] = random.uniform(0, 0.5, size), 1e4 * random.uniform(size=size)
    now.base[:], now.since[:] = 2e4 * random.uniform(-1, 1, size), random.uniform(-0.01, 0.001, size)
    now.bottom[:] = np.where(random.random(size) < 0.3, np.nan, now.base - 1e4 * random.uniform(size=size))
    now.overloaded[:] = random.random(size) < 0.2
    now.first_touch[:] = np.where(random.random(size) < 0.5, np.nan, -1.0)
    return now


def lived(cells, knots, seed):
    """States after a stretch, and what happened in it, with each cell's spells in their order."""
    now = past(cells, knots, seed)
    trace = follow(cells, now, knots)
    step, cell, anchor = trace.spells
    order = np.lexsort((cell, step))
    return now, replace(trace, spells=tuple(each[order] for each in (step, cell, anchor)))


def assert_alike(one, other):
    """All that is known of cells and steps agrees; lengths, energies and the like to 1e-12 of their largest."""
    for (states, trace), (states_by_core, trace_by_core) in ((one, other),):
        for field in fields(CellStates):
            assert_same(getattr(states, field.name) * 1.0, getattr(states_by_core, field.name) * 1.0)
        for field in fields(Trace):
            mine, its = getattr(trace, field.name), getattr(trace_by_core, field.name)
            for a, b in zip(*((mine, its) if isinstance(mine, tuple) else ((mine,), (its,))), strict=True):
                assert_same(a * 1.0, b * 1.0)


@pytest.mark.parametrize("smooth", [False, True])
@pytest.mark.parametrize("seed", range(4))
def test_cells_live_the_same_life(monkeypatch, cells, seed, smooth):
    knots = stretch(cells, 45, seed, smooth=smooth)
    one, other = both_ways(monkeypatch, lambda: lived(cells, knots, seed))
    assert_alike(one, other)
    bonded = one[1].bonded
    assert (one[0].breaks > 1).any() == (not smooth)
    assert bonded.any()
    assert not bonded.all()


@pytest.mark.parametrize(("size", "steps"), [(0, 5), (1, 1), (7, 1), (70, 3)])
def test_of_few_cells_and_steps(monkeypatch, cells, size, steps):
    some = cells.take(np.arange(size))
    knots = stretch(some, steps, 5)
    assert_alike(*both_ways(monkeypatch, lambda: lived(some, knots, 5)))


def test_of_arrays_that_lie_anyhow(monkeypatch, cells):
    knots = stretch(cells, 30, 6)
    apart = replace(
        knots, pressure=np.asfortranarray(knots.pressure), rotation=np.repeat(knots.rotation, 2, axis=0)[::2]
    )
    assert not apart.pressure.flags.c_contiguous
    assert_alike(*both_ways(monkeypatch, lambda: lived(cells, apart, 6)))


def test_what_is_no_number_bonds_nothing(monkeypatch, cells):
    """A pressure that is none at a step, of cells that have not been bonded: from then on they never are."""
    knots = stretch(cells, 20, 7)
    knots.pressure[:] = 500.0
    knots.pressure[3] = np.nan
    strange = [None, None]

    def task():
        now = CellStates.none(cells.area.size)
        now.state[:], now.base[:] = CellState.TOUCHING, 900.0
        strange[:] = now, follow(cells, now, knots)
        return now

    for now in both_ways(monkeypatch, task):
        assert np.isnan(now.base).all()
        assert np.isnan(now.peak).all()
        assert (now.state == CellState.TOUCHING).all()
    assert not strange[1].bonded.any()


WAYS = {  # along x, height at first and by how much it changes, turn about x, over a wave
    "rocked and dragged": (2e-3, -1e-4, 2e-4, 4e-3),
    "bonded, pressed harder and less": (4e-5, -2e-4, 1e-4, 1e-3),
    "bonded, lifted and pressed": (4e-5, -2.5e-4, -1.5e-4, 1e-3),
}


@pytest.mark.parametrize("pull", [np.inf, 20.0])
@pytest.mark.parametrize("kind", list(WAYS))
def test_pads_moved_over_a_face(monkeypatch, pad_face, move, kind, pull):
    """A whole simulation: the rows of its history, and its cells at the end."""
    t = np.linspace(0.0, 1.0, 120)
    wave, (aside, first, height, turn) = np.sin(2 * np.pi * t), WAYS[kind]
    turned = np.stack([turn * wave, 0 * t, 0 * t], axis=1)
    motion = move(t, x=aside * wave, z=first + height * (np.cos(9 * t) - 1.0), turn=turned)
    faces = [pad_face(law=law, across=9) for law in LAWS[1:]]
    one, other = both_ways(monkeypatch, lambda: simulate(faces, motion, pull=pull))
    for key, value in vars(one).items():
        if isinstance(value, np.ndarray):
            assert_same(value * 1.0, getattr(other, key) * 1.0)
    for mine, its in zip(one.pads, other.pads, strict=True):
        for key, value in vars(mine).items():
            assert_same(value * 1.0, getattr(its, key) * 1.0)
    assert one.held_total.max() > 0.5
