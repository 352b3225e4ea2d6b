"""The preview of hold at other speeds and strengths, in a browser, against a check of the changed job."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.setting import moves_at
from gripmargin.reports.html.view import View
from gripmargin.reports.tuning_as_text import settings_lines
from gripmargin.workcell.scaling import scaled

JOBS = Path(__file__).parents[2] / "trajectories"
SAME = 2e-4  # share: the page has loads to five figures, and the samples at which some factors are worst
SAID = "document.querySelector('[data-tried=said]').textContent"


def opened(tab, folder, report):
    where = folder / "report.html"
    where.write_text(gm.report_html(report), encoding="utf-8")
    tab.open(where)
    assert tab.logged == []


def tried(tab, **percent):
    """The hold margin that the page gives with rows at so many per cent, by their names, and the least it may be."""
    for name, value in percent.items():
        row = name.replace("_", " ")
        field = (
            f"[...document.querySelectorAll('[data-try]')].find(f => f.closest('tr').textContent.startsWith('{row}'))"
        )
        tab.run(f"{{const f = {field}; f.value = '{value}'; f.dispatchEvent(new Event('input'))}}")
    said = tab.run("(d => [d.use, d.high])(document.querySelector('[data-tried=said]').dataset)")
    return tuple(1.0 / float(use) for use in said)


def hold(job):
    return next((c.value, c.low) for c in gm.check_job(job, trial=True, checks=["hold"]).checks if c.check == "hold")


def at_factors(job, factors):
    """The job with stretches of its program, from and to so many seconds, at factors on their speed."""
    t = job.trajectory.t
    middle, each = (t[1:] + t[:-1]) / 2, np.ones(t.size - 1)
    for start, end, factor in factors:
        each[(middle > start) & (middle < end)] = factor
    return scaled(job, each)


@pytest.fixture(scope="module")
def driver():
    """One pad, a tool that turns the part from lying to standing, rates given, drag of the air; it falls short."""
    job = gm.read_job(JOBS / "driver.toml")
    job = replace(job, part=replace(job.part, drag_area=0.3))
    return job, gm.check_job(job, checks=["hold"])


def test_hold_at_other_speeds_is_what_a_check_of_the_slowed_program_finds(tab, tmp_path, driver):
    """A closed form in the page; beside it a check of the changed program."""
    job, report = driver
    opened(tab, tmp_path, report)
    now = next((c.value, c.low) for c in report.checks if c.check == "hold")
    assert tried(tab) == pytest.approx(now, rel=1e-5)
    assert re.search(rf"hold {now[0]:.2f} at [\d.]+ s: short of the target of 2.00; now {now[0]:.2f}\.", tab.run(SAID))
    moves = {move.name: move for move in report.scene.moves if not move.kept}
    for percent in ({"turn up": 300}, {"turn up": 240, "to rail": 300}):
        found = [(moves[name].start, moves[name].end, value / 100) for name, value in percent.items()]
        due = hold(at_factors(job, found))
        assert due[1] < 0.98 * now[1]
        assert tried(tab, **percent) == pytest.approx(due, rel=SAME)
    weak = replace(job, part=replace(job.part, surface_factor=0.7 * job.part.surface_factor))
    assert tried(tab, **dict.fromkeys(moves, 100), the_pads=70) == pytest.approx(hold(weak), rel=SAME)
    tried(tab, turn_up=50)
    assert f"takes {job.trajectory.t[-1] + moves['turn up'].time_now:.3f} s" in tab.run(SAID)


def test_of_an_uneven_bond_it_keeps_the_cells_that_count_and_says_so(tab, tmp_path, demo):
    report = demo["window-askew"]
    opened(tab, tmp_path, report)
    said = tab.run("document.querySelector('.what-if').textContent")
    assert "not bonded evenly" in said
    assert "Only a check of the changed program confirms it" in said
    assert not tab.run("document.querySelector('.what-if').open")
    moves = [move for move in report.scene.moves if not move.kept]
    job = at_factors(gm.read_job(JOBS / "window-askew.toml"), [(m.start, m.end, 0.7) for m in moves])
    found, due = tried(tab, **{move.name: 70 for move in moves}), hold(job)
    assert found == pytest.approx(due, rel=0.02)  # a check looks for other cells to count on, and looks at some only


def test_an_unknown_motion_stays_unknown(tab, tmp_path, carried):
    report = carried(mass=3.0)
    low = np.where(np.arange(report.samples.t.size) == 40, 0.0, report.samples.hold_margin_low)
    opened(tab, tmp_path, replace(report, samples=replace(report.samples, hold_margin_low=low)))
    tried(tab, the_pads=200)
    assert tab.run(SAID).startswith("Hold cannot be told: at 0.160 s the motion is not known")


def test_speeds_are_copied_as_tune_gives_them(tab, tmp_path, driver):
    job, report = driver
    opened(tab, tmp_path, report)
    tried(tab, turn_up=80, to_rail=133)
    text = tab.run("document.querySelector('[data-tried=typed]').value")
    case = work_out(job)
    at = {name: {row.name: row for row in moves_at(case, k)} for name, k in (("turn up", 0.8), ("to rail", 1.33))}
    rows = [at.get(row.name, {row.name: row})[row.name] for row in report.scene.moves]
    due = [line.split() for line in settings_lines(rows) if line][1:]
    assert [line.split() for line in text.splitlines()] == due


def test_places_with_a_stress_before_any_load_are_used_as_python_says(tab, tmp_path, carried):
    """Stresses of a press, and what a sudden break leaves: a quadratic in the page, `kernels.face` beside it."""
    report = carried(mass=1.0)
    face = report.scene.face
    start = np.random.default_rng(1).uniform(-0.1, 0.1, (3, face.points))
    scene = replace(report.scene, face=replace(face, start=start, spent=np.linspace(0.05, 0.2, face.points)))
    opened(tab, tmp_path, replace(report, scene=scene))
    use = scene.edge_use(np.concatenate([report.samples.force[40], report.samples.moment[40]])).use
    tab.run("location.hash = '#t=0.16'; new Promise(done => setTimeout(done, 50))")
    assert f"{100 * use:.0f} % of what it holds" in tab.run("document.querySelector('[data-face=said]').textContent")
    # half the strength: the same stresses are twice the share of it
    half = replace(face, maps=2 * face.maps, start=2 * start, spent=2 * scene.face.spent)
    loads = np.concatenate([report.samples.force, report.samples.moment], axis=1)[scene.airborne]
    due = max(replace(scene, face=half).edge_use(load).use for load in loads)
    assert 1.0 / tried(tab, the_pads=50)[0] == pytest.approx(due, rel=SAME)


def test_many_jobs_have_no_preview(carried):
    report = carried()
    assert View.of(report, "job1", 12).moves == report.scene.moves != ()
    assert View.of(report, "job1", 13).moves == ()
