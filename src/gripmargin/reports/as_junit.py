"""Reports as JUnit XML: what servers for continuous integration show of a test run.

One suite a job, one case a check, of a program of several holds one a check of each. A check that falls short is a
failure, one that is undecided is skipped (and the command's exit status is not 0), a job that could not be checked is
an error. There is no clock and no host in it.

The elements and attributes are those of the schema that servers share; it has no place for figures beside a case, so
they are properties of the suite, by the name of the check.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from gripmargin.reports.in_short import finding_lines, holds_line, law_line, result_line
from gripmargin.results.findings import CheckResult, Verdict
from gripmargin.results.report import Judgement, Report

# XML 1.0, production 2 (Char); a carriage return does not survive reading.
_FORBIDDEN = re.compile("[^\t\n\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def junit_xml(judgements: Iterable[Judgement], *, worse: Mapping[str, Sequence[str]] | None = None) -> str:
    """Return the outcome of many jobs as JUnit XML, the same bytes for the same input.

    Args:
        judgements: What `check_files` returns.
        worse: Where reports were compared with earlier ones: what got worse, in sentences, by the name of the job.
            Names without a job among the judgements have suites of their own.
    """
    root = ET.Element("testsuites", name="gripmargin")
    left = dict(worse or {})
    used: dict[str, int] = {}
    for judgement in judgements:
        name = _once(judgement.job_file, used)
        if judgement.report is None:
            root.append(_broken(name, judgement))
        else:
            compared = None if worse is None else left.pop(judgement.report.job, ())
            root.append(_suite(name, judgement.report, compared))
    for job, sentences in left.items():
        suite = ET.SubElement(root, "testsuite", name=_fit(_once(job, used)))
        _compared(suite, sentences)
        _count(suite)
    for key in ("tests", "failures", "errors"):
        root.set(key, str(sum(int(suite.get(key, "0")) for suite in root)))
    ET.indent(root, space=" ")
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"


def _suite(name: str, report: Report, compared: Sequence[str] | None) -> ET.Element:
    suite = ET.Element("testsuite", name=_fit(name))
    properties = ET.SubElement(suite, "properties")
    _property(properties, "job", report.job)
    _property(properties, "verdict", str(report.verdict))
    for law in report.time_laws:
        _property(properties, f"time law {law.name}", law_line(law))
    used: dict[str, int] = {}
    for check, called, of in _cases(report):
        case_name = _once(called, used)
        for key, value in _figures(check):
            _property(properties, f"{case_name}.{key}", value)
        _case(suite, case_name, check, of)
    if report.nothing:
        case = ET.SubElement(suite, "testcase", classname=suite.get("name", ""), name="could not be checked")
        _trouble(case, "error", "nothing was checked", report.nothing, ())
    elif all(check.verdict is Verdict.PASS for check in report.checks) and not report.passed:
        case = ET.SubElement(suite, "testcase", classname=suite.get("name", ""), name="as a whole")
        _trouble(case, "skipped", "undecided", f"{report.verdict}, though no check says so", ())
    if compared is not None:
        _compared(suite, compared)
    said = [f"{report.verdict.upper()}  {report.title}"]
    said += [f"time law {law.name}: {law_line(law)}" for law in report.time_laws]
    said += [f"cause: {cause.text}" for cause in report.causes]
    said += [f"not checked: {item.check}: {item.reason}" for item in report.not_checked]
    said += finding_lines(report.findings)
    said += [holds_line(report)] if report.holds else []
    said.append(f"{len(report.findings)} findings in {len(report.checks)} checks")
    ET.SubElement(suite, "system-out").text = _fit("\n".join(said))
    _count(suite)
    return suite


def _cases(report: Report) -> Iterator[tuple[CheckResult, str, Report]]:
    """Each check, of a program of several holds those of each; what its case is called, and whose report it is of."""
    for check in () if report.holds else report.checks:
        yield check, check.check, report
    for hold in report.holds:
        like = f" (like hold {hold.like})" if hold.like else ""
        for check in hold.report.checks:
            own = check if hold.like is None else replace(check, at=None)  # which is elsewhere in the program
            yield own, f"hold {hold.name}{like}, {check.check}", hold.report


def _case(suite: ET.Element, name: str, check: CheckResult, report: Report) -> None:
    case = ET.SubElement(suite, "testcase", classname=suite.get("name", ""), name=_fit(name))
    if check.verdict is Verdict.PASS:
        return
    message = result_line(check)
    found = finding_lines(tuple(f for f in report.findings if f.check == check.check))
    if check.verdict is Verdict.FAIL:
        _trouble(case, "failure", "falls short", message, found)
    else:
        _trouble(case, "skipped", "undecided", message, found)


def _broken(name: str, judgement: Judgement) -> ET.Element:
    suite = ET.Element("testsuite", name=_fit(name))
    case = ET.SubElement(suite, "testcase", classname=_fit(name), name="could not be checked")
    lines = str(judgement.error).splitlines() or ["no reason"]
    _trouble(case, "error", type(judgement.error).__name__, lines[0], lines[1:])
    _count(suite)
    return suite


def _compared(suite: ET.Element, sentences: Sequence[str]) -> None:
    case = ET.SubElement(suite, "testcase", classname=suite.get("name", ""), name="compared with the baseline")
    if sentences:
        _trouble(case, "failure", "worse", sentences[0], sentences[1:])


def _trouble(case: ET.Element, kind: str, type_: str, message: str, more: Sequence[str]) -> None:
    """The message is repeated as text: some readers show the one, some the other."""
    trouble = ET.SubElement(case, kind, type=type_, message=_fit(message))
    trouble.text = _fit("\n".join((message, *more)))


def _figures(check: CheckResult) -> list[tuple[str, str]]:
    figures = {"value": check.value, "low": check.low, "high": check.high, "target": check.target}
    found = [("verdict", str(check.verdict)), ("measure", check.measure)]
    found += [(key, repr(float(value))) for key, value in figures.items() if value is not None]
    if check.at is not None:
        found.append(("t", repr(float(check.at.t))))
        if check.at.move is not None:
            found.append(("move", check.at.move))
    return found


def _count(suite: ET.Element) -> None:
    cases = suite.findall("testcase")
    suite.set("tests", str(len(cases)))
    for key, kind in (("failures", "failure"), ("errors", "error"), ("skipped", "skipped")):
        suite.set(key, str(sum(case.find(kind) is not None for case in cases)))


def _property(properties: ET.Element, name: str, value: str) -> None:
    ET.SubElement(properties, "property", name=_fit(name), value=_fit(value))


def _once(name: str, used: dict[str, int]) -> str:
    """A name that no other has: the second gets a number."""
    used[name] = used.get(name, 0) + 1
    return name if used[name] == 1 else _once(f"{name} ({used[name]})", used)


def _fit(text: str) -> str:
    """Text without the characters that XML cannot hold, not even escaped: they are spelt out."""
    return _FORBIDDEN.sub(lambda m: m[0].encode("unicode_escape").decode(), text)
