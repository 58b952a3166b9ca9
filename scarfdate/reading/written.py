"""Answers written to files: CSV, JSON or Parquet, whole or not at all."""

from __future__ import annotations

import io
from pathlib import Path

import pandas as pd

from scarfdate.errors import TableError
from scarfdate.files import csv_bytes, safe_cell, write_whole
from scarfdate.reading.spreadsheet import EXTRA
from scarfdate.reading.table import printable

_WRITTEN = (".csv", ".json", ".parquet")


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
            raise TableError(f"{name}: Parquet needs one more package: {EXTRA}") from None
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
