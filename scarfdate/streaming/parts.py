"""Answers of a long file, a part at a time, and the parts made one file.

A part is written whole before it has its name: one that is there is finished, also after a kill. Its name has its hash.
"""

from __future__ import annotations

import io
import shutil
from collections.abc import Iterable
from pathlib import Path
from typing import IO, Any

import pandas as pd

from scarfdate.files import csv_bytes
from scarfdate.reading.written import csv_cells, json_lines

ENDINGS = (".csv", ".jsonl", ".parquet")


def part_bytes(frame: pd.DataFrame, ending: str) -> bytes:
    """One part of the answer as the bytes that it will have in the file; of Parquet a file of its own."""
    if ending == ".csv":
        return csv_bytes(csv_cells(frame)[1:])
    if ending == ".jsonl":
        return json_lines(frame)
    out = io.BytesIO()
    frame.to_parquet(out, index=False)
    return out.getvalue()


def join_parts(
    parts: Iterable[Path], stream: IO[bytes], ending: str, header: pd.DataFrame, *, mark: bool
) -> None:
    """All parts in turn into one stream. ``header``: a frame of the answer without rows; ``mark``: of CSV."""
    if ending == ".parquet":
        _join_parquet(parts, stream)
        return
    if ending == ".csv":
        stream.write(csv_bytes(csv_cells(header), mark=mark))
    for path in parts:
        with path.open("rb") as part:
            shutil.copyfileobj(part, stream, 2**20)


def _join_parquet(parts: Iterable[Path], stream: IO[bytes]) -> None:
    import pyarrow.parquet as parquet

    writer: Any = None
    for path in parts:
        table = parquet.read_table(path).replace_schema_metadata()
        if writer is None:
            writer = parquet.ParquetWriter(stream, table.schema)
        writer.write_table(table.cast(writer.schema))
    if writer is not None:
        writer.close()
