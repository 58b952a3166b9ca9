"""What the trade says of its scarves: its counts, written as tables, for `scarfdate.building.build`.

How they are read and counted: `scarfdate.building.trade_counts`; what a hem speaks of:
`scarfdate.building.trade_hem`. All of it is had from here.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from pathlib import Path

from scarfdate.building.trade_counts import (
    CAP,
    FAMILIES,
    OBJECT,
    STATEMENT,
    Trade,
    TradeRow,
    against_shares,
    decades,
    long_side_counts,
    read_trade,
    sellers_of,
    spread_rows,
    trade_counts,
    values_of,
)
from scarfdate.building.trade_hem import hem_speaks_of
from scarfdate.files import write_whole

__all__ = [
    "CAP",
    "FAMILIES",
    "OBJECT",
    "STATEMENT",
    "Trade",
    "TradeRow",
    "against_shares",
    "decades",
    "hem_speaks_of",
    "long_side_counts",
    "read_trade",
    "trade_counts",
    "trade_tables",
    "write_trade_tables",
]

_BASIS = "common practice"


def trade_tables(trade: Trade) -> dict[str, bytes]:
    """The counts as CSV tables, by file name.

    ``<family>.csv`` for each of `FAMILIES`, ``long_side.csv``, and ``statements.csv`` (general
    statements of all families, one row a family, decade and value). No seller and no label text is
    in them, only how many sellers there are.
    """
    tables = {family: _object_table(trade, family) for family in FAMILIES}
    tables["long_side"] = _long_side_table(trade)
    tables["statements"] = _statement_table(trade)
    files = {}
    for name, rows in tables.items():
        text = io.StringIO()
        csv.writer(text, lineterminator="\n").writerows(rows)
        files[f"{name}.csv"] = text.getvalue().encode("utf-8")
    return files


def write_trade_tables(trade: Trade, folder: Path | str) -> list[Path]:
    """Write `trade_tables`, each whole or not at all; returns their paths.

    Raises OSError where the folder cannot be written.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for name, content in trade_tables(trade).items():
        paths.append(folder / name)
        write_whole(paths[-1], content)
    return paths


def _object_table(trade: Trade, family: str) -> list[list[object]]:
    values = values_of(trade, family)
    rows = spread_rows(trade, family, OBJECT)[0]
    source = _source(trade, rows)
    out: list[list[object]] = [["decade", *values, "rows", "sellers", "basis", "source", "note"]]
    for line in trade_counts(trade, family).to_dict("records"):
        note = _note(press=line["press"], from_parents=line["from_parents"])
        counts = [_digits(line[value], 1) for value in values]
        out.append([line["decade"], *counts, line["rows"], line["sellers"], _BASIS, source, note])
    return out


def _long_side_table(trade: Trade) -> list[list[object]]:
    frame = long_side_counts(trade)
    source = _source(trade, [row for row in trade.of(OBJECT) if row.long_side is not None])
    header = [*frame.columns[:-1], "basis", "source", "note"]
    out: list[list[object]] = [header]
    for line in frame.to_dict("records"):
        numbers = [_digits(line[name], 3) for name in ("mean_log_cm", "sd_log_cm")]
        out.append(
            [line["decade"], line["given"], _digits(line["count"], 1), *numbers, line["rows"],
             line["sellers"], _BASIS, source, _note(press=line["press"])]
        )  # fmt: skip
    return out


def _statement_table(trade: Trade) -> list[list[object]]:
    source = _source(trade, trade.of(STATEMENT)).replace("descriptions", "general statements")
    columns = [
        "family",
        "decade",
        "value",
        "effective",
        "rows",
        "sellers",
        "basis",
        "source",
        "note",
    ]
    out: list[list[object]] = [[*columns]]
    for family in FAMILIES:
        rows, _, cells, _ = spread_rows(trade, family, STATEMENT)
        for place, decade in enumerate(decades()):
            for column, value in enumerate(values_of(trade, family)):
                load = cells[:, place, column]
                effective = _digits(load.sum(), 2)
                if float(effective) > 0:
                    behind = [int((load > 0).sum()), len(sellers_of(rows, load))]
                    out.append([family, decade, value, effective, *behind, _BASIS, source, ""])
    return out


def _source(trade: Trade, rows: Sequence[TradeRow]) -> str:
    sellers = len({row.seller for row in rows})
    of = f"{len(rows)} row{'s' * (len(rows) != 1)} of {sellers} seller{'s' * (sellers != 1)}"
    return f"coded trade descriptions: {of}; SHA-256 of the file {trade.hash[:16]}"


def _note(*, press: float, from_parents: float = 0.0) -> str:
    parts = {
        "of contemporary press: fashion rather than stock": press,
        "of parent words, split by the shipped shares": from_parents,
    }
    told = {what: _digits(count, 1) for what, count in parts.items()}
    return "; ".join(f"{count} {what}" for what, count in told.items() if float(count) > 0)


def _digits(number: float, digits: int) -> str:
    # rounded in two steps, so that the last bit of a sum never decides between 0.2 and 0.3
    return "" if math.isnan(number) else f"{round(float(number), 9):.{digits}f}"
