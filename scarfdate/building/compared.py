"""``museum/compared.csv``: what expert, museum and trade say by decade, side by side with what is shipped."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from scarfdate.building.made import SIZED, Made, Row, Years
from scarfdate.building.sources import TRADE
from scarfdate.building.trade import DECADE, Trade
from scarfdate.building.trade_counts import trade_counts
from scarfdate.conventions import GRADES, Array
from scarfdate.tables.knots import interpolate_shares

_SHOP = "thrift"  # the channel whose grades the sources are compared in


def trade_years(trade: Trade, family: str, years: Years) -> Array:
    """Trade counts spread evenly over the years of each decade, (values, years)."""
    frame = trade_counts(trade, family)
    counts = frame[list(trade.priors.shares[family].values)].to_numpy()  # (decades, values)
    inside = (frame["decade"].to_numpy()[:, None] == years // DECADE * DECADE).astype(float)
    return np.asarray(counts.T @ (inside / np.maximum(inside.sum(axis=1, keepdims=True), 1)))


def compared_rows(made: Made, family: str, rows: Sequence[Row]) -> list[Row]:
    """By decade and value: what expert, museum and trade say, and what is shipped; in per cent.

    Grades as in a thrift shop. ``records`` and ``rows``: expected numbers, unweighted, behind the
    museum's and the trade's shares of the decade.
    """
    table = made.expert.shares[family]
    years = made.years.years
    grades = made.grades(_SHOP)
    expert = np.einsum("vgy,gy->vy", table.every_year(years)[:, 0], grades)
    shipped = _interpolated(rows, table.values, years, grades)
    scarves = made.scarves.counts.get(family)
    # cloth by the length has no form: nothing to compare
    everything = scarves if family == SIZED else made.everything.counts.get(family)
    trade = None
    if made.trade is not None and made.sources.of(TRADE, family) is not None:
        trade = trade_years(made.trade, family, years)
    out: list[Row] = []
    for start in range(0, len(years), DECADE):
        here = slice(start, start + DECADE)
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
