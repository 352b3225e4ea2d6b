"""What got worse against approved reports: by value, verdict, target, finding; checks and jobs that are gone."""

import json
import math
from dataclasses import replace

import pytest

import gripmargin as gm
from gripmargin.reports.as_glance import report_glance, verdict_line
from gripmargin.reports.as_json import error_json
from gripmargin.reports.as_lines import report_lines
from gripmargin.results.findings import Finding, NotChecked, Verdict
from gripmargin.results.report import Judgement
from gripmargin.run.baseline import comparison_text


@pytest.fixture
def approve(tmp_path):
    """Write reports as an earlier run did, and read them as a baseline."""

    def make(*reports):
        path = tmp_path / "approved.json"
        path.write_text(json.dumps([gm.report_tree(report) for report in reports]))
        return gm.read_baseline(path)

    return make


@pytest.fixture
def good(reports):
    return reports["good"]


def altered(report, **changes):
    """The report with its hold check changed."""
    checks = tuple(replace(c, **changes) if c.check == "hold" else c for c in report.checks)
    return replace(report, checks=checks)


def hold(report):
    (found,) = [check for check in report.checks if check.check == "hold"]
    return found


def kinds(comparison):
    return [(item.check, item.kind) for item in comparison.worse]


def finding(report, *, check="hold", verdict=Verdict.FAIL, move="lift", start=0.1, end=0.2):
    made = Finding(
        check=check, verdict=verdict, start=start, end=end, spans=((start, end),),
        worst={"t": start, "sample": 1, "move": move}, because={}, remedies=(), text="short",
    )  # fmt: skip
    return replace(report, findings=(*report.findings, made))


def test_what_is_accepted_anew_is_worse_and_stands_in_every_report(good, approve):
    before, now = replace(good, accepted=("spacing",)), replace(good, accepted=("spacing", "target"))
    assert kinds(gm.compare([now], approve(before))) == [(None, "accepted")]
    assert gm.compare([before], approve(now)).passed
    for said in (report_glance(now), verdict_line(now)):
        assert "spacing, target" in said


def test_the_same_is_not_worse(reports, approve):
    found = gm.compare(reports.values(), approve(*reports.values()), worse=0.0)
    assert found.passed
    assert found.compared == ("good", "heavy", "noisy")
    assert found.new == ()
    assert comparison_text(found) == "BASELINE  3 jobs compared; nothing got worse by more than 0 %\n"


@pytest.mark.parametrize("worse", [0.0, 0.05, 0.5])
def test_a_loss_counts_from_the_stated_share_on(good, approve, worse):
    baseline, value = approve(good), hold(good).value
    at, below = (1 - worse) * value, math.nextafter((1 - worse) * value, 0)
    assert gm.compare([altered(good, value=at)], baseline, worse=worse).passed
    assert kinds(gm.compare([altered(good, value=below)], baseline, worse=worse)) == [("hold", "value")]
    assert gm.compare([altered(good, value=1.5 * value)], baseline, worse=worse).passed


def test_the_least_value_counts_too(good, approve):
    found = gm.compare([altered(good, low=0.9 * hold(good).low)], approve(good))
    assert kinds(found) == [("hold", "low")]
    assert found.worse[0].now == pytest.approx(0.9 * found.worse[0].before)


def test_a_figure_that_is_gone_or_was_without_bound(good, approve):
    none = {"value": None, "low": None}
    unknown = altered(good, verdict=Verdict.UNDECIDED, **none)
    unbounded = altered(good, **none)  # passes without a figure: nothing loads the pads
    assert kinds(gm.compare([unknown], approve(good))) == [("hold", "verdict"), ("hold", "value"), ("hold", "low")]
    assert kinds(gm.compare([good], approve(unbounded))) == [("hold", "value"), ("hold", "low")]
    assert gm.compare([unbounded], approve(good)).passed
    assert gm.compare([unbounded], approve(unbounded)).passed
    assert gm.compare([good], approve(unknown)).passed
    text = comparison_text(gm.compare([good], approve(unbounded)))
    assert "hold: value was without a bound and is" in text


def test_nan_never_passes(good, approve):
    assert not gm.compare([altered(good, value=math.nan, verdict=Verdict.PASS)], approve(good)).passed
    assert not gm.compare([altered(good, target=math.nan)], approve(good)).passed


