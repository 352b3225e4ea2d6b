"""`python -m gripmargin` is the command."""

from gripmargin.cli import command

command()
