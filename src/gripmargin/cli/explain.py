"""`gripmargin explain`: what a name or a code in a report means, why it matters, and what helps."""

from __future__ import annotations

import argparse
from difflib import get_close_matches

from gripmargin.base.errors import InputError
from gripmargin.cli.arguments import INTERNAL, PASSED, Commands, Parser, add_command
from gripmargin.cli.outputs import say
from gripmargin.cli.terminal import width
from gripmargin.reports.layout import Line, laid_out


def add(commands: Commands[Parser]) -> None:
    """Describe the arguments."""
    explain = add_command(
        commands,
        "explain",
        "what a name or a code in a report means",
        "Say what a check, a doubt or a cause that a report names means, why it matters and what helps.",
    )
    explain.set_defaults(run=run)
    explain.add_argument(
        "code", nargs="?", metavar="CODE", help="as the report has it, such as 'swing'; none: all of them"
    )


def run(options: argparse.Namespace) -> int:
    """Explain one code, or name all of them."""
    from gripmargin.checks.meanings import MEANINGS  # noqa: PLC0415 - "--help" need not wait for it

    if options.code is None:
        lines: list[Line] = [(f"  {code:<16}", meaning.what) for code, meaning in MEANINGS.items()]
    elif options.code in MEANINGS:
        meaning = MEANINGS[options.code]
        lines = [
            ("", options.code),
            ("  what   ", meaning.what),
            ("  why    ", meaning.why),
            ("  helps  ", meaning.helps),
        ]
    else:
        near = get_close_matches(options.code, MEANINGS, n=1)
        remedy = f"did you mean '{near[0]}'?" if near else "'gripmargin explain' alone names all of them"
        raise InputError("CODE", f"'{options.code}'", "a check or a code that reports name", remedy)
    return PASSED if say(laid_out(lines, width(), hang=18)) else INTERNAL
