"""`gripmargin init`: draft a job file with what a program shows, and marks for what has to be measured."""

from __future__ import annotations

import argparse
import os
from pathlib import Path

from gripmargin.base.errors import InputError
from gripmargin.cli.arguments import EXITS, INTERNAL, PASSED, Commands, Parser, add_command
from gripmargin.cli.outputs import STDOUT, checked_places, say, write_all
from gripmargin.cli.reading import add_reading, columns_of, files_read


def add(commands: Commands[Parser]) -> None:
    """Describe the arguments."""
    init = add_command(
        commands,
        "init",
        "draft a job file for a program",
        "Find moves, rests and the places where the tool comes down, and draft a job file with them. What has to be "
        "measured is marked, and the checker refuses the file until it is filled in.",
    )
    init.epilog = EXITS.replace("every job passes", "it was drafted")
    init.set_defaults(run=run)
    init.add_argument("program", metavar="PROGRAM", help="any file that a job may name as its trajectory")
    init.add_argument("-o", "--output", metavar="FILE", help="the job file, new, .toml (default: it is printed)")
    add_reading(init)


def run(options: argparse.Namespace) -> int:
    """Draft the job."""
    wanted = None if options.output == STDOUT else options.output
    read = files_read(options.program, options)
    if wanted is not None:
        if Path(wanted).suffix.lower() != ".toml":
            raise InputError("--output", f"'{wanted}'", "a file that ends in .toml")
        checked_places({"--output": wanted}, [], read)
        if os.path.lexists(wanted):
            found = f"'{wanted}', which is there already"
            raise InputError("--output", found, "a file that is not there yet", "choose another name, or move it away")
    from gripmargin.files.job_draft import draft_job  # noqa: PLC0415 - "--help" need not wait for it
    from gripmargin.files.job_values import UNMEASURED  # noqa: PLC0415 - likewise

    columns = columns_of(options)
    text = draft_job(
        options.program,
        robot=options.robot,
        end_link=options.end_link,
        topic=options.topic,
        columns=columns,
        folder="." if wanted is None else Path(wanted).parent,
    )
    if wanted is None:
        return PASSED if say(text, "-") else INTERNAL
    write_all({wanted: text})
    left = sum(line.partition("#")[0].count(UNMEASURED) for line in text.splitlines())
    say(f"{wanted}: {left} values to be measured; 'gripmargin check {wanted}' lists them until they are filled in\n")
    return PASSED
