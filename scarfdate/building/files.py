"""The files that `scarfdate.building.build` writes, from what the records were found to say."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.building.clue_tables import ClueTables, Noted
from scarfdate.building.combined import (
    Borrowing,
    by_grade,
    expected,
    knots_of,
    updated,
    updated_sizes,
)
from scarfdate.building.trade import Trade, trade_counts, trade_tables
from scarfdate.building.year import MuseumYears, year_rows
from scarfdate.conventions import FIRST_YEAR, GRADES
from scarfdate.density.statements import KINDS, kinds_of
from scarfdate.knots import Array, interpolate_shares
from scarfdate.model.model import Model
from scarfdate.records.museum import OPEN_END, OPEN_START, Records, compressed
from scarfdate.tables.priors import Priors
from scarfdate.tables.shares import ANY

FROM_MUSEUM = ("fibre", "weave", "print_technique")
FROM_TRADE = ("form", "motif", "palette", "hem")  # what only the trade describes
SIZE, SIZED = "long_side", "form"
WHOLE = (
    "handkerchief",
    "shawl",
    "bandanna",
)  # forms of which museums give the size of whole pieces
_TRADE_GRADES = "auction"  # the channel whose grades trade descriptions are likest to
_DECADE = 10
_PROVENANCE = ("basis", "source", "note")
Row = Mapping[str, object]
Years = NDArray[np.int64]


@dataclass(frozen=True)
class Made:
    """Everything the tables are made of.

    ``everything``: clue tables from all records; ``scarves`` from scarf-like ones alone; ``like``
    (n,): 1.0 for those.
    """

    records: Records
    years: MuseumYears
    model: Model
    expert: Priors
    noted: Noted
    like: Array
    everything: ClueTables
    scarves: ClueTables
    borrowed: Mapping[str, Borrowing]
    trade: Trade | None
    source: str


def built_files(made: Made) -> dict[str, bytes]:
    """Every file by its name in the priors folder."""
    files = {
        "year_museum.csv": _csv(_with(year_rows(made.years), "museum", made.source, _YEAR_NOTE)),
        "museum/intervals.csv": _csv(_with(_intervals(made), "museum", made.source)),
        "museum/statements.csv": _csv(_with(_statements(made), "museum", made.source)),
    }
    if made.borrowed:
        files["museum/borrowed.csv"] = _csv(_with(_borrowed(made), "museum", made.source))
    for family in made.noted.said:
        files[f"museum/shares/{family}.csv"] = _csv(_museum_shares(made, family))
    files[f"museum/measured/{SIZE}.csv"] = _csv(_museum_sizes(made))
    if made.trade is not None:
        files |= {f"trade/{name}": content for name, content in trade_tables(made.trade).items()}
    compared: list[Row] = []
    for family in (*FROM_MUSEUM, *FROM_TRADE):
        if family not in made.expert.shares:
            continue
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
    frame = compressed(
        made.records,
        lambda first, last, approximate: [
            KINDS[kind] for kind in kinds_of(_bounded(first), _bounded(last), approximate)
        ],
        as_stated=True,
    )
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
    for kind, fitted in made.years.fits.items():
        for year in range(FIRST_YEAR, int(made.years.years[-1]) + 1, 2 * _DECADE):
            shares = 100 * fitted.statements.q[:, year - FIRST_YEAR]
            named = {name: f"{share:.1f}" for name, share in zip(KINDS, shares, strict=True)}
            rows.append({"kind": kind, "year": year, **named})
    return rows


def _borrowed(made: Made) -> list[Row]:
    return [
        {
            "family": family,
            "weight": weight,
            "gain": f"{gain:.5f}",
            "error": f"{error:.5f}",
            "taken": "yes" if weight == found.weight else "",
            "records": f"{found.records:.1f}",
        }
        for family, found in made.borrowed.items()
        for weight, gain, error in found.scores
    ]


def _museum_shares(made: Made, family: str) -> list[Row]:
    values = made.model.priors.vocabulary.values[family]
    shares, counts = made.everything.shares[family], made.everything.counts[family]
    rows: list[Row] = []
    for knot, near in _near(made):
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
        for knot, near in _near(made, 2 * _DECADE):
            at = knot - FIRST_YEAR
            rows.append(
                {"year": knot, "grade": ANY, "given": value,
                 "median": f"{np.exp(centre[place, at]):.4g}",
                 "spread": f"{max(np.exp(spread[place, at]), 1.002):.4g}",
                 "records": f"{records[place, near].sum():.1f}", "basis": "museum",
                 "source": made.source, "note": "fragments and samples are among the textiles"}
            )  # fmt: skip
    return rows


def _near(made: Made, step: int = 5) -> Iterable[tuple[int, slice]]:
    """Each knot and the years that lie nearest to it."""
    knots = knots_of(int(made.years.years[-1]), step).astype(int)
    edges = [FIRST_YEAR, FIRST_YEAR + 1, *((knots[1:-1] + knots[2:] + 1) // 2).tolist()]
    for knot, begin, end in zip(
        knots.tolist(), edges, [*edges[1:], int(made.years.years[-1]) + 1], strict=True
    ):
        yield knot, slice(begin - FIRST_YEAR, end - FIRST_YEAR)


def _combined(made: Made, family: str) -> tuple[list[Row], list[Row]]:
    """The shipped rows of a family, and a comparison by decade of what they are made of."""
    table = made.expert.shares[family]
    years = made.years.years
    every = table.every_year(years)[:, 0]  # (values, grades, years)
    about = made.expert.families[family]
    weights = made.expert.allowances
    museum = np.zeros((len(GRADES), len(table.values), len(years)))
    if family in FROM_MUSEUM:
        grades = _grades(made, "museum")
        for part, weight in (
            (made.like, weights["museum_record"]),
            (1 - made.like, made.borrowed[family].weight if family in made.borrowed else 0.0),
        ):
            museum += weight * expected(
                made.noted.weighted(part), made.everything, family, every, grades
            )
    told = np.zeros_like(museum)
    if made.trade is not None and family in FROM_TRADE:
        told = weights["trade_row"] * by_grade(
            _trade_years(made, family), every, _grades(made, _TRADE_GRADES)
        )
    keys = [(grade, int(k)) for (grade, _), (knots, _) in table.series.items() for k in knots]
    bases = dict(zip(keys, table.bases, strict=True))
    rows: list[Row] = []
    for grade, name in enumerate(GRADES):
        shares, added = updated(
            table, name, about.worth, [museum[grade], told[grade]], years, about.unstated
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
    centre, spread, records = made.scarves.sizes[SIZED]
    every = made.expert.shares[SIZED].every_year(made.years.years)[:, 0]
    grades = _grades(made, "museum")
    split = by_grade(records, every, grades)
    rows: list[Row] = []
    bases = iter(table.bases)
    for (grade, given), (knots, numbers) in table.series.items():
        own, added = numbers, np.zeros(len(knots))
        if given in WHOLE:
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


def _trade_years(made: Made, family: str) -> Array:
    """Trade counts spread evenly over the years of each decade, (values, years)."""
    assert made.trade is not None
    frame = trade_counts(made.trade, family)
    years = made.years.years
    found = np.zeros((len(made.expert.shares[family].values), len(years)))
    for row in frame.to_dict("records"):
        inside = (years >= row["decade"]) & (years < row["decade"] + _DECADE)
        for place, value in enumerate(made.expert.shares[family].values):
            found[place, inside] += float(row[value]) / max(int(inside.sum()), 1)
    return found


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
    grades = _grades(made, "thrift")
    expert = np.einsum("vgy,gy->vy", every, grades)
    shipped = _interpolated(rows, table.values, years, grades)
    noted = made.scarves.counts.get(family)
    # every textile by the length is no scarf of any form: nothing to compare
    everything = noted if family == SIZED else made.everything.counts.get(family)
    trade = None if made.trade is None or family not in FROM_TRADE else _trade_years(made, family)
    out: list[Row] = []
    for start in range(0, len(years), _DECADE):
        here = slice(start, start + _DECADE)
        for place, value in enumerate(table.values):
            row: dict[str, object] = {
                "family": family, "decade": int(years[start]), "value": value,
                "expert": f"{100 * expert[place, here].mean():.1f}",
            }  # fmt: skip
            for name, counts in (("scarves", noted), ("museum", everything), ("trade", trade)):
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
    found = np.zeros((len(values), len(years)))
    for place, grade in enumerate(GRADES):
        own = [row for row in rows if row["grade"] == grade]
        knots = np.array([float(str(row["year"])) for row in own])
        shares = np.array([[float(str(row[value])) for value in values] for row in own])
        found += interpolate_shares(knots, shares, years.astype(float)) * grades[place]
    return found


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
    found = list(rows)
    # a reader of the folder needs the words once, not thirty times
    return [
        {**row, "basis": basis, "source": source, "note": note if place == 0 else ""}
        for place, row in enumerate(found)
    ]


def _csv(rows: Sequence[Row]) -> bytes:
    text = io.StringIO()
    writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode("utf-8")
