"""What a person reads first: the verdict, the checks beside their targets, the findings with what to change."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from gripmargin.checks import words
from gripmargin.reports.html.text import bullets, fold, margin, number, safe, shares, table, tag
from gripmargin.reports.html.timeline import CAUSE_STYLE
from gripmargin.reports.html.view import View, link
from gripmargin.results.findings import CheckResult, Finding, Verdict, overall, worst_first
from gripmargin.results.report import CAUTIONS, Report

SIGNS = {
    "pass": '<circle cx="12" cy="12" r="10.5"/><path d="M6.8 12.4l3.6 3.6 6.8-7.6"/>',
    "fail": '<path class="body" d="M2 2H22V22H2Z"/><path d="M7.5 7.5l9 9M16.5 7.5l-9 9"/>',
    "undecided": '<path class="rim" d="M12 1.6L22.4 12 12 22.4 1.6 12Z"/><path class="body" d="M12 .4V23.6L.4 12Z"/>',
}
SAYING = {
    "pass": "Everything that was checked reaches its target.",
    "fail": "Something falls short of its target.",
    "undecided": "What is known is not enough to say that the targets are reached.",
}
CARE = 'a part that falls can hurt someone, whatever stands here: see the <a href="#cautions">cautions</a>.'
STYLE = CAUSE_STYLE | {"pull": "w1", "peel": "w2", "shear": "w3", "twist": "w4"}  # of a bar, always the same
GAUGE = 4.0  # times the target at the right end of a gauge; its inverse at the left


def sign(verdict: str, size: int = 20) -> str:
    """Return the sign of a verdict: a round tick, a square cross, a half filled one on its corner."""
    box = f'viewBox="0 0 24 24" width="{size}" height="{size}" aria-hidden="true"'
    return f'<svg class="sign {safe(verdict)}" {box}>{SIGNS[str(verdict)]}</svg>'


def stamp(verdict: str) -> str:
    """Return the verdict as sign and word."""
    return tag("span", sign(verdict) + safe(str(verdict)), class_=f"stamp {verdict}")


def decides(report: Report) -> CheckResult | None:
    """Return the check that decides the verdict: of those with the worst verdict the nearest to its target."""
    return min((check for check in report.checks if check.verdict is report.verdict), key=kept, default=None)


def kept(check: CheckResult) -> float:
    """Return the share of its target that a check keeps at least; nothing where that is not known and it is no pass."""
    if check.low is None or math.isnan(check.low):
        return math.inf if check.verdict is Verdict.PASS else 0.0
    return check.low / check.target


def head(view: View) -> str:
    """Return the verdict with what decides it."""
    report = view.report
    verdict = str(report.verdict)
    lines = []
    lines += [_labelled("Cause", cause.text + "." * (cause.text[-1] != "?")) for cause in report.causes]
    if view.numbered:
        worst = view.numbered[0]
        check = next((c for c in report.checks if c.check == worst.check), None)
        said = f"{_title(check.check)}: {_sentence(check)}." if check else worst.text
        lines += [tag("p", safe(said), class_="key-figure"), _labelled("Why", _why(worst) + ".")]
        useful = [remedy.sentence for remedy in worst.remedies if remedy.action != "none"]
        more = f" ({len(useful) - 1} more under Findings)" if len(useful) > 1 else ""
        if worst.remedies:
            lines.append(_labelled("To change", (useful[0] if useful else worst.remedy) + "." + more))
    elif (nearest := decides(report)) is not None and not report.explained:
        lines.append(tag("p", safe(SAYING[verdict]), class_="key-figure"))
        lines.append(tag("p", safe(f"Nearest to its target is {_name(nearest.check)}: {_sentence(nearest)}.")))
        if nearest.doubts:
            lines.append(_labelled("Why", "; ".join(nearest.doubts) + "."))
    left = ", ".join(_name(item.check) for item in report.not_checked)
    if report.accepted:
        lines.append(_labelled("Accepted", f"{', '.join(report.accepted)}: what looks wrong by it is taken as meant."))
    scope = tag("b", "Not checked ") + safe(left) + "; " if left else ""
    return tag(
        "header",
        tag("div", sign(verdict, 56) + tag("p", safe(verdict), class_="word"), class_=f"seal {verdict}")
        + tag("div", tag("h2", safe(report.title)) + "".join(lines) + tag("p", scope + CARE, class_="scope")),
        class_="verdict",
    )


def _labelled(word: str, sentence: str) -> str:
    return tag("p", tag("b", f"{word} ") + safe(sentence))


def _sentence(check: CheckResult) -> str:
    at = "" if check.at is None else f" at {check.at.t:.3f} s{words.in_move(check.at.move)}"
    value = "has no value" if check.value is None else margin(check.value)
    if check.verdict is Verdict.UNDECIDED and check.low is not None and check.low != check.value:
        value += f", perhaps {margin(check.low)},"
    return f"{check.measure} {value} against a target of {check.target:g}{',' if at else ''}{at}"


def _why(finding: Finding) -> str:
    because = finding.because
    if isinstance(because.get("cause"), str):
        return str(because["cause"])
    if finding.verdict is not Verdict.FAIL and because.get("undecided"):
        return "; ".join(str(reason) for reason in because["undecided"])
    said = words.ranked(because["causes"]) if isinstance(because.get("causes"), Mapping) else finding.text
    return said + (f"; it acts as {words.ranked(because['ways'])}" if isinstance(because.get("ways"), Mapping) else "")


def _title(check: str) -> str:
    name = _name(check)
    return name[:1].upper() + name[1:]


def _name(check: str) -> str:
    return check.replace("_", " ")


def checks(view: View) -> str:
    """Return the table of checks, and what their figures are."""
    more = "".join(
        tag(
            "div",
            tag("dt", safe(_name(check.check)))
            + "".join(tag("dd", safe(line)) for line in (check.text, *check.lines, *check.doubts) if line),
        )
        for check in view.report.checks
        if check.text or check.lines or check.doubts
    )
    told = fold("What the figures are", tag("dl", more, class_="more"), beside="check by check") if more else ""
    return checks_table(view) + told


def checks_table(view: View) -> str:
    """Return the table of checks."""
    rows = []
    for check in view.report.checks:
        between = "–"
        if check.low is not None or check.high is not None:
            lead = tag("span", "between ", class_="lead")
            between = f"{lead}{margin(check.low)} – {margin(check.high)}" if check.low != check.high else "exact"
        at = (
            "–"
            if check.at is None
            else link(view, check.at.t) + (tag("span", safe(check.at.move), class_="where") if check.at.move else "")
        )
        rows.append(
            [
                safe(_name(check.check)),
                stamp(check.verdict),
                safe(check.measure),
                tag("b", margin(check.value)),
                between,
                f"{check.target:g}",
                gauge(check),
                at,
            ]
        )
    columns = ["check", "verdict", "measure", "worst", "between", "target", "beside the target", "at"]
    return table(columns, rows, caption="Checks with their worst figures", class_="checks")


def gauge(check: CheckResult) -> str:
    """Return a ruler of value over target, from a quarter of the target to four times it."""

    def place(value: float | None) -> float | None:
        if value is None or math.isnan(value):
            return None
        ratio = value / check.target
        return 50.0 + 50.0 * max(-1.0, min(1.0, math.log(ratio) / math.log(GAUGE))) if ratio > 0 else 0.0

    value, low, high = place(check.value), place(check.low), place(check.high)
    if value is None and low is None and high is None:
        return tag("span", "–")
    inner = '<rect class="room" x="50" y="4" width="50" height="8"/>'
    inner += '<path class="ruler" d="M0 8H100"/><path class="aim" d="M50 1V15"/>'
    if low is not None and high is not None and high > low:
        inner += f'<path class="reach" d="M{low:.1f} 8H{high:.1f}"/>'
    if value is not None:
        inner += f'<circle class="at {check.verdict}" cx="{min(max(value, 3), 97):.1f}" cy="8" r="3.4"/>'
    ratio = None if check.value is None else check.value / check.target
    title = safe(
        f"{margin(ratio)} times the target; the target is in the middle, a quarter and four times it at the ends"
    )
    return f'<svg class="gauge" viewBox="0 0 100 16" role="img"><title>{title}</title>{inner}</svg>'


def findings(view: View) -> str:
    """Return a card for each of the worst findings and a table of the others."""
    report = view.report
    if not report.findings:
        return (
            tag("p", "Nothing falls short, and nothing that was asked for is undecided.", class_="empty")
            if report.verdict is Verdict.PASS
            else _without(report)
        )
    cards = "".join(_card(view, i, finding) for i, finding in enumerate(view.numbered, start=1))
    rest = [finding for finding in worst_first(report.findings) if finding not in view.numbered]
    rows = [
        [
            safe(_name(f.check)),
            stamp(f.verdict),
            link(view, float(f.worst.get("t", f.start))),
            safe(f.text),
            safe(f.remedy),
        ]
        for f in rest[:300]
    ]
    more = (
        table(
            ["check", "verdict", "at", "what", "what to change"],
            rows,
            caption=f"{len(rest)} {'more, less severe' if cards else 'that follow from the cause'}",
        )
        if rows
        else ""
    )
    return tag("div", cards, class_="cards") + more


def _without(report: Report) -> str:
    open_ = [
        f"{_name(check.check)}: {line}"
        for check in report.checks
        if check.verdict is not Verdict.PASS
        for line in check.doubts or check.lines or (check.text,)
    ]
    return bullets(open_)


def _card(view: View, i: int, finding: Finding) -> str:
    """A finding, the first one open: others can be opened, and links to them open them."""
    t = float(finding.worst.get("t", finding.start))
    move = finding.worst.get("move")
    title = f"{_title(finding.check)} at {t:.3f} s" + (f" in move ‘{move}’" if move else "")
    top = tag("h4", tag("span", str(i), class_="disc") + safe(title)) + stamp(finding.verdict)
    lines = "".join(tag("div", tag("dt", safe(word)) + tag("dd", safe(sentence))) for word, sentence in finding.lines)
    cause = finding.because.get("cause")
    if isinstance(cause, str):
        lines = tag("div", tag("dt", "why") + tag("dd", safe(cause))) + lines
    bars = "".join(
        _bar(name, finding.because[key])
        for key, name in (("causes", "by cause"), ("ways", "acts as"))
        if isinstance(finding.because.get(key), Mapping)
    )
    useful = [remedy.change for remedy in finding.remedies if remedy.shown]
    hints = [remedy.change for remedy in finding.remedies if not remedy.shown and remedy.action != "none"]
    useless = [
        f"slowing alone: {remedy.text}" if "standing_margin" in remedy.figures else remedy.text
        for remedy in finding.remedies
        if remedy.action == "none"
    ]
    change = ""
    if useful:
        each = "each is enough by itself" if len(useful) > 1 else "then it passes"
        change = tag("h5", "What to change" + tag("span", each, class_="unit")) + bullets(useful)
    if hints:
        change += tag("h5", "What would help") + bullets(hints)
    if useless:
        change += tag("h5", "What does not help") + bullets(useless)
    return tag(
        "details",
        tag("summary", top)
        + tag("p", "Show " + link(view, t) + " in the figures. " + safe(finding.text))
        + bars
        + (tag("dl", lines) if lines else "")
        + change,
        class_=f"card {finding.verdict}",
        id=f"{view.key}-f{i}",
        open="" if i == 1 else None,
    )


def _bar(name: str, parts: Mapping[str, float]) -> str:
    """Shares as a bar of 100 %, with words; what relieves is said behind it."""
    kept = shares({key: float(value) for key, value in parts.items() if isinstance(value, int | float)})
    raising = [(key, value) for key, value in kept if value > 0]
    total = sum(value for _, value in raising) or 1.0
    x, inner, said = 0.0, "", ""
    for key, value in raising:
        wide, style = 100.0 * value / total, f"bar-{STYLE.get(key, 'f')}"
        inner += f'<rect class="{style}" x="{x:.2f}" y="0" width="{wide:.2f}" height="10"/>'
        box = f'<svg width="10" height="10" aria-hidden="true"><rect class="{style}" width="10" height="10"/></svg>'
        said += tag("li", box + safe(f"{key} {number(100 * value, 0)} %"))
        x += wide
    said += "".join(tag("li", safe(f"{key} relieves {number(-100 * value, 0)} %")) for key, value in kept if value < 0)
    drawing = f'<svg viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true">{inner}</svg>'
    return tag(
        "div", tag("span", safe(name), class_="bar-name") + drawing + tag("ul", said, class_="legend"), class_="bar"
    )


def remarks(report: Report) -> str:
    """Return what was not checked, what was assumed, how the input was read, cautions and sources."""
    out = ""
    if report.not_checked:
        rows = [[safe(_name(item.check)), safe(item.reason)] for item in report.not_checked]
        what = table(["what", "why not"], rows, caption="What this report does not say")
        out += fold("Not checked", what, beside=f"{len(rows)}, with the reason", class_="not-checked print")
    for title, items, shown in (
        ("Assumed", report.assumed, "print"),
        ("As read", report.notes, "print"),
        ("Sources", report.references, ""),
    ):
        if items:
            out += fold(title, bullets(items), beside=str(len(items)), class_=shown)
    return out


def time_laws(report: Report) -> str:
    """Return what a program of way points came to under each time law; empty of a sampled program."""
    if not report.time_laws:
        return ""
    names = [check.check for check in report.time_laws[0].checks]
    rows = [
        [
            safe(f"{law.name}{' (counts)' if law.counts else ''}"),
            stamp(law.verdict),
            safe(f"{number(law.duration, 2)} s"),
            *(safe(margin(check.share)) for check in law.checks),
        ]
        for law in report.time_laws
    ]
    caption = "Time laws tried: each check’s least value over its target"
    return table(["time law", "verdict", "duration", *map(_name, names)], rows, caption=caption)


def cautions(heading: str = "h3") -> str:
    """Return the cautions that every report carries, under a heading of that element."""
    return tag("aside", tag(heading, "Cautions", class_="part") + bullets(CAUTIONS), class_="cautions", id="cautions")


def verdict_of(verdicts: Sequence[Verdict]) -> str:
    """Return the worst verdict."""
    return str(overall(verdicts))
