"""Answers written to files: CSV, .xlsx, JSON, JSON lines or Parquet, whole or not at all."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from pathlib import Path

import pandas as pd

from scarfdate.errors import TableError
from scarfdate.files import check_new, csv_bytes, in_short, safe_cell, write_whole
from scarfdate.reading.spreadsheet import EXTRA
from scarfdate.reading.table import printable

_WRITTEN = (".csv", ".xlsx", ".json", ".jsonl", ".parquet")


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
        raise TableError(f"{name}: cannot be written ({in_short(error)})") from None
    try:
        if target.suffix.casefold() == ".parquet":
            import pyarrow  # noqa: F401
        elif target.suffix.casefold() == ".xlsx":
            import openpyxl  # noqa: F401
    except ImportError as error:
        needs = f"{error.name or 'this kind of file'}, which is not installed"
        raise TableError(f"{name}: needs one more package, {needs}: {EXTRA}") from None
    return target


def check_out(path: str | Path, force: bool) -> Path:
    """`check_target`, and whether what is there may be written over; ScarfdateError where not.

    Never a spreadsheet with more in it than the one page of cells that comes instead: of other pages and of formulas
    nothing would be left.
    """
    target = check_target(path)
    check_new(target, force)
    if force and target.suffix.casefold() == ".xlsx" and target.is_file():
        from scarfdate.reading.spreadsheet import lost_if_written_over

        lost = lost_if_written_over(target)
        if lost:
            raise TableError(
                f"{printable(str(path))}: {lost} would be lost; give another name, or take the file away first"
            )
    return target


def write_table(
    frame: pd.DataFrame,
    path: str | Path,
    *,
    mark: bool = False,
    lists: Mapping[str, Sequence[str]] | None = None,
    new: bool = False,
) -> None:
    """Write a frame (without its index) as CSV, .xlsx, JSON, JSON lines or Parquet by the ending, whole or not at all.

    In CSV and .xlsx, text that a spreadsheet would run as a formula is made plain text. ``mark``: a
    byte-order mark in front of CSV, for spreadsheets; ``lists``: of an .xlsx file, by heading, the words
    that a drop-down list offers; ``new``: nothing that is there is written over. Raises TableError for another
    ending, a cell that the kind of file cannot hold, or where the file cannot be written.
    """
    target = check_target(path)
    ending = target.suffix.casefold()
    if mark and ending != ".csv":
        raise TableError(
            f"{printable(str(path))}: only a .csv takes a byte-order mark; leave it out"
        )
    try:
        if ending == ".csv":
            content = csv_bytes(csv_cells(frame), mark=mark)
        elif ending == ".xlsx":
            from scarfdate.reading.workbook import Written, workbook_bytes

            cells = [
                column.astype(object).where(column.notna(), None).tolist()
                for _, column in frame.items()
            ]
            rows = [list(row) for row in zip(*cells, strict=True)]
            headings = [str(name) for name in frame.columns]
            try:
                content = workbook_bytes(
                    Written(title="scarves", names=headings, rows=rows, lists=lists or {})
                )
            except TableError as error:
                raise TableError(f"{printable(str(path))}: {error}") from None
        elif ending == ".jsonl":
            content = json_lines(frame)
        elif ending == ".json":
            text = frame.to_json(orient="records", force_ascii=False, double_precision=15, indent=1)
            content = (text + "\n").encode("utf-8")
        else:
            out = io.BytesIO()
            frame.to_parquet(out, index=False)
            content = out.getvalue()
        write_whole(target, content, new=new)
    except OSError as error:
        raise TableError(f"{printable(str(path))}: cannot be written ({error.strerror})") from None


def csv_cells(frame: pd.DataFrame) -> list[Sequence[object]]:
    """A frame as rows for a CSV file, the headings first; no cell is a formula."""
    # by place, not by name: what a person calls the columns is no concern of this
    columns = [_csv_column(column) for _, column in frame.items()]
    names = [safe_cell(str(name)) for name in frame.columns]
    return [names, *zip(*columns, strict=True)]


def _csv_column(column: pd.Series) -> list[object]:
    cells, blank = column.astype(object).tolist(), column.isna()
    if blank.any():
        cells = ["" if nothing else cell for cell, nothing in zip(cells, blank, strict=True)]
    return cells if pd.api.types.is_numeric_dtype(column.dtype) else [*map(safe_cell, cells)]


def json_lines(frame: pd.DataFrame) -> bytes:
    """A frame as JSON lines, one record a row."""
    text = frame.to_json(orient="records", lines=True, force_ascii=False, double_precision=15)
    return text.encode("utf-8")
