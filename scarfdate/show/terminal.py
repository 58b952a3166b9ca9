"""A dating as plain text."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import fill

_WIDTH = 78
_BAR = 40


def bars(rows: Sequence[tuple[str, float]]) -> str:
    """A bar for each label and chance, the longest as long as the room allows."""
    longest = max((chance for _, chance in rows), default=1.0) or 1.0
    return "\n".join(
        f"{label:>16}  {'█' * round(_BAR * chance / longest):<{_BAR}}  {chance:4.0%}"
        for label, chance in rows
    )


def page(
    text: str, rows: Sequence[tuple[str, float]], facts: Sequence[str], warnings: Sequence[str]
) -> str:
    """A dating as text: the sentence, the decades as bars, facts, warnings."""
    lines = [fill(text, _WIDTH), "", bars(rows), ""]
    lines += [fill(fact, _WIDTH, subsequent_indent="  ") for fact in facts]
    lines += [fill(f"note: {warning}", _WIDTH, subsequent_indent="  ") for warning in warnings]
    return "\n".join(lines)
