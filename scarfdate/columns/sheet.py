"""A dealer's sheet in our columns: the table as she keeps it, and beside it the same in our names and words."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pandas as pd

from scarfdate.clues.kinds import fields_of
from scarfdate.columns.columns_map import ColumnsMap, columns_map
from scarfdate.columns.names import NOTE, SOLD, heading_name
from scarfdate.columns.placing import Placed, find_columns, own_cell, with_unit
from scarfdate.columns.shared_unit import unit_of_sheet
from scarfdate.errors import TableError, in_text
from scarfdate.reading.cells import as_typed, column_name, is_blank
from scarfdate.reading.files import open_table, text_frame
from scarfdate.reading.frames import as_pandas
from scarfdate.reading.header import IsName
from scarfdate.reading.headings import read_headings
from scarfdate.reading.json_text import cell_text
from scarfdate.reading.money import price
from scarfdate.reading.table import Table
from scarfdate.tables.priors import Priors, checked_priors

# what is told of a piece beside its clues
_FOR_SALE = ("condition", "asked_price", "sold_currency", "quantity")
_DECIMAL_COMMA = re.compile(r"\s*[+-]?[0-9]{1,3}(?:\.?[0-9]{3})*,[0-9]+\s*")


@dataclass(frozen=True, eq=False, kw_only=True)
class Sheet:
    """One table of pieces. ``name``: of the file, for messages; ``table``: text cells under the person's
    own headings, "" where blank, the index saying where each row stands; ``clues``: the same rows as
    `date_table` takes them; ``fate``: for each of the person's columns its heading, what it is read as
    ("" if it is not) and a remark; ``remarks``: on how the file was read; ``unit``: of sizes that state none, as it
    was given, or else as all other sizes state it, None where neither says it.
    """

    name: str
    table: pd.DataFrame
    clues: pd.DataFrame
    fate: tuple[tuple[str, str, str], ...]
    remarks: tuple[str, ...]
    unit: str | None = None


def heading_test(using: ColumnsMap, priors: Priors) -> IsName:
    """Whether a text can be a heading of a dealer's table, one of ours or of those that the map names; and whether a
    row is one of totals."""
    mapped = {column_name(text) for fields in using.columns.values() for text in fields}
    mapped |= {column_name(text) for text in using.ignore}

    def is_name(text: str) -> bool:
        return column_name(text) in mapped or (
            not column_name(text).startswith(NOTE) and heading_name(text, priors) != ""
        )

    return IsName(is_name, priors.words_of_sheets.is_total)


def read_sheet(
    source: Any,
    *,
    columns: object = None,
    priors: Priors | None = None,
    sheet: str | int | None = None,
    encoding: str | None = None,
    unit: str | None = None,
) -> Sheet:
    """A sheet of pieces from a path, an open stream or a table of any eager library.

    ``columns``: a TOML file, a `ColumnsMap` or a mapping of our names to the sheet's, which also may state
    the sheet, the encoding and a unit; None: headings are ours. ``sheet``: of a spreadsheet, by name or
    number from 1; ``encoding``: of a CSV file, where it is not recognised; ``unit``: of sizes
    that state none; left out, it is that of all others, where they agree. Raises TableError as `read_table`, and where
    the map and the sheet do not fit.
    """
    known = checked_priors(priors)
    using = columns_map(columns, SOLD, known)
    if isinstance(source, (str, Path)) or hasattr(source, "read"):
        read = open_table(
            source, None, using.sheet if sheet is None else sheet,
            using.encoding if encoding is None else encoding, heading_test(using, known),
        )  # fmt: skip
        name, table, remarks = read.name, text_frame(read), read.remarks
    else:
        name, table, remarks = "the table", as_pandas(source), ()
        if sheet is not None or encoding is not None:
            raise TableError(
                "sheet and encoding are of files, and a table was given; leave both out"
            )
    own = headings(table.columns, using, name, known)
    clues = own.clues(table)
    if unit is None:
        shared, said = unit_of_sheet(clues, known)
        unit, remarks = shared or None, (*remarks, *filter(None, [said]))
    return Sheet(
        name=name, table=table, clues=clues, fate=own.placed.fate, remarks=remarks, unit=unit
    )


@dataclass(frozen=True, eq=False, kw_only=True)
class Headings:
    """How the cells under one row of headings are read. ``placed``: where our columns stand among them."""

    using: ColumnsMap
    placed: Placed
    priors: Priors

    def clues(self, table: pd.DataFrame) -> pd.DataFrame:
        """Rows under these headings, all or some of them, in our names and words."""
        if not self._mapped:
            return table
        return _in_our_words(table, self.placed.places, self.using, self.priors)

    def ids(self, table: Table) -> list[str]:
        """The id of each row as `clues` has it, without the rest of the row; "" where there is none."""
        if self._mapped:
            at = self.placed.places.get("id", ())
            cells = _our_cells(
                "id",
                self.using,
                self.priors,
                [[cell_text(row[place]) for row in table.rows] for place in at],
                len(table.rows),
            )
        else:
            place = read_headings(table.header, ["id"], self.priors.headings).place.get("id")
            cells = [None if place is None else cell_text(row[place]) for row in table.rows]
        return [as_typed(cell) for cell in cells]

    @property
    def _mapped(self) -> bool:
        using = self.using
        return bool(
            using.columns or using.words or using.constants or using.ignore or using.decimal
        )


def headings(header: Iterable[object], using: ColumnsMap, name: str, priors: Priors) -> Headings:
    """How the table ``name`` is read under this header; TableError where the map and it do not fit."""
    written = [in_text(heading, str) for heading in header]
    placed = find_columns(written, using, name, priors, sold=False)
    own = Headings(using=using, placed=placed, priors=priors)
    return replace(own, using=with_unit(using, placed, None)) if own._mapped else own


def _in_our_words(
    table: pd.DataFrame, places: Any, using: ColumnsMap, priors: Priors
) -> pd.DataFrame:
    numeric = {name for one in fields_of(priors) for name in one.numeric}
    unwanted = {*SOLD} - {"id", *_FOR_SALE}
    names = [name for name in dict.fromkeys((*places, *using.constants)) if name not in unwanted]
    cells: dict[str, pd.Series] = {}
    for name in names:
        held = [table.iloc[:, at].tolist() for at in places.get(name, ())]
        read = _our_cells(name, using, priors, held, len(table))
        if using.decimal == "," and name in numeric:
            read = [_with_a_point(cell) for cell in read]
        elif name == "asked_price":
            read = [None if cell is None else _asked(cell, using) for cell in read]
        cells[name] = pd.Series(read, index=table.index, dtype=object)
    return pd.DataFrame(cells, index=table.index)


def _our_cells(
    name: str, using: ColumnsMap, priors: Priors, held: Sequence[list[Any]], n: int
) -> list[object]:
    """The n cells of one of our columns. ``held``: of the columns of the table that hold it."""
    said = [[None if is_blank(cell) else cell for cell in column] for column in held]
    rows = zip(*said, strict=True) if said else ((),) * n
    return [own_cell(using, priors, name, row) for row in rows]


def _with_a_point(cell: object) -> object:
    """A number of a decimal comma as Python writes it; anything else as it is."""
    if isinstance(cell, str) and _DECIMAL_COMMA.fullmatch(cell):
        return cell.strip().replace(".", "").replace(",", ".")
    return cell


def _asked(cell: object, using: ColumnsMap) -> object:
    """A price by the decimal sign and the currencies of the map; what is none stays, and is named where it is used."""
    words = using.words.get("sold_currency", {})
    found = price(cell, using.decimal, words, using.currency, free=True)
    if found.problem:
        return cell
    return f"{found.amount:.2f} {found.currency}" if found.currency else found.amount
