"""The page in a real browser: it opens, its parts move together, and it fits a phone and a sheet of paper."""

import io
import json
import re
import time

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.reports.html import reports_html
from gripmargin.reports.html.face import pull_class, use_class
from gripmargin.reports.html.job import figures_at
from gripmargin.reports.html.view import View

SAY = (
    "Object.fromEntries([...document.querySelectorAll('.readout [data-say]')].map(e => [e.dataset.say, e.textContent]))"
)


@pytest.fixture(scope="module")
def report(demo):
    """Cells that count and cells that do not, press and release."""
    return demo["window-askew"]


@pytest.fixture(scope="module")
def page(report, tmp_path_factory):
    where = tmp_path_factory.mktemp("page") / "report.html"
    where.write_text(gm.report_html(report), encoding="utf-8")
    return where


@pytest.fixture(scope="module")
def view(report):
    return View.of(report, "job1")


NUMBER = re.compile(r"[-−]?\d+(?:\.(\d+))?")


def alike(a, b):
    """The same words, and numbers within one of the last digit: both were rounded, one of them twice."""
    if NUMBER.sub("#", a) != NUMBER.sub("#", b):
        return False
    for x, y in zip(NUMBER.finditer(a), NUMBER.finditer(b), strict=True):
        step = 10.0 ** -len(y[1] or "")
        if abs(float(x[0].replace("−", "-")) - float(y[0].replace("−", "-"))) > 1.01 * step:
            return False
    return True


def at(view, t):
    """The stop next to a time."""
    return int(view.stops[np.argmin(np.abs(view.t[view.stops] - t))])


def test_page_opens_without_errors_and_without_the_network(tab, page):
    tab.open(page)
    assert tab.run("document.documentElement.dataset.ready") == "yes"
    assert tab.logged == []
    assert [url for url in tab.asked if not url.startswith(("file://" + str(page), "about:"))] == []


def test_policy_stops_a_script_that_got_in(tab, page):
    tab.open(page)
    tab.run("{const s = document.createElement('script'); s.textContent = 'window.got = 1'; document.body.append(s);}")
    tab.run(
        "{const i = new Image(); i.setAttribute('onerror', 'window.got = 2'); i.src = 'x:'; document.body.append(i);}"
    )
    time.sleep(0.2)
    assert tab.run("window.got") is None
    assert any("Content Security Policy" in json.dumps(entry) for entry in tab.logged)


@pytest.mark.parametrize("t", [3.0, 4.6, 6.3, 7.5])
def test_script_says_what_python_says(tab, page, view, report, t):
    """Two programs for the same figures: the page's script at a time, and Python for a page that opens there."""
    tab.open(page, f"#job1:t={t}")
    sample = at(view, t)
    there = View(**{**vars(view), "worst": sample})
    said, due = tab.run(SAY), figures_at(there)
    assert said.keys() == due.keys()
    assert [key for key in due if not alike(said[key], due[key])] == []
    slider = tab.run("(e => [e.value, e.getAttribute('aria-valuetext')])(document.querySelector('input[type=range]'))")
    assert int(slider[0]) == there.start
    assert slider[1].startswith(f"{report.samples.t[sample]:.3f} s, move {report.samples.move[sample]}")


def test_script_colours_the_cells_as_python_does(tab, page, view, report):
    t = 4.0
    tab.open(page, f"#t={t}")
    sample = at(view, t)
    load = view.load(sample)
    assert view.carried_by(sample) == report.samples.governed_by[sample] == "swing"
    (pad,) = report.scene.pads
    for kind in ("use", "pull"):
        seen = tab.run(f"[...document.querySelectorAll('[data-map={kind}] path')].map(e => e.getAttribute('class'))")
        from gripmargin.reports.html.tiles import tile_of

        cells = tile_of(pad, (pad,), along_z=True).cells
        traction = report.scene.tractions(pad, np.array([cell.centre for cell in cells]), load)
        bond = np.array([cell.bond for cell in cells])
        with np.errstate(divide="ignore", invalid="ignore"):
            pulled = traction[2] / (pad.pull_off_stress * bond)
        values = pad.utilisation(traction, bond) if kind == "use" else pulled
        name = use_class if kind == "use" else pull_class
        due = [name(float(v), cell.counted) for v, cell in zip(values, cells, strict=True)]
        # the script has centres with five figures: a cell on the border of two classes may take the next one
        unlike = [(a, b) for a, b in zip(seen, due, strict=True) if a != b]
        assert len(unlike) <= 0.02 * len(due)
        assert {"u-none"} < set(due)
    edge = report.scene.edge_use(load)
    said = tab.run("document.querySelector('[data-face=said]').textContent")
    assert f"{100 * edge.use:.0f} % of what it holds" in said
    assert f"{100 * edge.peel:.0f} % of the pull-off stress" in said


