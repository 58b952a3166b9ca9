"""The command line: ``scarfdate`` and the verbs of the library.

Exit codes: 0 all is well, 1 some rows cannot be read or a fault was found, 2 wrong usage or a file
that cannot be read or written at all, 130 stopped by Ctrl-C, 141 the reader of the output has left
(such as ``| head -1``; both as a shell counts the signals). Text from files is shown as it stands: it
never becomes markup, and no control character of it reaches the terminal.
"""

from __future__ import annotations

from scarfdate.cli import (
    appraise,
    date,
    describe,
    lessons,
    practice,
    records,
    sheets,
    shelf,
    tables,
    why,
)
from scarfdate.cli.front import cli

for command in (
    *date.COMMANDS,
    *why.COMMANDS,
    *describe.COMMANDS,
    *records.COMMANDS,
    *sheets.COMMANDS,
    *tables.COMMANDS,
    *appraise.COMMANDS,
    *shelf.COMMANDS,
    *lessons.COMMANDS,
    *practice.COMMANDS,
):
    cli.add_command(command)


def main() -> None:
    """The entry point of the command ``scarfdate``."""
    cli(prog_name="scarfdate")
