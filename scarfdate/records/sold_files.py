"""A dealer's table as columns of cells, from a file or a frame, with its hash.

`scarfdate.reading.files` reads files as text. A price must not lose that it is a number: 6.075 in a sheet is
no 6075, whatever decimal sign the texts beside it have. So numbers and dates of spreadsheets and JSON
are put back in the places of their texts.
"""

from __future__ import annotations

import hashlib
import io
import json
import math
import zipfile
from contextlib import suppress
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from scarfdate.errors import TableError, did_you_mean, shown
from scarfdate.reading.cells import is_blank
from scarfdate.reading.csv_text import LONGEST_CELL, LONGEST_FILE
from scarfdate.reading.files import read_table

_LARGEST = 10**300
_LONGEST_WHOLE = 256 * 2**20  # bytes of a spreadsheet once unpacked, as for `read_table`


@dataclass(frozen=True, slots=True)
class SoldTable:
    """``name`` for messages; ``header``; ``columns``: cells, None where blank; ``places``: where each
    row stands ("line 2"); ``hash``: SHA-256 of what was read, 64 hexadecimal digits.
    """

    name: str
    header: list[object]
    columns: list[list[object]]
    places: list[str]
    hash: str


def read_source(source: object, sheet: str | int | None = None) -> SoldTable:
    """A path, an open stream, or a frame. ``sheet``: of a spreadsheet, by name or number from 1.

    Raises TableError as `read_table`, and for a source of another kind.
    """
    if isinstance(source, pd.DataFrame):
        if sheet is not None:
            raise TableError("sheet: only a spreadsheet has sheets, and a frame was given")
        return _of_frame(source, "the frame", _hash_of_frame(source))
    if isinstance(source, (str, Path)):
        path = Path(source)
        name = _printable(str(source))
        if path.suffix.casefold() not in (".xlsx", ".json"):
            if sheet is not None:
                raise TableError(f"{name}: only a spreadsheet (.xlsx) has sheets; leave sheet out")
            return _of_frame(read_table(path), name, _hash_of_file(path))
        content = _content(path)
    elif hasattr(source, "read"):
        given = getattr(source, "name", None)
        named = isinstance(given, str) and not given.startswith("<")
        name = _printable(str(given)) if named else "standard input"
        content = _drained(source, name)
    else:
        raise TableError(
            f"sold records are a path, an open file or a pandas DataFrame, got {shown(source)}"
        )
    digest = hashlib.sha256(content).hexdigest()
    if content.startswith(b"PK\3\4"):
        return _of_frame(_spreadsheet(content, name, sheet), name, digest)
    if sheet is not None:
        raise TableError(f"{name}: only a spreadsheet (.xlsx) has sheets; leave sheet out")
    stream = io.BytesIO(content)
    stream.name = name
    kind = "xlsx" if name.casefold().endswith(".xlsx") else None  # no package: it says so itself
    frame = read_table(stream, kind)
    if frame.index.name == "record":
        frame = _with_numbers(frame, json.loads(content.decode("utf-8-sig")))
    return _of_frame(frame, name, digest)


def _content(path: Path) -> bytes:
    """The bytes of a file; where it cannot be opened, `read_table` says why."""
    with suppress(OSError, ValueError):
        if path.is_file() and path.stat().st_size <= _LONGEST_WHOLE:
            return path.read_bytes()
    read_table(path)
    raise TableError(f"{_printable(str(path))}: cannot be read; try again")


def _drained(stream: Any, name: str) -> bytes:
    content = stream.read(LONGEST_FILE)
    if isinstance(content, str):
        try:
            return content.encode("utf-8")
        except UnicodeEncodeError as error:
            raise TableError(f"{name}: letter {error.start} is not Unicode text") from None
    if not isinstance(content, (bytes, bytearray)):
        raise TableError(f"{name}: a stream of text or bytes is wanted, got {shown(content)}")
    return bytes(content)


