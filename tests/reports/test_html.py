"""The HTML page: what it says, that nothing of a job can become markup, and that every report can be drawn."""

import base64
import hashlib
import html
import json
import pickle
import re
import zlib
from collections import Counter
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import gripmargin as gm
from gripmargin import cli
from gripmargin.base.errors import InputErrors
from gripmargin.reports.html import reports_html
from gripmargin.reports.html.overview import row
from gripmargin.reports.html.text import data_block, printable
from gripmargin.reports.html.view import View
from gripmargin.results.findings import Verdict

JOBS = Path(__file__).parents[2] / "trajectories"
VOID = {"meta", "input", "br"}
NASTY = "</script><img src=x onerror=alert(1)> <!-- \u2028 \x1b[31m \u202e & \"' ]]> {} %s é"


class Page(HTMLParser):
    """A page taken apart: elements with attributes, texts by element; every element has to be closed."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.elements, self.open, self.texts = [], [], []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        assert len(dict(attrs)) == len(attrs), (tag, attrs)
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open:
            self.texts.append((self.open[-1], data))

    def named(self, tag):
        return [attrs for name, attrs in self.elements if name == tag]

    def text(self):
        return " ".join(text for tag, text in self.texts if tag not in ("script", "style"))


def inside(text):
    """What the rows of a page open: the markup of each job by its place among those given."""
    found = re.findall(r'<script type="text/plain" class="packed" data-job="(job\d+)">([^<]*)<', text)
    return {key: zlib.decompress(base64.b64decode(packed)).decode() for key, packed in found}


def plain(text):
    """What a page makes of a sentence: printable, units raised."""
    text = "".join(c if c.isprintable() else " " for c in text)
    return text.replace("N/cm^2", "N/cm²").replace("m/s^2", "m/s²").replace("rad/s^2", "rad/s²")


def test_page_says_what_the_report_says(demo, pages):
    for name, report in demo.items():
        text = Page(pages[name]).text()
        said = [report.job, str(report.verdict), *report.assumed, *report.notes, *report.references]
        said += [f.text for f in report.findings] + [r.text for f in report.findings for r in f.remedies]
        said += [s for f in report.findings for _, s in f.lines] + [item.reason for item in report.not_checked]
        said += [line for check in report.checks for line in check.lines]
        assert [s for s in said if plain(s) not in text] == []


def test_verdict_and_what_governs_come_first(pages):
    for page in pages.values():
        parts = ('class="verdict"', "Share of the target", ">Checks<", ">Findings<", ">Moves<", ">On the pads<")
        assert (np.diff([page.index(part) for part in parts]) > 0).all()


def test_a_report_from_another_process_gives_the_same_bytes(demo, pages):
    for name, report in demo.items():
        assert gm.report_html(pickle.loads(pickle.dumps(report))) == pages[name]


def test_page_asks_for_nothing_outside_itself(pages):
    for text in pages.values():
        page = Page(text)
        links = [v for _, attrs in page.elements for k, v in attrs.items() if k in ("src", "href", "action", "data")]
        assert [link for link in links if not link.startswith("#")] == []
        assert "http://" not in text
        assert "https://" not in text
        assert not re.search(r"@import|url\((?!#)", text)
        assert page.named("style")
        assert [a for _, a in page.elements if "style" in a or any(k.startswith("on") for k in a)] == []


def test_policy_allows_the_pages_own_script_and_style_alone(pages):
    """Content Security Policy Level 3: a hash source is the base64 of the SHA-256 of the element's text."""
    for text in pages.values():
        policy = Page(text).named("meta")[1]["content"]
        assert policy.startswith("default-src 'none'; ")
        for tag in ("style", "script"):
            (inner,) = re.findall(rf"<{tag}>(.*?)</{tag}>", text, re.DOTALL)
            digest = base64.b64encode(hashlib.sha256(inner.encode()).digest()).decode()
            assert f"{tag}-src 'sha256-{digest}'" in policy


def test_nothing_from_a_job_becomes_markup(carried):
    """A page with markup in every name has the same elements as one with letters there."""
    letters = "a" * len(NASTY)
    shapes = []
    for word in (NASTY, letters):
        report = carried(names=(word + "1", word + "2"), material=word, move=word, name=word, mass=2.0)
        assert report.findings
        entries = [report, (word, gm.InputError(word, word, word, word))]
        several = reports_html(entries)
        for text in (gm.report_html(report), several, *inside(several).values()):
            page = Page(text)
            shapes.append([(tag, sorted(attrs)) for tag, attrs in page.elements])
            assert "alert(1)" not in " ".join(
                v or "" for _, a in page.elements for k, v in a.items() if k.startswith("on")
            )
    assert len(shapes) == 6
    assert shapes[:3] == shapes[3:]
    text = gm.report_html(carried(names=(NASTY,), material=NASTY, move=NASTY, name=NASTY, mass=2.0))
    assert "\u2028" not in text
    assert "\u202e" not in text
    assert "\x1b" not in text
    assert "<img" not in text
    for block in re.findall(r'<script type="application/json" class="data">(.*?)</script>', text):
        assert printable(NASTY) in json.loads(block)["labels"]


