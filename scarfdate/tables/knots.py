"""Tables of numbers at knot years: how they are read, and what holds between the knots.

Shares of each value, by grade, and by market where it matters; measured clues, log-normals whose centre and
spread move with the year and the parent's value; and columns of positive numbers.
"""

from __future__ import annotations

from collections.abc import Container, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import FIRST_YEAR, GRADES, MARKETS, ZERO_SHARE, Array
from scarfdate.tables.checked import Table
from scarfdate.tables.sheet import Basis


def log_interpolate(knots: Array, values: Array, at: Array) -> Array:
    """Values at ``at``, log-linear between knots and held flat beyond the outer ones.

    Shapes: ``knots`` (n,), ascending; ``values`` (n, m), positive; result (m, len(at)).
    Shares move by factors, not by steps: from 1 % to 4 % the half-way point is 2 %.
    """
    logs = np.log(values)
    return np.asarray(np.exp(np.stack([np.interp(at, knots, column) for column in logs.T])))


def interpolate_shares(knots: Array, shares: Array, at: Array) -> Array:
    """Shares (values, years) that sum to one each year, from shares (knots, values) of any scale."""
    fractions = shares / shares.sum(axis=1, keepdims=True)
    each = log_interpolate(knots, np.maximum(fractions, ZERO_SHARE), at)
    return np.asarray(each / each.sum(axis=0))


ANY = "any"
Key = tuple[str, str]  # grade, and market or value of the parent
K = TypeVar("K", bound=Hashable)


@dataclass(frozen=True, kw_only=True)
class GradeTable:
    """A family's rows at knots: ``series`` maps a grade and a market, or value of the parent, to them."""

    family: str
    series: Mapping[Key, tuple[Array, Array]]  # knots (n,), numbers (n, columns)
    bases: tuple[Basis, ...] = field(repr=False)  # in the order of the series and their knots

    def key_of(self, grade: str, other: str) -> Key:
        """The series that a grade and a market or value read: their own, or one for any."""
        return series_for(self.series, grade, other) or (ANY, ANY)


@dataclass(frozen=True, kw_only=True)
class SharesTable(GradeTable):
    """P(value | year, grade[, market]) at knots: shares (n, values)."""

    values: tuple[str, ...]
    by_market: bool
    first: Mapping[str, tuple[float, float]] = field(default_factory=dict, repr=False)
    # of some values the first year in which there is one, and the share, 0 to 1, that may stand before it

    def every_year(self, years: NDArray[np.int64]) -> Array:
        """Shares of shape (values, markets or 1, grades, years), summing to one over values.

        Between knots shares are log-linear, and scaled to sum to one again. Such lines reach back before what they
        lead to was made, and a museum's records are misdated: so a value's share before its first year is no larger than what may stand there.
        """
        shares = self._between_knots(years)
        most = np.ones((len(self.values), 1, 1, len(years)))
        for value, (first, allowed) in self.first.items():
            most[self.values.index(value), ..., years < first] = allowed
        if not (shares > most).any():
            return shares
        left = np.where(shares > most, 0.0, shares)  # what the others gain, each in proportion
        capped = np.where(shares > most, most, 0.0)
        return np.asarray(capped + left * (1 - capped.sum(axis=0)) / left.sum(axis=0))

    @cached_property
    def usual(self) -> Array:
        """The mean share of each value over all years that the table speaks of, grades and markets, (values,)."""
        last = max(knots[-1] for knots, _ in self.series.values())
        return np.asarray(self.every_year(np.arange(FIRST_YEAR, last + 1)).mean(axis=(1, 2, 3)))

    def _between_knots(self, years: NDArray[np.int64]) -> Array:
        at = years.astype(float)
        markets: Sequence[str] = MARKETS if self.by_market else (ANY,)
        done = {key: interpolate_shares(*knots, at) for key, knots in self.series.items()}
        return np.stack(
            [
                np.stack([done[self.key_of(grade, market)] for grade in GRADES], axis=1)
                for market in markets
            ],
            axis=1,
        )


class UsualShares(Mapping[str, Array]):
    """How common the values of each family are, (values,): as stated, or the mean of its table."""

    def __init__(self, tables: Mapping[str, SharesTable], stated: Mapping[str, Array]) -> None:
        self._tables, self._stated = tables, stated

    def __getitem__(self, family: str) -> Array:
        stated = self._stated.get(family)
        return self._tables[family].usual if stated is None else stated

    def __iter__(self) -> Iterator[str]:
        return iter(dict.fromkeys((*self._tables, *self._stated)))

    def __len__(self) -> int:
        return len({*self._tables, *self._stated})


