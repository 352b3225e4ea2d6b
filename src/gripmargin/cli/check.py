"""`gripmargin check`: judge one or more jobs, and say it in text and in the forms that pipelines read."""

from __future__ import annotations

import argparse
import glob
import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from gripmargin.base.errors import FaultError, GripmarginError, InputError
from gripmargin.cli.arguments import BAD_INPUT, INTERNAL, PASSED, SHORT, UNDECIDED, Commands, Parser, add_command
from gripmargin.cli.outputs import STDOUT, checked_places, write_all
from gripmargin.cli.progress import Progress

if TYPE_CHECKING:
    from gripmargin.files.report_file import Baseline
    from gripmargin.results.report import Judgement, Report
    from gripmargin.run.baseline import Comparison


def add(commands: Commands[Parser]) -> None:
    """Describe the arguments."""
    check = add_command(
        commands, "check", "judge one or more jobs", "Judge one or more jobs and print a short report of each."
    )
    check.set_defaults(run=run)
    check.add_argument(
        "jobs",
        nargs="+",
        metavar="JOB",
        help="job file, TOML or JSON, or a pattern of names such as 'jobs/**/*.toml'; '**' stands for any folders",
    )
    check.add_argument(
        "--brief", action="store_true", help="print the sum and a line for each job that does not pass, no reports"
    )
    check.add_argument(
        "--json", metavar="FILE", help="write the full report as JSON; '-' prints it instead of the text"
    )
    check.add_argument(
        "--lines", metavar="FILE", help="write the reports as JSON, one line a job; '-' prints them as they come"
    )
    check.add_argument("--junit", metavar="FILE", help="write JUnit XML, one case a check; '-' prints it")
    check.add_argument(
        "--html", metavar="FILE", help="write the reports as one page that opens in a browser without a network"
    )
    check.add_argument(
        "--samples", action="store_true", help="include the figures at every sample in the JSON and in the lines"
    )
    check.add_argument(
        "--baseline",
        metavar="FILE",
        help="compare with approved reports (JSON or lines of an earlier run); worse than these is status 1",
    )
    check.add_argument(
        "--worse",
        metavar="SHARE",
        help="with --baseline: share of an earlier value that may be lost, from 0 to below 1 (default 0.05)",
    )
    check.add_argument(
        "--workers", metavar="N", help="how many processes judge several jobs side by side (default: one a core)"
    )


def run(options: argparse.Namespace) -> int:
    """Judge the jobs."""
    if options.samples and not (options.json or options.lines):
        raise InputError("--samples", "no JSON to put them in", "--json or --lines beside it")
    if options.html == STDOUT:
        raise InputError("--html", "standard output", "a file")
    if options.worse is not None and options.baseline is None:
        raise InputError("--worse", "nothing to compare with", "--baseline beside it")
    workers = _workers(options.workers)
    worse = _share(options.worse)
    named = list(_expanded(options.jobs))
    read = [name for name in named if isinstance(name, str)]
    places = checked_places(
        {"--json": options.json, "--lines": options.lines, "--junit": options.junit, "--html": options.html},
        [*read, *([options.baseline] if options.baseline else [])],
    )
    judge = _Judge(places, samples=options.samples, brief=options.brief, baseline=options.baseline, worse=worse)
    judge.all(named, workers)
    return judge.finish()


class _Judge:
    """One run: judgements in, texts out."""

    def __init__(
        self, places: dict[str, str], *, samples: bool, brief: bool, baseline: str | None, worse: float
    ) -> None:
        self._places = places
        self._samples = samples
        self._drawn: list[Report | tuple[str, GripmarginError]] = []  # what the page shows
        self._worse = worse
        self._printed = STDOUT not in places.values()  # whether the text is what standard output gets
        self._brief = brief
        self._judgements: list[Judgement] = []
        self._trees: list[str] = []
        self._lines: list[str] = []
        self._baseline: Baseline | None = None
        self._comparable = True
        if baseline is not None:
            from gripmargin.files.report_file import read_baseline  # noqa: PLC0415 - only where one is given

            self._baseline = read_baseline(baseline)

    @property
    def _whole(self) -> bool:
        """Whether reports are wanted with their figures at every sample."""
        return self._samples or "--html" in self._places

    def all(self, named: Sequence[str | Judgement], workers: int | None) -> None:
        """Judge every job, and say each in its turn."""
        from gripmargin.run.many import judgements  # noqa: PLC0415 - "--help" need not wait for it

        names = [name for name in named if isinstance(name, str)]
        with Progress(len(names), "jobs") as progress:
            made = judgements(names, workers=workers, samples=self._whole, ended=lambda _: progress.step())
            with closing(made):
                for name in named:
                    judgement = next(made) if isinstance(name, str) else name
                    with progress.aside():
                        self._say(judgement)

    def _say(self, judgement: Judgement) -> None:
        if judgement.error is not None:
            _complain(judgement.error)
        elif self._printed and not self._brief:
            _print_text(judgement)
        if "--json" in self._places:
            self._trees.append(_json(judgement, samples=self._samples))
        if "--lines" in self._places:
            from gripmargin.reports.as_lines import report_line  # noqa: PLC0415 - only where lines are wanted

            line = report_line(judgement, samples=self._samples)
            if self._places["--lines"] == STDOUT:
                _print(line)
            else:
                self._lines.append(line)
        if "--html" in self._places:
            self._drawn.append(judgement.report or (judgement.job_file, _error_of(judgement)))
        if judgement.report is not None and self._whole:
            judgement = type(judgement)(job_file=judgement.job_file, report=judgement.report.without_samples())
        self._judgements.append(judgement)

    def finish(self) -> int:
        """Write what goes to files, compare with the baseline, and return the exit status."""
        comparison = self._compared()
        texts: dict[str, str] = {}
        if "--json" in self._places:
            texts[self._places["--json"]] = _listed(self._trees)
        if "--lines" in self._places and self._places["--lines"] != STDOUT:
            texts[self._places["--lines"]] = "".join(self._lines)
        if "--junit" in self._places:
            from gripmargin.reports.as_junit import junit_xml  # noqa: PLC0415 - only where it is wanted

            sentences = None if comparison is None else comparison.by_job()
            texts[self._places["--junit"]] = junit_xml(self._judgements, worse=sentences)
        if "--html" in self._places:
            from gripmargin.reports.html import reports_html  # noqa: PLC0415 - only where a page is wanted

            texts[self._places["--html"]] = reports_html(self._drawn)
        write_all(texts)
        if self._printed and (self._brief or len(self._judgements) > 1):
            from gripmargin.reports.in_short import summary_text  # noqa: PLC0415 - only for several jobs

            _print(summary_text(self._judgements))
        if comparison is not None:
            from gripmargin.run.baseline import comparison_text  # noqa: PLC0415 - only where there is one

            print(comparison_text(comparison), end="", file=sys.stdout if self._printed else sys.stderr, flush=True)
        worse = comparison is not None and not comparison.passed
        return _status(self._judgements, worse=worse, broken=not self._comparable)

    def _compared(self) -> Comparison | None:
        if self._baseline is None:
            return None
        from gripmargin.run.baseline import compare  # noqa: PLC0415 - only where one is given

        try:
            return compare(self._judgements, self._baseline, worse=self._worse)
        except GripmarginError as error:  # what was judged is reported all the same
            _complain(error)
            self._comparable = False
            return None


