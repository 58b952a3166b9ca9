"""A sheet of pieces that are for sale: what is asked for each, its condition, and what of that cannot be read."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.readable import column_names
from scarfdate.columns.names import SOLD
from scarfdate.conventions import Array
from scarfdate.errors import RangeError, TableError, shown
from scarfdate.reading.cells import as_typed, is_blank
from scarfdate.reading.headings import read_headings
from scarfdate.reading.money import currency_of, is_code, typed_price, writes
from scarfdate.tables.priors import Priors
from scarfdate.worth.condition import Condition
from scarfdate.worth.condition_columns import conditions_read
from scarfdate.worth.pieces import Pieces

if TYPE_CHECKING:
    import pandas as pd


_COUNT = re.compile(
    r"(?:x|×)?\s*(\d{1,4})(?:\.0)?\s*(?:x|×|pcs?|pieces?|st(?:ück|k)?|pz|pièces?|pezzi)?\.?", re.I
)
_TIMES = re.compile(r"\D*[^\W\d]\D*\s[x×]\s?\d{1,3}", re.I)  # "poly x3"; no size
_MOST_PIECES = 1000
_LONGEST_NAME = 80


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

    A cell that cannot be read (a negative price, a word, a price in another currency than ``currency``) is left out
    and named. Raises TableError, naming both, where all prices are in another currency, and RangeError where there
    are no pieces.
    """
    if len(frame) == 0:
        raise RangeError("pieces: there are none; give at least one")
    place = read_headings(list(frame.columns), list(SOLD), priors.headings).place
    sheet_words = priors.words_of_sheets

    def cells(name: str) -> list[Any]:
        return frame.iloc[:, place[name]].tolist() if name in place else [None] * len(frame)

    not_read: dict[int, list[str]] = {}
    foreign: list[str] = []
    asked = np.full(len(frame), np.nan)
    for row, (cell, label) in enumerate(
        zip(cells("asked_price"), cells("sold_currency"), strict=True)
    ):
        if is_blank(cell):
            continue
        other = _other_currency(label, cell, currency)
        if other:
            foreign.append(f"row {row + 1}: {other}")
            not_read.setdefault(row, []).append(f"asked_price: {other}, got {shown(cell)}")
            continue
        read = typed_price(
            sheet_words.price_alone(cell) if isinstance(cell, str) else cell, currency
        )
        if sheet_words.says("free", cell):
            asked[row] = 0.0
        elif read.problem:
            not_read.setdefault(row, []).append(f"asked_price: {read.problem}, got {shown(cell)}")
        else:
            asked[row] = read.amount
    if foreign and np.isnan(asked).all():
        raise TableError(foreign[0])
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


def pieces_of_rows(frame: pd.DataFrame, priors: Priors) -> tuple[NDArray[np.int64], dict[int, str]]:
    """How many pieces each row of a sheet is, by its ``quantity`` ("10", "x3"), (n,) from 1; and by row what was not
    understood, or looks like a number of pieces in a column that is not read ("poly x3")."""
    read = read_headings(list(frame.columns), [*column_names(priors), *SOLD], priors.headings)
    counts = np.ones(len(frame), np.int64)
    told: dict[int, str] = {}
    at = read.place.get("quantity")
    if at is not None:
        for row, cell in enumerate(frame.iloc[:, at].tolist()):
            count = None if is_blank(cell) else _COUNT.fullmatch(as_typed(cell).strip())
            if count is not None and 0 < int(count[1]) <= _MOST_PIECES:
                counts[row] = int(count[1])
            elif not is_blank(cell):
                told[row] = (
                    f"quantity: a number of pieces from 1 to {_MOST_PIECES} is allowed, got {shown(cell)}"
                )
        return counts, told
    names = [at for at, name in enumerate(frame.columns) if str(name) in read.not_used]
    names += [read.place["id"]] if "id" in read.place else []
    for place in names:
        for row, cell in enumerate(frame.iloc[:, place].tolist()):
            if isinstance(cell, str) and _TIMES.fullmatch(cell.strip()[:_LONGEST_NAME]):
                told[row] = (
                    f"quantity: {shown(cell)} may be several pieces, and is counted as one; write how many in a "
                    "column quantity"
                )
    return counts, told


def _other_currency(label: object, cell: object, currency: str) -> str:
    """What is said of a price in another currency; "" where it is in none."""
    found = [] if is_blank(label) else [currency_of(str(label), {})[0]]
    sign = typed_price(cell).currency
    for code in (*found, sign):
        if is_code(code) and code != currency:
            ours = currency or "no currency that is stated"
            return f"a price in {code}, and the prices learned are in {ours}; nothing is converted"
    if sign and is_code(currency) and not writes(currency, sign):
        return f"a price in {sign}, and the prices learned are in {currency}; nothing is converted"
    return ""