@dataclass(frozen=True, kw_only=True)
class KnotTable:
    """Columns of positive numbers at knot years (or lags), by a key such as the channel."""

    name: str
    columns: tuple[str, ...]
    series: Mapping[str, tuple[Array, Array]]  # knots (n,), values (n, columns)
    bases: tuple[Basis, ...] = field(repr=False)

    def shares_of(self, key: str, years: NDArray[np.int64]) -> Array:
        """The columns as shares, (columns, years), for a key."""
        return interpolate_shares(*self.series[key], years.astype(float))

    def values_of(self, column: str, at: Array, key: str = ANY) -> Array:
        """One column at ``at``, log-linear between knots; a zero counts as the square root of the precision of a float
        times the largest number of the column."""
        knots, values = self.series[key]
        one = values[:, [self.columns.index(column)]]
        floor = one.max() * np.finfo(float).eps ** 0.5 if one.max() > 0 else 1.0
        return np.asarray(log_interpolate(knots, np.maximum(one, floor), at)[0])


def series_for(known: Container[Any], grade: str, other: str) -> tuple[str, str] | None:
    """The key of the series that a grade and a market (or a value of the parent) read: their own, else one for
    any grade, for any market, for any of both; None where there is none."""
    keys = ((grade, other), (ANY, other), (grade, ANY), (ANY, ANY))
    return next((key for key in keys if key in known), None)


def read_shares(family: str, table: Table) -> SharesTable:
    """``shares/<family>.csv``: year, grade, perhaps market, one column a value in per cent."""
    values = table.names("@values")
    by_market = any(column.name == "market" for column in table.columns)

    series, bases = read_series(table, values, _keys_of(table, "market"), first=FIRST_YEAR)
    check_covered(table, series, MARKETS if by_market else (ANY,), "market")
    return SharesTable(
        family=family, values=values, by_market=by_market, series=series, bases=bases
    )


def read_knot_table(
    table: Table, columns: Sequence[str], *, key: str = "", knot: str = "year"
) -> KnotTable:
    """A table of numbers at knots: ``knot``, perhaps a ``key`` column, then ``columns``."""
    first = FIRST_YEAR if knot == "year" else None
    keys = table.column(key) if key else [ANY] * len(table.column(knot))
    series, bases = read_series(table, columns, keys, knot=knot, first=first)
    return KnotTable(name=table.name, columns=tuple(columns), series=series, bases=bases)


def _keys_of(table: Table, other: str) -> list[Key]:
    """The series of each row: its grade, and its market or value of the parent."""
    grades = table.column("grade")
    others = table.column(other) if other in table.cells else [ANY] * len(grades)
    return [*zip(grades, others, strict=True)]


def read_series(
    table: Table,
    columns: Sequence[str],
    keys: Sequence[K],
    *,
    knot: str = "year",
    first: int | None = None,
) -> tuple[dict[K, tuple[Array, Array]], tuple[Basis, ...]]:
    """Knots (n,) and values (n, columns) of each series, and the bases in their order. ``keys``: of each row.

    A fault where a series starts later than ``first``, before which nothing would be known.
    """
    places: dict[K, list[int]] = {}
    for place, key in enumerate(keys):
        places.setdefault(key, []).append(place)
    every = np.array([table.column(name) for name in (knot, *columns)], dtype=float)
    series = {}
    for key, own in places.items():
        if table.whole and first is not None and every[0, own[0]] > first:
            problem = f"the first knot is {first} or earlier"
            table.fault(table.rows[own[0]], knot, problem, str(table.column(knot)[own[0]]))
        knots, values = every[0, own], np.ascontiguousarray(every[1:, own].T)
        for array in (knots, values):
            array.flags.writeable = False
        series[key] = (knots, values)
    bases = table.bases
    return series, tuple(bases[place] for own in places.values() for place in own)


def check_covered(table: Table, have: Container[Any], others: Sequence[str], name: str) -> None:
    """A fault for each grade and each of ``others`` that would read no row; not where rows are broken."""
    for grade in GRADES if table.whole else ():
        for other in others:
            if series_for(have, grade, other) is None:
                place = f"grade {grade}" + (f", {name} {other}" if other != ANY else "")
                table.fault(None, None, "rows are missing", place, "add them, or rows for 'any'")


@dataclass(frozen=True, kw_only=True)
class MeasuredTable(GradeTable):
    """Median and spread (a factor: 68 % within) at knots, (n, 2), by grade and value of the parent."""

    def every_year(
        self, parent_values: Sequence[str], years: NDArray[np.int64]
    ) -> tuple[Array, Array]:
        """Centre and spread of the natural logarithm, each (parent values, grades, years)."""
        at = years.astype(float)
        done = {key: log_interpolate(*knots, at) for key, knots in self.series.items()}
        both = np.array(
            [[done[self.key_of(grade, value)] for grade in GRADES] for value in parent_values]
        )
        return np.log(both[:, :, 0]), np.log(both[:, :, 1])


def read_measured(family: str, table: Table) -> MeasuredTable:
    """``measured/<family>.csv``: year, grade, given, median (in the family's unit), spread."""
    series, bases = read_series(
        table, ("median", "spread"), _keys_of(table, "given"), first=FIRST_YEAR
    )
    check_covered(table, series, [word for word in table.words("given") if word != ANY], "given")
    return MeasuredTable(family=family, series=series, bases=bases)