@given(st.text())
def test_data_for_the_script_cannot_end_it(text):
    block = data_block({"name": text})
    assert not set("<>&\u2028\u2029") & set(block)
    assert json.loads(block) == {"name": text}


def odd_reports(carried):
    standing = carried()
    floating = carried(gravity=(0.0, 0.0, 0.0), samples=5, seconds=0.01)
    upright = [
        gm.pose(xyz=[0.05, 0, 0.02], rpy=[0, np.pi / 2, 0]),
        gm.pose(xyz=[-0.05, 0, 0.02], rpy=[0, -np.pi / 2, 0]),
    ]
    nothing = np.full(standing.samples.t.size, np.nan)
    samples = standing.samples
    yield "no picture", replace(standing, scene=None)
    yield "no load", floating
    yield "five samples", carried(samples=5)
    yield "no moves", carried(moves=False)
    yield "no phases", carried(phases=False)
    yield "pads upright", carried(poses=upright)
    yield "many pads", carried(samples=31, names=tuple(f"pad {i}" for i in range(14)))
    yield "one pad", carried(names=("only",))
    yield "much too heavy", carried(mass=1e6)
    yield "nearly nothing", carried(mass=1e-9)
    silent = replace(samples, hold_margin=nothing, hold_margin_low=nothing, governing=nothing)
    yield "no margin", replace(standing, samples=silent, shares={"hold": nothing})
    endless = np.where(
        np.arange(nothing.size) % 3 == 0, np.inf, np.where(np.arange(nothing.size) % 3 == 1, 0.0, np.nan)
    )
    yield (
        "endless margin",
        replace(
            standing,
            samples=replace(samples, hold_margin=endless, governing=np.where(np.isinf(endless), 3.0, endless)),
            shares={"hold": endless, "swing": endless},
        ),
    )
    one = replace(samples, **{
        k: (v[:1].copy() if isinstance(v, np.ndarray) else v[:1]) for k, v in vars(samples).items() if k != "stamp"
    })  # fmt: skip
    yield "one sample", replace(standing, samples=one, shares={}, scene=None, findings=(), checks=())
    empty = [replace(c, value=None, low=None, high=None, at=None, verdict=Verdict.UNDECIDED) for c in standing.checks]
    yield "no figures", replace(standing, checks=tuple(empty), verdict=Verdict.UNDECIDED)


def test_every_report_can_be_drawn_and_shows_no_broken_number(carried):
    for name, report in odd_reports(carried):
        with np.errstate(all="raise", under="ignore"):
            text = gm.report_html(report)
        page = Page(text)
        shown = page.text() + " ".join(v or "" for _, attrs in page.elements for v in attrs.values())
        assert not re.search(r"\b(nan|NaN|inf|Infinity|undefined|None|null)\b", shown), name
        for block in re.findall(r'class="data">(.*?)</script>', text):
            json.loads(block, parse_constant=pytest.fail)


def test_a_share_of_nothing_is_drawn_and_not_left_out(carried):
    report = carried()
    share = report.samples.governing.copy()
    assert np.isfinite(share[100:120]).all()
    share[100:120] = 0.0
    text = gm.report_html(
        replace(report, samples=replace(report.samples, governing=share), shares=dict(report.shares, hold=share))
    )
    for style in ("s1", "k1"):
        path = re.search(rf'<path class="{style}" d="([^"]*)"', text[text.index('id="job1-margin-t"') :])[1]
        assert path.count("M") == 1  # one unbroken line
        assert max(float(y) for y in re.findall(r"[ML][\d.]+ ([\d.]+)", path)) == 1000.0  # down to the bottom


def test_pages_are_labelled_for_those_who_cannot_see_them(pages):
    """WCAG 2.2: 1.1.1 text alternatives, 1.3.1 headings and tables, 4.1.2 name and value of controls."""
    for text in pages.values():
        page = Page(text)
        ids = [attrs["id"] for _, attrs in page.elements if "id" in attrs]
        assert [i for i, n in Counter(ids).items() if n > 1] == []
        named = [i for _, a in page.elements if "aria-labelledby" in a for i in a["aria-labelledby"].split()]
        assert set(named) <= set(ids)
        for attrs in page.named("svg"):
            if attrs.get("role") == "img":
                assert attrs.get("aria-label") or attrs.get("aria-labelledby") or attrs.get("class") == "gauge"
        assert all(attrs.get("scope") in ("row", "col") for attrs in page.named("th"))
        levels = [int(tag[1]) for tag, _ in page.elements if re.fullmatch(r"h[1-6]", tag)]
        assert all(b <= a + 1 for a, b in pairwise(levels)), levels
        (slider,) = (attrs for attrs in page.named("input") if attrs["type"] == "range")
        assert all("aria-label" in attrs for attrs in page.named("input"))
        assert {"aria-label", "aria-valuetext"} <= slider.keys()
        assert all(a.get("type") == "button" for a in page.named("button"))


