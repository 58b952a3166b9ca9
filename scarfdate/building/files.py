"""The files that `scarfdate.building.build` writes, from what was estimated from the records."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.building.clue_tables import ClueTables, RecordLikelihoods
from scarfdate.building.combined import (
    Borrowing,
    by_grade,
    expected,
    near_knots,
    updated,
    updated_sizes,
)
from scarfdate.building.record_clues import RecordClues
from scarfdate.building.sources import MUSEUM, TRADE, Sources
from scarfdate.building.trade import Trade, trade_counts
from scarfdate.building.trade_tables import trade_tables
from scarfdate.building.year import MuseumYears, date_widths, year_rows
from scarfdate.conventions import FIRST_YEAR, GRADES, Array
from scarfdate.density.statements import kinds_of
from scarfdate.files import csv_bytes
from scarfdate.model.model import Model
from scarfdate.records.arrays import OPEN_END, OPEN_START, Records
from scarfdate.records.museum import compressed
from scarfdate.tables.knots import ANY, interpolate_shares
from scarfdate.tables.priors import Priors

SIZE, SIZED = "long_side", "form"
_SHOP = "thrift"  # the channel whose grades the sources are compared in
_DECADE = 10
Row = Mapping[str, object]
Years = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class Made:
    """Everything the tables are made of.

    ``everything``: clue tables from all records; ``scarves`` from scarf-like ones alone; ``like``
    (n,): 1.0 for those, 0.0 for the others. ``source`` stands in every row from museums.
    """

    records: Records
    years: MuseumYears
    model: Model
    expert: Priors
    record_clues: RecordClues
    likelihoods: RecordLikelihoods
    like: Array
    everything: ClueTables
    scarves: ClueTables
    borrowed: Mapping[str, Borrowing]
    sources: Sources
    trade: Trade | None
    source: str


def built_files(made: Made) -> dict[str, bytes]:
    """Every file by its name in the priors folder."""
    files = {
        "year_museum.csv": _csv(_with(year_rows(made.years), "museum", made.source, _YEAR_NOTE)),
        "museum/intervals.csv": _csv(_with(_intervals(made), "museum", made.source)),
        "museum/statements.csv": _csv(_with(_statements(made), "museum", made.source)),
    }
    if any(chosen.scores for chosen in made.borrowed.values()):
        files["museum/borrowed.csv"] = _csv(_with(_borrowed(made), "museum", made.source))
    for family in made.likelihoods.families:
        files[f"museum/shares/{family}.csv"] = _csv(_museum_shares(made, family))
    if SIZED in made.everything.sizes:
        files[f"museum/measured/{SIZE}.csv"] = _csv(_museum_sizes(made))
    if made.trade is not None:
        files |= {f"trade/{name}": content for name, content in trade_tables(made.trade).items()}
    compared: list[Row] = []
    for family in made.sources.families:
        if family not in made.expert.shares:
            continue  # a measured one: see below
        rows, side_by_side = _combined(made, family)
        files[f"shares/{family}.csv"] = _csv(rows)
        compared += side_by_side
    files[f"measured/{SIZE}.csv"] = _csv(_combined_sizes(made))
    files["museum/compared.csv"] = _csv(_with(compared, "museum", made.source))
    return files


_YEAR_NOTE = (
    "clumps count once; almost no mass-market square after 1950 is in these records; what museums "
    "acquired late is missing after 1990; undated records are not a random part"
)


def _intervals(made: Made) -> list[Row]:
    widths = date_widths(made.expert)

    def kinds(first: Array, last: Array, approximate: NDArray[np.bool_]) -> list[str]:
        of = kinds_of(_bounded(first), _bounded(last), widths, approximate)
        return [widths.kinds[kind] for kind in of]

    frame = compressed(made.records, kinds, as_stated=True)
    frame["effective"] = [f"{number:.3f}" for number in frame["effective"]]
    return [
        {str(k): ("" if _blank(v) else v) for k, v in row.items()}
        for row in frame.to_dict("records")
    ]


def _blank(value: object) -> bool:
    return value is None or (isinstance(value, float) and np.isnan(value)) or str(value) == "<NA>"


def _bounded(year: NDArray[Any]) -> Array:
    """Years with open ends as NaN."""
    return np.where((year == OPEN_START) | (year == OPEN_END), np.nan, year.astype(float))


def _statements(made: Made) -> list[Row]:
    rows: list[Row] = []
    names = date_widths(made.expert).kinds
    for kind, fitted in made.years.fits.items():
        for year in range(FIRST_YEAR, int(made.years.years[-1]) + 1, 2 * _DECADE):
            shares = 100 * fitted.statements.q[:, year - FIRST_YEAR]
            named = {name: f"{share:.1f}" for name, share in zip(names, shares, strict=True)}
            rows.append({"kind": kind, "year": year, **named})
    return rows


def _borrowed(made: Made) -> list[Row]:
    return [
        {
            "family": family,
            "weight": weight,
            "gain": f"{gain:.5f}",
            "error": f"{error:.5f}",
            "taken": "yes" if weight == chosen.weight else "",
            "records": f"{chosen.records:.1f}",
        }
        for family, chosen in made.borrowed.items()
        for weight, gain, error in chosen.scores
    ]


def _museum_shares(made: Made, family: str) -> list[Row]:
    values = made.model.priors.vocabulary.values[family]
    shares, counts = made.everything.shares[family], made.everything.counts[family]
    rows: list[Row] = []
    for knot, near in near_knots(int(made.years.years[-1])):
        share = _percent(shares[:, knot - FIRST_YEAR])
        rows.append(
            {"year": knot, "grade": ANY, **dict(zip(values, share, strict=True)),
             "records": f"{counts[:, near].sum():.1f}", "basis": "museum",
             "source": made.source, "note": "all kinds of object; what a record does not state is left out"}
        )  # fmt: skip
    return rows


def _museum_sizes(made: Made) -> list[Row]:
    centre, spread, records = made.everything.sizes[SIZED]
    rows: list[Row] = []
    for place, value in enumerate(made.model.priors.vocabulary.values[SIZED]):
        for knot, near in near_knots(int(made.years.years[-1]), 2 * _DECADE):
            at = knot - FIRST_YEAR
            rows.append(
                {"year": knot, "grade": ANY, "given": value,
                 "median": f"{np.exp(centre[place, at]):.4g}",
                 "spread": f"{max(np.exp(spread[place, at]), 1.002):.4g}",
                 "records": f"{records[place, near].sum():.1f}", "basis": "museum",
                 "source": made.source, "note": "fragments and samples are among the textiles"}
            )  # fmt: skip
    return rows


def _combined(made: Made, family: str) -> tuple[list[Row], list[Row]]:
    """The shipped rows of a family, and a comparison by decade of what they are made of."""
    table = made.expert.shares[family]
    years = made.years.years
    every = table.every_year(years)[:, 0]  # (values, grades, years)
    about = made.expert.families[family]
    weights = made.expert.allowances
    museum = np.zeros((len(GRADES), len(table.values), len(years)))
    of_museum, of_trade = (made.sources.of(kind, family) for kind in (MUSEUM, TRADE))
    if of_museum is not None:
        grades = _grades(made, of_museum.channel)
        for part, weight in (
            (made.like, weights["museum_record"]),
            (1 - made.like, made.borrowed[family].weight if family in made.borrowed else 0.0),
        ):
            museum += weight * expected(
                made.likelihoods.weighted(part), made.everything, family, every, grades
            )
    trade = np.zeros_like(museum)
    if made.trade is not None and of_trade is not None:
        trade = weights["trade_row"] * by_grade(
            _trade_years(made.trade, family, years), every, _grades(made, of_trade.channel)
        )
    keys = [(grade, int(k)) for (grade, _), (knots, _) in table.series.items() for k in knots]
    bases = dict(zip(keys, table.bases, strict=True))
    rows: list[Row] = []
    for grade, name in enumerate(GRADES):
        shares, added = updated(
            table, name, about.worth, [museum[grade], trade[grade]], years, about.unstated
        )
        knots = table.series[(name, ANY)][0]
        for place, knot in enumerate(knots.astype(int).tolist()):
            basis = bases[name, knot]
            rows.append(
                {"year": knot, "grade": name,
                 **dict(zip(table.values, _percent(shares[place]), strict=True)),
                 "basis": basis.basis,
                 "source": _joined(basis.source, added[0, place], added[1, place], made),
                 "note": basis.note}
            )  # fmt: skip
    return rows, _compared(made, family, every, rows)


def _joined(source: str, museum: float, trade: float, made: Made) -> str:
    parts = [source] if source else []
    if museum >= 0.05:
        parts.append(f"{museum:.1f} museum records ({made.records.hash[:8]})")
    if trade >= 0.05 and made.trade is not None:
        parts.append(f"{trade:.1f} trade rows ({made.trade.hash[:8]})")
    return "; ".join(parts)


def _combined_sizes(made: Made) -> list[Row]:
    table = made.expert.measured[SIZE]
    worth = made.expert.families[SIZE].worth
    values = made.expert.vocabulary.values[SIZED]
    nothing = np.zeros((len(values), len(made.years.years)))
    centre, spread, records = made.scarves.sizes.get(SIZED, (nothing, nothing, nothing))
    every = made.expert.shares[SIZED].every_year(made.years.years)[:, 0]
    of_museum = made.sources.of(MUSEUM, SIZE)
    channel = MUSEUM if of_museum is None else of_museum.channel
    split = by_grade(records, every, _grades(made, channel))
    whole = made.sources.values(MUSEUM, SIZE)
    rows: list[Row] = []
    bases = iter(table.bases)
    for (grade, given), (knots, numbers) in table.series.items():
        own, added = numbers, np.zeros(len(knots))
        if given in whole:
            place = values.index(given)
            number = (
                split[:, place].sum(axis=0) if grade == ANY else split[GRADES.index(grade), place]
            )
            own, added = updated_sizes(
                table, (grade, given), worth, (centre[place], spread[place], number),
                made.years.years,
            )  # fmt: skip
        for knot, (median, factor), more in zip(knots, own, added, strict=True):
            basis = next(bases)
            rows.append(
                {"year": int(knot), "grade": grade, "given": given, "median": f"{median:.4g}",
                 "spread": f"{factor:.4g}", "basis": basis.basis,
                 "source": _joined(basis.source, float(more), 0.0, made), "note": basis.note}
            )  # fmt: skip
    return rows


def _trade_years(trade: Trade, family: str, years: Years) -> Array:
    """Trade counts spread evenly over the years of each decade, (values, years)."""
    frame = trade_counts(trade, family)
    counts = frame[list(trade.priors.shares[family].values)].to_numpy()  # (decades, values)
    inside = (frame["decade"].to_numpy()[:, None] == years // _DECADE * _DECADE).astype(float)
    return np.asarray(counts.T @ (inside / np.maximum(inside.sum(axis=1, keepdims=True), 1)))


def _grades(made: Made, channel: str) -> Array:
    century = made.expert.century
    return century.grades.shares_of(century.channel(channel).grades, made.years.years)


def _compared(made: Made, family: str, every: Array, rows: Sequence[Row]) -> list[Row]:
    """By decade and value: what expert, museum and trade say, and what is shipped; in per cent.

    Grades as in a thrift shop. ``records`` and ``rows``: expected numbers, unweighted, behind the
    museum's and the trade's shares of the decade.
    """
    table = made.expert.shares[family]
    years = made.years.years
    grades = _grades(made, _SHOP)
    expert = np.einsum("vgy,gy->vy", every, grades)
    shipped = _interpolated(rows, table.values, years, grades)
    scarves = made.scarves.counts.get(family)
    # cloth by the length has no form: nothing to compare
    everything = scarves if family == SIZED else made.everything.counts.get(family)
    trade = None
    if made.trade is not None and made.sources.of(TRADE, family) is not None:
        trade = _trade_years(made.trade, family, years)
    out: list[Row] = []
    for start in range(0, len(years), _DECADE):
        here = slice(start, start + _DECADE)
        for place, value in enumerate(table.values):
            row: dict[str, object] = {
                "family": family, "decade": int(years[start]), "value": value,
                "expert": f"{100 * expert[place, here].mean():.1f}",
            }  # fmt: skip
            for name, counts in (("scarves", scarves), ("museum", everything), ("trade", trade)):
                number = 0.0 if counts is None else float(counts[:, here].sum())
                share = counts[place, here].sum() / number if counts is not None and number else 0
                row[name] = f"{100 * share:.1f}" if number >= 0.5 else ""
                row[f"{name}_number"] = f"{number:.1f}"
            row["shipped"] = f"{100 * shipped[place, here].mean():.1f}"
            out.append(row)
    return out


def _interpolated(
    rows: Sequence[Row], values: Sequence[str], years: NDArray[np.int64], grades: Array
) -> Array:
    shipped = np.zeros((len(values), len(years)))
    for place, grade in enumerate(GRADES):
        own = [row for row in rows if row["grade"] == grade]
        knots = np.array([float(str(row["year"])) for row in own])
        shares = np.array([[float(str(row[value])) for value in values] for row in own])
        shipped += interpolate_shares(knots, shares, years.astype(float)) * grades[place]
    return shipped


def _percent(shares: Array) -> list[str]:
    """Shares in per cent to four figures; the largest takes up what rounding left."""
    texts = [f"{100 * share:.4g}" if share > 0 else "0" for share in shares]
    rounded = np.array([float(text) for text in texts])
    largest = int(rounded.argmax())
    texts[largest] = f"{rounded[largest] + 100 - rounded.sum():.4f}".rstrip("0").rstrip(".")
    return [_plain(text) for text in texts]


def _plain(text: str) -> str:
    """A number without an exponent: people edit these files."""
    return f"{float(text):.10f}".rstrip("0").rstrip(".") if "e" in text else text


def _with(rows: Iterable[Row], basis: str, source: str, note: str = "") -> list[Row]:
    # a reader of the folder needs the words once, not thirty times
    return [
        {**row, "basis": basis, "source": source, "note": note if place == 0 else ""}
        for place, row in enumerate(rows)
    ]


def _csv(rows: Sequence[Row]) -> bytes:
    return csv_bytes([list(rows[0]), *(list(row.values()) for row in rows)])
