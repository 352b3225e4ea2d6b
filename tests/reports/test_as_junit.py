"""JUnit XML: what the common schema allows, what an outside reader makes of it, any text in it."""

from dataclasses import replace

import junitparser
import pytest
from defusedxml import ElementTree

import gripmargin as gm
from gripmargin.base.errors import FaultError, InputErrors
from gripmargin.results.findings import NotChecked
from gripmargin.results.report import Judgement

# The schema that servers share (the Jenkins project's, as pytest's documentation quotes it; the newer attributes of
# skipped from memory): children in this order, how often at most, and attributes, those that are due with a star.
SCHEMA = {
    "testsuites": ([("testsuite", None)], "name time tests failures disabled errors"),
    "testsuite": (
        [("properties", 1), ("testcase", None), ("system-out", 1), ("system-err", 1)],
        "name* tests* failures errors time disabled skipped timestamp hostname id package",
    ),
    "properties": ([("property", None)], ""),
    "property": ([], "name* value*"),
    "testcase": (
        [("skipped", 1), ("error", None), ("failure", None), ("system-out", None), ("system-err", None)],
        "name* assertions time classname status",
    ),
    "skipped": ([], "type message"),
    "error": ([], "type message"),
    "failure": ([], "type message"),
    "system-out": ([], ""),
    "system-err": ([], ""),
}
NASTY = "a <b> & \"q\" 'a' ]]> \x00 \x1b[31m \r \ud800 \ufffe \u202e é 板 \U0001f600"


def assert_valid(element):
    children, attributes = SCHEMA[element.tag]
    due = {name.rstrip("*") for name in attributes.split() if name.endswith("*")}
    assert due <= set(element.keys()) <= {name.rstrip("*") for name in attributes.split()}, element.tag
    order = [name for name, _ in children]
    found = [child.tag for child in element]
    assert found == sorted(found, key=order.index), element.tag
    for name, most in children:
        assert most is None or found.count(name) <= most, element.tag
    for key in ("tests", "failures", "errors", "skipped"):
        assert element.get(key, "0").isdecimal()
    for child in element:
        assert_valid(child)


@pytest.fixture
def judgements(reports):
    broken = InputErrors([gm.InputError("x.toml: part.mass", "nothing", "a mass"), gm.InputError("y", "1", "2")])
    return [
        *(Judgement(job_file=f"jobs/{name}.toml", report=report) for name, report in reports.items()),
        Judgement(job_file="jobs/x.toml", error=broken),
        Judgement(job_file="jobs/y.toml", error=FaultError("jobs/y.toml", "SIGKILL", "a verdict", "report it")),
    ]


def parsed(text):
    root = ElementTree.fromstring(text.encode())
    assert_valid(root)
    return root


def test_the_validator_notices_what_is_wrong():
    for text in (
        "<testsuites><testcase name='a'/></testsuites>",
        "<testsuite tests='1'/>",
        "<testsuite name='a' tests='0'><system-out/><properties/></testsuite>",
        "<testcase name='a' host='b'/>",
    ):
        with pytest.raises((AssertionError, KeyError, ValueError)):
            assert_valid(ElementTree.fromstring(text))


def test_it_is_valid_by_the_common_schema(judgements):
    assert_valid(ElementTree.fromstring(gm.junit_xml(judgements).encode()))


def test_an_outside_reader_reads_it(judgements, tmp_path):
    path = tmp_path / "report.xml"
    path.write_text(gm.junit_xml(judgements), encoding="utf-8")
    suites = {suite.name: suite for suite in junitparser.JUnitXml.fromfile(str(path))}
    assert list(suites) == [j.job_file for j in judgements]
    kinds = {}
    for name, suite in suites.items():
        for case in suite:
            assert case.classname == name
            kinds[name, case.name] = [(type(r).__name__, r.message, r.text) for r in case.result]
    assert kinds["jobs/good.toml", "hold"] == []
    (failure,) = kinds["jobs/heavy.toml", "hold"]
    assert failure[0] == "Failure"
    assert failure[1].startswith("hold: fail, margin 1.")
    assert failure[2].startswith(failure[1])
    assert "\n  to change: " in failure[2]
    (skipped,) = kinds["jobs/noisy.toml", "hold"]
    assert skipped[0] == "Skipped"
    assert "undecided" in skipped[1]
    assert "undecided: the accelerations are estimated" in skipped[2]
    (error,) = kinds["jobs/x.toml", "could not be checked"]
    assert error == (
        "Error",
        "x.toml: part.mass: found nothing, expected a mass",
        f"{error[1]}\ny: found 1, expected 2",
    )
    (fault,) = kinds["jobs/y.toml", "could not be checked"]
    assert "an error of the program itself: SIGKILL" in fault[1]
    figures = {p.name: p.value for p in suites["jobs/heavy.toml"].properties()}
    check = judgements[1].report.checks[0]
    assert float(figures["hold.value"]) == check.value
    assert float(figures["hold.target"]) == check.target
    assert figures["hold.move"] == check.at.move


