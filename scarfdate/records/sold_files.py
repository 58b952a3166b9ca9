"""A dealer's table as columns of cells, from a file or a frame, with its hash; and which column is which.

A price keeps that it is a number: 6.075 in a sheet is no 6075, whatever decimal sign the texts beside it
have.
"""

from __future__ import annotations

import hashlib
import io
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from scarfdate.columns.columns_map import ColumnsMap, columns_map
from scarfdate.columns.names import SOLD
from scarfdate.columns.placing import Placed, find_columns, with_unit
from scarfdate.columns.shared_unit import shared_unit, told
from scarfdate.columns.sheet import heading_test
from scarfdate.errors import TableError, in_text, shown
from scarfdate.files import open_plain
from scarfdate.reading.cells import is_blank
from scarfdate.reading.csv_lines import LONGEST_STREAM
from scarfdate.reading.files import open_table
from scarfdate.reading.frames import as_pandas
from scarfdate.reading.header import IsName
from scarfdate.reading.table import printable, unbearable
from scarfdate.tables.priors import Priors
from scarfdate.words.units import checked_unit

_LARGEST = 10**300


@dataclass(frozen=True, slots=True, kw_only=True)
class SoldTable:
    """``name`` for messages; ``header``; ``columns``: cells, None where blank; ``places``: where each
    row stands ("line 2"); ``hash``: SHA-256 of what was read, 64 hexadecimal digits.
    """

    name: str
    header: Sequence[object]
    columns: list[list[object]]
    places: list[str]
    hash: str
    remarks: tuple[str, ...] = ()


class Opened(NamedTuple):
    """A table, the map of its columns, and where ours stand in it."""

    table: SoldTable
    using: ColumnsMap
    placed: Placed

    def remarks(self, otherwise: Sequence[int] = ()) -> list[str]:
        """On columns that are not read; ``otherwise``: numbers of those that are, in another way."""
        return [
            f"column {shown(name)} is not read: {remark}"
            for place, (name, _, remark) in enumerate(self.placed.fate)
            if remark not in ("", "ignored") and place not in otherwise
        ]


def open_book(
    source: object,
    columns: object,
    priors: Priors,
    *,
    sheet: str | int | None = None,
    encoding: str | None = None,
    unit: str | None = None,
    dated: bool,
) -> Opened:
    """A dealer's book and which of its columns is which of ours. ``columns``: as of `columns_map`; ``sheet``
    and ``encoding``: as of `read_source`; ``unit``: of sizes that state none; ``dated``: the book has to say when pieces were made and how that
    is known. Raises TableError as `read_source`, and where the map and the table do not fit.
    """
    using = columns_map(columns, SOLD, priors)
    table = read_source(
        source, using.sheet if sheet is None else sheet,
        using.encoding if encoding is None else encoding, heading_test(using, priors),
    )  # fmt: skip
    placed = find_columns(table.header, using, table.name, priors, sold=dated)
    unit = checked_unit(unit)
    sizes = placed.places.get("size", ())
    if unit is None and len(sizes) == 1 and not placed.unit and "unit" not in placed.places:
        shared, count = shared_unit(table.columns[sizes[0]])
        if shared:
            unit, table = shared, replace(table, remarks=(*table.remarks, told(shared, count)))
    return Opened(table, with_unit(using, placed, unit), placed)


def read_source(
    source: object,
    sheet: str | int | None = None,
    encoding: str | None = None,
    is_name: IsName | None = None,
) -> SoldTable:
    """A path, an open stream, or a table of any eager library. ``sheet``: of a spreadsheet, by name or number
    from 1; ``encoding``: of a CSV file; ``is_name``: what can be a heading.

    Raises TableError as `read_table`, and for a source of another kind.
    """
    if isinstance(source, (str, Path)):
        table = open_table(source, None, sheet, encoding, is_name)
        with open_plain(Path(source)) as stream:
            digest = hashlib.file_digest(stream, "sha256").hexdigest()
    elif hasattr(source, "read"):
        content = drained(source)
        held = io.BytesIO(content)
        held.name = getattr(source, "name", None)
        kind = "xlsx" if str(held.name).casefold().endswith(".xlsx") else None
        table = open_table(held, kind, sheet, encoding, is_name)
        digest = hashlib.sha256(content).hexdigest()
    else:
        try:
            frame = as_pandas(source)
        except TableError:
            raise TableError(
                f"sold records are a path, an open file or a pandas DataFrame, got {shown(source)}"
            ) from None
        if sheet is not None:
            raise TableError("sheet: only a spreadsheet has sheets, and a frame was given")
        return _of_frame(frame)
    return SoldTable(
        name=table.name,
        header=table.header,
        columns=[[_cell(row[at]) for row in table.rows] for at in range(len(table.header))],
        places=[f"{table.counted} {place}" for place in table.places],
        hash=digest,
        remarks=table.remarks,
    )


def drained(stream: Any) -> bytes:
    """All bytes of a stream of text or of bytes."""
    content = stream.read(LONGEST_STREAM + 1)
    if len(content) > LONGEST_STREAM:
        raise TableError(f"the stream: longer than {LONGEST_STREAM} bytes; save it as a file")
    if isinstance(content, str):
        try:
            return content.encode("utf-8")
        except UnicodeEncodeError as error:
            raise TableError(f"the stream: letter {error.start} is not Unicode text") from None
    if not isinstance(content, (bytes, bytearray)):
        raise TableError(f"a stream of text or bytes is wanted, got {shown(content)}")
    return bytes(content)


def _of_frame(frame: pd.DataFrame) -> SoldTable:
    """The cells of a frame, whose hash is of their texts: the same whatever holds them."""
    if not len(frame):
        raise TableError("the frame: there is not one row under the header")
    header: list[object] = list(frame.columns)
    columns = [[_cell(cell) for cell in frame.iloc[:, at]] for at in range(len(header))]
    digest = hashlib.sha256()
    for name, cells in zip(header, columns, strict=True):
        for row, cell in enumerate(cells, start=1):
            if problem := unbearable(cell):
                raise TableError(f"the frame, row {row}, column {shown(name)}: {problem}")
        text = json.dumps(
            [in_text(name, str), *cells], ensure_ascii=True, default=repr, skipkeys=True
        )
        digest.update(text.encode("ascii") + b"\0")
    kind = frame.index.name
    word = kind if kind in ("line", "row", "record") else "index"
    places = [f"{word} {printable(in_text(label, str)[:40])}" for label in frame.index]
    return SoldTable(name="the frame", header=header, columns=columns, places=places,
                     hash=digest.hexdigest())  # fmt: skip


def _cell(cell: object) -> object:
    """A cell as plain Python has it; None where it says nothing."""
    if isinstance(cell, np.generic) and not isinstance(cell, np.datetime64):
        cell = cell.item()
    if isinstance(cell, int) and abs(cell) > _LARGEST:  # cannot even be written in a message
        return math.inf if cell > 0 else -math.inf
    if isinstance(cell, Decimal):  # as the other columns read numbers; float() fails for its sNaN
        cell = None if cell.is_nan() else float(cell)
    if is_blank(cell) or (isinstance(cell, np.datetime64) and np.isnat(cell)):
        return None
    if isinstance(cell, (list, tuple, dict, set)):
        try:
            repr(cell)
        except ValueError:  # a number in it is one that Python does not print
            return in_text(cell)
    return cell.strip() if isinstance(cell, str) else cell
