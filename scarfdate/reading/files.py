"""Files of scarves: CSV, spreadsheets and JSON as rows of cells with their places.

Whatever is wrong with a file is a `TableError` that names the file and the place. Nothing is read
into memory before its size is known to be bearable.
"""

from __future__ import annotations

import io
import stat
from pathlib import Path
from typing import IO, Any

import pandas as pd

from scarfdate.errors import TableError, shown
from scarfdate.reading import spreadsheet
from scarfdate.reading.csv_lines import LONGEST_FILE
from scarfdate.reading.csv_text import csv_rows
from scarfdate.reading.faults import Refusals
from scarfdate.reading.json_text import cell_text, whole_list
from scarfdate.reading.spreadsheet import sheet_rows
from scarfdate.reading.table import Table, checked_table, printable

_KINDS = {".csv": "csv", ".tsv": "csv", ".txt": "csv", ".xlsx": "xlsx", ".json": "json"}


def read_table(source: str | Path | IO[Any], kind: str | None = None) -> pd.DataFrame:
    """A file of scarves as a frame of text cells, "" where a cell is blank.

    ``source``: a path or an open stream; ``kind``: "csv" (UTF-8; comma, semicolon or tab, as the
    header line has it), "xlsx" (the first sheet) or "json" (a list of records); where nothing is
    said it goes by the ending, and for a stream by its first bytes. Wholly blank rows are left out.
    The index says where each row stands: the ``line`` of a CSV file (the header is line 1), the
    ``row`` of a sheet, or the ``record`` of a JSON list, counted from 1.

    Raises TableError for a file that is not there, is empty, has no rows, is not UTF-8, has a column
    twice or rows of unequal length, NUL bytes, a cell of more than 2**20 characters, or too many
    bytes (2 GiB; 256 MiB for JSON and for a spreadsheet once unpacked).
    """
    table = open_table(source, kind)
    rows = table.rows
    if table.counted != "line":
        rows = [[cell_text(cell) for cell in row] for row in rows]
    where = pd.Index(table.places, name=table.counted, dtype="int64")
    names = pd.Index(table.header, dtype=object)
    return pd.DataFrame(rows, columns=names, index=where, dtype=object)


def open_table(
    source: str | Path | IO[Any], kind: str | None = None, sheet: str | int | None = None
) -> Table:
    """The table of a file or of an open stream, as `read_table` reads it, with its cells as they are.

    ``sheet``: of a spreadsheet, by name or by number from 1 (default: the first).
    """
    if kind is not None and kind not in ("csv", "xlsx", "json"):
        raise TableError(f"kind: 'csv', 'xlsx' or 'json' is allowed, got {shown(kind)}")
    if not isinstance(source, (str, Path)):
        given = getattr(source, "name", None)
        name = given if isinstance(given, str) and not given.startswith("<") else "standard input"
        return _read(_binary(source, printable(name)), printable(name), kind, sheet)
    path = Path(source)
    name = printable(str(source))
    kind = kind or _KINDS.get(path.suffix.casefold())
    if kind is None:
        endings = ", ".join(_KINDS)
        raise TableError(f"{name}: cannot tell what kind of file this is; endings read: {endings}")
    try:
        about = path.stat()
        if stat.S_ISDIR(about.st_mode):
            raise TableError(f"{name}: is a folder, not a file; name a file in it")
        if about.st_size > LONGEST_FILE:
            raise TableError(
                f"{name}: {about.st_size} bytes are more than the {LONGEST_FILE} allowed; split the file"
            )
        with path.open("rb") as stream:
            return _read(stream, name, kind, sheet)
    except FileNotFoundError:
        raise TableError(f"{name}: there is no such file; check the path") from None
    except (OSError, ValueError) as error:
        if isinstance(error, TableError):
            raise
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise TableError(f"{name}: cannot be read ({reason})") from None


def _read(stream: IO[bytes], name: str, kind: str | None, sheet: str | int | None) -> Table:
    head = b"" if kind else stream.read(64)
    stream = io.BufferedReader(_Rejoined(head, stream))
    if kind is None:
        kind = "xlsx" if head.startswith(b"PK\3\4") else "csv"
        if head.removeprefix(b"\xef\xbb\xbf").lstrip()[:1] in (b"[", b"{"):
            kind = "json"
    if sheet is not None and kind != "xlsx":
        raise TableError(f"{name}: only a spreadsheet (.xlsx) has sheets; leave sheet out")
    if kind == "csv":
        log = Refusals()
        header, read = csv_rows(stream, name, log, strict=True)
        lines = list(read)
        log.refuse()
        return checked_table(
            name, header, [row for _, row in lines], [line for line, _ in lines], "line"
        )
    content = stream.read(spreadsheet.LONGEST_WHOLE + 1)
    if len(content) > spreadsheet.LONGEST_WHOLE:
        raise TableError(
            f"{name}: more than {spreadsheet.LONGEST_WHOLE} bytes, too long for {kind}; save it as CSV"
        )
    if not content.strip():
        raise TableError(f"{name}: the file is empty")
    if kind == "json":
        records = whole_list(content, name)
        names = [*dict.fromkeys(key for record in records for key in record)]
        rows = [[_json_cell(record.get(key)) for key in names] for record in records]
        header = [key.strip() for key in names]
        return checked_table(name, header, rows, [*range(1, len(rows) + 1)], "record")
    rows, places = sheet_rows(content, name, sheet)
    return checked_table(
        name, [cell_text(cell).strip() for cell in rows[0]], rows[1:], places[1:], "row"
    )


def _json_cell(value: object) -> object:
    """Numbers and texts as they are; weights and truth values as their text."""
    plain = isinstance(value, (str, int, float)) and not isinstance(value, bool)
    return value if plain or value is None else cell_text(value)


def _binary(stream: IO[Any], name: str) -> IO[bytes]:
    """The bytes of a stream, of text or of bytes."""
    if not isinstance(stream.read(0), str):
        return stream
    buffer = getattr(stream, "buffer", None)
    if buffer is not None:
        return buffer  # type: ignore[no-any-return]
    try:
        return io.BytesIO(stream.read(LONGEST_FILE).encode("utf-8"))
    except UnicodeEncodeError as error:
        raise TableError(f"{name}: letter {error.start} is not Unicode text") from None


class _Rejoined(io.RawIOBase):
    """Bytes already taken from a stream, then the rest of it, which is not closed with this."""

    def __init__(self, head: bytes, rest: IO[bytes]) -> None:
        self._head, self._rest = head, rest

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        part, self._head = self._head[: len(buffer)], self._head[len(buffer) :]
        part = part or self._rest.read(len(buffer))
        buffer[: len(part)] = part
        return len(part)
