"""A dealer's sold records: pieces whose years are known from something other than their clues.

A table (CSV, spreadsheet, JSON, frame), one row a piece that was sold:

| column | meaning |
|---|---|
| `id` | its number; a second row of the same number is left out |
| clues | every column that `date_table` takes: `fibre`, `hem`, `label_text`, `width_cm`, ... |
| `known` | when it was made: a year, an interval or a set, as EDTF or words (`scarfdate.words.edtf`) |
| `known_from`, `known_to` | or the two ends, both inclusive; `..` is an open end |
| `known_by` | how that is known, see below |
| `judged_by` | for an own judgement: the clues it was read from, parted by `;` or `,` |
| `sold_on`, `listed_on` | days, ISO 8601 (2024-03-05), or in an order that the map of columns states |
| `sold_price`, `costs` | money, with a currency sign or ISO 4217 code or without |
| `sold_currency` | ISO 4217 code where the price has none |
| `sold_channel` | where it was sold, in the dealer's own words |
| `days_to_sell` | or else `sold_on` less `listed_on` |
| `note...` | columns whose name begins so are kept and never read |

Exports with other headings are read with a map of columns (`scarfdate.columns.columns_map`).

`known_by`, and what keeps a date from teaching itself:

- `receipt`: paper that came with the piece. Independent of the clues.
- `maker-archive`: the maker's books, samples or catalogues. Independent, but where the dealer's file of
  makers rests on the same books, the clue `maker` learns nothing new.
- `printed-date`: a year printed on the piece. `printed_year` and `depicted_year` are left out, and so is
  a label's text with a copyright year (what it says of label, origin and fibre is kept).
- `dated-event`: made for an event whose year is known. `depicted_year` and `printed_year` are left out,
  because the print that names the event is the same evidence.
- `museum-record`: a museum's date of this piece. Curators date by style and technique, too, and the
  shipped tables rest on such records already: admitted, with a remark.
- `family-history`: what the owners remember. Often wrong by years, but not read off the clues; give the
  interval that the memory bears.
- `label-law`: read off the label by law (fibre names, numbers, marks). **Circular** where the record has a
  clue that was, or may have been, read off that label: `label`, `label_text`, `label_make`, `origin`, and
  `fibre` with `fibre_method` label. Refused, unless admitted, without these.
- `own-judgement`: read from the clues. **Circular**. Refused, unless admitted, without the clues named in
  `judged_by`; one that names none stays out. What is left is weaker evidence than a receipt: clues go
  together, so a judgement from one teaches the others what the dealer already believed.

Dates by label law or printed years also come with a choice of pieces: those that have such labels or
prints. They say nothing of how many of all pieces have them.
"""

from __future__ import annotations

import datetime
import io
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from scarfdate.answer.date import COLUMNS
from scarfdate.columns.columns_map import ColumnsMap, columns_map, read_columns_map
from scarfdate.columns.names import DATES, SOLD
from scarfdate.columns.placing import find_columns
from scarfdate.columns.sheet import read_sheet
from scarfdate.columns.understood import StockUnderstood, stock_understood
from scarfdate.errors import ScarfdateError, TableError, did_you_mean, shown
from scarfdate.reading.cells import as_typed
from scarfdate.records.circularity import ADMITTED
from scarfdate.records.row import KINDS, Row
from scarfdate.records.rows import RowReader
from scarfdate.records.sheet_rows import clue_frame
from scarfdate.records.sold_files import SoldTable, drained, open_book
from scarfdate.records.sold_records import SoldRecords, counted_records
from scarfdate.records.understood import Understood, understood
from scarfdate.tables.priors import Priors, checked_priors
from scarfdate.words.units import checked_unit
from scarfdate.years import checked_as_of, this_day

_SALES = ("id", "sold_on", "price", "currency", "channel", "days_to_sell", "costs")
_REASONS_SHOWN = 5
_CIRCULAR = (
    "their dates were read from the clues that they would teach. "
    "admit=('own-judgement', 'label-law') lets them in without those clues (judged_by names the clues "
    "of an own judgement); better are records whose date is known by a receipt, a printed date or the like"
)


