"""A sheet of pieces that are for sale: what is asked for each, its condition, and what of that cannot be read."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from scarfdate.columns.names import SOLD
from scarfdate.conventions import Array
from scarfdate.errors import RangeError, TableError, shown
from scarfdate.reading.cells import as_typed, is_blank
from scarfdate.reading.headings import read_headings
from scarfdate.reading.money import currency_of, is_code, typed_price
from scarfdate.tables.priors import Priors
from scarfdate.worth.condition import Condition
from scarfdate.worth.condition_columns import conditions_read
from scarfdate.worth.pieces import Pieces

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, eq=False, kw_only=True)
class Offered:
    """n pieces as they are offered: ``ids`` ("" where there is none), ``asked`` (n,) money, NaN where nothing is;
    ``conditions``, None where nobody looked; ``not_read``: by row, from 0, what was not understood."""

    ids: tuple[str, ...]
    asked: Array
    conditions: tuple[Condition | None, ...]
    not_read: dict[int, list[str]] = field(default_factory=dict)


def offered(frame: pd.DataFrame, priors: Priors, currency: str) -> Offered:
    """What a sheet says beside the clues, under our names or usual headings ("Asked", "Zustand").

    A cell that cannot be read (a negative price, a word) is left out and named. Raises TableError, naming both,
    for a price in another currency than ``currency``, and RangeError where there are no pieces.
    """
    if len(frame) == 0:
        raise RangeError("pieces: there are none; give at least one")
    place = read_headings(list(frame.columns), list(SOLD), priors.headings).place

    def cells(name: str) -> list[Any]:
        return frame.iloc[:, place[name]].tolist() if name in place else [None] * len(frame)

    not_read: dict[int, list[str]] = {}
    asked = np.full(len(frame), np.nan)
    for row, (cell, label) in enumerate(
        zip(cells("asked_price"), cells("sold_currency"), strict=True)
    ):
        _check_currency(row, label, cell, currency)
        if is_blank(cell):
            continue
        read = typed_price(cell, currency)
        if read.problem:
            not_read.setdefault(row, []).append(f"asked_price: {read.problem}, got {shown(cell)}")
        else:
            asked[row] = read.amount
    conditions = []
    for row, (condition, left, _) in enumerate(conditions_read(frame, priors)):
        conditions.append(condition)
        if left:
            words = ", ".join(map(shown, left))
            not_read.setdefault(row, []).append(f"condition: {words} is not understood")
    return Offered(
        ids=tuple("" if is_blank(cell) else as_typed(cell).strip() for cell in cells("id")),
        asked=asked,
        conditions=tuple(conditions),
        not_read=not_read,
    )


def all_not_read(sheet: Offered, pieces: Pieces) -> dict[int, list[str]]:
    """By row everything that was not understood: the clues as well as the price and the condition."""
    rows = sorted({*sheet.not_read, *pieces.not_read})
    return {row: [*pieces.not_read.get(row, ()), *sheet.not_read.get(row, ())] for row in rows}


def _check_currency(row: int, label: object, cell: object, currency: str) -> None:
    """TableError where a row's money is in another currency."""
    found = [] if is_blank(label) else [currency_of(str(label), {})[0]]
    if not is_blank(cell):
        found.append(typed_price(cell).currency)
    for code in found:
        if is_code(code) and code != currency:
            ours = currency or "no currency that is stated"
            raise TableError(
                f"row {row + 1}: a price in {code}, and the prices learned are in {ours}; nothing is converted"
            )
