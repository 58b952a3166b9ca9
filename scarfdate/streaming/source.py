"""A file of pieces read a chunk of rows at a time, so that memory does not grow with it.

CSV, JSON lines and Parquet can be read so. Spreadsheets and JSON lists have to be read whole: they are short.
"""

from __future__ import annotations

import io
import stat
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import IO, Any

from scarfdate.errors import TableError
from scarfdate.reading.csv_text import csv_rows
from scarfdate.reading.encoding import as_utf8
from scarfdate.reading.faults import Refusals
from scarfdate.reading.files import json_cell
from scarfdate.reading.header import WIDEST, IsName, csv_start
from scarfdate.reading.json_text import records_of_lines
from scarfdate.reading.spreadsheet import EXTRA
from scarfdate.reading.table import Table, checked_table, printable

KINDS = {
    ".csv": "csv", ".tsv": "csv", ".txt": "csv", ".jsonl": "lines", ".ndjson": "lines", ".parquet": "parquet",
}  # fmt: skip
_Rows = Iterator[tuple[int, list[Any]]]


@dataclass(frozen=True, eq=False, kw_only=True)
class Source:
    """An open file of pieces. ``name``: for messages; ``header``: its headings, none twice or blank.

    ``counted``: what a row's place counts, "line" or "record"; ``share_read``: of the file, 0 to 1;
    ``remarks``: what a person is told of how it is read, complete once it is.
    """

    name: str
    header: list[str]
    counted: str
    remarks: Sequence[str]
    share_read: Callable[[], float]
    _rows: _Rows

    def chunks(self, rows: int) -> Iterator[Table]:
        """Tables of at most so many rows, in turn; TableError at the first row that cannot be taken in."""
        while part := [*islice(self._rows, rows)]:
            yield checked_table(
                self.name, self.header, [row for _, row in part], [place for place, _ in part], self.counted
            )  # fmt: skip


@contextmanager
def open_source(path: Path, is_name: IsName, encoding: str | None) -> Iterator[Source]:
    """Open a file by its ending. Raises TableError as `open_table` does, and for another kind of file."""
    name = printable(str(path))
    kind = KINDS.get(path.suffix.casefold())
    if kind is None:
        raise TableError(
            f"{name}: a file of this kind is not read in parts; endings read so: {', '.join(KINDS)}"
        )
    if encoding is not None and kind != "csv":
        raise TableError(f"{name}: only a CSV file has an encoding to state; leave encoding out")
    try:
        if path.is_dir():
            raise TableError(f"{name}: is a folder, not a file; name a file in it")
        about = path.stat()
        if not stat.S_ISREG(about.st_mode):
            raise TableError(f"{name}: is no file; save it as one")
        with path.open("rb") as stream:
            yield _OPEN[kind](stream, name, about.st_size, is_name, encoding)
    except FileNotFoundError:
        raise TableError(f"{name}: there is no such file; check the path") from None
    except OSError as error:
        raise TableError(f"{name}: cannot be read ({error.strerror})") from None


def _share(stream: IO[bytes], size: int) -> Callable[[], float]:
    return lambda: min(1.0, stream.tell() / size) if size else 1.0


def _csv(stream: IO[bytes], name: str, size: int, is_name: IsName, encoding: str | None) -> Source:
    utf8, start, remark = as_utf8(stream, name, encoding)
    above, delimiter = csv_start(start, is_name)
    log = Refusals(totals=is_name.totals)
    header, read = csv_rows(
        utf8, name, log, delimiter=delimiter, strict=True, above=above, longest=None
    )

    remarks = [remark] if remark else []

    def rows() -> _Rows:
        yield from read
        log.refuse()
        remarks.extend(log.remarks)

    if above > start.startswith("sep="):
        remarks.append(f"the headings were found in line {above + 1}")
    return Source(
        name=name, header=_named(name, header), counted="line", remarks=remarks,
        share_read=_share(stream, size), _rows=rows(),
    )  # fmt: skip


def _lines(
    stream: IO[bytes], name: str, size: int, is_name: IsName, encoding: str | None
) -> Source:
    del is_name, encoding
    # read twice: the headings stand before the first row, and a record may have a name that those before it lack. That
    # is two fifths of reading, and less than a tenth of dating; the names of a first part alone would be a guess
    names: dict[str, None] = {}
    for number, record in records_of_lines(_kept_open(stream), name):
        if record.keys() <= names.keys():
            continue
        names.update(dict.fromkeys(record))
        if len(names) > WIDEST:
            raise TableError(
                f"{name}, line {number}: more than {WIDEST} names so far; is it a table of pieces?"
            )
    stream.seek(0)
    header = [key.strip() for key in names]

    def rows() -> _Rows:
        for number, record in records_of_lines(_kept_open(stream), name):
            yield number, [json_cell(record.get(key)) for key in names]

    return Source(
        name=name, header=_named(name, header), counted="record", remarks=(),
        share_read=_share(stream, size), _rows=rows(),
    )  # fmt: skip


def _parquet(
    stream: IO[bytes], name: str, size: int, is_name: IsName, encoding: str | None
) -> Source:
    del size, is_name, encoding
    try:
        import pyarrow.parquet as parquet
    except ImportError:
        raise TableError(f"{name}: Parquet needs one more package: {EXTRA}") from None
    try:
        file = parquet.ParquetFile(stream)
        header = [str(one).strip() for one in file.schema_arrow.names]
        total = file.metadata.num_rows
    except Exception as error:  # a broken file fails in many ways
        raise _broken(name, error) from None
    done = 0

    def rows() -> _Rows:
        nonlocal done
        try:
            for batch in file.iter_batches(batch_size=_BATCH):
                columns = [column.to_pylist() for column in batch.columns]
                for cells in zip(*columns, strict=True):
                    done += 1
                    yield done, [json_cell(cell) for cell in cells]
        except TableError:
            raise
        except Exception as error:
            raise _broken(name, error) from None

    return Source(
        name=name, header=_named(name, header), counted="record", remarks=(),
        share_read=lambda: done / total if total else 1.0, _rows=rows(),
    )  # fmt: skip


_BATCH = 8192  # rows of a Parquet file that are taken apart at a time


def _broken(name: str, error: Exception) -> TableError:
    return TableError(
        f"{name}: not a Parquet file that can be read ({type(error).__name__}); save it anew"
    )


def _kept_open(stream: IO[bytes]) -> IO[bytes]:
    """The same bytes, for a reader that closes what it reads."""
    return io.BufferedReader(io.FileIO(stream.fileno(), closefd=False))


def _named(name: str, header: Sequence[str]) -> list[str]:
    """The headings, a column without one called by its number."""
    if not header:
        raise TableError(f"{name}: no columns")
    return [text or f"note column {at}" for at, text in enumerate(header, 1)]


_OPEN = {"csv": _csv, "lines": _lines, "parquet": _parquet}