def _spreadsheet(content: bytes, name: str, sheet: str | int | None) -> pd.DataFrame:
    """One sheet with numbers and dates as they are in it, under the first row that is not blank."""
    try:
        import openpyxl
    except ImportError:
        raise TableError(
            f'{name}: spreadsheets need one more package: pip install "scarfdate[spreadsheet]"'
        ) from None
    rows: list[list[object]] = []
    places: list[int] = []
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            size = sum(part.file_size for part in packed.infolist())
        if max(size, len(content)) > _LONGEST_WHOLE:
            raise TableError(
                f"{name}: {size} bytes once unpacked, more than the {_LONGEST_WHOLE} allowed; save it as CSV"
            )
        book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)
        page = _page(book.worksheets, name, sheet)
        page.reset_dimensions()  # what a file says of its own size need not be so
        for place, cells in enumerate(page.iter_rows(values_only=True), start=1):
            if not all(is_blank(cell) for cell in cells):
                rows.append(list(cells))
                places.append(place)
    except TableError:
        raise
    except Exception as error:  # a broken package fails in as many ways as it has parts
        raise TableError(
            f"{name}: not a spreadsheet that can be read ({type(error).__name__}); save it anew as .xlsx or CSV"
        ) from None
    if not rows:
        raise TableError(f"{name}: the sheet is empty")
    width = max(map(len, rows))
    padded = [cells + [None] * (width - len(cells)) for cells in rows]
    header = ["" if is_blank(cell) else str(cell).strip() for cell in padded[0]]
    for at in range(width):
        if not header[at] and any(not is_blank(cells[at]) for cells in padded[1:]):
            raise TableError(f"{name}: column {at + 1} has cells and no name; name it")
    keep = [at for at in range(width) if header[at]]
    return pd.DataFrame(
        [[cells[at] for at in keep] for cells in padded[1:]],
        columns=pd.Index([header[at] for at in keep], dtype=object),
        index=pd.Index(places[1:], name="row", dtype="int64"),
        dtype=object,
    )


def _page(pages: Any, name: str, sheet: str | int | None) -> Any:
    titles = [page.title for page in pages]
    if not titles:
        raise TableError(f"{name}: the spreadsheet has no sheet of cells")
    if sheet is None:
        return pages[0]
    if isinstance(sheet, int) and not isinstance(sheet, bool) and 1 <= sheet <= len(titles):
        return pages[sheet - 1]
    if isinstance(sheet, str) and sheet in titles:
        return pages[titles.index(sheet)]
    raise TableError(
        f"{name}: there is no sheet {shown(sheet)}; {did_you_mean(str(sheet), titles)} "
        f"(or a number from 1 to {len(titles)})"
    )


def _with_numbers(frame: pd.DataFrame, records: list[dict[str, object]]) -> pd.DataFrame:
    """Put the numbers of JSON back in the places of their texts."""
    kept = [records[place - 1] for place in frame.index]
    columns = []
    for name in frame.columns:
        own = {key for record in kept for key in record if key.strip() == name}
        texts = frame[name].tolist()
        for at, record in enumerate(kept):
            number = next((record[key] for key in own if key in record), None)
            if isinstance(number, (int, float)) and not isinstance(number, bool):
                texts[at] = number
        columns.append(texts)
    return pd.DataFrame(dict(enumerate(columns)), index=frame.index, dtype=object).set_axis(
        frame.columns, axis=1
    )


def _of_frame(frame: pd.DataFrame, name: str, digest: str) -> SoldTable:
    if not len(frame):
        raise TableError(f"{name}: there is not one row under the header")
    kind = frame.index.name
    word = kind if kind in ("line", "row", "record") else "index"
    columns = [[_cell(cell) for cell in frame.iloc[:, at]] for at in range(frame.shape[1])]
    for at, cells in enumerate(columns):
        for row, cell in enumerate(cells, start=1):
            problem = _unbearable(cell) if isinstance(cell, str) else ""
            if problem:
                raise TableError(f"{name}, row {row}, column {shown(frame.columns[at])}: {problem}")
    places = [f"{word} {_printable(str(label)[:40])}" for label in frame.index]
    return SoldTable(name, list(frame.columns), columns, places, digest)


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
    return cell.strip() if isinstance(cell, str) else cell


def _unbearable(cell: str) -> str:
    if len(cell) > LONGEST_CELL:
        return f"a cell of more than {LONGEST_CELL} characters; shorten it"
    if "\0" in cell:
        return "a cell with a NUL character; take it out"
    if not cell.isascii() and any("\ud800" <= letter <= "\udfff" for letter in cell):
        return "a cell with half a letter (a lone surrogate); write it anew"
    return ""


def _hash_of_file(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _hash_of_frame(frame: pd.DataFrame) -> str:
    """Of the cells as text, so that the same cells have the same hash whatever holds them."""
    digest = hashlib.sha256()
    for at in range(frame.shape[1]):
        cells = [str(frame.columns[at]), *map(_cell, frame.iloc[:, at])]
        text = json.dumps(cells, ensure_ascii=True, default=repr, skipkeys=True)
        digest.update(text.encode("ascii") + b"\0")
    return digest.hexdigest()


def _printable(text: str) -> str:
    return "".join(letter if letter.isprintable() else "?" for letter in text)
