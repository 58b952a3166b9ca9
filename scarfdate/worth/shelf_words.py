"""What sells, in words: numbers, days and margins as a dealer reads them."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from typing import Any

import pandas as pd

from scarfdate.show.sentence import percent
from scarfdate.show.terminal import clean
from scarfdate.worth.book import Book
from scarfdate.worth.kinds import amount

HEADS = {"decade": "made in the", "fibre": "fibre", "maker": "maker", "price": "price asked"}
_MOST_HUNG = 12
_TOO_FEW = "too few to say"
_LONGEST = 24  # letters of a kind


def summary(book: Book) -> str:
    """The book in a sentence."""
    sales = book.sales
    sold, back = int(sales["sold"].sum()), sum(one is True for one in sales["returned"].tolist())
    came = f" ({back} came back)" if back else ""
    when = f" on {book.closed_on}" if book.closed_on else ""
    money = f"; money in {book.currency}" if book.currency else ""
    pieces = "1 piece" if len(book) == 1 else f"{len(book)} pieces"
    return f"{pieces}: {sold} sold{came}, {len(book) - sold} unsold{when}{money}."


def meant(level: float) -> str:
    """What the columns are."""
    return (
        "Half sold: days until half of such pieces are sold; those that still hang are counted. Margin: what is left "
        "of the money taken after what was paid for the pieces, before fees, postage and time. In brackets what both "
        f"may be ({percent(level)} sure)."
    )


def rows(table: pd.DataFrame, head: str) -> list[tuple[str, ...]]:
    """The rows of one way to tell pieces apart as texts, under their heads."""
    found: list[tuple[str, ...]] = [(head, "bought", "sold", "unsold", "half sold after", "margin")]
    for one in table.to_dict("records"):
        counts = (f"{one[name]:.0f}" for name in ("bought", "sold", "unsold"))
        found.append((named(one["kind"]), *counts, days_of(one), margin_of(one)))
    return found


def named(text: object) -> str:
    """A name that a person wrote, on one line and not too long."""
    return clean(str(text))[:_LONGEST]


def days_of(one: Mapping[Hashable, Any]) -> str:
    """Days until half are sold, with what they may be."""
    middle, low, high = one["days"], one["days_from"], one["days_to"]
    if math.isnan(middle):
        return _TOO_FEW
    most = f"{low:.0f} or more" if math.isinf(high) else f"{low:.0f} to {high:.0f}"
    if math.isinf(middle):
        return "not half sold yet" if math.isinf(low) else f"not half sold yet ({most})"
    return f"{middle:.0f} days ({most})"


def margin_of(one: Mapping[Hashable, Any]) -> str:
    """The margin in per cent, with what it may be."""
    middle, low, high = one["margin"], one["margin_from"], one["margin_to"]
    if math.isnan(middle):
        return _TOO_FEW
    between = "" if math.isnan(low + high) else f" ({100 * low:.0f} to {100 * high:.0f})"
    return f"{100 * middle:.0f} %{between}"


def columns(lines: Sequence[Sequence[str]]) -> str:
    """Rows of texts as a table of letters: first and last columns to the left, numbers to the right."""
    widths = [max(map(len, column)) for column in zip(*lines, strict=True)]
    laid = []
    for line in lines:
        cells = [
            cell.rjust(width) if 1 <= at <= 3 else cell.ljust(width)
            for at, (cell, width) in enumerate(zip(line, widths, strict=True))
        ]
        laid.append("  ".join(cells).rstrip())
    return "\n".join(laid)


def hung(table: pd.DataFrame, currency: str) -> list[str]:
    """Pieces that have hung longer than nine in ten of their kind, a line each, under a line on them."""
    if not len(table):
        return ["No piece has hung longer than nine in ten of its kind."]
    n = len(table)
    lines = [
        f"{'1 piece has' if n == 1 else f'{n} pieces have'} hung longer than nine in ten of their kind:"
    ]
    for one in table.iloc[:_MOST_HUNG].to_dict("records"):
        money = "" if math.isnan(one["asked"]) else f", {amount(one['asked'])} {currency}".rstrip()
        name = named(one["id"] or f"row {one['row']}")
        lines.append(f"- {name}{money}: {one['days']:.0f} days, longer than {percent(one['longer_than'])} of "
                     f"{one['pieces']} pieces ({clean(one['kind'])})")  # fmt: skip
    return [*lines, *([f"- and {n - _MOST_HUNG} more"] if n > _MOST_HUNG else [])]
