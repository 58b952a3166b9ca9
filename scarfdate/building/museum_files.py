"""The files of the folder ``museum``: what records alone say, before they are weighed with anything else."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.building.combined import near_knots
from scarfdate.building.made import SIZE, SIZED, Made, Row, museum_csv, percent, rows_csv
from scarfdate.building.trade import DECADE
from scarfdate.building.year import date_widths, year_rows
from scarfdate.conventions import FIRST_YEAR, Array
from scarfdate.density.kinds import kinds_of
from scarfdate.records.arrays import OPEN_END, OPEN_START
from scarfdate.records.museum import compressed
from scarfdate.tables.knots import ANY

_FEWEST = 1e-9  # records, so that none is no division by nothing
_YEAR_NOTE = (
    "clumps count once; of the last decades only what museums acquired early is there; undated "
    "records are not a random part"
)


def museum_files(made: Made) -> dict[str, bytes]:
    """Each of them by its name in the priors folder, with ``year_museum.csv``."""
    files = {
        "year_museum.csv": museum_csv(made, year_rows(made.years), _YEAR_NOTE),
        "museum/intervals.csv": museum_csv(made, _intervals(made)),
        "museum/statements.csv": museum_csv(made, _statements(made)),
    }
    if any(chosen.scores for chosen in made.borrowed.values()):
        files["museum/borrowed.csv"] = museum_csv(made, _borrowed(made))
    for family in made.likelihoods.families:
        rows = _forms(made) if family == SIZED else _shares(made, family)
        files[f"museum/shares/{family}.csv"] = rows_csv(rows)
    if SIZED in made.everything.sizes:
        files[f"museum/measured/{SIZE}.csv"] = rows_csv(_sizes(made))
    return files


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
        for year in range(FIRST_YEAR, int(made.years.years[-1]) + 1, 2 * DECADE):
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


def _shares(made: Made, family: str) -> list[Row]:
    values = made.model.priors.vocabulary.values[family]
    shares, counts = made.everything.shares[family], made.everything.counts[family]
    pull = made.expert.allowances["museum_pull"]
    overall = counts[:, 1:].sum(axis=1) / max(float(counts[:, 1:].sum()), _FEWEST)
    rows: list[Row] = []
    for knot, near in near_knots(int(made.years.years[-1])):
        number, own = counts[:, near].sum(), shares[:, knot - FIRST_YEAR]
        if knot > FIRST_YEAR and overall.sum() > 0:
            own = (number * own + pull * overall) / (number + pull)
        share = percent(own / own.sum())
        rows.append(
            {"year": knot, "grade": ANY, **dict(zip(values, share, strict=True)),
             "records": f"{counts[:, near].sum():.1f}", "basis": "museum",
             "source": made.source, "note": "all kinds of object; what a record does not state is left out"}
        )  # fmt: skip
    return rows


def _forms(made: Made) -> list[Row]:
    """One row for all years: the kind of object is a condition of the channel, never evidence of a year."""
    values = made.model.priors.vocabulary.values[SIZED]
    counts = made.everything.counts[SIZED].sum(axis=1)
    share = percent((counts + 1 / len(values)) / (counts.sum() + 1))
    return [
        {"year": FIRST_YEAR, "grade": ANY, **dict(zip(values, share, strict=True)),
         "records": f"{counts.sum():.1f}", "basis": "museum", "source": made.source,
         "note": "the same in all years: the form says of which kind an object is, and that is a condition"}
    ]  # fmt: skip


def _sizes(made: Made) -> list[Row]:
    centre, spread, records = made.everything.sizes[SIZED]
    rows: list[Row] = []
    for place, value in enumerate(made.model.priors.vocabulary.values[SIZED]):
        for knot, near in near_knots(int(made.years.years[-1]), 2 * DECADE):
            at = knot - FIRST_YEAR
            rows.append(
                {"year": knot, "grade": ANY, "given": value,
                 "median": f"{np.exp(centre[place, at]):.4g}",
                 "spread": f"{np.exp(spread[place, at]):.4g}",
                 "records": f"{records[place, near].sum():.1f}", "basis": "museum",
                 "source": made.source, "note": "fragments and samples are among the textiles"}
            )  # fmt: skip
    return rows