def test_counts_are_those_of_the_cases(judgements):
    root = parsed(gm.junit_xml(judgements))
    for element in (root, *root):
        cases = element.findall(".//testcase")
        assert int(element.get("tests")) == len(cases)
        for key, kind in (("failures", "failure"), ("errors", "error")):
            assert int(element.get(key)) == sum(case.find(kind) is not None for case in cases)
    assert [int(suite.get("skipped")) for suite in root] == [0, 0, 2, 0, 0]


def test_names_are_unique_even_where_jobs_or_checks_are_named_twice(reports):
    twice = replace(reports["heavy"], checks=reports["heavy"].checks * 2)
    root = parsed(gm.junit_xml([Judgement(job_file=f, report=twice) for f in ("a", "a", "a (2)")]))
    names = [(case.get("classname"), case.get("name")) for case in root.iter("testcase")]
    assert len(names) == len(set(names)) == 12
    assert len({suite.get("name") for suite in root}) == 3


def test_a_report_without_checks_is_no_green_suite(reports):
    empty = replace(reports["noisy"], checks=(), findings=())
    (case,) = parsed(gm.junit_xml([Judgement(job_file="a", report=empty)])).iter("testcase")
    assert case.find("error") is not None  # status 2, as of bad input


def test_any_text_is_escaped(reports):
    heavy = reports["heavy"]
    nasty = replace(
        heavy,
        job=NASTY,
        findings=(replace(heavy.findings[0], text=NASTY),),
        not_checked=(NotChecked(check="stop", reason=NASTY),),
        checks=(replace(heavy.checks[0], at=replace(heavy.checks[0].at, move=NASTY)),),
    )
    error = gm.InputError(NASTY, NASTY, NASTY)
    text = gm.junit_xml(
        [Judgement(job_file=NASTY, report=nasty), Judgement(job_file=NASTY + "2", error=error)], worse={NASTY: [NASTY]}
    )
    root = parsed(text)
    assert text.encode()  # no half characters
    shown = root[0].find("properties/property[@name='job']").get("value")
    assert shown == NASTY.replace("\x00", "\\x00").replace("\x1b", "\\x1b").replace("\r", "\\r").replace(
        "\ud800", "\\ud800"
    ).replace("\ufffe", "\\ufffe")
    assert shown in root[0].find("testcase/failure").text


def test_the_worst_ten_findings_and_a_sum(reports):
    heavy = reports["heavy"]
    first = heavy.findings[0]
    many = tuple(replace(first, start=float(i), text=f"number {i}", share=(1.9 - 0.01 * i) / 2) for i in range(25))
    text = gm.junit_xml([Judgement(job_file="a", report=replace(heavy, findings=many))])
    failure = parsed(text).find(".//failure").text
    assert [f"number {i}\n" in failure for i in range(25)] == [False] * 15 + [True] * 10
    assert failure.index("number 24") < failure.index("number 23")
    assert "and 15 more, less severe; 25 in all" in failure


def test_what_got_worse_is_a_failure_of_its_own(reports, judgements):
    assert "baseline" not in gm.junit_xml(judgements)
    root = parsed(gm.junit_xml(judgements, worse={"good": ["hold: value was 3 and is 2 now"], "old": ["gone"]}))
    cases = {(c.get("classname"), c.get("name")): c for c in root.iter("testcase")}
    name = "compared with the baseline"
    assert cases["jobs/good.toml", name].find("failure").text == "hold: value was 3 and is 2 now"
    assert cases["old", name].find("failure").get("message") == "gone"
    assert cases["jobs/heavy.toml", name].find("failure") is None
    assert root.get("failures") == "3"


def test_no_clock_and_no_host(judgements):
    root = parsed(gm.junit_xml(judgements))
    assert not any({"time", "timestamp", "hostname"} & set(element.keys()) for element in root.iter())
