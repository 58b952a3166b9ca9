"""Text as a terminal gets it: on one line, of letters that it has, and never markup or control."""

from __future__ import annotations

import sys

import click

_PLAIN = str.maketrans({"█": "#", "…": "~", "–": "-", "—": "-", "²": "2", "½": ".5"})


def clean(text: str) -> str:
    """Text on one line without control characters, and without marks that turn it about."""
    return "".join(
        " " if letter.isspace() else letter if letter.isprintable() else "?" for letter in text
    )


def fit(text: str) -> str:
    """Text with plain letters for bars and dashes where the terminal has no better."""
    encoding = getattr(sys.stdout, "encoding", None) or "ascii"
    try:
        text.encode(encoding)
    except (UnicodeEncodeError, LookupError):
        return text.translate(_PLAIN)
    return text


def clipped(text: str, width: int) -> str:
    """Text cut to so many columns of the terminal, with a mark where something was cut."""
    from rich.cells import cell_len, set_cell_size

    return text if cell_len(text) <= width else set_cell_size(text, width - 1).rstrip() + "~"


def say(text: str, err: bool = False) -> None:
    """Print one line, clean and fitted to the terminal."""
    click.echo(fit(clean(text)), err=err)
