"""The shipped tables of shares and sizes: rows of experts updated by what museums and the trade record."""

from __future__ import annotations

import numpy as np

from scarfdate.building.combined import by_grade, expected, updated, updated_sizes
from scarfdate.building.compared import trade_years
from scarfdate.building.made import SIZE, SIZED, Made, Row, percent
from scarfdate.building.sources import MUSEUM, TRADE
from scarfdate.conventions import GRADES
from scarfdate.tables.knots import ANY


def share_rows(made: Made, family: str) -> list[Row]:
    """The shipped rows of a family."""
    table = made.expert.shares[family]
    years = made.years.years
    every = table.every_year(years)[:, 0]  # (values, grades, years)
    about = made.expert.families[family]
    weights = made.expert.allowances
    museum = np.zeros((len(GRADES), len(table.values), len(years)))
    of_museum, of_trade = (made.sources.of(kind, family) for kind in (MUSEUM, TRADE))
    if of_museum is not None:
        grades = made.grades(of_museum.channel)
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
            trade_years(made.trade, family, years), every, made.grades(of_trade.channel)
        )
    keys = [(grade, int(k)) for (grade, _), (knots, _) in table.series.items() for k in knots]
    bases = dict(zip(keys, table.bases, strict=True))
    rows: list[Row] = []
    for grade, name in enumerate(GRADES):
        shares, added = updated(
            table,
            name,
            about.worth,
            [museum[grade], trade[grade]],
            years,
            about.unstated,
            caps=[weights["museum_cap"]],
        )
        knots = table.series[(name, ANY)][0]
        for place, knot in enumerate(knots.astype(int).tolist()):
            basis = bases[name, knot]
            rows.append(
                {"year": knot, "grade": name,
                 **dict(zip(table.values, percent(shares[place]), strict=True)),
                 "basis": basis.basis,
                 "source": _joined(basis.source, added[0, place], added[1, place], made),
                 "note": basis.note}
            )  # fmt: skip
    return rows


def _joined(source: str, museum: float, trade: float, made: Made) -> str:
    parts = [source] if source else []
    if museum >= 0.05:
        parts.append(f"{museum:.1f} museum records ({made.records.hash[:8]})")
    if trade >= 0.05 and made.trade is not None:
        parts.append(f"{trade:.1f} trade rows ({made.trade.hash[:8]})")
    return "; ".join(parts)


def size_rows(made: Made) -> list[Row]:
    """The shipped rows of the long side, by form."""
    table = made.expert.measured[SIZE]
    worth = made.expert.families[SIZE].worth
    values = made.expert.vocabulary.values[SIZED]
    nothing = np.zeros((len(values), len(made.years.years)))
    centre, spread, records = made.scarves.sizes.get(SIZED, (nothing, nothing, nothing))
    every = made.expert.shares[SIZED].every_year(made.years.years)[:, 0]
    of_museum = made.sources.of(MUSEUM, SIZE)
    channel = MUSEUM if of_museum is None else of_museum.channel
    split = by_grade(records, every, made.grades(channel))
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
                made.years.years, made.expert.allowances["museum_cap"],
            )  # fmt: skip
        for knot, (median, factor), more in zip(knots, own, added, strict=True):
            basis = next(bases)
            rows.append(
                {"year": int(knot), "grade": grade, "given": given, "median": f"{median:.4g}",
                 "spread": f"{factor:.4g}", "basis": basis.basis,
                 "source": _joined(basis.source, float(more), 0.0, made), "note": basis.note}
            )  # fmt: skip
    return rows
