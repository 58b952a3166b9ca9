"""COMMANDS.md, made from the command line itself.

python -m tests.commands > COMMANDS.md
"""

from __future__ import annotations

import click

from scarfdate.cli import cli

HEAD = """# Commands

Every verb of `scarfdate` as its own `--help` tells it; this file is made by `python -m tests.commands`.
Exit codes: 0 fine, 1 some rows bad or a fault found, 2 a slip in the command or a file that cannot be read or written, 130 stopped by Ctrl-C, 141 the reader of the output has left.
"""
ORDER = (
    "show", "words", "template", "dry-run", "date", "explain", "next", "compare", "label", "appraise", "describe",
    "shelf", "learn-prices", "card", "practice", "learn", "score", "simulate", "build-priors", "check-priors", "compare-priors",
    "upgrade-priors",
    "lessons",
)  # fmt: skip


def manual() -> str:
    """The whole file."""
    context = click.Context(cli, info_name="scarfdate", terminal_width=100, **cli.context_settings)
    parts = [HEAD]
    for name in ORDER:
        command = cli.commands[name]
        inner = click.Context(command, info_name=name, parent=context, terminal_width=100)
        parts.append(f"## {name}\n\n```text\n{command.get_help(inner)}\n```\n")
    return "\n".join(parts)


if __name__ == "__main__":
    print(manual(), end="")
