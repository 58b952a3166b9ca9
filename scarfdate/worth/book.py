"""A dealer's book of bought and sold pieces: what was paid, asked and got, when, and what hangs still.

A table (CSV, spreadsheet, JSON, frame), one row a piece, sold or not; its year need not be known:

| column | meaning |
|---|---|
| `id` | its number; a piece that came back may stand there twice; without ids, equal rows are pieces of their own |
| clues | every column that `date_table` takes: `fibre`, `hem`, `label_text`, `width_cm`, `known`, ... |
| `condition` | its faults in the dealer's words, or "no faults"; blank: not looked at |
| `holes`, `stains`, ... | a column headed by a kind of fault: how many, or in words |
| `bought_on`, `listed_on`, `sold_on` | days, in this order, as in `scarfdate.records.sold` |
| `costs` | what was paid for it; 0 for a gift |
| `asked_price`, `sold_price` | what was asked at first, and what was got |
| `sold_currency` | of these amounts, where they state none |
| `sold_channel` | where it is or was offered, in the dealer's own words |
| `returned` | yes: the buyer sent it back |
| `days_to_sell` | where `listed_on` or `sold_on` is blank |
| `price_index` | a general index of prices on the day of sale, in any unit; 100 = the base, say |
| `note...` | kept and never read |

A piece is sold where a day or a price of sale is stated, be it one that cannot be read. Unsold pieces are kept: leaving them out would make
everything look as if it sold fast.
"""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scarfdate.errors import ScarfdateError, TableError, shown
from scarfdate.reading.cells import as_typed
from scarfdate.reading.days import sale_date
from scarfdate.reading.money import is_code
from scarfdate.records.row import KINDS
from scarfdate.records.sheet_rows import clue_frame
from scarfdate.records.sold_files import SoldTable, open_book
from scarfdate.records.sold_records import checked_places
from scarfdate.show import page
from scarfdate.tables.priors import Priors, checked_priors
from scarfdate.worth.book_conditions import conditions, fault_columns
from scarfdate.worth.book_rows import BookReader, PieceRow
from scarfdate.worth.condition import Condition
from scarfdate.years import checked_as_of, this_day

_REASONS_SHOWN = 5


@dataclass(frozen=True, eq=False, kw_only=True)
class Book:
    """Bought and sold pieces; n of them.

    ``clues``: a frame (n rows, index 0 to n - 1) whose columns are keywords that `date_table` takes and
    notes, as they were written, None where blank. ``sales``: a frame of the same rows: ``id``, ``bought_on``,
    ``paid``, ``listed_on``, ``asked``, ``sold_on``, ``price``, ``returned`` (True, False, NaN where not
    stated), ``channel``, ``days`` (from ``listed_on`` to ``sold_on``, or to ``closed_on`` where it is unsold,
    whole days of 0 or more, NaN where not known), ``sold`` (bool), ``price_index``; days are datetime64 (NaT),
    money is in ``currency`` (NaN). ``conditions``: a `Condition` a piece, None where
    nobody looked.
    ``currency``: one label for all money, "" where none is stated. ``closed_on``: the day on which unsold
    pieces were last counted, None where no day is stated at all. ``source_row``: (n,) rows of the table that
    are not blank, 1 being the first under the header. ``left_out``: row, reason, kind and place of the
    others. ``notes``: remarks. ``file_hash``: SHA-256 of the file (of a frame: of its cells as text).
    """

    clues: pd.DataFrame
    sales: pd.DataFrame
    conditions: tuple[Condition | None, ...]
    currency: str
    closed_on: datetime.date | None
    source_row: NDArray[np.int64]
    left_out: pd.DataFrame
    notes: tuple[str, ...]
    file_hash: str

    def __len__(self) -> int:
        return len(self.source_row)

    def take(self, places: object) -> Book:
        """The pieces at some places, (k,) whole numbers from 0 or a mask (n,); repeats are allowed.

        All else stays that of the whole book, ``closed_on`` too. Raises RangeError for a place that is not
        there.
        """
        at = checked_places(places, len(self))
        return replace(
            self,
            clues=self.clues.iloc[at].reset_index(drop=True),
            sales=self.sales.iloc[at].reset_index(drop=True),
            conditions=tuple(self.conditions[place] for place in at.tolist()),
            source_row=self.source_row[at],
        )

    def to_frame(self) -> pd.DataFrame:
        """Everything that is known of each piece, in one frame, with the grade of its condition: to look at."""
        grades = ["" if one is None else one.grade for one in self.conditions]
        head = pd.DataFrame({"row": self.source_row, "condition": pd.Series(grades, dtype=object)})
        return pd.concat([head, self.sales, self.clues], axis=1)

    def _repr_html_(self) -> str:
        return page.view(str(self))

    def __str__(self) -> str:
        sold, n = int(self.sales["sold"].sum()), len(self)
        text = f"{'1 piece' if n == 1 else f'{n} pieces'}: {sold} sold, {n - sold} unsold"
        text += f" on {self.closed_on}" if self.closed_on else ""
        text += f"; money in {self.currency}" if self.currency else "; no currency is stated"
        return "\n".join([f"{text} ({self.file_hash[:8]}).", *(f"- {note}" for note in self.notes)])