def test_one_cursor_moves_everything(tab, page, view):
    tab.open(page)
    before = tab.run(SAY)
    tab.run(
        "{const s = document.querySelector('input[type=range]'); s.value = 0;"
        "s.dispatchEvent(new Event('input', {bubbles: true}));}"
    )
    after = tab.run(SAY)
    assert after["t"] == f"{view.t[0]:.3f} s" != before["t"]
    assert tab.run("[...document.querySelectorAll('.times .cursor')].every(l => l.getAttribute('x1') === '0%')")
    assert tab.run(
        "[...document.querySelectorAll('.handover .cursor')].every(l => l.getAttribute('visibility') === 'hidden')"
    )
    assert tab.run("location.hash") == f"#job1:t={view.t[0]:.4f}"
    place = tab.run("document.querySelector('.here').getAttribute('transform')")
    start = tab.run("document.querySelector('.path3d .end').getAttribute('transform')")
    assert place == start
    said = "document.querySelector('[data-face=said]').textContent"
    assert tab.run(said) == f"At {view.t[0]:.3f} s the part does not hang on the pads."
    assert set(tab.run("[...document.querySelectorAll('[data-map=use] path')].map(e => e.getAttribute('class'))")) == {
        "u0",
        "u-none",
    }


def test_keys_and_pointer_move_the_cursor_and_turn_the_path(tab, page):
    tab.open(page)
    value = "Number(document.querySelector('input[type=range]').value)"
    first = tab.run(value)
    tab.run("document.querySelector('input[type=range]').focus()")
    for kind in ("rawKeyDown", "keyUp"):
        tab.say("Input.dispatchKeyEvent", type=kind, key="ArrowRight", code="ArrowRight", windowsVirtualKeyCode=39)
    assert tab.run(value) == first + 1
    tab.run("document.querySelector('.plot[role=img] .cursor').closest('.plot').scrollIntoView({block: 'center'})")
    box = tab.run(
        "(b => [b.left, b.top, b.width, b.height])"
        "(document.querySelector('.cursor').closest('.plot').getBoundingClientRect())"
    )
    for kind in ("mousePressed", "mouseReleased"):
        tab.say(
            "Input.dispatchMouseEvent",
            type=kind,
            x=box[0] + 0.5 * box[2],
            y=box[1] + 0.5 * box[3],
            button="left",
            clickCount=1,
        )
    middle = float(tab.run(SAY)["t"].removesuffix(" s"))
    assert middle == pytest.approx(9.4 / 2, abs=0.2)
    tab.run("document.querySelector('.in-space').open = true")
    turned = "document.querySelector('.strokes .p3').getAttribute('d')"
    still = tab.run(turned)
    tab.run("document.querySelector('.path3d').focus()")
    tab.say("Input.dispatchKeyEvent", type="rawKeyDown", key="ArrowLeft", code="ArrowLeft", windowsVirtualKeyCode=37)
    assert tab.run(turned) != still
    tab.run("document.querySelector('[data-view]').click()")
    again = tab.run(turned)
    numbers = [np.array(re.findall(r"-?[\d.]+", d), dtype=float) for d in (still, again)]
    np.testing.assert_allclose(numbers[0], numbers[1], atol=0.11)  # drawn by Python, then by the script


def test_a_button_shows_and_hides_the_curve_of_a_check(tab, page):
    tab.open(page)
    shown = (
        "[...document.querySelectorAll('.plot [data-check=hold]')].filter(e => getComputedStyle(e).display != 'none')"
    )
    click = "document.querySelector('[data-toggle=hold]').click()"
    assert tab.run(f"{shown}.length") == 2  # the curve and its words
    tab.run(click)
    assert tab.run(f"{shown}.length") == 0
    assert tab.run("document.querySelector('[data-toggle=hold]').getAttribute('aria-pressed')") == "false"
    tab.run(click)
    assert tab.run(f"{shown}.length") == 2


