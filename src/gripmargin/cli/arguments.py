"""Exit statuses, and how the arguments of every subcommand are read."""

from __future__ import annotations

import argparse
import re
import sys
from difflib import get_close_matches
from typing import Any, ClassVar, NoReturn

from gripmargin.cli.outputs import visible

PASSED, SHORT, BAD_INPUT, UNDECIDED, INTERNAL = 0, 1, 2, 3, 4
INTERRUPTED = 128 + 2  # as shells have it: 128 and the number of the signal

EXITS = """\
exit status:
  0  every job passes
  1  something falls short
  2  bad input or usage, or nothing was checked
  3  undecided, and nothing falls short
  4  an error of the program itself, or nobody read the report
  130  interrupted (Ctrl-C): what was judged until then is reported

This is an engineering aid, no safety function. A part that falls can hurt someone.
"""

Commands = argparse._SubParsersAction  # the only name that argparse has for it


class Parser(argparse.ArgumentParser):
    """A parser whose errors are one line and status 2."""

    known: ClassVar[set[str]] = set()  # commands and options of all parsers

    def add_argument(self, *names: Any, **more: Any) -> argparse.Action:
        """Add an argument, and keep the names of an option."""
        self.known.update(name for name in names if name.startswith("--"))
        return super().add_argument(*names, **more)

    def error(self, message: str) -> NoReturn:
        """End with what is wrong, and with what may have been meant."""
        given = re.search(r"(?:unrecognized arguments: |invalid choice: ')(--)?([^\s=']+)", message)
        if given:
            near = get_close_matches((given[1] or "") + given[2], sorted(self.known), n=1)
            message += f"; did you mean '{near[0]}'?" if near else ""
        print(f"gripmargin: {visible(message)}\nSee 'gripmargin --help'.", file=sys.stderr)
        sys.exit(BAD_INPUT)


def add_command(commands: Commands[Parser], name: str, help_: str, description: str) -> Parser:
    """Add a subcommand with the exit statuses in its help."""
    Parser.known.add(name)
    return commands.add_parser(
        name,
        help=help_,
        description=description,
        epilog=EXITS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