@pytest.mark.parametrize(
    ("was", "now", "worse"),
    [
        ("pass", "undecided", True),
        ("pass", "fail", True),
        ("undecided", "fail", True),
        ("undecided", "pass", False),
        ("fail", "undecided", False),
        ("fail", "pass", False),
    ],
)
def test_verdicts(good, approve, was, now, worse):
    found = gm.compare([altered(good, verdict=Verdict(now))], approve(altered(good, verdict=Verdict(was))))
    assert kinds(found) == ([("hold", "verdict")] if worse else [])


def test_a_lower_target_is_worse(good, approve):
    """Whoever lowers the bar until the program passes is told."""
    found = gm.compare([altered(good, target=1.2)], approve(good))
    assert kinds(found) == [("hold", "target")]
    assert found.worse[0].text == "hold: target was 2 and is 1.2 now"
    assert gm.compare([altered(good, target=2.5)], approve(good)).passed


def test_a_check_that_is_gone_is_worse_and_says_why(good, approve):
    others = tuple(check for check in good.checks if check.check != "hold")
    gone = replace(good, checks=others, not_checked=(NotChecked(check="hold", reason="nobody asked"),))
    found = gm.compare([gone], approve(good))
    assert kinds(found) == [("hold", "check gone")]
    assert found.worse[0].text == "hold: was made (pass) and is not made now: nobody asked"
    back = gm.compare([good], approve(gone))
    assert back.passed
    assert back.new == ("check 'hold' of job 'good' is not in the baseline",)


def test_jobs_that_are_gone_broken_or_new(reports, approve):
    good, heavy = reports["good"], reports["heavy"]
    broken = Judgement(job_file="heavy.toml", error=gm.InputError("heavy.toml", "no such file", "a file"))
    for now in ([good], [good, broken], [Judgement(job_file="good.toml", report=good), broken]):
        found = gm.compare(now, approve(good, heavy))
        assert [(item.job, item.kind) for item in found.worse] == [("heavy", "job gone")]
    found = gm.compare([good, heavy], approve(good))
    assert found.passed
    assert found.new == ("job 'heavy' is not in the baseline",)


@pytest.mark.parametrize(
    ("was", "now", "worse"),
    [
        ({}, {}, False),
        ({}, {"move": "transfer"}, True),
        ({}, {"check": "release"}, True),
        ({"verdict": Verdict.UNDECIDED}, {}, True),
        ({}, {"verdict": Verdict.UNDECIDED}, False),
        ({}, {"start": 0.5, "end": 0.6}, False),  # the same move, elsewhere in it
        ({"move": None}, {"move": None, "start": 0.15, "end": 0.3}, False),
        ({"move": None}, {"move": None, "start": 0.5, "end": 0.6}, True),
    ],
)
def test_findings(good, approve, was, now, worse):
    found = gm.compare([finding(good, **now)], approve(finding(good, **was)))
    assert [item.kind for item in found.worse] == (["finding"] if worse else [])


def test_a_first_finding_is_new(good, approve):
    found = gm.compare([finding(good)], approve(good))
    assert found.worse[0].text == "hold: fail from 0.100 to 0.200 s in move 'lift', where there was none"


def test_the_text_says_what_and_by_how_much(good, approve):
    now = altered(good, value=0.75 * hold(good).value)
    before = hold(good).value
    text = comparison_text(gm.compare([now], approve(good, replace(good, job="old"))))
    assert text.startswith("BASELINE  worse than approved: 2 changes in 2 of the jobs\n")
    assert f"\n  good\n    - hold: value was {before:.4g} and is {0.75 * before:.4g} now, 25.0 % less\n" in text
    assert "\n  old\n    - the job is in the baseline and was not checked now\n" in text


def test_names_from_a_job_cannot_forge_a_line(good, approve):
    nasty = replace(altered(good, target=1.0), job="a\nBASELINE  nothing got worse\x1b[2J")
    text = comparison_text(gm.compare([nasty], approve(replace(good, job=nasty.job))))
    assert text.count("BASELINE") == 2
    assert [line for line in text.splitlines() if line.startswith("BASELINE")] == text.splitlines()[:1]
    assert "\x1b" not in text


def test_two_jobs_of_one_name_cannot_be_compared(good, approve):
    with pytest.raises(gm.InputError, match="two jobs with the name 'good'"):
        gm.compare([good, good], approve(good))


