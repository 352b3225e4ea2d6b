"""The subcommand `tune`: its arguments, its output, its exit status."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from gripmargin.errors import GripmarginError
from gripmargin.findings import Verdict

if TYPE_CHECKING:
    from gripmargin.tuned import Tuning

PATIENCE = 1.0  # [s] after which progress is shown
STEPS = 6  # named steps of a full run, about

STATUS = {Verdict.PASS: 0, Verdict.FAIL: 1, Verdict.UNDECIDED: 3}
EXITS = """\
exit status:
  0  every program asked for was found, and passes the check
  1  none can be: something falls short at any speed that was tried
  2  bad input or usage
  3  undecided
  4  an error of the program itself

This is an engineering aid, no safety function. A part that falls can hurt someone.
"""


def add_tune(parser: argparse.ArgumentParser) -> None:
    """Give a parser the arguments of `tune`."""
    parser.add_argument("job", metavar="JOB", help="job file, TOML or JSON")
    parser.add_argument("--retime", metavar="FILE", help="look for a new time law on the same path; write it as CSV")
    parser.add_argument("--rate", type=float, default=1000.0, metavar="HZ", help="samples a second of FILE (1000)")
    parser.add_argument("--grasp", action="store_true", help="also look for a better place, tilt and size of the pads")
    parser.add_argument("--json", metavar="FILE", help="write the outcome as JSON; '-' prints it instead of the text")


def run_tune(options: argparse.Namespace, write_whole: Callable[[Path, str], None]) -> int:
    """Tune a job, print the outcome and return the exit status.

    Args:
        options: As `add_tune` defines them.
        write_whole: Writes a file whole or not at all.

    Raises:
        GripmarginError: The job is malformed, or a file cannot be written.
    """
    from gripmargin.files.job_file import read_job  # noqa: PLC0415 - "--help" need not wait for it
    from gripmargin.tuning.tune import tune  # noqa: PLC0415 - likewise

    if options.retime == "-":
        raise GripmarginError("--retime", "'-'", "a file: what is printed is the outcome")
    progress = Progress()
    try:
        tuning = tune(
            read_job(Path(options.job)),
            retime=options.retime is not None,
            rate=options.rate,
            grasp=options.grasp,
            watch=progress.step,
        )
    finally:
        progress.clear()
    if options.retime is not None and tuning.retimed is not None and tuning.retimed.passed:
        from gripmargin.files.program_csv import program_csv  # noqa: PLC0415 - only where one is written

        write_whole(Path(options.retime), program_csv(tuning.retimed.job))
    _say(tuning, options.json, write_whole)
    return STATUS[tuning.verdict]


def _say(tuning: Tuning, json: str | None, write_whole: Callable[[Path, str], None]) -> None:
    if json is not None:
        from gripmargin.reports.tuning_as_json import tuning_json  # noqa: PLC0415 - only where JSON is wanted

        text = tuning_json(tuning)
        if json == "-":
            sys.stdout.write(text)
            return
        write_whole(Path(json), text)
    from gripmargin.reports.tuning_as_text import tuning_text  # noqa: PLC0415 - only where text is wanted

    sys.stdout.write(tuning_text(tuning))
    sys.stdout.flush()


class Progress:
    """One line on a terminal that says what is done; nothing in a pipe, nothing within the first second."""

    def __init__(self) -> None:
        self.began = time.monotonic()
        self.done = 0
        self.shown = False

    def step(self, name: str) -> None:
        """Say that a step begins."""
        self.done += 1
        if not sys.stderr.isatty() or time.monotonic() - self.began < PATIENCE:
            return
        filled = min(self.done, STEPS)
        bar = "#" * filled + "." * (STEPS - filled)
        sys.stderr.write(f"\r\033[K[{bar}] {time.monotonic() - self.began:4.1f} s  {name}")
        sys.stderr.flush()
        self.shown = True

    def clear(self) -> None:
        """Take the line away."""
        if self.shown:
            sys.stderr.write("\r\033[K")
            sys.stderr.flush()
