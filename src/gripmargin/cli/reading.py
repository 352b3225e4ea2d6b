"""The arguments by which a log of someone else is read: columns, robot, topic."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from gripmargin.base.errors import InputError
from gripmargin.cli.arguments import Parser

if TYPE_CHECKING:
    from gripmargin.files.column_map import Columns
    from gripmargin.motion.chain import Chain

EXAMPLE = 'joints = { unit = "rad" }'


def add_reading(command: Parser) -> None:
    """Describe the arguments."""
    command.add_argument(
        "--columns",
        metavar="TOML",
        action="append",
        help=f"what columns mean, as in [program.columns] of a job, such as '{EXAMPLE}', or a .toml file with it; "
        "may be given more than once",
    )
    command.add_argument(
        "--robot",
        metavar="ROBOT",
        help="a URDF file, or a model of the Robotics Toolbox: names and kinds of the joints",
    )
    command.add_argument("--end-link", metavar="LINK", help="the link of the robot that carries the gripper")
    command.add_argument("--topic", metavar="TOPIC", help="of a recording: the topic of the joint states")


def files_read(log: str, options: argparse.Namespace) -> list[str]:
    """Return the files that are read, which no output may overwrite.

    Raises:
        InputError: A link of no robot.
    """
    if options.end_link is not None and options.robot is None:
        raise InputError("--end-link", "a link of no robot", "--robot beside it")
    try:
        inside = [str(each) for each in Path(log).iterdir()] if Path(log).is_dir() else []
    except OSError:
        inside = []
    return [log, *inside, *([options.robot] if options.robot else [])]


def columns_of(options: argparse.Namespace) -> Columns | None:
    """Return what columns mean, None where it is not said."""
    from gripmargin.files.job_file import read_columns  # noqa: PLC0415 - "--help" need not wait for it

    return read_columns("\n".join(map(_text, options.columns)), "--columns") if options.columns else None


def robot_of(options: argparse.Namespace) -> Chain | None:
    """Return the robot, None where none is named."""
    if options.robot is None:
        return None
    from gripmargin.files.robots import is_robot_file, named_chain  # noqa: PLC0415 - "--help" need not wait for it

    try:
        return named_chain(options.robot, end=options.end_link)
    except InputError as error:
        raise error if is_robot_file(options.robot) else error.at("--robot") from error


def _text(given: str) -> str:
    """A map, or what stands in the file that is named instead."""
    if not given.lower().endswith(".toml"):
        return given
    from gripmargin.files.job_tree import MAX_BYTES  # noqa: PLC0415 - only where a file is named
    from gripmargin.files.source import read_text  # noqa: PLC0415 - likewise

    return read_text(Path(given), MAX_BYTES)