def read_sold_columns(path: str | Path, *, priors: Priors | None = None) -> ColumnsMap:
    """The map of a dealer's columns in a TOML file; see `scarfdate.columns.columns_map`."""
    return read_columns_map(path, SOLD, priors=priors)


def read_sold(
    source: object,
    *,
    columns: object = None,
    priors: Priors | None = None,
    admit: Sequence[str] = (),
    sheet: str | int | None = None,
    as_of: int | None = None,
    copies: bool = False,
    unit: str | None = None,
) -> SoldRecords:
    """Sold records from a file (CSV, .xlsx, JSON), an open stream, or a frame.

    ``columns``: a TOML file, a `ColumnsMap`, or a mapping of our names to the table's; None where the
    table has our own names. ``admit``: of "own-judgement" and "label-law", the circular ways to let
    in without the clues in question. ``sheet``: of a spreadsheet, by name or number from 1.
    ``as_of``: dates after this year are refused (default: after today). ``copies``: True where rows
    that are alike in all that is read but the id are pieces of their own; otherwise the first one counts. ``unit``: of
    sizes that state none, as of `date_table`.

    A row that cannot teach is in ``left_out`` with the reason. Prices, days and dates of sale that
    cannot be read are blanked with a note. Raises TableError where no row can teach, where the table
    has no columns that say when pieces were made and how that is known, and where the file or the map
    has a fault; WordError or ScarfdateError for a wrong ``admit`` or ``as_of``.
    """
    table, rows, reader, notes = _read(
        source, columns, priors, admit, sheet, as_of, copies, unit=unit
    )  # fmt: skip
    good = [row for row in rows if not row.wrong]
    bad = [row for row in rows if row.wrong]
    if not good:
        raise TableError(_nothing(table, bad))
    left_out = pd.DataFrame(
        {
            "row": np.array([row.number for row in bad], dtype=np.int64),
            "reason": pd.Series([row.reason for row in bad], dtype=object),
            "kind": pd.Series([row.kind for row in bad], dtype=object),
            "place": pd.Series([table.places[row.number - 1] for row in bad], dtype=object),
        }
    )
    return SoldRecords(
        clues=clue_frame(good, reader.clue_names(rows)),
        known_from=np.array([row.first for row in good], dtype=np.int64),
        known_to=np.array([row.last for row in good], dtype=np.int64),
        known_by=tuple(row.way for row in good),
        sales=_sales(good),
        source_row=np.array([row.number for row in good], dtype=np.int64),
        left_out=left_out,
        notes=notes,
        file_hash=table.hash,
    )


def dry_run(
    source: object,
    *,
    columns: object = None,
    priors: Priors | None = None,
    admit: Sequence[str] = (),
    sheet: str | int | None = None,
    as_of: int | None = None,
    copies: bool = False,
    encoding: str | None = None,
    unit: str | None = None,
) -> Understood | StockUnderstood:
    """What would be understood of a book of sold pieces, or of a stock sheet; arguments as of `read_sold`.

    ``unit``: of lengths of a stock sheet that state none, as for `date_table`. A table is a book where a column or the map says when pieces were made or how that is known. Raises what
    `read_sold` or `read_sheet` raises, but nothing where no row can teach.
    """
    known, unit = checked_priors(priors), checked_unit(unit)
    if hasattr(source, "read"):
        given = getattr(source, "name", None)
        source = io.BytesIO(drained(source))
        source.name = given
    using = columns_map(columns, SOLD, known)
    stock = read_sheet(
        source, columns=using, priors=known, sheet=sheet, encoding=encoding, unit=unit
    )
    stated = {name for _, names, _ in stock.fate for name in names.split(", ")} | {*using.constants}
    if stated.isdisjoint((*DATES, "known_by")):
        return stock_understood(stock, known, COLUMNS, stock.unit)
    if isinstance(source, io.BytesIO):
        source.seek(0)
    table, rows, reader, notes = _read(
        source, using, known, admit, sheet, as_of, copies, encoding, unit
    )
    placed = find_columns(table.header, reader.using, table.name, reader.priors)
    return understood(
        rows, table.places, reader.clue_names(rows), reader.notes.by_row(), placed.fate, notes
    )


