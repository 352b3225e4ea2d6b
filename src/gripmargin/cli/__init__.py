"""The command: arguments, exit status; the only place that prints or writes files.

Each subcommand is a module with `add`, which describes its arguments, and `run`, which carries it out and returns the
exit status; `_COMMANDS` lists them.
"""

from __future__ import annotations

import argparse
import io
import os
import signal
import sys
import traceback
from collections.abc import Sequence
from typing import NoReturn

from gripmargin.base.errors import GripmarginError
from gripmargin.cli import check, convert, explain, init, limits, sample, tune
from gripmargin.cli.arguments import BAD_INPUT, EXITS, INTERNAL, INTERRUPTED, PASSED, SHORT, UNDECIDED, Parser
from gripmargin.cli.outputs import complain, nobody_reads, visible
from gripmargin.run.workers import ONE_THREAD, quiet

__all__ = ["BAD_INPUT", "INTERNAL", "PASSED", "SHORT", "UNDECIDED", "command", "main"]

_COMMANDS = (init, check, tune, sample, convert, limits, explain)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command and return its exit status."""
    try:
        options = _parser().parse_args(arguments)
        status: int = options.run(options)
        return status
    except SystemExit as stop:
        return stop.code if isinstance(stop.code, int) else BAD_INPUT
    except GripmarginError as error:
        complain(error)
        return BAD_INPUT
    except BrokenPipeError:
        nobody_reads()
        return INTERNAL
    except KeyboardInterrupt:
        print("gripmargin: interrupted", file=sys.stderr)
        return INTERRUPTED
    except MemoryError:
        print("gripmargin: out of memory: split the program into shorter ones", file=sys.stderr)
        return INTERNAL
    except Exception as error:  # a traceback would end with status 1, which means "falls short"
        if os.environ.get("GRIPMARGIN_TRACEBACK"):
            traceback.print_exc()
        said = f"gripmargin: an error of the program itself: {type(error).__name__}: {error}\n"
        more = "Nothing was decided. Please report it with the job; GRIPMARGIN_TRACEBACK=1 shows where it arose."
        print(visible(said + more), file=sys.stderr)
        return INTERNAL


def command() -> NoReturn:
    """Entry point of the installed command."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:  # closed: files that are opened must not take its place
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115, PTH123 - open to the end
    for signal_ in filter(None, (getattr(signal, name, None) for name in ("SIGTERM", "SIGHUP"))):
        if signal.getsignal(signal_) is not signal.SIG_IGN:
            signal.signal(signal_, _end)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # a letter the terminal lacks is no error of ours
    quiet()
    sys.modules.setdefault("dask", None)  # type: ignore[arg-type] # pint would load it, 0.1 s, and has no use for it here
    for variable in ONE_THREAD:
        os.environ.setdefault(variable, "1")  # as in the worker processes; the arrays are too small for more
    sys.exit(main())


def _end(number: int, _: object) -> NoReturn:
    """End on a signal as on an error: nothing half written stays."""
    sys.exit(128 + number)


def _parser() -> Parser:
    from gripmargin.base.version import __version__  # noqa: PLC0415 - the package imports nothing from here

    parser = Parser(
        prog="gripmargin",
        description="Checks robot motion programs for parts held by passive dry-adhesive pads.",
        epilog=EXITS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"gripmargin {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND", parser_class=Parser)
    for module in _COMMANDS:
        module.add(commands)
    return parser
