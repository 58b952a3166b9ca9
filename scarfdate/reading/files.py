"""Files of scarves in, files of answers out: CSV, spreadsheets and JSON as frames of text cells.

Whatever is wrong with a file is a `TableError` that names the file and the place. Nothing is read
into memory before its size is known to be bearable.
"""

from __future__ import annotations

import datetime
import io
import json
import stat
import zipfile
from collections.abc import Sequence
from pathlib import Path
from typing import IO, Any

import pandas as pd

from scarfdate.errors import TableError, shown
from scarfdate.files import safe_cell, write_whole
from scarfdate.reading.cells import column_name
from scarfdate.reading.csv_text import LONGEST_CELL, LONGEST_FILE, read_csv

_LONGEST_WHOLE = 256 * 2**20  # bytes of what has to be read whole: JSON, an unpacked spreadsheet
_SPREADSHEET = 'pip install "scarfdate[spreadsheet]"'
_KINDS = {".csv": "csv", ".tsv": "csv", ".txt": "csv", ".xlsx": "xlsx", ".json": "json"}
_WRITTEN = (".csv", ".json", ".parquet")


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
    if kind is not None and kind not in ("csv", "xlsx", "json"):
        raise TableError(f"kind: 'csv', 'xlsx' or 'json' is allowed, got {shown(kind)}")
    if not isinstance(source, (str, Path)):
        given = getattr(source, "name", None)
        name = given if isinstance(given, str) and not given.startswith("<") else "standard input"
        return _read(_binary(source, name), name, kind)
    path = Path(source)
    name = _printable(str(source))
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
            return _read(stream, name, kind)
    except FileNotFoundError:
        raise TableError(f"{name}: there is no such file; check the path") from None
    except (OSError, ValueError) as error:
        if isinstance(error, TableError):
            raise
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise TableError(f"{name}: cannot be read ({reason})") from None


def check_target(path: str | Path) -> Path:
    """Whether an answer can be written there, before the work is done; TableError where not."""
    target = Path(path)
    name = _printable(str(path))
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
    out = io.BytesIO()
    ending = target.suffix.casefold()
    try:
        if ending == ".csv":
            # by place, not by name: what a person calls the columns is no concern of this
            safe = [
                column
                if pd.api.types.is_numeric_dtype(column)
                else column.map(safe_cell, na_action="ignore")
                for _, column in frame.items()
            ]
            names = [str(safe_cell(str(name))) for name in frame.columns]
            table = pd.concat(safe, axis=1) if safe else frame
            table.to_csv(out, index=False, header=names, lineterminator="\n", encoding="utf-8")
        elif ending == ".json":
            text = frame.to_json(orient="records", force_ascii=False, double_precision=15, indent=1)
            out.write((text + "\n").encode("utf-8"))
        else:
            frame.to_parquet(out, index=False)
        write_whole(target, out.getvalue())
    except OSError as error:
        raise TableError(f"{_printable(str(path))}: cannot be written ({error.strerror})") from None


def _read(stream: IO[bytes], name: str, kind: str | None) -> pd.DataFrame:
    if kind is None:
        head, stream = _peeked(stream)
        kind = "xlsx" if head.startswith(b"PK\3\4") else "csv"
        if head.removeprefix(b"\xef\xbb\xbf").lstrip()[:1] in (b"[", b"{"):
            kind = "json"
    if kind == "csv":
        return _frame(name, *read_csv(stream, name), "line")
    content = stream.read(_LONGEST_WHOLE + 1)
    if len(content) > _LONGEST_WHOLE:
        raise TableError(
            f"{name}: more than {_LONGEST_WHOLE} bytes, too long for {kind}; save it as CSV"
        )
    if not content.strip():
        raise TableError(f"{name}: the file is empty")
    return _read_json(content, name) if kind == "json" else _read_xlsx(content, name)


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


def _peeked(stream: IO[bytes]) -> tuple[bytes, IO[bytes]]:
    """The first bytes, and a stream that still has them."""
    head = stream.read(64)
    return head, io.BufferedReader(_Rejoined(head, stream))


class _Rejoined(io.RawIOBase):
    """Bytes already taken from a stream, then the rest of it."""

    def __init__(self, head: bytes, rest: IO[bytes]) -> None:
        self._head, self._rest = head, rest

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        part, self._head = self._head[: len(buffer)], self._head[len(buffer) :]
        part = part or self._rest.read(len(buffer))
        buffer[: len(part)] = part
        return len(part)