def read_book(
    source: object,
    *,
    columns: object = None,
    priors: Priors | None = None,
    currency: str | None = None,
    closed_on: datetime.date | str | None = None,
    as_of: int | None = None,
    sheet: str | int | None = None,
    unit: str | None = None,
) -> Book:
    """A book of bought and sold pieces from a file (CSV, spreadsheet, JSON), an open stream, or a frame.

    ``columns``: a TOML file, a `ColumnsMap`, or a mapping of our names to the table's; None where the table
    has our own names or usual headings ("Paid", "Sold for"). ``currency``: the ISO 4217 code of amounts that
    state none; a label: nothing is ever converted. ``closed_on``: the day on which the unsold pieces were last
    counted (a date, or as 2026-09-30); by default the latest day in the book. ``as_of``: days after this year
    are refused (default: after today). ``sheet``: of a spreadsheet, by name or number from 1. ``unit``:
    of sizes that state none, as of `date_table`.

    Clues are read as `date_table` reads them; what it cannot read it leaves out, and a note says so. A cell of
    money or of a day that cannot be read is blank, with a note. A row whose days are not in order, that
    lies after ``closed_on``, that has an amount below 0, or whose id is that of another piece, is in
    ``left_out`` with the reason, and so is the second of two equal rows with an id (without one they are two
    pieces). Which row comes first never matters.

    Raises TableError for money in two currencies (what states none is taken to be in the one that is stated, with a
    note), for a book without pieces or in which no sale has a price, and where the file or the map has a fault;
    ScarfdateError for another ``currency``, ``closed_on`` or ``as_of``.
    """
    known = checked_priors(priors)
    year, today = checked_as_of(as_of), this_day()
    latest = today if as_of is None else datetime.date(year, 12, 31)
    closed = _day(closed_on, known)
    if currency is not None and not (isinstance(currency, str) and is_code(currency)):
        raise ScarfdateError(
            f"currency: an ISO 4217 code (three capital letters, such as EUR) is allowed, got {shown(currency)}"
        )
    opened = open_book(source, columns, known, sheet=sheet, unit=unit, dated=False)
    table = opened.table
    last = latest if closed is None else min(closed, latest)
    reader = BookReader(known, opened.using, currency=currency or "", closed_on=last)
    rows = reader.rows(table, opened.placed.places)
    states = conditions(rows, opened, known, reader.notes)
    good, bad = [row for row in rows if not row.wrong], [row for row in rows if row.wrong]
    for remark in (*opened.remarks(fault_columns(opened, known)), *table.remarks):
        reader.notes.say(remark)
    if bad:
        reader.notes.say(f"left out: {_counted(bad)}")
    _check(table, good, bad)
    if closed is None:
        closed = max((day for row in good if (day := row.last_day)), default=None)
    return Book(
        clues=clue_frame(good, reader.clue_names(rows)),
        sales=_sales(good, closed),
        conditions=tuple(states[row.number - 1] for row in good),
        currency=reader.currency,
        closed_on=closed,
        source_row=np.array([row.number for row in good], dtype=np.int64),
        left_out=pd.DataFrame(
            {
                "row": np.array([row.number for row in bad], dtype=np.int64),
                "reason": pd.Series([row.reason for row in bad], dtype=object),
                "kind": pd.Series([row.kind for row in bad], dtype=object),
                "place": pd.Series([table.places[row.number - 1] for row in bad], dtype=object),
            }
        ),
        notes=tuple(reader.notes),
        file_hash=table.hash,
    )


