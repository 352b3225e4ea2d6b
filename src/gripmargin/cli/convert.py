"""`gripmargin convert`: read a log as it comes, say what was read as what, and write it as the program's own format."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from gripmargin.base.errors import InputError
from gripmargin.cli.arguments import EXITS, INTERNAL, PASSED, Commands, Parser, add_command
from gripmargin.cli.outputs import STDOUT, checked_places, say, write_all
from gripmargin.cli.reading import add_reading, columns_of, files_read, robot_of

if TYPE_CHECKING:
    from gripmargin.files.table import Reading
    from gripmargin.motion.chain import Chain
    from gripmargin.motion.trajectory import Trajectory

CONVERT_EXITS = EXITS.replace("every job passes", "it was read, and written where that was asked for")


def add(commands: Commands[Parser]) -> None:
    """Describe the arguments."""
    convert = add_command(
        commands,
        "convert",
        "read a log of any format and write it as a program",
        "Read a log, say what each of its columns was read as, and write it as the program's own CSV or npz.",
    )
    convert.epilog = CONVERT_EXITS
    convert.set_defaults(run=run)
    convert.add_argument("log", metavar="LOG", help="any file that a job may name as its trajectory, or a recording")
    convert.add_argument("-o", "--output", metavar="FILE", help="write it: .csv, .npz, .yaml or .json")
    convert.add_argument("--dry-run", action="store_true", help="only say what would be read")
    add_reading(convert)


def run(options: argparse.Namespace) -> int:
    """Convert the log."""
    if options.output is None and not options.dry_run:
        raise InputError("convert", "nothing to do", "-o FILE or --dry-run")
    if options.output == STDOUT:
        raise InputError("--output", "standard output", "a file: what is printed is what was read")
    wanted = None if options.dry_run else options.output
    places = checked_places({"--output": wanted}, [], files_read(options.log, options))
    from gripmargin.files.trajectory_file import read_file  # noqa: PLC0415 - "--help" need not wait for it

    columns = columns_of(options)
    robot = robot_of(options)
    reading = read_file(options.log, robot=robot, topic=options.topic, columns=columns)
    text = "\n".join(_said(options.log, reading)) + "\n"
    if places:
        write_all({places["--output"]: _written(reading.trajectory, Path(places["--output"]), robot)})
    return PASSED if say(text) or places else INTERNAL


def _written(trajectory: Trajectory, place: Path, robot: Chain | None) -> bytes:
    from gripmargin.files.trajectory_writer import WRITTEN, trajectory_bytes  # noqa: PLC0415 - only where it is written

    if place.suffix.lower() not in WRITTEN:
        raise InputError("--output", f"'{place}'", f"a file that ends in {', '.join(WRITTEN)}")
    try:
        return trajectory_bytes(trajectory, place.suffix, robot=robot)
    except InputError as error:
        if robot is None and error.where.endswith(" names"):
            raise InputError(error.where, error.found, error.expected, "name it by --robot, or write .yaml") from error
        raise


def _said(log: str, reading: Reading) -> Iterator[str]:
    """What was read, column by column, and the map that reads the same."""
    import numpy as np  # noqa: PLC0415 - "--help" need not wait for it

    from gripmargin.files.column_map import as_toml  # noqa: PLC0415 - likewise

    trajectory = reading.trajectory
    steps = np.diff(trajectory.t)
    usual = f"every {1e3 * np.median(steps):.6g} ms"
    if steps.max() - steps.min() > 1e-6 * np.median(steps):
        usual += f" ({1e3 * steps.min():.4g} to {1e3 * steps.max():.4g})"
    yield f"{log}: {trajectory.samples} samples, {trajectory.t[0]:.6g} to {trajectory.t[-1]:.6g} s, {usual}"
    names = getattr(trajectory, "names", ())
    if names and not reading.columns:
        yield f"  joints: {', '.join(names)}"
    if reading.columns:
        yield from _table(reading)
    for note in trajectory.notes:
        if not note.startswith("Columns: "):
            yield f"  {note}"
    if reading.columns:
        yield ""
        yield as_toml(reading.as_map).rstrip("\n")


def _table(reading: Reading) -> Iterator[str]:
    rows = [("column", "read as", "unit", "first row")]
    first: Sequence[str] = [f"{value:.10g}" for value in reading.first]
    for column, value in zip(reading.columns, [*first, ""], strict=False):
        name = column.name if not column.convention else f"{column.convention} {column.name[1:]}"
        if column.name == "t2":
            name = "t, added"
        rows.append((column.header.strip(), name, column.unit or "-", value))
    rows += [(header, "not read", "", "") for header in reading.ignored]
    widths = [max(len(row[k]) for row in rows) for k in range(3)]
    for row in rows:
        yield ("  " + "  ".join(f"{cell:{width}}" for cell, width in zip(row, [*widths, 0], strict=True))).rstrip()
