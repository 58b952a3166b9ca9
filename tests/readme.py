"""``python -m tests.readme``: the README with every ``$ scarfdate ...`` in it run again, its output as it comes.

The year of a dating is part of its answer: what the README shows is as of its year.
"""

from __future__ import annotations

import re
import shlex
from pathlib import Path

from click.testing import CliRunner

from scarfdate.cli import cli

PATH = Path(__file__).parents[1] / "README.md"
YEAR = "2026"
_DATED = (
    "show",
    "label",
    "next",
    "date",
    "appraise",
    "describe",
)  # verbs whose answer hangs on the year
_BLOCK = re.compile(r"^```console\n\$ (scarfdate .*)\n(?s:(.*?))^```$", re.M)


def commands(text: str) -> list[str]:
    """The commands whose output is shown."""
    return [match[1] for match in _BLOCK.finditer(text)]


def output(command: str) -> str:
    """What a command prints; ValueError where it does not end well."""
    _, *typed = shlex.split(command)
    found = CliRunner().invoke(cli, [*typed, *(("--as-of", YEAR) if typed[0] in _DATED else ())])
    if found.exit_code != 0:
        raise ValueError(f"{command}: {found.output}")
    # the hash of the tables changes with every cell of theirs
    return re.sub(r"(tables|priors)\s+[0-9a-f]{12}\.", r"\1 ...", found.stdout).rstrip() + "\n"


def renewed(text: str) -> str:
    """The text with every output as it comes now."""
    return _BLOCK.sub(lambda at: f"```console\n$ {at[1]}\n{output(at[1])}```", text)


if __name__ == "__main__":
    PATH.write_text(renewed(PATH.read_text("utf-8")), "utf-8")