def _day(day: object, priors: Priors) -> datetime.date | None:
    if day is None:
        return None
    read = sale_date(day, None, priors.date_words.months)
    problem = read.problem or ("a month alone; write the day" if read.month else "")
    if problem:
        raise ScarfdateError(f"closed_on: {problem}, got {shown(day)}")
    return read.day


def _counted(rows: Sequence[PieceRow]) -> str:
    counts = Counter(row.kind for row in rows)
    return ", ".join(f"{counts[kind]} {kind}" for kind in KINDS if counts[kind])


def _check(table: SoldTable, good: Sequence[PieceRow], bad: Sequence[PieceRow]) -> None:
    """TableError where no piece is left, or none with the price of a sale."""
    if not good:
        reasons = [
            f"  row {row.number} ({table.places[row.number - 1]}): {row.reason}"
            for row in bad[:_REASONS_SHOWN]
        ]
        raise TableError(
            "\n".join([f"{table.name}: no piece can be used: {_counted(bad)}", *reasons])
        )
    if all(np.isnan(row.price) for row in good):
        written = next((row for row in good if row.cells.get("sold_price") is not None), None)
        if written is not None:
            raise TableError(
                f"{table.name}: no piece has the price of its sale: no cell of sold_price is an amount above 0, "
                f"such as {shown(written.cells['sold_price'])} ({table.places[written.number - 1]})"
            )
        raise TableError(
            f"{table.name}: no piece has the price of its sale; wanted is a column sold_price, named so or "
            "in a map of columns (a column headed price alone is read as the price asked)"
        )


def _sales(rows: Sequence[PieceRow], closed: datetime.date | None) -> pd.DataFrame:
    def text(name: str) -> pd.Series:
        cells = [row.cells.get(name) for row in rows]
        return pd.Series([as_typed(cell) for cell in cells], dtype=object)

    def day(name: str) -> NDArray[np.datetime64]:
        days = [np.datetime64(getattr(row, name) or "NaT", "D") for row in rows]
        return np.array(days, dtype="datetime64[D]").astype("datetime64[s]")

    def number(name: str) -> NDArray[np.float64]:
        return np.array([getattr(row, name) for row in rows], dtype=np.float64)

    returned = [np.nan if row.returned is None else row.returned for row in rows]
    return pd.DataFrame(
        {
            "id": text("id"),
            "bought_on": day("bought_on"),
            "paid": number("paid"),
            "listed_on": day("listed_on"),
            "asked": number("asked"),
            "sold_on": day("sold_on"),
            "price": number("price"),
            "returned": pd.Series(returned, dtype=object),
            "channel": text("sold_channel"),
            "days": np.array([_hung(row, closed) for row in rows], dtype=np.float64),
            "sold": np.array([row.sold for row in rows], dtype=bool),
            "price_index": number("price_index"),
        }
    )


def _hung(row: PieceRow, closed: datetime.date | None) -> float:
    """Days on the shelf: until the sale, or so far."""
    if row.sold or row.listed_on is None or closed is None:
        return row.days_to_sell
    return float((closed - row.listed_on).days)