def test_links_lead_from_a_finding_to_its_time_and_back(tab, page, view):
    tab.open(page, "#job1-f2")
    second = "document.getElementById('job1-f2')"
    assert tab.run(f"{second}.open") is True
    tab.run(f"{second}.querySelector('a.at').click()")
    time.sleep(0.1)
    t = view.numbered[1].worst["t"]
    assert tab.run("document.querySelector('.now output').textContent") == f"{t:.3f} s"
    tab.run(f"{second}.open = false")
    back = tab.run("(e => [e.hidden, e.textContent])(document.querySelector('.back'))")
    assert back[0] is False
    number = int(back[1].removeprefix("finding "))  # the first of those at this time
    assert view.numbered[number - 1].worst["t"] == t
    tab.run("document.querySelector('.back').click()")
    time.sleep(0.1)
    assert tab.run(f"document.getElementById('job1-f{number}').open") is True
    tab.run("{const s = document.querySelector('input[type=range]'); s.value = 0;"
            "s.dispatchEvent(new Event('input', {bubbles: true}));}")  # fmt: skip
    assert tab.run("document.querySelector('.back').hidden") is True


def test_page_of_a_job_takes_four_screens_and_shows_the_curve_on_the_first(tab, page):
    for wide, high, screens in ((1280, 800, 4), (390, 844, 6)):
        tab.open(page, width=wide, height=high)
        assert tab.run("document.documentElement.scrollHeight") <= screens * high
        curve, bar = (
            tab.run(f"(b => [b.top, b.bottom])(document.querySelector('{what}').getBoundingClientRect())")
            for what in (".frame.tall", ".slider")
        )
        assert curve[1] <= bar[0] < high


def test_page_fits_a_phone(tab, page):
    tab.open(page, width=390, height=844)
    tab.run("document.querySelectorAll('details').forEach(d => { d.open = true; })")
    assert tab.run("document.documentElement.scrollWidth") == 390
    cut = tab.run(
        "[...document.querySelectorAll('main *')].filter(e => !e.closest('.table, .legend, .jump') && "
        "e.getBoundingClientRect().width && e.getBoundingClientRect().right > 391).map(e => e.outerHTML.slice(0, 90))"
    )
    assert cut == []
    small = tab.run(
        "[...document.querySelectorAll('p, li, dd, td, th, h2, h3, h4, h5, button')].filter(e => e.offsetParent)"
        ".map(e => parseFloat(getComputedStyle(e).fontSize)).reduce((a, b) => Math.min(a, b))"
    )
    assert small >= 11.5
    cut = tab.run(
        "[...document.querySelectorAll('.ribbon svg svg text')].filter(e => e.checkVisibility() && "
        "e.getBoundingClientRect().right > e.parentNode.getBoundingClientRect().right + 1).map(e => e.textContent)"
    )
    assert cut == []
    narrow = tab.run("[...document.querySelectorAll('button')].every(b => b.getBoundingClientRect().height >= 24)")
    assert narrow  # WCAG 2.2, 2.5.8: targets of at least 24 px


def test_words_at_curves_and_numbers_of_findings_do_not_cover_each_other(tab, page):
    covered = (
        "{const name = e => e.textContent || e.nextSibling.textContent, boxes = "
        "[...document.querySelectorAll('.frame.tall :is(.curve-label, .mark-disc)')]"
        ".map(e => [e, e.getBoundingClientRect()]).filter(b => b[1].width);"
        "const meet = (p, q) => p.left < q.right - 1 && q.left < p.right - 1 && "
        "p.top < q.bottom - 3 && q.top < p.bottom - 3;"
        "boxes.flatMap(([a, p], i) => boxes.slice(i + 1).filter(b => meet(p, b[1])).map(([b]) => name(a) + name(b)))}"
    )
    for wide in (1280, 390):
        tab.open(page, width=wide, height=844)
        assert tab.run(covered) == []


def test_page_prints_on_four_sheets_of_a4(tab, page):
    tab.open(page)
    tab.say("Emulation.setEmulatedMedia", media="print")
    try:
        assert tab.run("getComputedStyle(document.querySelector('.slider')).display") == "none"
    finally:
        tab.say("Emulation.setEmulatedMedia", media="")
    pdf = tab.pdf()
    sheets = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf)
    assert 2 <= len(sheets) <= 4
    for wide, high in sheets:  # ISO 216: 210 x 297 mm, in points of 1/72 inch
        assert float(wide) == pytest.approx(595.3, abs=1)
        assert float(high) == pytest.approx(841.9, abs=1)


def test_screen_shows_a_drawing_and_no_empty_page(tab, page):
    from PIL import Image

    tab.open(page)
    tab.run("document.querySelector('.times').scrollIntoView()")
    shot = np.asarray(Image.open(io.BytesIO(tab.scene())).convert("RGB")).reshape(-1, 3)
    assert shot.shape[0] == 1200 * 900
    assert np.unique(shot[::97], axis=0).shape[0] > 20


