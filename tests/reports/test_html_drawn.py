"""What is drawn is what the report holds: no peak lost, no gap joined, scales and numbers whole."""

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.contact.loads import CAUSES, load_by_cause
from gripmargin.reports import series
from gripmargin.reports.html.scales import margin_scale, scale
from gripmargin.reports.html.text import margin, number, rounded
from gripmargin.reports.html.view import View

JOBS = Path(__file__).parents[2] / "trajectories"


def test_a_minute_at_a_kilohertz_stays_small(long_report):
    assert long_report.samples.t.size == 60_001
    assert len(gm.report_html(long_report).encode()) < 5e6


def test_a_move_a_sample_stays_small_too(long_report):
    """Sixty thousand labels: of such moves the table names the worst, and the ribbon leaves out the narrowest."""
    labels = tuple(f"move number {i}" for i in range(long_report.samples.t.size))
    text = gm.report_html(replace(long_report, samples=replace(long_report.samples, move=labels)))
    assert len(text.encode()) < 5e6
    worst = int(np.nanargmin(long_report.samples.governing))
    assert f'<th scope="row">{labels[worst]}</th>' in text


def test_of_many_pads_the_most_used_are_drawn(carried):
    report = carried(samples=31, names=tuple(f"pad {i}" for i in range(14)), mass=5.0)
    text = gm.report_html(report)
    drawn = {int(i) for i in re.findall(r'data-pad="(\d+)" data-map="use"', text)}
    worst = report.findings[0].worst
    assert len(drawn) == 12
    assert int(worst["pad"].removeprefix("pad ")) in drawn
    (tree,) = (json.loads(block) for block in re.findall(r'class="data">(.*?)</script>', text))
    assert len(tree["face"]["pads"]) == 14  # the script looks at the edges of all


def test_worst_sample_of_a_long_program_is_among_those_shown(long_report):
    text = gm.report_html(long_report)
    (block,) = re.findall(r'class="data">(.*?)</script>', text)
    tree = json.loads(block)
    least = float(np.nanmin(long_report.samples.governing))
    assert max(u for u in tree["share"] if u is not None) == pytest.approx(1 / least, rel=1e-5)
    assert min(len(tree[k]) for k in ("t", "use", "low")) < 2000


@given(
    st.lists(st.floats(-1e3, 1e3) | st.sampled_from([np.nan, np.inf, 0.0]), min_size=1, max_size=300),
    st.integers(1, 40),
)
def test_thinning_loses_no_peak_and_joins_no_gap(values, columns):
    y = np.array(values)
    t = np.linspace(0.0, 1.0, y.size)
    pieces = series.thinned(t, y, columns)
    kept = np.concatenate(pieces) if pieces else np.zeros(0, dtype=int)
    assert (np.diff(kept) > 0).all()
    assert np.isfinite(y[kept]).all()
    column = np.minimum((t * columns).astype(int), columns - 1) if y.size > 1 else np.zeros(1, dtype=int)
    for c in range(columns):
        there = y[(column == c) & np.isfinite(y)]
        if there.size:
            mine = y[kept[column[kept] == c]]
            assert mine.min() == there.min()
            assert mine.max() == there.max()
    for piece in pieces:
        assert np.isfinite(y[piece[0] : piece[-1] + 1]).all()


def test_a_swing_of_one_amplitude_has_a_straight_envelope():
    """A sine of 5 Hz about 2: its peaks stand at 3, and the line over them keeps to its own stretch."""
    t = np.linspace(0.0, 2.0, 2001)
    y = 2.0 + np.sin(2 * np.pi * 5.0 * t)
    y[1000:1100] = np.nan
    line = series.envelope(t, y, 50)
    np.testing.assert_array_equal(np.isnan(line), np.isnan(y))
    np.testing.assert_allclose(line[50:850], 3.0, atol=1e-9)
    assert np.nanmin(line - y) >= 0.0
    assert np.nanmax(line) == np.nanmax(y)
    np.testing.assert_array_equal(series.envelope(t, np.full(2001, np.inf), 50), np.full(2001, series.BOTTOMLESS))


