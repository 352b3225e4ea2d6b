"""The command: arguments, exit status; the only place that prints or writes files."""

from __future__ import annotations

import argparse
import contextlib
import io
import os
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import NoReturn

from gripmargin.cli_tune import EXITS, add_tune, run_tune
from gripmargin.errors import GripmarginError
from gripmargin.findings import Verdict, overall
from gripmargin.report import Report

PASSED, SHORT, BAD_INPUT, UNDECIDED, INTERNAL = 0, 1, 2, 3, 4

_EXITS = """\
exit status:
  0  every job passes
  1  something falls short
  2  bad input or usage, or nothing was checked
  3  undecided, and nothing falls short
  4  an error of the program itself

This is an engineering aid, no safety function. A part that falls can hurt someone.
"""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command and return its exit status."""
    try:
        return _run(_parser().parse_args(arguments))
    except SystemExit as stop:
        return stop.code if isinstance(stop.code, int) else BAD_INPUT
    except GripmarginError as error:
        print(f"gripmargin: {error}", file=sys.stderr)
        return BAD_INPUT
    except BrokenPipeError:
        # The reader of our output has left; what it did not read is no verdict.
        with contextlib.suppress(OSError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return INTERNAL
    except KeyboardInterrupt:
        print("gripmargin: interrupted", file=sys.stderr)
        return INTERNAL
    except MemoryError:
        print("gripmargin: out of memory: split the program into shorter ones", file=sys.stderr)
        return INTERNAL
    except Exception as error:  # a traceback would end with status 1, which means "falls short"
        if os.environ.get("GRIPMARGIN_TRACEBACK"):
            raise
        print(
            f"gripmargin: an error of the program itself: {type(error).__name__}: {error}\n"
            "Nothing was decided. Please report it with the job; GRIPMARGIN_TRACEBACK=1 shows where it arose.",
            file=sys.stderr,
        )
        return INTERNAL


def command() -> NoReturn:
    """Entry point of the installed command."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # a letter the terminal lacks is no error of ours
    sys.exit(main())


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        print(f"gripmargin: {message}\nSee 'gripmargin --help'.", file=sys.stderr)
        sys.exit(BAD_INPUT)


def _parser() -> argparse.ArgumentParser:
    from gripmargin import __version__  # noqa: PLC0415 - the package imports nothing from here

    parser = _Parser(
        prog="gripmargin",
        description="Checks robot motion programs for parts held by passive dry-adhesive pads.",
        epilog=_EXITS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"gripmargin {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND", parser_class=_Parser)
    check = commands.add_parser(
        "check",
        help="judge one or more jobs",
        description="Judge one or more jobs and print a short report of each.",
        epilog=_EXITS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    check.add_argument("jobs", nargs="+", metavar="JOB", help="job file, TOML or JSON")
    check.add_argument(
        "--json", metavar="FILE", help="write the full report as JSON; '-' prints it instead of the text"
    )
    check.add_argument("--samples", action="store_true", help="include the figures at every sample in the JSON")
    tune = commands.add_parser(
        "tune",
        help="find out how fast a program may be",
        description="Find how fast a job may be and pass: the whole program, each move, by a new time law.",
        epilog=EXITS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    add_tune(tune)
    return parser


def _run(options: argparse.Namespace) -> int:
    if options.command == "tune":
        return run_tune(options, _write_whole)
    from gripmargin.checker import check_file  # noqa: PLC0415 - "--help" need not wait for numpy

    if options.samples and not options.json:
        print("gripmargin: --samples goes with --json", file=sys.stderr)
        return BAD_INPUT
    reports: list[Report] = []
    trees: list[str] = []
    for job in options.jobs:
        try:
            report = check_file(job)
        except GripmarginError as error:
            print("\n".join(f"gripmargin: {line}" for line in str(error).splitlines()), file=sys.stderr)
            trees.append(_broken_json(job, error))
            continue
        reports.append(report)
        if options.json:
            trees.append(_report_json(report, samples=options.samples))
        if options.json != "-":
            _print_text(report)
    if options.json:
        _write_json(options.json, trees)
    return _status(reports, broken=len(reports) < len(options.jobs))


def _print_text(report: Report) -> None:
    from gripmargin.reports.as_text import report_text  # noqa: PLC0415 - only where text is wanted

    sys.stdout.write(report_text(report) + "\n")
    sys.stdout.flush()


def _report_json(report: Report, *, samples: bool) -> str:
    from gripmargin.reports.as_json import report_json  # noqa: PLC0415 - only where JSON is wanted

    return report_json(report, samples=samples)


def _broken_json(job: str, error: GripmarginError) -> str:
    from gripmargin.reports.as_json import error_json  # noqa: PLC0415 - only where a job is broken

    return error_json(job, error)


def _write_json(where: str, trees: list[str]) -> None:
    """Write one report as it is, several as a list; a broken job has its place in it."""
    text = trees[0] if len(trees) == 1 else "[\n" + ",\n".join(t.rstrip("\n") for t in trees) + "\n]\n"
    if where == "-":
        sys.stdout.write(text)
        sys.stdout.flush()
        return
    _write_whole(Path(where), text)


def _write_whole(path: Path, text: str) -> None:
    """Write a file whole or not at all."""
    written: Path | None = None
    try:
        with tempfile.NamedTemporaryFile(
            "w", encoding="utf-8", dir=path.parent, prefix=f".{path.name}.", delete=False
        ) as file:
            written = Path(file.name)
            file.write(text)
        written.chmod(0o644)
        written.replace(path)
    except OSError as error:
        if written is not None:
            written.unlink(missing_ok=True)
        raise GripmarginError(str(path), error.strerror or "an error", "a place where a file can be written") from error


def _status(reports: list[Report], *, broken: bool) -> int:
    verdict = overall(report.verdict for report in reports)
    if reports and verdict is Verdict.FAIL:
        return SHORT
    if broken or not reports:
        return BAD_INPUT
    return UNDECIDED if verdict is Verdict.UNDECIDED else PASSED
