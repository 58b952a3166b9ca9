"""Files of scarves in, files of answers out: CSV, spreadsheets and JSON as rows of cells with their places.

Whatever is wrong with a file is a `TableError` that names the file and the place. Nothing is read
into memory before its size is known to be bearable.
"""

from __future__ import annotations

import io
import stat
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

import pandas as pd

from scarfdate.errors import TableError, did_you_mean, shown
from scarfdate.files import csv_bytes, safe_cell, write_whole
from scarfdate.reading.cells import column_name
from scarfdate.reading.csv_text import LONGEST_CELL, LONGEST_FILE, csv_rows
from scarfdate.reading.faults import Refusals
from scarfdate.reading.json_text import cell_text, whole_list

_LONGEST_WHOLE = 256 * 2**20  # bytes of what has to be read whole: JSON, an unpacked spreadsheet
_SPREADSHEET = 'pip install "scarfdate[spreadsheet]"'
_KINDS = {".csv": "csv", ".tsv": "csv", ".txt": "csv", ".xlsx": "xlsx", ".json": "json"}
_WRITTEN = (".csv", ".json", ".parquet")


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """One table of a file. ``name``: of the file, for messages; ``header``: (m) names, none twice.

    ``rows``: of m cells each, none wholly blank. Cells of CSV are text; cells of a spreadsheet or of JSON
    are numbers and dates where they are these in the file, and None where blank. ``places``: where each
    row stands, counted from 1 in what ``counted`` says: "line", "row" (of a sheet) or "record".
    """

    name: str
    header: list[str]
    rows: list[list[object]]
    places: list[int]
    counted: str


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


def printable(text: str) -> str:
    """A path or a label as a message can show it."""
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


def check_target(path: str | Path) -> Path:
    """Whether an answer can be written there, before the work is done; TableError where not."""
    target = Path(path)
    name = printable(str(path))
    if target.suffix.casefold() not in _WRITTEN:
        raise TableError(
            f"{name}: cannot write files that end so; endings written: {', '.join(_WRITTEN)}"
        )
    try:
        if target.is_dir():
            raise TableError(f"{name}: is a folder; name a file")
        if not target.parent.is_dir():
            raise TableError(f"{name}: the folder {target.parent} is not there; make it first")
    except (OSError, ValueError) as error:
        if isinstance(error, TableError):
            raise
        raise TableError(f"{name}: cannot be written ({error})") from None
    if target.suffix.casefold() == ".parquet":
        try:
            import pyarrow  # noqa: F401
        except ImportError:
            raise TableError(f"{name}: Parquet needs one more package: {_SPREADSHEET}") from None
    return target


def write_table(frame: pd.DataFrame, path: str | Path) -> None:
    """Write a frame (without its index) as CSV, JSON or Parquet by the ending, whole or not at all.

    In CSV, text that a spreadsheet would run as a formula is made plain text. Raises TableError for
    another ending, or where the file cannot be written.
    """
    target = check_target(path)
    ending = target.suffix.casefold()
    try:
        if ending == ".csv":
            # by place, not by name: what a person calls the columns is no concern of this
            columns = [
                column.astype(object).where(column.notna(), "").map(safe_cell)
                for _, column in frame.items()
            ]
            names = [safe_cell(str(name)) for name in frame.columns]
            content = csv_bytes([names, *zip(*columns, strict=True)])
        elif ending == ".json":
            text = frame.to_json(orient="records", force_ascii=False, double_precision=15, indent=1)
            content = (text + "\n").encode("utf-8")
        else:
            out = io.BytesIO()
            frame.to_parquet(out, index=False)
            content = out.getvalue()
        write_whole(target, content)
    except OSError as error:
        raise TableError(f"{printable(str(path))}: cannot be written ({error.strerror})") from None


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
        return _table(name, header, [row for _, row in lines], [line for line, _ in lines], "line")
    content = stream.read(_LONGEST_WHOLE + 1)
    if len(content) > _LONGEST_WHOLE:
        raise TableError(
            f"{name}: more than {_LONGEST_WHOLE} bytes, too long for {kind}; save it as CSV"
        )
    if not content.strip():
        raise TableError(f"{name}: the file is empty")
    if kind == "json":
        records = whole_list(content, name)
        names = [*dict.fromkeys(key for record in records for key in record)]
        rows = [[_json_cell(record.get(key)) for key in names] for record in records]
        header = [key.strip() for key in names]
        return _table(name, header, rows, [*range(1, len(rows) + 1)], "record")
    rows, places = _sheet_rows(content, name, sheet)
    return _table(name, [cell_text(cell).strip() for cell in rows[0]], rows[1:], places[1:], "row")


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


def _sheet_rows(
    content: bytes, name: str, sheet: str | int | None
) -> tuple[list[list[object]], list[int]]:
    """The rows of one sheet that are not blank, all of one width, and the number of each."""
    try:
        import openpyxl
    except ImportError:
        raise TableError(f"{name}: spreadsheets need one more package: {_SPREADSHEET}") from None
    rows: list[list[object]] = []
    places: list[int] = []
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            size = sum(part.file_size for part in packed.infolist())
        if size > _LONGEST_WHOLE:
            raise TableError(
                f"{name}: {size} bytes once unpacked, more than the {_LONGEST_WHOLE} allowed; save it as CSV"
            )
        book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)
        page = _page(book.worksheets, name, sheet)
        page.reset_dimensions()  # what a file says of its own size need not be so
        for place, cells in enumerate(page.iter_rows(values_only=True), start=1):
            if any(cell_text(cell).strip() for cell in cells):
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
    return [row + [None] * (width - len(row)) for row in rows], places


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


def _table(
    name: str,
    header: list[str],
    rows: Sequence[list[Any]],
    places: list[int],
    counted: str,
) -> Table:
    """The table, once its names are told apart and its cells are bearable."""
    if not rows:
        raise TableError(
            f"{name}: there is a header and not one row under it" if header else f"{name}: no rows"
        )
    for at, column in enumerate(header):
        if not column and any(cell_text(row[at]).strip() for row in rows):
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
            for column, cell in zip(header, row, strict=True):
                if problem := unbearable(cell):
                    raise TableError(
                        f"{name}, {counted} {place}, column {shown(column)}: {problem}"
                    )
    return Table(name=name, header=header, rows=list(rows), places=places, counted=counted)
