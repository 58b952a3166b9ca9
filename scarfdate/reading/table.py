"""One table of a file, once its names are told apart and its cells are bearable."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from scarfdate.errors import TableError, shown
from scarfdate.reading.cells import column_name
from scarfdate.reading.csv_text import LONGEST_CELL
from scarfdate.reading.header import WIDEST
from scarfdate.reading.json_text import cell_text

_LONGEST_NAME = 500  # characters of a path that a message repeats


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """One table of a file. ``name``: of the file, for messages; ``header``: (m) names, none twice.

    ``rows``: of m cells each, none wholly blank. Cells of CSV are text; cells of a spreadsheet or of JSON
    are numbers and dates where they are these in the file, and None where blank. ``places``: where each
    row stands, counted from 1 in what ``counted`` says: "line", "row" (of a sheet) or "record".
    ``remarks``: what a person is told of how the file was read.
    """

    name: str
    header: list[str]
    rows: list[list[object]]
    places: list[int]
    counted: str
    remarks: tuple[str, ...] = ()


def printable(text: str) -> str:
    """A path or a label as a message can show it."""
    text = text if len(text) <= _LONGEST_NAME else f"{text[:_LONGEST_NAME]}…"
    return "".join(letter if letter.isprintable() else "?" for letter in text)


def unbearable(cell: object) -> str:
    """Why a cell of text cannot be taken in, "" where it can."""
    if not isinstance(cell, str):
        return ""
    if len(cell) > LONGEST_CELL:
        return f"a cell of more than {LONGEST_CELL} characters; shorten it"
    if "\0" in cell:
        return "a cell with a NUL character; take it out"
    if not cell.isascii() and any("\ud800" <= letter <= "\udfff" for letter in cell):
        return "a cell with half a letter (a lone surrogate); write it anew"
    return ""


def checked_table(
    name: str,
    header: list[str],
    rows: Sequence[list[Any]],
    places: list[int],
    counted: str,
    remarks: Sequence[str] = (),
    *,
    name_columns: bool = False,
) -> Table:
    """The table, once its names are told apart and its cells are bearable.

    ``name_columns``: a column that has cells and no name is called by its number, and not refused.
    """
    if not rows:
        raise TableError(
            f"{name}: there is a header and not one row under it" if header else f"{name}: no rows"
        )
    if len(header) > WIDEST:
        raise TableError(
            f"{name}: {len(header)} columns, more than the {WIDEST} allowed; is it a table of pieces?"
        )
    for at, column in enumerate(header):
        if problem := unbearable(column):
            raise TableError(f"{name}: the name of column {at + 1}: {problem}")
        if not column and any(cell_text(row[at]).strip() for row in rows):
            if name_columns:
                header = [*header[:at], f"note column {at + 1}", *header[at + 1 :]]
                continue
            raise TableError(f"{name}: column {at + 1} has cells and no name; name it")
    if not all(header):
        keep = [at for at, column in enumerate(header) if column]
        header = [header[at] for at in keep]
        rows = [[row[at] for at in keep] for row in rows]
    seen: dict[str, str] = {}
    for column in header:
        plain = column_name(column)
        if plain in seen:
            raise TableError(
                f"{name}: the column {shown(column)} stands there twice"
                + (f" (also as {shown(seen[plain])})" if seen[plain] != column else "")
                + "; rename or take out one"
            )
        seen[plain] = column
    if counted != "line":  # CSV was looked through while it was read
        for place, row in zip(places, rows, strict=True):
            if not unbearable("".join(cell for cell in row if isinstance(cell, str))):
                continue
            for column, cell in zip(header, row, strict=True):
                if problem := unbearable(cell):
                    raise TableError(
                        f"{name}, {counted} {place}, column {shown(column)}: {problem}"
                    )
    return Table(name=name, header=header, rows=list(rows), places=places, counted=counted,
                 remarks=tuple(remarks))  # fmt: skip
