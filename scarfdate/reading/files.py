"""Files of scarves: CSV, spreadsheets, JSON and Parquet as rows of cells with their places.

Whatever is wrong with a file is a `TableError` that names the file and the place. Nothing is read
into memory before its size is known to be bearable.
"""

from __future__ import annotations

import io
from decimal import Decimal
from pathlib import Path
from typing import IO, Any

import pandas as pd

from scarfdate.errors import TableError, shown
from scarfdate.files import open_plain
from scarfdate.reading import package
from scarfdate.reading.csv_lines import LONGEST_FILE, LONGEST_STREAM
from scarfdate.reading.csv_text import csv_rows, is_headings
from scarfdate.reading.encoding import Rejoined, as_utf8
from scarfdate.reading.faults import Refusals, passed_over
from scarfdate.reading.header import IsName, csv_start
from scarfdate.reading.json_text import cell_text, line_records, whole_list
from scarfdate.reading.opendocument import ods_page
from scarfdate.reading.pages import Room, page_rows
from scarfdate.reading.spreadsheet import EXTRA, xlsx_page
from scarfdate.reading.table import Table, checked_table, printable

_KINDS = {
    ".csv": "csv", ".tsv": "csv", ".txt": "csv", ".xlsx": "xlsx", ".xlsm": "xlsx", ".ods": "ods",
    ".json": "json", ".jsonl": "lines", ".ndjson": "lines", ".parquet": "parquet",
}  # fmt: skip
_MOST_CELLS = 2**25  # of a Parquet file, which says in few bytes that a cell is repeated
_ALLOWED = ("csv", "xlsx", "ods", "json", "lines", "parquet")


def read_table(
    source: str | Path | IO[Any],
    kind: str | None = None,
    *,
    sheet: str | int | None = None,
    encoding: str | None = None,
) -> pd.DataFrame:
    """A file of scarves as a frame of text cells, "" where a cell is blank.

    ``source``: a path or an open stream; ``kind``: "csv" (comma, semicolon or tab, as the header line has
    it), "xlsx", "ods" or "parquet", "json" (a list of records) or "lines" (one record of JSON a line); where nothing is said it goes by the
    ending, and for a stream by its first bytes. ``sheet``: of a spreadsheet, by name or by number from 1
    (default: the first). ``encoding``: of a CSV file; UTF-8, UTF-16 and Windows-1252 are recognised.
    Wholly blank rows are left out. The index says where each row stands: the ``line`` of a CSV file (the
    header is line 1), the ``row`` of a sheet, or the ``record`` of JSON or Parquet, counted from 1.

    Raises TableError for a file that is not there, is empty, has no rows, is in an encoding that is not
    known, has a column twice or rows of unequal length, NUL bytes, a cell of more than 2**20 characters,
    or too many bytes (2 GiB; 256 MiB of a stream, and of all but CSV, once unpacked).
    """
    return text_frame(open_table(source, kind, sheet, encoding))


def text_frame(table: Table) -> pd.DataFrame:
    """A table as a frame of text cells; the index says where each row stands."""
    rows = table.rows
    if table.counted != "line":
        rows = [[cell_text(cell) for cell in row] for row in rows]
    where = pd.Index(table.places, name=table.counted, dtype="int64")
    names = pd.Index(table.header, dtype=object)
    return pd.DataFrame(rows, columns=names, index=where, dtype=object)


