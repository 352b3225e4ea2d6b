"""Steps in which nothing happens to a cell, looked at together: by hand, and against the rules applied step by step."""

import numpy as np
import pytest

from gripmargin.contact.activation import ActivationLaw
from gripmargin.contact.cell_spans import Window
from gripmargin.contact.cell_states import CellState, CellStates, CellTable, Knots, Trace
from gripmargin.contact.simulation import simulate

S, T, KN, KT = 9e4, 6e4, 1e8, 3.3e7
DOWN = np.diag([1.0, -1.0, -1.0])
BUCKLES = {"overload_pressure": 7e4, "overload_residual": 0.1}


@pytest.fixture
def window(pad_face):
    """A cell in some state, over which the tool slides by 1 um a step of 1 s while its pressure is as given [Pa]."""

    def make(state, pressure, *, level=0.0, x=None, z=None, **changes):
        steps, of_pad = len(pressure) - 1, ("min_dwell", "overload_pressure", "overload_residual")
        face = pad_face(full_preload=1e4, **{key: changes.pop(key) for key in of_pad if key in changes})
        cells = CellTable.of([face], level).take(np.arange(1))
        now = CellStates.none(1)
        now.state[:] = state
        for key, value in changes.items():
            getattr(now, key)[:] = value
        x = 1e-6 * np.arange(steps + 1) if x is None else np.asarray(x)
        z = np.zeros(steps + 1) if z is None else np.asarray(z)
        position = np.stack([x, np.zeros(steps + 1), z], axis=1)
        now.anchor[:] = now.touched_at[:] = DOWN @ cells.root[0] + position[0]
        knots = Knots(
            t=np.arange(steps + 1.0),
            rotation=np.tile(DOWN, (steps + 1, 1, 1)),
            position=position,
            twist=np.zeros((steps, 6)),
            pressure=np.array(pressure, dtype=float)[:, None],
            lean=np.tile([0.0, 0.0, 1.0], (steps + 1, 1, 1)),
            contact_stiffness=np.full((steps + 1, 1), KN),
        )
        none = np.zeros(0, np.int64)
        trace = Trace(
            bonded=np.zeros((steps, 1), bool),
            spells=(none, none, np.zeros((0, 3))),
            held=np.zeros((steps, 1)),
            **{key: np.zeros(steps) for key in ("lost", "kink", "first_break")},
            unbroken=np.zeros((steps, 6)),
        )
        return Window(cells, now, knots, trace, 0, steps)

    return make


def event(window, at=0):
    return int(window.next_events(np.arange(1), np.array([at]))[0])


class TestOff:
    def test_until_it_touches(self, window):
        w = window(CellState.FREE, [-3, -2, -1, 1, 2])
        assert event(w) == 2
        assert (w.now.contact_time[0], w.now.peak_pressure[0]) == (0.0, 0.0)

    @pytest.mark.parametrize(("at", "found"), [(3, 3), (4, 4)])
    def test_only_from_where_it_is_followed(self, window, at, found):
        assert event(window(CellState.FREE, [-1, 1, -1, -1, 1]), at) == found


class TestDragged:
    """Not bonded, and pressed: what comes after the lowest pressure counts."""

    def test_falling_it_forgets_what_it_held_until_it_is_off(self, window):
        w = window(CellState.TOUCHING, [900, 800, 500, 300, -100], base=900, peak=50.0, bottom=850.0, level=1e-7)
        assert event(w) == 3
        now = w.now
        # a rise of 10 Pa (0.1 um) counts as none
        assert [now.base[0], now.bottom[0], now.peak[0]] == pytest.approx([310, 310, 0])
        assert (now.since[0], now.contact_time[0], now.peak_pressure[0]) == (3.0, 3.0, 800.0)
        assert now.slid[0] == pytest.approx(3e-6)

    def test_falling_all_along(self, window):
        w = window(CellState.TOUCHING, [900, 800, 500, 300], base=900, bottom=np.nan)
        assert event(w) == 3
        assert (w.now.base[0], w.now.contact_time[0]) == (300.0, 3.0)

    def test_falling_it_may_still_buckle(self, window):
        w = window(CellState.TOUCHING, [9e4, 8e4, 5e4], base=9e4, bottom=0.0, **BUCKLES)
        assert event(w) == 2
        assert w.now.overloaded[0]

    def test_it_bonds_where_its_pressure_rises_again(self, window):
        w = window(CellState.TOUCHING, [900, 500, 300, 400, 500], base=900, bottom=900.0)
        assert event(w) == 2
        assert (w.now.base[0], w.now.bottom[0], w.now.peak[0], w.now.since[0]) == (300.0, 300.0, 0.0, 2.0)

    @pytest.mark.parametrize(("level", "found"), [(0.5e-6, 3), (1.5e-6, 5)])
    def test_not_by_what_counts_as_no_rise(self, window, level, found):
        """From 300 Pa over 400 to 500: a level of 0.5 um is 50 Pa, one of 1.5 um 150 Pa."""
        w = window(CellState.TOUCHING, [900, 500, 300, 300, 400, 400, 500], base=900, bottom=900.0, level=level)
        assert event(w) == found

    def test_it_waits_for_its_dwell(self, window):
        """Pressed on from 2 s on, for 3 s: it bonds in the step that ends there; the highest rise before it counts."""
        w = window(CellState.TOUCHING, [900, 500, 300, 700, 400, 600, 600], base=900, bottom=900.0, min_dwell=3.0)
        assert event(w) == 4
        assert (w.now.base[0], w.now.peak[0], w.now.since[0], w.now.contact_time[0]) == (300.0, 400.0, 2.0, 4.0)

    def test_lower_again_it_begins_anew(self, window):
        w = window(CellState.TOUCHING, [900, 500, 700, 400, 600, 600, 600], base=900, bottom=900.0, min_dwell=2.5)
        assert event(w) == 5
        assert (w.now.base[0], w.now.peak[0], w.now.since[0]) == (400.0, 200.0, 3.0)

    def test_off_the_face_it_waits_no_longer(self, window):
        w = window(CellState.TOUCHING, [500, 600, 700, -1, 600], base=0, since=0.0, min_dwell=9.0)
        assert event(w) == 2
        assert (w.now.peak[0], w.now.contact_time[0], w.now.slid[0]) == (700.0, 2.0, pytest.approx(2e-6))

    @pytest.mark.parametrize(("left", "found"), [(0.1, 2), (0.0, 3)])
    def test_buckled_it_bonds_with_what_is_left(self, window, left, found):
        more = {"min_dwell": 2.5, "overload_pressure": 7e4, "overload_residual": left}
        w = window(CellState.TOUCHING, [5e4, 8e4, 6e4, 6e4], **more)
        assert event(w) == found
        assert w.now.overloaded[0]


