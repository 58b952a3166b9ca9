"""Where museum, trade and law disagree with the shipped rows: by how much, and which was followed.

Law is meant broadly: a statute, a standard, or the year something was first made or first sold
(``law_limits.csv``). Reasons are sentences that a person wrote (``disagreement_reasons.csv``).
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from scarfdate.building.trade import OBJECT, Trade
from scarfdate.building.trade_tables import hem_information
from scarfdate.errors import Fault, PriorsError
from scarfdate.files import csv_bytes
from scarfdate.tables.lists import LIMITS
from scarfdate.tables.schema import Words, check, schema
from scarfdate.tables.sheet import read_sheet

REASONS = "disagreement_reasons.csv"
COLUMNS = (
    "family", "decade", "value", "expert", "scarves", "scarves_number", "museum", "museum_number",
    "trade", "trade_number", "law", "shipped", "difference", "against", "follows", "why", "basis",
    "source",
)  # fmt: skip
LARGE = 2.0  # standardised difference from which a row is kept
NUMBER = 5.0  # records below which a share is not compared
_DECADE = 10
_ANY = "any"
_HEM, _ROLLED = "hem", "hand-rolled"
_KINDS = ("museum", "trade")  # what is held against the shipped rows
_BASIS = {"museum": "museum", "trade": "common practice"}
_NOT_VALUES = ("decade", "rows", "sellers", "basis", "source", "note")
Row = Mapping[str, object]


def disagreements(
    compared: Iterable[Row], limits: Sequence[Row], reasons: Sequence[Row]
) -> list[dict[str, str]]:
    """Rows (`COLUMNS`) of those decades and values where a source differs from what is shipped.

    ``compared``: rows of ``museum/compared.csv``, shares in per cent with the expected numbers
    behind them. ``limits`` and ``reasons``: rows of `LIMITS` and of `REASONS`. A row is kept
    where

    - museum or trade stands `LARGE` or more standard deviations from the shipped share, with at
      least `NUMBER` records of the decade (`standardised`), or
    - museum or trade has any share of a value in a decade that lies wholly before the law's
      ``not_before``. Those are misdated records, loose words, or dates so wide that they reach back;
      ``against`` is then "law", and ``law`` has their number.

    ``difference`` is the largest of both in size, positive where the records say more than is
    shipped, blank where neither has `NUMBER` records. ``follows``: which the shipped share is
    nearest to, on the scale of the difference: "law" (nothing, before ``not_before``), "expert",
    "scarves" (scarf-like records), "museum" (all records) or "trade"; the first of them in a tie. It
    is worked out from the numbers, not stated by whoever wrote the rows. ``why`` has a sentence for
    ``against``, and one for the other of museum and trade where it stands as far off; it is blank
    where no reason is given. Order as in ``compared``.

    The differences measure distance and test nothing: records of one gift, or rows of one seller,
    are alike, records reach over several decades, and shipped rows may hold the same records.
    """
    out = []
    for row in compared:
        cells = {key: str(cell) for key, cell in row.items()}
        bounds = _bounds(limits, cells["family"], cells["value"])
        differences = _differences(cells)
        largest = max(differences, key=lambda kind: abs(differences[kind]), default="")
        early = _before(cells, bounds)
        if early:
            against = "law"
        elif largest and abs(differences[largest]) >= LARGE:
            against = largest
        else:
            continue
        out.append(_row(cells, bounds, early, differences, largest, against, reasons))
    return out


def standardised(share: float, shipped: float, number: float) -> float:
    """How far ``share`` of ``number`` records lies from ``shipped``, in standard deviations.

    Shares in [0, 1], number > 0. Both are put on the double arcsine scale of Freeman and Tukey
    (1950, "Transformations related to the angular and the square root", Annals of Mathematical
    Statistics 21, 607-611; cited from memory), on which a share of n records has a standard deviation
    near 1 / sqrt(n + 1/2) even where it is close to nothing:

        z = sqrt(n + 1/2) (g(share) - g(shipped))
        g(p) = arcsin sqrt(n p / (n + 1)) + arcsin sqrt((n p + 1) / (n + 1))
    """
    return math.sqrt(number + 0.5) * (_angle(share, number) - _angle(shipped, number))


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
    faults: list[Fault] = []
    limits = _read(LIMITS, place, given, faults)
    reasons = _read(REASONS, place, given, faults)
    if faults:
        raise PriorsError(str(folder), faults)
    rows = _with_trade(compared, place, given)
    table = disagreements(rows, limits, reasons)
    if trade is not None:
        table += _pooled_hems(rows, trade, reasons)
    return csv_bytes([COLUMNS, *([row[column] for column in COLUMNS] for row in table)])


def _angle(share: float, number: float) -> float:
    least = number * share / (number + 1)
    return math.asin(math.sqrt(least)) + math.asin(math.sqrt(min(least + 1 / (number + 1), 1.0)))


def _differences(cells: Mapping[str, str]) -> dict[str, float]:
    """Standardised differences of museum and trade, where there are records enough."""
    shipped = _share(cells, "shipped")
    return {
        kind: standardised(_share(cells, kind), shipped, float(cells[f"{kind}_number"]))
        for kind in _KINDS
        if _enough(cells, kind)
    }


def _share(cells: Mapping[str, str], column: str) -> float:
    return float(cells[column]) / 100


def _enough(cells: Mapping[str, str], kind: str) -> bool:
    return cells.get(kind, "") != "" and float(cells[f"{kind}_number"]) >= NUMBER


def _bounds(limits: Sequence[Row], family: str, value: str) -> list[Row]:
    return [row for row in limits if (row["family"], row["value"]) == (family, value)]


def _not_before(bounds: Sequence[Row]) -> int | None:
    """The latest of the years before which there is none: each of them holds."""
    return max((int(str(row["not_before"])) for row in bounds if row["not_before"]), default=None)


def _ruled_out(cells: Mapping[str, str], bounds: Sequence[Row]) -> bool:
    """Does the whole decade lie before the law's first year? Half a decade cannot be told apart."""
    first = _not_before(bounds)
    return first is not None and int(cells["decade"]) + _DECADE <= first


