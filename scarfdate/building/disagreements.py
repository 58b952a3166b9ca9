"""Where museum, trade and law disagree with the shipped rows: by how much, and which was followed.

Law is meant broadly: a statute, a standard, or the year something was first made or first sold
(``law_limits.csv``). Reasons are sentences that a person wrote (``disagreement_reasons.csv``).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

from scarfdate.building.trade import DECADE
from scarfdate.building.trade_tables import digits
from scarfdate.tables.knots import ANY

REASONS = "disagreement_reasons.csv"
COLUMNS = (
    "family", "decade", "value", "expert", "scarves", "scarves_number", "museum", "museum_number",
    "trade", "trade_number", "law", "shipped", "difference", "against", "follows", "why", "basis",
    "source",
)  # fmt: skip
LARGE = 2.0  # standardised difference from which a row is kept
NUMBER = 5.0  # records below which a share is not compared
_KINDS = ("museum", "trade")  # what is held against the shipped rows
_BASIS = {"museum": "museum", "trade": "common practice"}
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
        differences = differences_of(cells)
        largest = _largest(differences)
        if _before(cells, bounds):
            against = "law"
        elif largest and abs(differences[largest]) >= LARGE:
            against = largest
        else:
            continue
        out.append(disagreement(cells, bounds, against, reasons))
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


def _angle(share: float, number: float) -> float:
    least = number * share / (number + 1)
    return math.asin(math.sqrt(least)) + math.asin(math.sqrt(min(least + 1 / (number + 1), 1.0)))


def differences_of(cells: Mapping[str, str]) -> dict[str, float]:
    """Standardised differences of museum and trade, where there are records enough."""
    shipped = _share(cells, "shipped")
    return {
        kind: standardised(_share(cells, kind), shipped, float(cells[f"{kind}_number"]))
        for kind in _KINDS
        if _enough(cells, kind)
    }


def _largest(differences: Mapping[str, float]) -> str:
    """The kind with the largest difference in size; "" where there is none."""
    return max(differences, key=lambda kind: abs(differences[kind]), default="")


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
    return first is not None and int(cells["decade"]) + DECADE <= first


def _before(cells: Mapping[str, str], bounds: Sequence[Row]) -> dict[str, float]:
    """Numbers of museum records and trade rows that the law rules out."""
    if not _ruled_out(cells, bounds):
        return {}
    shares = {kind: _share(cells, kind) for kind in _KINDS if cells.get(kind, "") != ""}
    return {
        kind: share * float(cells[f"{kind}_number"]) for kind, share in shares.items() if share > 0
    }


def disagreement(
    cells: Mapping[str, str], bounds: Sequence[Row], against: str, reasons: Sequence[Row]
) -> dict[str, str]:
    """One row (`COLUMNS`) of a decade and value: ``against`` what the shipped share stands."""
    early, differences = _before(cells, bounds), differences_of(cells)
    largest = _largest(differences)
    difference = digits(differences[largest], 1) if largest else ""
    # what the law rules out has one reason: not another for the records that state it
    others = [
        kind for kind in _KINDS if kind not in early and abs(differences.get(kind, 0.0)) >= LARGE
    ]
    whys = []
    for kind in dict.fromkeys([against, *others]):
        side = "less" if differences.get(kind, 0.0) < 0 else "more"
        whys.append(reason_for(reasons, cells["family"], cells["value"], kind, side))
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


def reason_for(reasons: Sequence[Row], family: str, value: str, against: str, side: str) -> str:
    """The reason that fits best: its value before any, its side before any."""
    for wanted in ((value, side), (value, ANY), (ANY, side), (ANY, ANY)):
        for row in reasons:
            if (row["family"], row["against"]) == (family, against) and (
                row["value"],
                row["side"],
            ) == wanted:
                return str(row["why"])
    return ""
