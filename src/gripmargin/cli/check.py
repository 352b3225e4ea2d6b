"""`gripmargin check`: judge one or more jobs, and say it in text and in the forms that pipelines read."""

from __future__ import annotations

import argparse
import glob
import os
import re
from collections.abc import Iterator, Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING

from gripmargin.base.errors import InputError
from gripmargin.cli.arguments import Commands, Parser, add_command
from gripmargin.cli.outputs import STDOUT, checked_places

if TYPE_CHECKING:
    from gripmargin.results.report import Judgement
    from gripmargin.run.workers import Limits

GENEROUS = 1800.0  # [s] for one of several jobs: a hundred times what a long one takes
LEAST_MEMORY = 4_000_000_000  # [bytes] by default, on however small a machine: it counts addresses, not what is used
_UNITS = {
    **{unit: (seconds, "time") for unit, seconds in (("s", 1.0), ("min", 60.0), ("h", 3600.0))},
    **{unit: (size, "memory") for unit, size in (("MB", 1e6), ("GB", 1e9))},
}


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
        help="job file, TOML or JSON; a folder: all .toml files in it and below; or a pattern of names such as "
        "'jobs/**/*.toml', where '**' stands for any folders",
    )
    check.add_argument("-v", "--verbose", action="store_true", help="print all of each report")
    check.add_argument(
        "-q",
        "--brief",
        action="store_true",
        help="print one line: the verdict; of several jobs the sum, and a line for each that does not pass",
    )
    check.add_argument(
        "--checks", metavar="NAMES", help="make these checks only, such as 'hold,swing'; the others are not checked"
    )
    check.add_argument("-x", "--first", action="store_true", help="stop at the first job that does not pass")
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
        "--series",
        metavar="FILE",
        help="write the figures of one job at every sample: .csv, .npz or .parquet (a table), .mcap (a recording)",
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
    check.add_argument(
        "--limit",
        metavar="LIMIT",
        help="time, or time and memory, that one job may take, such as '90 s' or '10 min, 4 GB'; more: it could not be "
        "checked (default: 30 min and the memory of the machine for several jobs in more than one process, else none)",
    )


def run(options: argparse.Namespace) -> int:
    """Judge the jobs."""
    if options.samples and not (options.json or options.lines):
        raise InputError("--samples", "no JSON to put them in", "--json or --lines beside it")
    if options.html == STDOUT:
        raise InputError("--html", "standard output", "a file")
    if options.worse is not None and options.baseline is None:
        raise InputError("--worse", "nothing to compare with", "--baseline beside it")
    if options.verbose and options.brief:
        raise InputError("--verbose", "--brief as well", "one of them")
    workers = _workers(options.workers)
    limits = _limits(options.limit)
    worse = _share(options.worse)
    named = list(_expanded(options.jobs))
    read = [name for name in named if isinstance(name, str)]
    if options.series is not None:
        _check_series(options.series, len(named))
    places = checked_places(
        {
            "--json": options.json,
            "--lines": options.lines,
            "--junit": options.junit,
            "--html": options.html,
            "--series": options.series,
        },
        read,
        [options.baseline] if options.baseline else [],
    )
    from gripmargin.checks.registry import chosen  # noqa: PLC0415 - what is wrong with an argument need not wait for it
    from gripmargin.cli.judging import Judging  # noqa: PLC0415 - likewise
    from gripmargin.files.report_file import read_baseline  # noqa: PLC0415 - likewise

    baseline = None if options.baseline is None else read_baseline(options.baseline)
    checks = None if options.checks is None else [name.strip() for name in options.checks.split(",") if name.strip()]
    try:
        chosen(checks)
    except InputError as error:
        raise error.at("--checks") from error
    judging = Judging(
        places,
        samples=options.samples,
        said="all" if options.verbose else "sum" if options.brief else "short",
        checks=checks,
        first=options.first,
    )
    if limits is None and len(read) > 1 and workers != 1:
        from gripmargin.run.workers import Limits, physical_memory  # noqa: PLC0415 - only where it counts

        memory = physical_memory()
        limits = Limits(time=GENEROUS, memory=None if memory is None else max(memory, LEAST_MEMORY))
    judging.judge(named, workers, limits)
    return judging.finish(baseline, worse)


def _check_series(place: str, jobs: int) -> None:
    from gripmargin.files.series_file import checked_writer  # noqa: PLC0415 - loads numpy

    if place == STDOUT:
        raise InputError("--series", "standard output", "a file")
    if jobs > 1:
        raise InputError("--series", f"{jobs} jobs", "one job", "run the command for each")
    try:
        checked_writer(Path(place).suffix)
    except InputError as error:
        raise error.at("--series") from error


def _expanded(jobs: Sequence[str]) -> Iterator[str | Judgement]:
    """The job files that the arguments name, each once, patterns in the order of the alphabet."""
    seen: set[str] = set()
    for job in jobs:
        names = [job]
        pattern = os.path.join(glob.escape(job), "**", "*.toml") if os.path.isdir(job) else job  # noqa: PTH112, PTH118
        if pattern != job or (glob.has_magic(job) and not os.path.lexists(job)):
            found = glob.glob(pattern, recursive=True)  # noqa: PTH207 - Path.glob takes no absolute pattern
            names = sorted(name for name in found if Path(name).is_file())
            if not names:
                yield _no_match(job, folder=pattern != job)
        for name in names:
            same = os.path.normpath(name)
            if same not in seen:
                seen.add(same)
                yield name


def _no_match(pattern: str, *, folder: bool) -> Judgement:
    from gripmargin.results.report import Judgement  # noqa: PLC0415 - loads numpy

    found, due = ("no file that this pattern matches", "job files")
    if folder:
        found, due = ("no job in this folder", "a .toml file in it or below")
    error = InputError(pattern, found, due, "look at the folder and the spelling")
    return Judgement(job_file=pattern, error=error)


def _workers(given: str | None) -> int | None:
    if given is None:
        return None
    if not given.isascii() or not given.isdecimal() or not 1 <= len(given) <= 4 or int(given) < 1:
        raise InputError("--workers", f"'{given}'", "a whole number from 1 to 9999")
    return int(given)


def _limits(given: str | None) -> Limits | None:
    from gripmargin.run.workers import Limits  # noqa: PLC0415 - what is wrong with other arguments need not wait

    if given is None:
        return None
    amounts: dict[str, float] = {}
    for part in given.split(","):
        match = re.fullmatch(r"\s*(\d{1,9}(?:\.\d{1,9})?)\s*([A-Za-z]+)\s*", part, re.ASCII)
        unit, kind = _UNITS.get(match[2], (0.0, "")) if match else (0.0, "")
        if match is None or kind in ("", *amounts) or not float(match[1]) > 0:
            due = "a time, a memory or both, such as '90 s', '10 min, 4 GB'"
            near = get_close_matches(match[2], _UNITS, n=1) if match else []
            remedy = f"did you mean '{near[0]}'?" if near and kind == "" else f"units: {', '.join(_UNITS)}"
            raise InputError("--limit", f"'{given}'", due, remedy)
        amounts[kind] = float(match[1]) * unit
    memory = amounts.get("memory")
    return Limits(time=amounts.get("time"), memory=None if memory is None else int(memory))


def _share(given: str | None) -> float:
    from gripmargin.run.baseline import WORSE, checked_share  # noqa: PLC0415 - loads numpy

    if given is None:
        return WORSE
    try:
        return checked_share(float(given), "--worse")
    except ValueError as error:
        raise InputError("--worse", f"'{given}'", "a number from 0 to below 1", "0.05 stands for 5 %") from error
