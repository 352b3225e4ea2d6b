"""`gripmargin sample`: write the way points of a job as a program that is sampled under one time law."""

from __future__ import annotations

import argparse
from pathlib import Path

from gripmargin.base.errors import InputError
from gripmargin.cli.arguments import INTERNAL, PASSED, Commands, Parser, add_command
from gripmargin.cli.outputs import STDOUT, checked_places, say, write_all


def add(commands: Commands[Parser]) -> None:
    """Describe the arguments."""
    sample = add_command(
        commands,
        "sample",
        "write way points as a sampled program",
        "Sample the way points of a job under one time law, and write the program.",
    )
    sample.epilog = "exit status: 0 written, 2 bad input or usage, 4 an error of the program itself"
    sample.set_defaults(run=run)
    sample.add_argument("job", metavar="JOB", help="job file with program.waypoints")
    sample.add_argument("--to", metavar="FILE", required=True, help="the program: .csv, .npz, .yaml or .json")
    sample.add_argument(
        "--law", metavar="LAW", default="trapezoid", help="trapezoid (default), jerk-limited or quintic"
    )
    sample.add_argument("--stop", action="store_true", help="stop at every way point: do not blend")
    sample.add_argument("--rate", metavar="HZ", default="250", help="samples a second, 100 to 10000 (default 250)")


def run(options: argparse.Namespace) -> int:
    """Write the program."""
    if options.to == STDOUT:
        raise InputError("--to", "standard output", "a file")
    try:
        rate = float(options.rate)
    except ValueError as error:
        raise InputError("--rate", f"'{options.rate}'", "samples a second, from 100 to 10000") from error
    if not 100.0 <= rate <= 10_000.0:
        raise InputError("--rate", f"{rate:g}", "samples a second, from 100 to 10000")
    (place,) = checked_places({"--to": options.to}, [options.job]).values()
    from gripmargin.files.job_file import read_job  # noqa: PLC0415 - what is wrong with an argument need not wait
    from gripmargin.files.trajectory_writer import trajectory_bytes  # noqa: PLC0415 - likewise
    from gripmargin.motion.planned import sample_waypoints  # noqa: PLC0415 - likewise

    job = read_job(options.job)
    if job.waypoints is None:
        remedy = "name a table of way points as program.waypoints"
        raise InputError(options.job, "a program that is sampled already", "way points", remedy)
    blends = job.waypoints.blends and not options.stop
    program = sample_waypoints(job.waypoints, robot=job.robot, law=options.law, blends=blends, step=1.0 / rate)
    write_all({place: trajectory_bytes(program, Path(place).suffix, robot=job.robot)})
    law = f"{options.law}{' with blends' if blends else ''}"
    said = f"{program.samples} samples over {program.t[-1]:.3f} s, {law}: {place}\n"
    return PASSED if say(said) else INTERNAL