@given(st.lists(st.floats(0, 1e3) | st.just(np.nan), min_size=1, max_size=300), st.integers(1, 40))
def test_stops_hold_the_worst_and_what_is_marked(values, count):
    worst = np.array(values)
    t = np.linspace(0.0, 3.0, worst.size)
    marked = [0, worst.size // 2]
    at = series.stops(t, worst, marked, count)
    assert set(marked) <= set(at.tolist())
    assert at[0] == 0
    assert at[-1] == worst.size - 1
    assert at.size <= max(count, 0) + 4 or at.size == worst.size
    if not np.isnan(worst).all():
        assert np.nanmax(worst[at]) == np.nanmax(worst)


def test_causes_of_all_samples_are_those_of_single_samples():
    job = gm.read_job(JOBS / "reflector.toml")
    case = work_out(replace(job, pick=None, nest=None))
    motion = case.motion.at
    found = load_by_cause(job.part, motion, job.gravity)
    assert set(found) <= set(CAUSES)
    for i in (0, 100, 700):
        single = load_by_cause(job.part, motion.take(i), job.gravity)
        for cause, loads in found.items():
            np.testing.assert_allclose(loads[:, i], single[cause][:, 0], rtol=1e-12, atol=1e-12)
    np.testing.assert_allclose(sum(found.values()), case.load, atol=1e-9)


def test_use_of_the_page_is_the_inverse_of_the_margin(demo):
    """Two ways to the same figure: the hold check's own, and the compliance and edges that the page is given."""
    for report in demo.values():
        at = np.flatnonzero(np.isfinite(report.samples.hold_margin) & (report.samples.hold_margin > 0))[::37]
        parts = report.scene.loads_by_cause(report.samples, at)
        use = np.sum(list(report.scene.use_by_cause(parts).values()), axis=0)
        np.testing.assert_allclose(use, 1 / report.samples.hold_margin[at], rtol=1e-9)
        for i, k in enumerate(at[:5]):
            load = np.concatenate([report.samples.force[k], report.samples.moment[k]])
            assert report.scene.edge_use(load).use == pytest.approx(use[i], rel=1e-9)


def test_the_faces_are_drawn_for_what_governs(demo):
    """Two ways to the same figure: the margin with the swing, and the use of the pads' edge under the face's load."""
    view = View.of(demo["window-askew"], "job1")
    swinging = [int(i) for i in view.stops if view.carried_by(int(i)) == "swing"]
    assert len(swinging) > 20
    for i in swinging[::9]:
        use = view.report.scene.edge_use(view.load(i)).use
        assert 1 / use == pytest.approx(view.report.samples.swing_margin[i], rel=1e-6)


def test_tractions_of_the_page_carry_the_load(demo):
    """Equilibrium: the tractions over all cells that count add up to the load."""
    report = demo["lid-no-data"]
    k = int(np.nanargmin(report.samples.hold_margin))
    load = np.concatenate([report.samples.force[k], report.samples.moment[k]])
    total = np.zeros(6)
    for pad in report.scene.pads:
        patch = pad.patch
        traction = report.scene.tractions(pad, patch.points, load)[:, pad.counted]
        force = (patch.rotation @ (traction * patch.areas[pad.counted])).T
        total[:3] += force.sum(axis=0)
        total[3:] += np.cross(patch.points[pad.counted], force).sum(axis=0)
    np.testing.assert_allclose(total, load, rtol=1e-9, atol=1e-12)


def test_contact_over_the_preload_ends_where_the_simulation_does(demo):
    """Dwell is reached in this job, so adhesion by pressure and the simulated bond agree at the end."""
    (preload, _) = demo["lid-no-data"].scene.handovers
    t, pressed, given_ = preload.pressed
    assert preload.kind == "preload"
    assert t[0] == preload.t[0]
    assert pressed.max() == pytest.approx(1.0)
    assert given_[-1] == pytest.approx(float(preload.held_total[-1]), abs=1e-9)


def test_margins_are_drawn_at_the_height_of_their_load():
    ruler = margin_scale([np.array([0.2, 0.5])], [0.5])
    assert ruler.share(0.0) == 0.0
    ticks = {text: y for y, text in ruler.ticks}
    assert ticks["∞"] == 0.0
    assert ticks["2"] == 0.5
    assert ticks["1"] == 1.0
    assert margin_scale([np.array([np.inf, 1e9])], []).low <= 5.0


@given(st.lists(st.floats(-1e9, 1e9), min_size=1, max_size=20))
def test_scales_hold_their_values_and_have_round_ticks(values):
    ruler = scale([np.array(values)])
    room = 1e-8 * (ruler.high - ruler.low)  # a billionth of a step is not worth one more
    assert ruler.low <= min(values) + room
    assert ruler.high >= max(values) - room
    assert ruler.low < ruler.high
    assert 2 <= len(ruler.ticks) <= 12


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (None, "–"),
        (np.nan, "–"),
        (np.inf, "∞"),
        (1.5, "1.50"),
        (-0.001, "0.00"),
        (-2.0, "−2.00"),
        (123.4, "123"),
        (1e7, "over 1000"),
    ],
)
def test_margins_in_words(value, said):
    assert margin(value) == said


def test_numbers_are_never_broken():
    assert number(-np.inf) == "−∞"
    assert number(-3e7) == "−3e07"
    assert rounded(np.array([np.nan, np.inf, -np.inf, 0.1234567, 3.0])) == [None, 1e9, -1e9, 0.12346, 3]