class TestStretched:
    def test_until_it_breaks(self, window):
        """It holds half of its strength: T/(2 k_t) is 0.909 mm."""
        w = window(CellState.BONDED, [-1] * 6, floor=0.5, x=[0, 0.3e-3, 0.6e-3, 0.9e-3, 0.92e-3, 0])
        assert event(w) == 3
        assert w.now.stretch[0] == pytest.approx([-0.9e-3, 0, 0])
        assert w.trace.bonded[:, 0].tolist() == [True, True, True, False, False]
        assert w.trace.held[:, 0].tolist() == [0.5, 0.5, 0.5, 0.0, 0.0]
        assert w.now.contact_time[0] == 0.0

    def test_pulled_too(self, window):
        """S/(2 k_n) is 0.45 mm."""
        w = window(CellState.BONDED, [-1] * 4, floor=0.5, z=[0, 0.44e-3, 0.46e-3, 0])
        assert event(w) == 1

    def test_pressed_harder_it_holds_more(self, window):
        """0.6 of a full preload, above its base, holds where 0.5 would not: 0.95 mm against 0.909 mm."""
        w = window(CellState.BONDED, [0, 5e3, 7e3, 1e3, 1e3], floor=0.5, base=1e3, x=[0, 0, 0, 0.95e-3, 1.2e-3])
        assert event(w) == 3
        assert w.trace.held[:3, 0] == pytest.approx([0.5, 0.6, 0.6])
        assert [w.now.peak[0], w.now.peak_pressure[0], w.now.contact_time[0]] == pytest.approx([6e3, 7e3, 3.0])

    def test_what_comes_after_its_break_does_not_count(self, window):
        w = window(CellState.BONDED, [0, 1e3, 1e3, 9e3], floor=0.5, x=[0, 0, 1e-3, 1e-3])
        assert event(w) == 1
        assert (w.now.peak[0], w.now.peak_pressure[0]) == (1e3, 1e3)

    def test_buckled_it_holds_what_is_left(self, window):
        """0.1 of the strength: T/(10 k_t) is 0.18 mm."""
        w = window(CellState.BONDED, [0, 8e4, 1e3, 1e3], floor=0.5, **BUCKLES, x=[0, 0, 0.17e-3, 0.19e-3])
        assert event(w) == 2
        assert w.trace.held[:, 0] == pytest.approx([0.1, 0.1, 0.0])
        assert w.now.overloaded[0]


@pytest.mark.parametrize("more", [{}, {"min_dwell": 0.4, "overload_pressure": 7e4, "overload_residual": 0.2}])
def test_nothing_hangs_on_how_many_steps_are_looked_at_together(pad_face, move, monkeypatch, more):
    """The rules of `gripmargin.contact.cell_life` applied in every step, event or none, give the same."""
    random = np.random.default_rng(0)
    law = ActivationLaw(np.array([0.0, 4e3, 1e4]), np.array([0.0, 0.7, 1.0]), "measured curve")
    face = pad_face(across=2, law=law, **more)
    x, z, turn = random.normal(size=12), random.normal(size=12), random.normal(size=(12, 3))
    motion = move(0.2 * np.arange(12), x=2e-3 * x, z=4e-4 * z - 2e-4, turn=turn * [5e-3, 5e-3, 1e-2])
    together = simulate([face], motion)
    monkeypatch.setattr(Window, "next_events", lambda self, which, at: at)
    alone = simulate([face], motion)
    assert together.pads[0].breaks.sum() > 10
    for one, other in ((together, alone), (together.pads[0], alone.pads[0])):
        for key, value in vars(one).items():
            if isinstance(value, np.ndarray):
                np.testing.assert_allclose(value, getattr(other, key), rtol=1e-9, atol=1e-12, err_msg=key)