def _read_json(content: bytes, name: str) -> pd.DataFrame:
    def once(pairs: list[tuple[str, object]]) -> dict[str, object]:
        keys = [key for key, _ in pairs]
        twice = (
            next((key for key in keys if keys.count(key) > 1), None)
            if len({*keys}) < len(keys)
            else None
        )
        if twice is not None:
            raise TableError(
                f"{name}: the name {shown(twice)} stands twice in one record; take one out"
            )
        return dict(pairs)

    try:
        text = content.decode("utf-8-sig")
        records = json.loads(text, object_pairs_hook=once)
    except TableError:
        raise
    except UnicodeDecodeError as error:
        raise TableError(
            f"{name}: byte {error.start} is not UTF-8 text; save the file as UTF-8"
        ) from None
    except json.JSONDecodeError as error:
        raise TableError(f"{name}, line {error.lineno}: not JSON ({error.msg})") from None
    except (ValueError, RecursionError):
        raise TableError(
            f"{name}: not JSON that can be read; a list of records is allowed"
        ) from None
    if not isinstance(records, list):
        raise TableError(
            f"{name}: a list of records is allowed, got {shown(type(records).__name__)}; "
            'write [{"id": "A1", "fibre": "silk"}, ...]'
        )
    header: dict[str, None] = {}
    for place, record in enumerate(records, start=1):
        if not isinstance(record, dict):
            raise TableError(
                f"{name}, record {place}: names and values are allowed, got {shown(record)}"
            )
        header |= dict.fromkeys(record)
    names = [*header]
    rows = [[_cell_text(record.get(key)) for key in names] for record in records]
    places = list(range(1, len(rows) + 1))
    return _frame(name, [key.strip() for key in names], rows, places, "record")


def _read_xlsx(content: bytes, name: str) -> pd.DataFrame:
    try:
        import openpyxl
    except ImportError:
        raise TableError(f"{name}: spreadsheets need one more package: {_SPREADSHEET}") from None
    rows: list[list[str]] = []
    places: list[int] = []
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            size = sum(part.file_size for part in packed.infolist())
        if size > _LONGEST_WHOLE:
            raise TableError(
                f"{name}: {size} bytes once unpacked, more than the {_LONGEST_WHOLE} allowed; save it as CSV"
            )
        book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)
        if not book.worksheets:
            raise TableError(f"{name}: the spreadsheet has no sheet of cells")
        sheet = book.worksheets[0]
        sheet.reset_dimensions()  # what a file says of its own size need not be so
        for place, cells in enumerate(sheet.iter_rows(values_only=True), start=1):
            texts = [_cell_text(cell) for cell in cells]
            if any(map(str.strip, texts)):
                rows.append(texts)
                places.append(place)
    except TableError:
        raise
    except Exception as error:  # a broken package fails in as many ways as it has parts
        raise TableError(
            f"{name}: not a spreadsheet that can be read ({type(error).__name__}); save it anew as .xlsx or CSV"
        ) from None
    if not rows:
        raise TableError(f"{name}: the first sheet is empty")
    width = max(map(len, rows))
    padded = [row + [""] * (width - len(row)) for row in rows]
    return _frame(name, [cell.strip() for cell in padded[0]], padded[1:], places[1:], "row")


def _cell_text(value: object) -> str:
    """A cell of a spreadsheet or of JSON as a person would have typed it."""
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    if isinstance(value, float) and value.is_integer() and abs(value) < 2**53:
        return str(int(value))
    if isinstance(value, (datetime.date, datetime.time)):
        return value.isoformat()
    return json.dumps(value, ensure_ascii=False, default=str)


def _frame(
    name: str, header: list[str], rows: list[list[str]], places: Sequence[int], index: str
) -> pd.DataFrame:
    """The frame, once its names are told apart and its cells are bearable."""
    if not rows:
        raise TableError(
            f"{name}: there is a header and not one row under it" if header else f"{name}: no rows"
        )
    used = range(len(header))
    unnamed = [at for at, column in enumerate(header) if not column]
    if unnamed:
        used_unnamed = [at for at in unnamed if any(row[at].strip() for row in rows)]
        if used_unnamed:
            raise TableError(f"{name}: column {used_unnamed[0] + 1} has cells and no name; name it")
        keep = [at for at in used if header[at]]
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
    if index != "line":  # CSV was looked through while it was read
        _check_cells(name, header, rows, places, index)
    where = pd.Index([*places], name=index, dtype="int64")
    return pd.DataFrame(rows, columns=pd.Index(header, dtype=object), index=where, dtype=object)


def _check_cells(
    name: str, header: list[str], rows: list[list[str]], places: Sequence[int], index: str
) -> None:
    for place, row in zip(places, rows, strict=True):
        for column, cell in zip(header, row, strict=True):
            problem = ""
            if len(cell) > LONGEST_CELL:
                problem = f"a cell of more than {LONGEST_CELL} characters; shorten it"
            elif "\0" in cell:
                problem = "a cell with a NUL character; take it out"
            elif not cell.isascii() and any("\ud800" <= letter <= "\udfff" for letter in cell):
                problem = "a cell with half a letter (a lone surrogate); write it anew"
            if problem:
                raise TableError(f"{name}, {index} {place}, column {shown(column)}: {problem}")


def _printable(text: str) -> str:
    """A path as a message can show it."""
    return "".join(letter if letter.isprintable() else "?" for letter in text)