def _expanded(jobs: Sequence[str]) -> Iterator[str | Judgement]:
    """The job files that the arguments name, each once, patterns in the order of the alphabet."""
    seen: set[str] = set()
    for job in jobs:
        names = [job]
        if glob.has_magic(job) and not os.path.lexists(job):
            found = glob.glob(job, recursive=True)  # noqa: PTH207 - Path.glob takes no absolute pattern
            names = sorted(name for name in found if Path(name).is_file())
            if not names:
                yield _no_match(job)
        for name in names:
            same = os.path.normpath(name)
            if same not in seen:
                seen.add(same)
                yield name


def _no_match(pattern: str) -> Judgement:
    from gripmargin.results.report import Judgement  # noqa: PLC0415 - loads numpy

    error = InputError(pattern, "no file that this pattern matches", "job files", "look at the folder and the spelling")
    return Judgement(job_file=pattern, error=error)


def _workers(given: str | None) -> int | None:
    if given is None:
        return None
    if not given.isascii() or not given.isdecimal() or not 1 <= len(given) <= 4 or int(given) < 1:
        raise InputError("--workers", f"'{given}'", "a whole number from 1 to 9999")
    return int(given)


def _share(given: str | None) -> float:
    from gripmargin.run.baseline import WORSE, checked_share  # noqa: PLC0415 - loads numpy

    if given is None:
        return WORSE
    try:
        return checked_share(float(given), "--worse")
    except ValueError as error:
        raise InputError("--worse", f"'{given}'", "a number from 0 to below 1", "0.05 stands for 5 %") from error


def _complain(error: GripmarginError) -> None:
    print("\n".join(f"gripmargin: {line}" for line in str(error).splitlines()), file=sys.stderr)
    if isinstance(error, FaultError) and error.trace and os.environ.get("GRIPMARGIN_TRACEBACK"):
        print(error.trace, file=sys.stderr)


def _print(text: str) -> None:
    sys.stdout.write(text)
    sys.stdout.flush()


def _print_text(judgement: Judgement) -> None:
    from gripmargin.reports.as_text import report_text  # noqa: PLC0415 - only where text is wanted

    if judgement.report is not None:
        _print(report_text(judgement.report) + "\n")


def _json(judgement: Judgement, *, samples: bool) -> str:
    from gripmargin.reports.as_json import error_json, report_json  # noqa: PLC0415 - only where JSON is wanted

    if judgement.report is not None:
        return report_json(judgement.report, samples=samples)
    return error_json(judgement.job_file, _error_of(judgement))


def _error_of(judgement: Judgement) -> GripmarginError:
    assert judgement.error is not None  # noqa: S101 - there is one or the other
    return judgement.error


def _listed(trees: Sequence[str]) -> str:
    """One report as it is, several as a list; a broken job has its place in it."""
    return trees[0] if len(trees) == 1 else "[\n" + ",\n".join(t.rstrip("\n") for t in trees) + "\n]\n"


def _status(judgements: Sequence[Judgement], *, worse: bool, broken: bool) -> int:
    """The worst of all: what falls short, a fault of ours, what is broken, what is undecided."""
    verdicts = {None if j.report is None else str(j.report.verdict) for j in judgements}
    if "fail" in verdicts or worse:
        return SHORT
    if any(isinstance(j.error, FaultError) for j in judgements):
        return INTERNAL
    if broken or None in verdicts or not judgements:
        return BAD_INPUT
    return PASSED if verdicts == {"pass"} else UNDECIDED