def _before(cells: Mapping[str, str], bounds: Sequence[Row]) -> dict[str, float]:
    """Numbers of museum records and trade rows that the law rules out."""
    if not _ruled_out(cells, bounds):
        return {}
    shares = {kind: _share(cells, kind) for kind in _KINDS if cells.get(kind, "") != ""}
    return {
        kind: share * float(cells[f"{kind}_number"]) for kind, share in shares.items() if share > 0
    }


def _row(
    cells: Mapping[str, str],
    bounds: Sequence[Row],
    early: Mapping[str, float],
    differences: Mapping[str, float],
    largest: str,
    against: str,
    reasons: Sequence[Row],
) -> dict[str, str]:
    # rounded in two steps, so that the last bit of a sum decides nothing
    difference = f"{round(differences[largest], 9):.1f}" if largest else ""
    # what the law rules out has one reason: not another for the records that state it
    others = [
        kind for kind in _KINDS if kind not in early and abs(differences.get(kind, 0.0)) >= LARGE
    ]
    whys = []
    for kind in dict.fromkeys([against, *others]):
        side = "less" if differences.get(kind, 0.0) < 0 else "more"
        whys.append(_why(reasons, cells["family"], cells["value"], kind, side))
    sources = [cells.get("source", ""), *(f"fact {row['fact']}" for row in bounds)]
    return {
        **{column: cells.get(column, "") for column in COLUMNS},
        "law": _law(bounds, early),
        "difference": difference,
        "against": against,
        "follows": _follows(cells, bounds),
        "why": " ".join(why for why in whys if why),
        "basis": _BASIS.get(against) or next(str(b["basis"]) for b in bounds if b["not_before"]),
        "source": "; ".join(source for source in sources if source),
    }


def _law(bounds: Sequence[Row], early: Mapping[str, float]) -> str:
    parts = []
    for row in bounds:
        years = [
            f"{words} {row[column]}"
            for column, words in (
                ("not_before", "not before"),
                ("usual_from", "usual from"),
                ("until", "until"),
            )
            if row[column]
        ]
        parts.append(f"{', '.join(years)} (fact {row['fact']})")
    names = {"museum": "museum records", "trade": "trade rows"}
    parts += [f"{number:.1f} {names[kind]} before it" for kind, number in early.items()]
    return "; ".join(parts)


def _follows(cells: Mapping[str, str], bounds: Sequence[Row]) -> str:
    """What the shipped share is nearest to; the first in a tie."""
    shares = {"law": 0.0} if _ruled_out(cells, bounds) else {}
    shares["expert"] = _share(cells, "expert")
    for kind in ("scarves", *_KINDS):
        if _enough(cells, kind):
            shares[kind] = _share(cells, kind)
    angle = math.asin(math.sqrt(_share(cells, "shipped")))
    # min keeps the first of equals
    return min(shares, key=lambda kind: abs(math.asin(math.sqrt(shares[kind])) - angle))


def _why(reasons: Sequence[Row], family: str, value: str, against: str, side: str) -> str:
    """The reason that fits best: its value before any, its side before any."""
    for wanted in ((value, side), (value, _ANY), (_ANY, side), (_ANY, _ANY)):
        for row in reasons:
            if (row["family"], row["against"]) == (family, against) and (
                row["value"],
                row["side"],
            ) == wanted:
                return str(row["why"])
    return ""


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
        (year for place, year in enumerate(claimed) if year == first + place * _DECADE),
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
    why = _why(reasons, _HEM, _ROLLED, "trade", "pooled")
    try:
        why = why.format_map(figures)
    except (KeyError, ValueError) as error:
        known = ", ".join(f"{{{name}}}" for name in figures)
        fault = Fault(REASONS, None, "why", "no such figure", str(error), f"known are {known}")
        raise PriorsError(REASONS, [fault]) from error
    differences = _differences(cells)
    pooled = _row(cells, [], {}, differences, "trade" if differences else "", "trade", [])
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
    name: str, place: Path, given: Mapping[str, bytes], faults: list[Fault]
) -> list[Mapping[str, str]]:
    """The rows of one of the two files as they were written, checked by the schema; faults are gathered."""
    content = _content(name, place, given)
    if content is None:
        faults.append(Fault(name, None, None, "the file is missing", "", "put the file back"))
        return []
    sheet, declared = read_sheet(name, content, faults), schema().of(name)
    assert declared is not None
    check(sheet, declared, Words({}))
    return list(sheet.rows)