@pytest.fixture(scope="module")
def several(carried):
    broken = ("no.toml", InputErrors([gm.InputError("no.toml", "nothing", "a job", "write one")]))
    good, bad, worse = (carried(name=name, mass=m) for name, m in (("good", 0.1), ("bad", 1.6), ("worse", 3.0)))
    undecided = replace(good, job="doubtful", verdict=Verdict.UNDECIDED, checks=tuple(
        replace(check, verdict=Verdict.UNDECIDED, low=None) for check in good.checks))  # fmt: skip
    return [good, ("cell/bad.toml", bad), broken, ("cell/worse.toml", worse), undecided]


def test_several_jobs_share_one_page_with_the_worst_first(several):
    text = reports_html(several)
    page = Page(text)
    rows = [a for a in page.named("details") if "entry" in a.get("class", "").split()]
    assert [a["id"] for a in rows] == ["job3", "job4", "job2", "job5", "job1"]
    assert [a["data-verdict"] for a in rows] == ["not checked", "fail", "fail", "undecided", "pass"]
    said = " ".join(page.text().split())
    assert re.search(r"All together: fail \. 1 could not be checked", said)
    assert "not checked 1 fail 2 undecided 1 pass 1" in said
    assert {"cell/bad.toml", "cell/worse.toml", "no.toml"} <= {data for _, data in page.texts}
    ids = [attrs["id"] for _, attrs in page.elements if "id" in attrs]
    assert len(ids) == len(set(ids))
    assert text.count('class="spark"') == 4


def test_a_row_opens_what_the_page_of_its_job_has(several):
    """Up to twelve jobs lose no point; without the script there are the verdict, what to change, and the checks."""
    text = reports_html(several)
    found = inside(text)
    assert sorted(found) == ["job1", "job2", "job4", "job5"]
    _, alone = several[1]
    single = gm.report_html(alone)
    assert found["job2"].replace("job2", "job1") in single
    brief = text[text.index('id="job2"') : text.index("packed", text.index('id="job2"'))]
    assert "To change" in brief
    assert "Checks with their worst figures" in brief


def test_two_hundred_jobs_stay_small(demo):
    """10 MB and 200 jobs: 50 kB a job, of which the frame of the page has its part."""
    sizes = []
    for i, report in enumerate(demo.values()):
        sizes.append(len(row(f"job{i}", f"cell/{i}.toml", report, 200)))
    assert np.mean(sizes) < 49_000


def test_a_job_among_many_keeps_its_peak(long_report):
    """Twelve jobs have all that single ones have; of two hundred the worst instants are still drawn and said."""
    report = long_report
    alone, twelve, more = (View.of(report, "job1", jobs) for jobs in (1, 12, 13))
    assert (alone.columns, alone.stops.size) == (twelve.columns, twelve.stops.size)
    assert more.columns < twelve.columns
    assert more.stops.size < twelve.stops.size
    least = float(np.nanmin(report.samples.governing))
    text = row("job1", "lid.toml", report, 200)
    (found,) = inside(text).values()
    tree = json.loads(re.search(r'class="data">(.*?)</script>', found)[1])
    assert max(u for u in tree["share"] if u is not None) == pytest.approx(1 / least, rel=1e-5)
    small = re.search(r'class="spark".*?class="s1" d="([^"]*)"', text)[1]
    deep = max(float(y) for y in re.findall(r"[ML][\d.]+ ([\d.]+)", small))
    assert deep == pytest.approx(24.0 * min(1 / least / 1.6, 1.0), abs=0.06)


def test_command_writes_the_page_whole(tmp_path, capsys, pages):
    where, job = tmp_path / "page.html", str(JOBS / "lid-no-data.toml")
    assert cli.main(["check", job, "--html", str(where)]) == cli.UNDECIDED
    assert where.read_text(encoding="utf-8") == pages["lid-no-data"]  # the same input gives the same bytes
    assert [p.name for p in tmp_path.iterdir()] == ["page.html"]
    for wrong in (["--html", "-"], ["--html", "x.json", "--json", "x.json"]):
        assert cli.main(["check", job, *wrong]) == cli.BAD_INPUT
        assert "gripmargin: --html: found" in capsys.readouterr().err


def test_command_gives_a_broken_job_its_place_in_the_page(tmp_path):
    where = tmp_path / "page.html"
    nowhere = tmp_path / "no" / "page.html"
    assert cli.main(["check", str(tmp_path / "no.toml"), "--html", str(nowhere)]) == cli.BAD_INPUT
    assert cli.main(["check", str(tmp_path / "no.toml"), "--html", str(where)]) == cli.BAD_INPUT
    assert "could not be checked" in html.unescape(where.read_text(encoding="utf-8"))
