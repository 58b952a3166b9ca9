"""``museum/disagreements.csv``: the rows that differ, read from and written for a folder, with pooled hems."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from scarfdate.building.disagreements import (
    COLUMNS,
    REASONS,
    Row,
    disagreement,
    disagreements,
    reason_for,
)
from scarfdate.building.hems import hem_information
from scarfdate.building.trade import DECADE, OBJECT, Trade
from scarfdate.errors import FileFault, PriorsError
from scarfdate.files import csv_bytes
from scarfdate.tables.checked import check
from scarfdate.tables.folder import missing
from scarfdate.tables.lists import LIMITS
from scarfdate.tables.schema import Words, schema
from scarfdate.tables.sheet import read_sheet

_HEM, _ROLLED = "hem", "hand-rolled"
_NOT_VALUES = ("decade", "rows", "sellers", "basis", "source", "note")


def disagreement_table(
    compared: Iterable[Row],
    folder: Path | str,
    files: Mapping[str, bytes] | None = None,
    trade: Trade | None = None,
) -> bytes:
    """``museum/disagreements.csv`` from the rows of ``museum/compared.csv``.

    ``folder``: a priors folder with `LIMITS` and `REASONS`; where it has ``trade/<family>.csv`` for
    a family whose compared rows have no trade, those counts are put in. ``files``, by name in the
    folder, go before what lies in it: pass the files just built. ``trade``: the coded descriptions,
    for one row more, which pools hand-rolled hems over the decades for which they are claimed and
    has the bits that they share with decade and grade (`hem_information`); its decade is blank.

    The same input gives the same bytes. Raises PriorsError, with every fault, for a faulty file,
    and OSError where the folder cannot be read.
    """
    place, given = Path(folder), files or {}
    faults: list[FileFault] = []
    limits = _read(LIMITS, place, given, faults)
    reasons = _read(REASONS, place, given, faults)
    if faults:
        raise PriorsError(str(folder), faults)
    rows = _with_trade(compared, place, given)
    table = disagreements(rows, limits, reasons)
    if trade is not None:
        table += _pooled_hems(rows, trade, reasons)
    return csv_bytes([COLUMNS, *([row[column] for column in COLUMNS] for row in table)])


def _pooled_hems(rows: Sequence[Row], trade: Trade, reasons: Sequence[Row]) -> list[dict[str, str]]:
    """One row on hand-rolled hems over all decades for which sellers claim them."""
    stating = [row for row in trade.of(OBJECT) if {"hem", "fibre"} <= set(row.seen)]
    words = {(name, word) for name, of in trade.priors.shares.items() for word in of.values}
    if len(stating) < 2 or not {(_HEM, _ROLLED), ("fibre", "silk")} <= words:
        return []
    bits = hem_information(trade)
    bits = bits[bits["hem"].str.startswith(_ROLLED)].set_index("about")
    if bits.empty:
        return []
    first = int(trade.priors.allowances["hand_rolled_from"])
    own = [
        {key: str(cell) for key, cell in row.items()}
        for row in rows
        if (row["family"], row["value"]) == (_HEM, _ROLLED) and int(str(row["decade"])) >= first
    ]
    own = [row for row in own if row["trade"]]
    number = sum(float(row["trade_number"]) for row in own)
    if not number:
        return []
    # every column is weighed by the rows of the trade, so that all are of the same mix of decades
    cells = {
        column: f"{sum(float(row['trade_number']) * float(row[column]) for row in own) / number:.1f}"
        for column in ("expert", "trade", "shipped")
    }
    cells |= {
        "family": _HEM, "value": _ROLLED, "decade": "", "scarves": "", "scarves_number": "",
        "museum": "", "museum_number": "", "trade_number": f"{number:.1f}",
    }  # fmt: skip
    claimed = [int(row["decade"]) for row in own if float(row["trade"]) > 0]
    last = max(
        (year for place, year in enumerate(claimed) if year == first + place * DECADE),
        default=first,
    )
    by_about = {str(about): numbers for about, numbers in bits.to_dict("index").items()}
    figures = {
        f"{about.replace(' ', '_')}_{column}": f"{numbers[column]:.2f}"
        for about, numbers in by_about.items()
        for column in ("bits", "chance_high")
    }
    figures |= {"from": f"{first}s", "to": f"{last}s"}
    figures |= {column: f"{by_about['decade'][column]:.0f}" for column in ("rows", "sellers")}
    why = reason_for(reasons, _HEM, _ROLLED, "trade", "pooled")
    try:
        why = why.format_map(figures)
    except (KeyError, ValueError) as error:
        known = ", ".join(f"{{{name}}}" for name in figures)
        fault = FileFault(REASONS, None, "why", "no such figure", str(error), f"known are {known}")
        raise PriorsError(REASONS, [fault]) from error
    pooled = disagreement(cells, [], "trade", [])
    source = f"coded trade descriptions; SHA-256 of the file {trade.hash[:16]}"
    return [pooled | {"why": why, "source": source}]


def _with_trade(
    compared: Iterable[Row], place: Path, given: Mapping[str, bytes]
) -> list[dict[str, str]]:
    """The compared rows, with trade counts where they lie in the folder and the rows have none."""
    rows = [{key: str(cell) for key, cell in row.items()} for row in compared]
    known = {row["family"] for row in rows if row["trade"]}
    counts: dict[tuple[str, str], dict[str, float]] = {}
    for family in sorted({row["family"] for row in rows} - known):
        content = _content(f"trade/{family}.csv", place, given)
        for line in csv.DictReader(io.StringIO((content or b"").decode("utf-8"), newline="")):
            counts[family, line["decade"]] = {
                value: float(cell) for value, cell in line.items() if value not in _NOT_VALUES
            }
    for row in rows:
        own = counts.get((row["family"], row["decade"]), {})
        number = math.fsum(own.values())
        if number >= 0.5:  # as in the compared rows: fewer have no share
            row["trade"] = f"{100 * own.get(row['value'], 0.0) / number:.1f}"
            row["trade_number"] = f"{number:.1f}"
    return rows


def _content(name: str, place: Path, given: Mapping[str, bytes]) -> bytes | None:
    if name in given:
        return given[name]
    path = place / name
    return path.read_bytes() if path.is_file() else None


def _read(
    name: str, place: Path, given: Mapping[str, bytes], faults: list[FileFault]
) -> list[Mapping[str, str]]:
    """The rows of one of the two files as they were written, checked by the schema; faults are gathered."""
    content = _content(name, place, given)
    if content is None:
        missing(name, faults)
        return []
    sheet, declared = read_sheet(name, content, faults), schema().of(name)
    assert declared is not None
    check(sheet, declared, Words({}))
    return list(sheet.rows)
