"""A dating as plain text; and text as a terminal gets it: letters that it has, never markup or control."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from textwrap import fill

_WIDTH = 78
_BAR = 40
_PLAIN = str.maketrans(
    {
        "█": "#",
        "━": "=",
        "─": "-",
        "·": ".",
        "◂": "<",
        "…": "~",
        "–": "-",
        "—": "-",
        "²": "2",
        "½": ".5",
    }
)


def bars(rows: Sequence[tuple[str, float]]) -> str:
    """A bar for each label and chance, the longest as long as the room allows."""
    longest = max((chance for _, chance in rows), default=1.0) or 1.0
    return "\n".join(
        f"{label:>16}  {'█' * round(_BAR * chance / longest):<{_BAR}}  {_whole(chance)}"
        for label, chance in rows
    )


def _whole(chance: float) -> str:
    """A chance in whole per cent, in four columns."""
    return " <1%" if 0 < chance < 0.005 else f"{chance:4.0%}"


def page(
    text: str,
    rows: Sequence[tuple[str, float]],
    facts: Sequence[str],
    warnings: Sequence[str],
    beside: Sequence[str] = (),
) -> str:
    """A dating as text: the sentence, what stands beside it, the decades as bars, facts, warnings."""
    more = (fill(each, _WIDTH, subsequent_indent="  ", break_on_hyphens=False) for each in beside)
    lines = [fill(text, _WIDTH, break_on_hyphens=False), *more]
    lines += ["", bars(rows), ""]
    under = [*facts, *(f"note: {warning}" for warning in warnings)]
    lines += [fill(each, _WIDTH, subsequent_indent="  ", break_on_hyphens=False) for each in under]
    return "\n".join(lines)


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
    import click

    click.echo(fit(clean(text)), err=err)