@pytest.mark.parametrize("worse", [-0.1, 1.0, 5, math.nan, math.inf, True, "5 %", None])
def test_a_share_that_is_none(good, approve, worse):
    with pytest.raises(gm.InputError, match="from 0 to below 1"):
        gm.compare([good], approve(good), worse=worse)


def test_every_form_that_the_command_writes_is_read(reports, tmp_path):
    judgements = [Judgement(job_file=f"{name}.toml", report=report) for name, report in reports.items()]
    broken = Judgement(job_file="x.toml", error=gm.InputError("x.toml", "nothing", "a file"))
    path = tmp_path / "approved"
    path.write_text(gm.report_json(reports["good"], samples=True))
    assert list(gm.read_baseline(path).jobs) == ["good"]
    for text in (report_lines([*judgements, broken], samples=True), report_lines(judgements[:1])):
        path.write_text(text)
        assert list(gm.read_baseline(path).jobs) == list(reports)[: len(text.splitlines())]
    items = [*map(gm.report_json, reports.values()), error_json("x.toml", broken.error)]
    path.write_text("[" + ",".join(items) + "]")
    baseline = gm.read_baseline(path)
    assert baseline.broken == ("x.toml",)
    assert gm.compare(judgements, baseline).new == ("'x.toml' could not be checked when the baseline was made",)


def spoilt(report, **changes):
    tree = gm.report_tree(report)
    for path, value in changes.items():
        *steps, last = path.split("__")
        at = tree
        for step in steps:
            at = at[int(step)] if isinstance(at, list) else at[step]
        if value is KeyError:
            del at[last]
        else:
            at[last] = value
    return json.dumps(tree)


BROKEN = [
    ("", "an empty file", "a file with content"),
    ("{", "text that is not JSON", "valid JSON"),
    ("[]", "no report of a job that was checked", "at least one to compare with"),
    ("[3]", "the number 3", "a report, as --json writes it"),
    ('"x"', '"x"', "a report, as --json writes it"),
    ('{"schema": "other/1"}', '"other/1"', '"gripmargin-report/1"'),
    ('{"schema": 1}', "the number 1", "a text"),
    ("{}", "nothing", "a text"),
    ({"job": KeyError}, "nothing", "a text"),
    ({"checks": {}}, "a table", "a list"),
    ({"checks__0__value": "1.5"}, '"1.5"', "a number or null"),
    ({"checks__0__value": True}, "true", "a number or null"),
    ({"checks__0__value": math.nan}, "NaN", "a finite number"),
    ({"checks__0__low": -math.inf}, "-Infinity", "a finite number"),
    ({"checks__0__target": None}, "null", "a number"),
    ({"checks__0__verdict": "passed"}, '"passed"', "verdict 'pass', 'undecided' or 'fail'"),
    ({"findings__0__worst": []}, "a list of 0", "a table"),
    ({"findings__0__worst__move": 3}, "the number 3", "a text or null"),
    ({"findings__0__from": KeyError}, "nothing", "a number"),
]


@pytest.mark.parametrize(("content", "found", "expected"), BROKEN)
def test_a_broken_baseline_says_where(reports, tmp_path, content, found, expected):
    path = tmp_path / "approved.json"
    path.write_text(content if isinstance(content, str) else spoilt(reports["heavy"], **content))
    with pytest.raises(gm.InputError) as error:
        gm.read_baseline(path)
    assert str(path) in error.value.where
    assert error.value.found.startswith(found)
    assert error.value.expected == expected
    if not isinstance(content, str) and "finite" not in expected:
        last = next(iter(content)).split("__")[-1]
        assert error.value.where.endswith(last)


def test_a_broken_line_is_named_by_its_number(reports, tmp_path):
    path = tmp_path / "approved.jsonl"
    line = report_lines([Judgement(job_file="a", report=reports["good"])])
    path.write_text(line + '{"schema": nothing}\n')
    with pytest.raises(gm.InputError) as error:
        gm.read_baseline(path)
    assert error.value.where == f"{path}, line 2"
    path.write_text(line + line)
    with pytest.raises(gm.InputError, match="two jobs with the name 'good'"):
        gm.read_baseline(path)


def test_a_number_too_large_for_a_float_is_no_traceback(reports, tmp_path, good):
    path = tmp_path / "approved.json"
    path.write_text(spoilt(good, checks__0__value=10**400))
    assert not gm.compare([good], gm.read_baseline(path)).passed