def open_table(
    source: str | Path | IO[Any],
    kind: str | None = None,
    sheet: str | int | None = None,
    encoding: str | None = None,
    is_name: IsName | None = None,
) -> Table:
    """The table of a file or of an open stream, as `read_table` reads it, with its cells as they are.

    ``is_name``: whether a text can be the name of a column. With it the headings are looked for below
    rows that hold a title, and a column without a heading is called by its number.
    """
    if kind is not None and kind not in _ALLOWED:
        raise TableError(f"kind: {', '.join(map(repr, _ALLOWED))} are allowed, got {shown(kind)}")
    if not isinstance(source, (str, Path)):
        given = getattr(source, "name", None)
        name = given if isinstance(given, str) and not given.startswith("<") else "standard input"
        stream = _binary(source, printable(name))
        return _read(stream, printable(name), kind, sheet, encoding, is_name, LONGEST_STREAM)
    if not str(source).strip():
        raise TableError("the name of the file is empty; name a file, such as stock.csv")
    path = Path(source)
    name = printable(str(source))
    kind = kind or _KINDS.get(path.suffix.casefold())
    try:
        if path.is_dir():
            raise TableError(f"{name}: is a folder, not a file; name a file in it")
        if kind is None:
            endings = ", ".join(_KINDS)
            raise TableError(
                f"{name}: cannot tell what kind of file this is; endings read: {endings}"
            )
        size = path.stat().st_size
        if size > LONGEST_FILE:
            raise TableError(
                f"{name}: {size} bytes are more than the {LONGEST_FILE} allowed; split the file"
            )
        with open_plain(path) as stream:
            return _read(stream, name, kind, sheet, encoding, is_name, LONGEST_FILE)
    except FileNotFoundError:
        raise TableError(f"{name}: there is no such file; check the path") from None
    except (OSError, ValueError) as error:
        if isinstance(error, TableError):
            raise
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise TableError(f"{name}: cannot be read ({reason})") from None


def _read(
    stream: IO[bytes],
    name: str,
    kind: str | None,
    sheet: str | int | None,
    encoding: str | None,
    is_name: IsName | None,
    longest_csv: int,
) -> Table:
    head = b"" if kind else stream.read(256)
    whole = io.BufferedReader(Rejoined(head, stream))
    kind = kind or _kind_of(head)
    if sheet is not None and kind not in ("xlsx", "ods"):
        raise TableError(f"{name}: only a spreadsheet (.xlsx, .ods) has sheets; leave sheet out")
    if encoding is not None and kind != "csv":
        raise TableError(f"{name}: only a CSV file has an encoding to state; leave encoding out")
    named = is_name is not None
    if kind == "csv":
        utf8, start, remark = as_utf8(whole, name, encoding)
        above, delimiter = csv_start(start, is_name)
        log = Refusals(totals=is_name.totals if is_name else None)
        header, read = csv_rows(
            utf8, name, log, delimiter=delimiter, strict=True, above=above, longest=longest_csv
        )
        lines = list(read)
        log.refuse()
        places = [line for line, _ in lines]
        remarks = [*([remark] if remark else []), *log.remarks]
        if above > start.startswith("sep=") and named:
            remarks.append(f"the headings were found in line {above + 1}")
        return checked_table(
            name, header, [row for _, row in lines], places, "line", remarks, name_columns=named
        )
    longest = package.LONGEST_WHOLE
    content = whole.read(longest + 1)
    if len(content) > longest:
        raise TableError(f"{name}: more than {longest} bytes, too long for {kind}; save it as CSV")
    if not content.strip():
        raise TableError(f"{name}: the file is empty")
    if kind in ("json", "lines", "parquet"):
        if kind != "parquet":
            records = whole_list(content, name) if kind == "json" else line_records(content, name)
            names = [*dict.fromkeys(key for record in records for key in record)]
            Room(name, len(content)).take(len(names) * len(records))
            rows = [[json_cell(record.get(key)) for key in names] for record in records]
        else:
            names, rows = _parquet(content, name)
        header = [key.strip() for key in names]
        rows, places, remarks = _pieces(rows, [*range(1, len(rows) + 1)], "record", is_name)
        return checked_table(name, header, rows, places, "record", remarks)
    page, room = (ods_page if kind == "ods" else xlsx_page)(content, name, sheet)
    rows, places, remarks = page_rows(page, room, is_name)
    header = [cell_text(cell).strip() for cell in rows[0]]
    again = [is_headings(map(cell_text, row), header) for row in rows]
    pieces = [at for at, headings in enumerate(again) if not headings]
    repeated = [place for place, headings in zip(places, again, strict=True) if headings][1:]
    told = passed_over("row", "repeat", "the headings", len(repeated), *repeated[:1])
    rows, places, sums = _pieces(
        [rows[at] for at in pieces], [places[at] for at in pieces], "row", is_name
    )
    return checked_table(
        name, header, rows, places, "row", [*remarks, *told, *sums], name_columns=named
    )