def _read(
    source: object,
    columns: object,
    priors: Priors | None,
    admit: Sequence[str],
    sheet: str | int | None,
    as_of: int | None,
    copies: bool,
    encoding: str | None = None,
    unit: str | None = None,
) -> tuple[SoldTable, list[Row], RowReader, tuple[str, ...]]:
    known = checked_priors(priors)
    try:
        ways: list[Any] = [admit] if isinstance(admit, str) else list(admit)
    except TypeError:  # a number, an array without a length
        ways = [admit]
    for way in ways:
        if not isinstance(way, str) or way not in ADMITTED:
            hint = did_you_mean(way if isinstance(way, str) else "", ADMITTED)
            raise ScarfdateError(f"admit: {shown(way)} is not a kind of circular date; {hint}")
    year = checked_as_of(as_of)
    today = this_day() if as_of is None else datetime.date(year, 12, 31)
    opened = open_book(
        source, columns, known, sheet=sheet, encoding=encoding, unit=unit, dated=True
    )
    table = opened.table
    reader = RowReader(known, opened.using, admit=ways, today=today, copies=copies)
    rows = reader.rows(table, opened.placed.places)
    for remark in opened.remarks():
        reader.notes.say(remark)
    bad = [row for row in rows if row.wrong]
    if bad:
        reader.notes.say(f"left out: {_counted([row.kind for row in bad])}")
    for remark in table.remarks:
        reader.notes.say(remark)
    reader.about_all([row for row in rows if not row.wrong])
    return table, rows, reader, tuple(reader.notes)


def _sales(rows: Sequence[Row]) -> pd.DataFrame:
    days = np.array(
        [np.datetime64(row.sold_on or "NaT", "D") for row in rows], dtype="datetime64[D]"
    )
    texts: dict[str, list[Any]] = {
        "id": [as_typed(row.cells.get("id")) for row in rows],
        "currency": [row.currency for row in rows],
        "channel": [as_typed(row.cells.get("sold_channel")) for row in rows],
    }
    numbers = {
        name: np.array([getattr(row, name) for row in rows], dtype=np.float64)
        for name in ("price", "days_to_sell", "costs")
    }
    columns: dict[str, Any] = {
        name: pd.Series(cells, dtype=object) for name, cells in texts.items()
    }
    columns |= numbers | {"sold_on": days.astype("datetime64[s]")}  # seconds: no year is too early
    return pd.DataFrame({name: columns[name] for name in _SALES})


def _nothing(table: SoldTable, bad: Sequence[Row]) -> str:
    """What is said where no record can teach."""
    kinds = [row.kind for row in bad]
    if set(kinds) == {"circular"}:
        head = f"{table.name}: all of {counted_records(len(bad))} are circular: {_CIRCULAR}"
        return head.replace("all of 1 record are", "the only record is")
    first: dict[str, Row] = {}
    for row in bad:
        first.setdefault(row.reason, row)
    reasons = [
        f"  row {row.number} ({table.places[row.number - 1]}): {reason}"
        for reason, row in list(first.items())[:_REASONS_SHOWN]
    ]
    more = len(first) - len(reasons)
    reasons += [f"  and {more} more reasons"] if more > 0 else []
    return f"{table.name}: no usable record of {len(bad)}: {_counted(kinds)}\n" + "\n".join(reasons)


def _counted(kinds: Sequence[str]) -> str:
    counts = Counter(kinds)
    return ", ".join(f"{counts[kind]} {kind}" for kind in KINDS if counts[kind])
