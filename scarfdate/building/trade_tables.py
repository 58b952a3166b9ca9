"""What is written of trade descriptions: their counts as tables, and what a hem says of the decade.

How descriptions are read and counted: `scarfdate.building.trade`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from scarfdate.building.trade import OBJECT, STATEMENT, Trade, TradeRow, decades
from scarfdate.building.trade_counts import (
    by_decade,
    long_side_counts,
    sellers_of,
    trade_counts,
    values_of,
)
from scarfdate.files import csv_bytes

_BASIS = "common practice"


def trade_tables(trade: Trade) -> dict[str, bytes]:
    """The counts as CSV tables, by file name.

    ``<family>.csv`` for each family of `Trade.families`, ``long_side.csv``, and ``statements.csv`` (general
    statements of all families, one row a family, decade and value). No seller and no label text is
    in them, only how many sellers there are.
    """
    tables = {family: _object_table(trade, family) for family in trade.families}
    tables["long_side"] = _long_side_table(trade)
    tables["statements"] = _statement_table(trade)
    return {f"{name}.csv": csv_bytes(rows) for name, rows in tables.items()}


def _object_table(trade: Trade, family: str) -> list[list[object]]:
    values = values_of(trade, family)
    rows = by_decade(trade, family, OBJECT)[0]
    source = _source(trade, rows)
    out: list[list[object]] = [["decade", *values, "rows", "sellers", "basis", "source", "note"]]
    for line in trade_counts(trade, family).to_dict("records"):
        note = _note(press=line["press"], from_parents=line["from_parents"])
        counts = [digits(line[value], 1) for value in values]
        out.append([line["decade"], *counts, line["rows"], line["sellers"], _BASIS, source, note])
    return out


def _long_side_table(trade: Trade) -> list[list[object]]:
    frame = long_side_counts(trade)
    source = _source(trade, [row for row in trade.of(OBJECT) if row.long_side is not None])
    header = [*frame.columns[:-1], "basis", "source", "note"]
    out: list[list[object]] = [header]
    for line in frame.to_dict("records"):
        numbers = [digits(line[name], 3) for name in ("mean_log_cm", "sd_log_cm")]
        out.append(
            [line["decade"], line["given"], digits(line["count"], 1), *numbers, line["rows"],
             line["sellers"], _BASIS, source, _note(press=line["press"])]
        )  # fmt: skip
    return out


def _statement_table(trade: Trade) -> list[list[object]]:
    source = _source(trade, trade.of(STATEMENT)).replace("descriptions", "general statements")
    columns = "family decade value effective rows sellers basis source note"
    out: list[list[object]] = [[*columns.split()]]
    for family in trade.families:
        rows, _, cells, _ = by_decade(trade, family, STATEMENT)
        for place, decade in enumerate(decades()):
            for column, value in enumerate(values_of(trade, family)):
                load = cells[:, place, column]
                effective = digits(load.sum(), 2)
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
    counts = {what: digits(count, 1) for what, count in parts.items()}
    return "; ".join(f"{count} {what}" for what, count in counts.items() if float(count) > 0)


def digits(number: float, places: int) -> str:
    """A number with so many places behind the point; "" for NaN."""
    # rounded in two steps, so that the last bit of a sum never decides between 0.2 and 0.3
    return "" if math.isnan(number) else f"{round(float(number), 9):.{places}f}"