def test_page_of_a_long_program_opens(tab, long_report, tmp_path):
    where = tmp_path / "long.html"
    where.write_text(gm.report_html(long_report), encoding="utf-8")
    tab.open(where, "#t=0.3")
    assert tab.logged == []
    assert tab.run("document.documentElement.dataset.ready") == "yes"


@pytest.fixture(scope="module")
def many(carried, tmp_path_factory):
    where = tmp_path_factory.mktemp("many") / "many.html"
    broken = ("cell/no.toml", gm.InputError("no.toml", "nothing", "a job", "write one"))
    where.write_text(reports_html([carried(name="one", mass=0.1), carried(name="two", mass=3.0), broken]))
    return where


def opened(tab, key):
    """Wait until a row has unpacked its job."""
    for _ in range(100):
        if tab.run(f"document.getElementById('{key}').dataset.ready") == "yes":
            return
        time.sleep(0.02)
    raise AssertionError(key)


def press(tab, key, code):
    for kind in ("keyDown", "keyUp"):
        tab.say("Input.dispatchKeyEvent", type=kind, key=key, code=key, windowsVirtualKeyCode=code,
                text="\r" if key == "Enter" else "")  # fmt: skip


def test_a_row_opens_its_job_by_key_and_each_has_its_own_cursor(tab, many):
    tab.open(many, "#job2:t=0.25")
    opened(tab, "job2")
    time_of = "document.querySelector('#{} .now output').textContent"
    assert abs(float(tab.run(time_of.format("job2")).removesuffix(" s")) - 0.25) < 0.005
    assert tab.run("document.querySelectorAll('.slider').length") == 1
    tab.run("document.querySelector('#job1>summary').focus()")
    press(tab, "Enter", 13)
    opened(tab, "job1")
    assert tab.run(time_of.format("job1")) != tab.run(time_of.format("job2"))
    assert tab.logged == []
    tab.open(many, "#job2-f1")
    opened(tab, "job2")
    assert tab.run("document.activeElement.parentNode.id") == "job2-f1"


def test_words_and_verdicts_filter_the_rows(tab, many):
    tab.open(many)
    rows = "[...document.querySelectorAll('.entry')].filter(e => e.offsetParent).map(e => e.id)"
    assert tab.run(rows) == ["job3", "job2", "job1"]
    tab.run("document.querySelector('.filter [data-only=fail]').click()")
    assert tab.run(rows) == ["job2"]
    assert tab.run("document.querySelector('.filter output').textContent") == "1 of 3 jobs"
    tab.run("document.querySelector('.filter [data-only=fail]').click()")
    tab.run("document.querySelector('.filter input').focus()")
    tab.say("Input.insertText", text="Cell no")
    assert tab.run(rows) == ["job3"]


def test_many_jobs_fit_a_phone_and_print_with_those_that_fail(tab, many):
    tab.open(many, width=390, height=844)
    assert tab.run("document.documentElement.scrollWidth") == 390
    assert tab.run("[...document.querySelectorAll('.filter button')].every(b => b.offsetHeight >= 24)")
    tab.say("Emulation.setEmulatedMedia", media="print")
    try:
        seen = "[...document.querySelectorAll('.entry .verdict')].filter(e => e.checkVisibility())"
        assert tab.run(f"{seen}.map(e => e.closest('.entry').id)") == ["job2"]
        assert tab.run("[...document.querySelectorAll('.entry>summary')].every(e => e.checkVisibility())")
        tab.say("Emulation.setDeviceMetricsOverride", width=700, height=990, deviceScaleFactor=1, mobile=False)
        apart = "[...document.querySelectorAll('.entry>summary')].every(e => edge(e, 0).right <= edge(e, 1).left)"
        assert tab.run(f"{{const edge = (e, i) => e.children[i].getBoundingClientRect(); {apart}}}")
    finally:
        tab.say("Emulation.setEmulatedMedia", media="")


def test_without_script_a_row_opens_to_what_was_decided(tab, many):
    tab.say("Emulation.setScriptExecutionDisabled", value=True)
    try:
        tab.open(many)
        root = tab.say("DOM.getDocument", depth=0)["root"]["nodeId"]
        row = tab.say("DOM.querySelector", nodeId=root, selector="#job2")["nodeId"]
        tab.say("DOM.setAttributeValue", nodeId=row, name="open", value="")
        said = tab.say("DOM.querySelector", nodeId=root, selector="noscript p")["nodeId"]
        checks = tab.say("DOM.querySelector", nodeId=row, selector=".checks td")["nodeId"]
        for node in (said, checks):
            box = tab.say("DOM.getBoxModel", nodeId=node)["model"]
            assert box["height"] > 10
    finally:
        tab.say("Emulation.setScriptExecutionDisabled", value=False)
