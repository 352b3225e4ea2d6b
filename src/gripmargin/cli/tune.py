"""`gripmargin tune`: find out how fast a job may be, and write the program that is."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from gripmargin.base.errors import InputError
from gripmargin.cli.arguments import EXITS, INTERNAL, PASSED, SHORT, UNDECIDED, Commands, Parser, add_command
from gripmargin.cli.outputs import STDOUT, checked_places, say, write_all
from gripmargin.cli.progress import Progress

if TYPE_CHECKING:
    from gripmargin.results.tuned import Tuning

STEPS = 6  # named steps of a full run, about
TUNE_EXITS = EXITS.replace("every job passes", "every program asked for was found, and passes the check").replace(
    "something falls short", "none can be found: something falls short at any speed that was tried"
)


def add(commands: Commands[Parser]) -> None:
    """Describe the arguments."""
    tune = add_command(
        commands,
        "tune",
        "find out how fast a program may be",
        "Find how fast a job may be and pass: the whole program, each move, by a new time law.",
    )
    tune.epilog = TUNE_EXITS
    tune.set_defaults(run=run)
    tune.add_argument("job", metavar="JOB", help="job file, TOML or JSON")
    tune.add_argument(
        "--retime",
        metavar="FILE",
        help="look for a new time law on the same path and write the program: .csv, .npz, .yaml or .json",
    )
    tune.add_argument("--rate", metavar="HZ", help="samples a second of FILE (default 1000)")
    tune.add_argument("--grasp", action="store_true", help="also look for a better place, tilt and size of the pads")
    tune.add_argument("--json", metavar="FILE", help="write the outcome as JSON; '-' prints it instead of the text")


def run(options: argparse.Namespace) -> int:
    """Tune the job."""
    if options.retime == STDOUT:
        raise InputError("--retime", "standard output", "a file: what is printed is the outcome")
    if options.rate is not None and options.retime is None:
        raise InputError("--rate", "no program to write", "--retime beside it")
    rate = _rate(options.rate)
    places = checked_places({"--json": options.json, "--retime": options.retime}, [options.job])
    tuning = _tuned(options, rate)
    texts: dict[str, str | bytes] = {}
    if "--retime" in places:
        from gripmargin.tuning.read_back import written  # noqa: PLC0415 - only where a program is written

        tuning, program = written(tuning, Path(places["--retime"]).suffix)
        if program is not None:
            texts[places["--retime"]] = program
    if "--json" in places:
        from gripmargin.reports.tuning_as_json import tuning_json  # noqa: PLC0415 - only where JSON is wanted

        texts[places["--json"]] = tuning_json(tuning)
    write_all(texts)
    if places.get("--json") != STDOUT:
        from gripmargin.reports.tuning_as_text import tuning_text  # noqa: PLC0415 - only where text is wanted

        heard = say(tuning_text(tuning)) or bool(places)
    else:
        heard = say(str(texts[STDOUT]), "--json")
    if not heard:
        return INTERNAL  # what nobody read is no verdict
    return {"pass": PASSED, "fail": SHORT}.get(str(tuning.verdict), UNDECIDED)


def _tuned(options: argparse.Namespace, rate: float) -> Tuning:
    from gripmargin.files.job_file import read_job  # noqa: PLC0415 - "--help" need not wait for it
    from gripmargin.files.trajectory_writer import WRITTEN  # noqa: PLC0415 - likewise
    from gripmargin.tuning.tune import tune  # noqa: PLC0415 - likewise

    if options.retime is not None and Path(options.retime).suffix not in WRITTEN:
        raise InputError("--retime", f"'{options.retime}'", f"a file that ends in {', '.join(WRITTEN)}")
    job = read_job(Path(options.job))
    try:
        with Progress(STEPS, "steps") as progress:
            retime = options.retime is not None
            return tune(job, retime=retime, rate=rate, grasp=options.grasp, watch=progress.say)
    except InputError as error:
        raise error.at("--rate") if error.where == "rate" else error.of(options.job) from error


def _rate(given: str | None) -> float:
    from gripmargin.tuning.tune import RATE  # noqa: PLC0415 - loads numpy

    try:
        return RATE if given is None else float(given)
    except ValueError as error:
        raise InputError("--rate", f"'{given}'", "a number of samples a second, such as 1000") from error