def _pieces(
    rows: list[list[object]], places: list[int], counted: str, is_name: IsName | None
) -> tuple[list[list[object]], list[int], list[str]]:
    """Rows without those of totals, where each stands, and what is told of the others."""
    if is_name is None:
        return rows, places, []
    sums = [is_name.totals(map(cell_text, row)) for row in rows]
    over = [place for place, total in zip(places, sums, strict=True) if total]
    kept = [at for at, total in enumerate(sums) if not total]
    told = passed_over(counted, "hold", "totals", len(over), *over[:1])
    return [rows[at] for at in kept], [places[at] for at in kept], told


def _kind_of(head: bytes) -> str:
    """What kind of file begins with these bytes."""
    if head.startswith(b"PK\3\4"):
        # an OpenDocument package begins with its type, uncompressed (part 2, section 3.3)
        return "ods" if b"opendocument.spreadsheet" in head else "xlsx"
    if head.startswith(b"PAR1"):
        return "parquet"
    if head.removeprefix(b"\xef\xbb\xbf").lstrip()[:1] in (b"[", b"{"):
        return "json"
    return "csv"


def _parquet(content: bytes, name: str) -> tuple[list[str], list[list[object]]]:
    """Names and rows of a Parquet file; what is a list or a mapping in it is as in JSON."""
    try:
        import pyarrow.parquet as parquet
    except ImportError:
        raise TableError(f"{name}: Parquet needs one more package: {EXTRA}") from None
    try:
        about = parquet.read_metadata(io.BytesIO(content))
        groups = [about.row_group(at) for at in range(about.num_row_groups)]
        columns = [group.column(at) for group in groups for at in range(group.num_columns)]
        cells = max(about.num_rows * about.num_columns, sum(one.num_values for one in columns))
        size = sum(one.total_uncompressed_size for one in columns)
        if cells > _MOST_CELLS or size > package.LONGEST_WHOLE:
            raise TableError(
                f"{name}: {about.num_rows} rows of {about.num_columns} columns are {cells} cells and {size} bytes, "
                f"more than the {_MOST_CELLS} and {package.LONGEST_WHOLE} allowed; split the file"
            )
        texts = {one.path_in_schema for one in columns if one.physical_type == "BYTE_ARRAY"}
        once = parquet.read_table(io.BytesIO(content), read_dictionary=sorted(texts))
        size = sum(map(_unrolled, (chunk for column in once.columns for chunk in column.chunks)))
        if size > package.LONGEST_WHOLE:
            raise TableError(
                f"{name}: {size} bytes of text, the same again and again, more than the "
                f"{package.LONGEST_WHOLE} allowed; split the file"
            )
        read = parquet.read_table(io.BytesIO(content))
        lists = [column.to_pylist() for column in read.columns]
    except TableError:
        raise
    except Exception as error:  # a broken file fails in many ways
        raise TableError(
            f"{name}: not a Parquet file that can be read ({type(error).__name__}); save it anew"
        ) from None
    rows = [[json_cell(cell) for cell in row] for row in zip(*lists, strict=True)]
    return [str(column) for column in read.column_names], rows


def _unrolled(array: Any) -> int:
    """The bytes of an array of pyarrow, were each text written as often as it stands there."""
    import pyarrow as pa
    import pyarrow.compute as pc

    kind = array.type
    if pa.types.is_dictionary(kind) and pa.types.is_string(kind.value_type):
        lengths = pc.binary_length(array.dictionary)
        return pc.sum(pc.take(lengths, array.indices).cast("int64")).as_py() or 0
    if pa.types.is_struct(kind):
        return sum(_unrolled(array.field(at)) for at in range(kind.num_fields))
    if pa.types.is_nested(kind):
        return _unrolled(array.values)
    return int(array.nbytes)


def json_cell(value: object) -> object:
    """Numbers and texts as they are; weights and truth values as their text."""
    plain = isinstance(value, (str, int, float, Decimal)) and not isinstance(value, bool)
    if isinstance(value, float) and value != value:
        return None
    return value if plain or value is None else cell_text(value)


def _binary(stream: IO[Any], name: str) -> IO[bytes]:
    """The bytes of a stream, of text or of bytes."""
    if not isinstance(stream.read(0), str):
        return stream
    buffer = getattr(stream, "buffer", None)
    if buffer is not None:
        return buffer  # type: ignore[no-any-return]
    try:
        return io.BytesIO(stream.read(LONGEST_STREAM + 1).encode("utf-8"))
    except UnicodeEncodeError as error:
        raise TableError(f"{name}: letter {error.start} is not Unicode text") from None
