"""Shares of each value at knot years, by grade, and by market where it matters."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import FIRST_YEAR, GRADES, MARKETS
from scarfdate.errors import Fault
from scarfdate.knots import Array, interpolate_shares, log_interpolate
from scarfdate.tables.sheet import Basis, Sheet, read_sheet

ANY = "any"
Key = tuple[str, ...]


@dataclass(frozen=True)
class SharesTable:
    """P(value | year, grade[, market]) at knots. ``series`` maps (grade[, market]) to its knots."""

    family: str
    values: tuple[str, ...]
    by_market: bool
    series: Mapping[Key, tuple[Array, Array]]  # knots (n,), shares (n, values)
    bases: tuple[Basis, ...] = field(repr=False)  # in the order of the series and their knots

    def every_year(self, years: NDArray[np.int64]) -> Array:
        """Shares of shape (values, markets or 1, grades, years), summing to one over values."""
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

    def key_of(self, grade: str, market: str) -> Key:
        """The series that a grade and a market read: their own, or one for any."""
        return series_for(self.series, grade, market) or (ANY, ANY)


@dataclass(frozen=True)
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
        """One column at ``at``, log-linear between knots; a zero is the smallest share."""
        knots, values = self.series[key]
        one = values[:, [self.columns.index(column)]]
        floor = one.max() * np.finfo(float).eps ** 0.5 if one.max() > 0 else 1.0
        return np.asarray(log_interpolate(knots, np.maximum(one, floor), at)[0])


def series_for(known: Container[Key], grade: str, other: str) -> Key | None:
    """The key of the series that a grade and a market (or a value of the parent) read: their own, else one for
    any grade, for any market, for any of both; None where there is none."""
    keys = ((grade, other), (ANY, other), (grade, ANY), (ANY, ANY))
    return next((key for key in keys if key in known), None)


def read_shares(
    family: str,
    content: bytes,
    values: Sequence[str],
    faults: list[Fault],
    *,
    folder: str = "shares",
) -> SharesTable:
    """``shares/<family>.csv``: year, grade, perhaps market, one column a value in per cent."""
    sheet = read_sheet(
        f"{folder}/{family}.csv", content, ("year", "grade", "market?", "records?", *values), faults
    )
    by_market = "market" in sheet.header
    rows: dict[Key, list[tuple[int, int, list[float]]]] = {}
    bases: dict[int, Basis] = {}
    for line, _ in sheet.rows:
        bases[line] = sheet.basis(line)
        grade = sheet.word(line, "grade", (*GRADES, ANY))
        market = sheet.word(line, "market", (*MARKETS, ANY)) if by_market else ANY
        rows.setdefault((grade, market), []).append(
            (line, sheet.year(line), sheet.shares(line, values))
        )
    series = {key: checked_knots(sheet, found) for key, found in rows.items()}
    if sheet.rows:
        _check_covered(sheet, set(series), by_market)
    return SharesTable(
        family,
        tuple(values),
        by_market,
        series,
        tuple(bases[line] for found in rows.values() for line, _, _ in found),
    )


def read_knot_table(
    name: str,
    content: bytes,
    columns: Sequence[str],
    faults: list[Fault],
    *,
    key: str = "",
    knot: str = "year",
    shares: bool = False,
) -> KnotTable:
    """A table of numbers at knots: ``knot``, perhaps a ``key`` column, then ``columns``."""
    sheet = read_sheet(name, content, (knot, *([key] if key else []), *columns), faults)
    rows: dict[str, list[tuple[int, int, list[float]]]] = {}
    bases = []
    for line, row in sheet.rows:
        bases.append(sheet.basis(line))
        at = (
            sheet.year(line, knot)
            if knot == "year"
            else int(sheet.number(line, knot, low=-99, high=999))
        )
        numbers = (
            sheet.shares(line, columns)
            if shares
            else [sheet.number(line, column, low=0) for column in columns]
        )
        rows.setdefault(row.get(key, "") if key else ANY, []).append((line, at, numbers))
    first = FIRST_YEAR if knot == "year" else None
    series = {name: checked_knots(sheet, found, first) for name, found in rows.items()}
    return KnotTable(name, tuple(columns), series, tuple(bases))


def checked_knots(
    sheet: Sheet, rows: list[tuple[int, int, list[float]]], first: int | None = FIRST_YEAR
) -> tuple[Array, Array]:
    """Knots and values of one series; faults where knots are out of order or start too late."""
    if first is not None and rows[0][1] > first:
        sheet.fault(rows[0][0], "year", f"the first knot is {first} or earlier", str(rows[0][1]))
    for (_, before, _), (line, after, _) in pairwise(rows):
        if after <= before:
            sheet.fault(line, None, "knots stand in ascending order", f"{after} after {before}")
    knots = np.array([year for _, year, _ in rows], dtype=float)
    values = np.array([numbers for _, _, numbers in rows], dtype=float)
    for array in (knots, values):
        array.flags.writeable = False
    return knots, values


def _check_covered(sheet: Sheet, have: set[Key], by_market: bool) -> None:
    markets: Sequence[str] = MARKETS if by_market else (ANY,)
    for grade in GRADES:
        for market in markets:
            if not {(grade, market), (ANY, market), (grade, ANY), (ANY, ANY)} & have:
                place = f"grade {grade}" + (f", market {market}" if by_market else "")
                sheet.fault(None, None, "rows are missing", place, "add them, or rows for 'any'")
