"""One run of `gripmargin check`: judgements in, texts out."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterable, Sequence
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Literal

from gripmargin.base.errors import FaultError, GripmarginError
from gripmargin.cli.arguments import BAD_INPUT, INTERNAL, INTERRUPTED, PASSED, SHORT, UNDECIDED
from gripmargin.cli.outputs import STDOUT, complain, say, visible, write_all
from gripmargin.cli.progress import Progress
from gripmargin.cli.terminal import width
from gripmargin.files.report_file import Baseline
from gripmargin.reports.as_glance import report_glance, verdict_line
from gripmargin.reports.as_json import tree_text
from gripmargin.reports.as_junit import junit_xml
from gripmargin.reports.as_lines import judgement_tree, report_line
from gripmargin.reports.as_text import report_text
from gripmargin.reports.in_short import summary_text
from gripmargin.results.report import Judgement, Report
from gripmargin.run.baseline import Comparison, compare, comparison_text
from gripmargin.run.many import judgements
from gripmargin.run.workers import Limits

_OF_SAMPLES = frozenset({"--html", "--series"})  # what needs the figures at every sample
Said = Literal["sum", "short", "all"]


class Judging:
    """Judges jobs, says each in its turn, and writes at the end what goes to files.

    Args:
        places: Where to write what, by argument.
        samples: Whether JSON and lines have the figures at every sample.
        said: How much the text says of each job.
        checks: Which checks to make; None: all that a job gives the data for.
        first: Whether to stop at the first job that does not pass.
    """

    def __init__(
        self,
        places: dict[str, str],
        *,
        samples: bool = False,
        said: Said = "short",
        checks: Sequence[str] | None = None,
        first: bool = False,
    ) -> None:
        self._places = places
        self._samples = samples
        self._said = said
        self._checks = checks
        self._first = first
        self._begun = time.monotonic()
        self._printed = STDOUT not in places.values()  # whether the text is what standard output gets
        self._done: list[Judgement] = []
        self._trees: list[str] = []
        self._lines: list[str] = []
        self._interrupted = self._several = False
        self._lost = False  # whether what was printed found no reader

    def judge(self, named: Sequence[str | Judgement], workers: int | None, limits: Limits | None) -> None:
        """Judge every job, and say each in its turn.

        Args:
            named: Job files, and what stands for jobs that have none.
            workers: How many processes; None: one a core.
            limits: What each job may take; None: any amount.
        """
        names = [name for name in named if isinstance(name, str)]
        samples = self._samples or not _OF_SAMPLES.isdisjoint(self._places)
        left, self._several = list(named), len(named) > 1
        try:
            with Progress(len(names), "jobs") as progress:
                made = judgements(
                    names,
                    workers=workers,
                    samples=samples,
                    limits=limits,
                    checks=self._checks,
                    ended=lambda _: progress.step(),
                )
                with closing(made):
                    for name in named:
                        judgement = next(made) if isinstance(name, str) else name
                        with progress.aside():
                            self._say(judgement)
                        left.pop(0)
                        if self._first and left and not judgement.passed:
                            print(f"gripmargin: stopped, {len(left)} not judged", file=sys.stderr)
                            break
        except KeyboardInterrupt:
            print("gripmargin: interrupted", file=sys.stderr)
            if len(left) == len(named):
                raise SystemExit(INTERRUPTED) from None  # nothing was judged: all files stay as they are
            self._interrupted = True
            for name in left:
                self._keep(Judgement(job_file=name, error=_stopped(name)) if isinstance(name, str) else name)

    def _say(self, judgement: Judgement) -> None:
        report = judgement.report
        if judgement.error is not None:
            complain(judgement.error, judgement.job_file if self._several else "")
        if report is not None and self._printed and self._said != "sum":
            text = report_text if self._said == "all" else report_glance
            self._print(text(report, width=width()) + "\n")
        self._keep(judgement)

    def _keep(self, judgement: Judgement) -> None:
        """Keep what goes to files, and print the line that does not."""
        report = judgement.report
        if "--json" in self._places:
            self._trees.append(tree_text(judgement_tree(judgement, samples=self._samples)))
        if "--lines" in self._places:
            line = report_line(judgement, samples=self._samples)
            if self._places["--lines"] == STDOUT:
                self._print(line, "--lines")
            else:
                self._lines.append(line)
        if report is not None and _OF_SAMPLES.isdisjoint(self._places):
            judgement = replace(judgement, report=report.without_samples())
        self._done.append(judgement)

    def finish(self, baseline: Baseline | None, worse: float) -> int:
        """Write what goes to files, compare with the baseline, and return the exit status."""
        comparison, fault = None, None
        if baseline is not None:
            try:
                comparison = compare(self._done, baseline, worse=worse)
            except GripmarginError as error:  # what was judged is reported all the same
                complain(fault := error)
        texts = self._texts(comparison)
        write_all(texts)
        if STDOUT in texts:
            self._print(str(texts[STDOUT]), next(name for name, place in self._places.items() if place == STDOUT))
        if self._printed and self._several:
            self._print(summary_text(self._done))
        elif self._printed and self._said == "sum":
            self._print("".join(verdict_line(judged.report) for judged in self._done if judged.report is not None))
        if self._printed and sys.stdout.isatty():
            self._print(f"in {time.monotonic() - self._begun:.1f} s\n")
        if comparison is not None and self._printed:
            self._print(comparison_text(comparison))
        elif comparison is not None:
            print(visible(comparison_text(comparison)), end="", file=sys.stderr, flush=True)
        if self._interrupted:
            return INTERRUPTED
        if self._lost and not (self._printed and self._places):
            return INTERNAL  # what nobody read is no verdict, unless it stands in a file
        lost = comparison is not None and not comparison.passed
        return _status(self._done, worse=lost, broken=fault is not None)

    def _print(self, text: str, name: str = "") -> None:
        self._lost = not say(text, name) or self._lost

    def _texts(self, comparison: Comparison | None) -> dict[str, str | bytes]:
        """What is written in the end, by its place."""
        texts: dict[str, str | bytes] = {}
        if "--json" in self._places:
            texts[self._places["--json"]] = _listed(self._trees)
        if self._places.get("--lines", STDOUT) != STDOUT:
            texts[self._places["--lines"]] = "".join(self._lines)
        if "--junit" in self._places:
            sentences = None if comparison is None else comparison.by_job()
            texts[self._places["--junit"]] = junit_xml(self._done, worse=sentences)
        if "--html" in self._places:
            from gripmargin.reports.html import reports_html  # noqa: PLC0415 - only where a page is wanted

            texts[self._places["--html"]] = reports_html(_drawn(self._done))
        if "--series" in self._places:
            from gripmargin.files.series_file import series_bytes  # noqa: PLC0415 - only where it is wanted

            place = self._places["--series"]
            for judgement in self._done:
                if judgement.report is not None:
                    texts[place] = series_bytes(judgement.report, Path(place).suffix)
        return texts


def _stopped(name: str) -> GripmarginError:
    return GripmarginError(name, "an interrupt before it was judged", "a verdict", "run it again")


def _drawn(done: Iterable[Judgement]) -> list[tuple[str, Report | GripmarginError]]:
    drawn: list[tuple[str, Report | GripmarginError]] = []
    for judgement in done:
        if judgement.report is not None:
            drawn.append((judgement.job_file, judgement.report))
        elif judgement.error is not None:
            drawn.append((judgement.job_file, judgement.error))
    return drawn


def _listed(trees: Sequence[str]) -> str:
    """One report as it is, several as a list; a broken job has its place in it."""
    return (trees[0] if len(trees) == 1 else "[\n" + ",\n".join(trees) + "\n]") + "\n"


def _status(done: Iterable[Judgement], *, worse: bool, broken: bool) -> int:
    """The worst of all: what falls short, a fault of ours, what is broken, what is undecided."""
    reports = [judgement.report for judgement in done]
    verdicts = {None if report is None or report.nothing else str(report.verdict) for report in reports}
    if "fail" in verdicts or worse:
        return SHORT
    if any(isinstance(judgement.error, FaultError) for judgement in done):
        return INTERNAL
    if broken or None in verdicts or not verdicts:
        return BAD_INPUT
    return PASSED if verdicts == {"pass"} else UNDECIDED
