"""Effective counts by decade from descriptions of the trade: of the values of a family, and of long sides."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd

from scarfdate.building.trade import DECADE, LAST_YEAR, OBJECT, Trade, TradeRow, decades
from scarfdate.conventions import FIRST_YEAR, Array
from scarfdate.errors import ScarfdateError, did_you_mean, shown
from scarfdate.reading.observation import Observation


def trade_counts(trade: Trade, family: str, kind: str = OBJECT) -> pd.DataFrame:
    """Effective counts of each value of a shares family by decade.

    Columns: ``decade`` (its first year), one column a value (sums of weights; over all decades and
    values they add up to the weights of the rows that state the family), ``rows`` and ``sellers``
    (whose interval touches the decade: a wide one is counted in several), ``press`` (effective
    count from contemporary press), ``from_parents`` (effective count known by a parent word only).

    Raises ScarfdateError for a family that has no shares table.
    """
    values = values_of(trade, family)
    rows, years, cells, parents = by_decade(trade, family, kind)
    total = [row.weight for row in rows] * years.T  # (decades, rows)
    press = np.array([row.press for row in rows], dtype=float)
    frame = pd.DataFrame(cells.sum(axis=0), columns=list(values))
    frame.insert(0, "decade", decades())
    frame["rows"] = (years > 0).sum(axis=0)
    frame["sellers"] = [len(sellers_of(rows, years[:, place])) for place in range(len(frame))]
    frame["press"] = total @ press
    frame["from_parents"] = parents.sum(axis=0)
    return frame


def long_side_counts(trade: Trade, kind: str = OBJECT) -> pd.DataFrame:
    """Long sides by decade and form: the natural log of cm, weighted.

    Columns ``decade``, ``given`` (a value of form, or "any": all sizes, form stated or not),
    ``count`` (effective), ``mean_log_cm`` and ``sd_log_cm`` (unbiased for weights; NaN below two
    rows), ``rows``, ``sellers``, ``press``. Handkerchiefs and shawls together have no one size:
    read "any" as a check only.
    """
    rows = [row for row in trade.of(kind) if row.long_side is not None]
    logs = np.log([row.long_side or math.nan for row in rows])
    press = np.array([row.press for row in rows], dtype=float)
    years = _years(rows)
    forms = values_of(trade, "form")
    table = []
    for place, decade in enumerate(decades()):
        of_form = np.zeros((len(rows), len(forms)))
        for number, row in enumerate(rows):
            if "form" in row.seen:
                of_form[number] = _terms(trade, "form", row.seen["form"])[0][place]
        for given, part in (("any", np.ones(len(rows))), *zip(forms, of_form.T, strict=True)):
            weight = np.array([row.weight for row in rows]) * years[:, place] * part
            if not weight.any():
                continue
            count, squares = weight.sum(), (weight**2).sum()
            mean = float(weight @ logs / count)
            # reliability weights: with one row the divisor is 0, and there is no spread
            divisor = count - squares / count
            several = (weight > 0).sum() > 1 and divisor > 0
            spread = math.sqrt(weight @ (logs - mean) ** 2 / divisor) if several else math.nan
            table.append(
                (decade, given, count, mean, spread, int((weight > 0).sum()),
                 len(sellers_of(rows, weight)), float(weight @ press))
            )  # fmt: skip
    columns = ["decade", "given", "count", "mean_log_cm", "sd_log_cm", "rows", "sellers", "press"]
    return pd.DataFrame(table, columns=columns)


def values_of(trade: Trade, family: str) -> tuple[str, ...]:
    """The values of a shares family, in its order. Raises ScarfdateError where it has no table."""
    if family not in trade.priors.shares:
        hint = did_you_mean(family, list(trade.priors.shares))
        raise ScarfdateError(f"family: {shown(family)} has no shares table; {hint}")
    return trade.priors.shares[family].values


def sellers_of(rows: Sequence[TradeRow], weight: Array) -> set[str]:
    """Whose rows have any weight; ``weight`` (rows,)."""
    return {row.seller for row, load in zip(rows, weight, strict=True) if load > 0}


def _years(rows: Sequence[TradeRow]) -> Array:
    """Each row's interval spread evenly over its years, by decade: (rows, decades), sums of 1."""
    starts = np.array(decades())
    spread = np.zeros((len(rows), len(starts)))
    for place, row in enumerate(rows):
        begin = starts.copy()
        begin[0] = min(row.first_year, FIRST_YEAR)  # the first decade holds all before it
        inside = np.minimum(row.last_year, starts + DECADE - 1) - np.maximum(row.first_year, begin)
        spread[place] = np.maximum(inside + 1, 0) / (row.last_year - row.first_year + 1)
    return spread


def _shares_by_decade(trade: Trade, family: str) -> Array:
    """The shares of the priors by decade, (decades, values): even means over years, grades, markets."""
    years = np.arange(FIRST_YEAR, LAST_YEAR + 1)
    shares = trade.priors.shares[family].every_year(years)  # (values, markets, grades, years)
    each = shares.mean(axis=(1, 2)).reshape(len(shares), -1, DECADE)
    return np.asarray(each.mean(axis=2).T)


def _terms(trade: Trade, family: str, seen: Observation) -> tuple[Array, float]:
    """One observation over values by decade, (decades, values), and how much was parent words."""
    values = values_of(trade, family)
    split = np.zeros((len(decades()), len(values)))
    of_parents = 0.0
    for word, weight in seen.terms:
        children = trade.priors.vocabulary.children(family, word)
        places = [values.index(child) for child in children]
        if len(places) == 1:
            split[:, places] += weight
            continue
        shares = _shares_by_decade(trade, family)[:, places]
        total = shares.sum(axis=1, keepdims=True)
        even = np.full_like(shares, 1 / len(places))  # a decade in which there was none of them
        split[:, places] += weight * np.divide(shares, total, out=even, where=total > 0)
        of_parents += weight
    return split, of_parents


def by_decade(trade: Trade, family: str, kind: str) -> tuple[list[TradeRow], Array, Array, Array]:
    """Rows that state a family; years (rows, decades), counts (rows, decades, values), parents."""
    values = values_of(trade, family)
    style = trade.priors.families[family].reads == "style"
    rows = [row for row in trade.of(kind) if family in row.seen and not (style and row.revival)]
    years = _years(rows)
    cells = np.zeros((*years.shape, len(values)))
    parents = np.zeros(years.shape)
    known: dict[Observation, tuple[Array, float]] = {}
    for place, row in enumerate(rows):
        seen = row.seen[family]
        if seen not in known:
            known[seen] = _terms(trade, family, seen)
        split, of_parents = known[seen]
        load = row.weight * years[place]
        cells[place] = load[:, None] * split
        parents[place] = load * of_parents
    return rows, years, cells, parents
