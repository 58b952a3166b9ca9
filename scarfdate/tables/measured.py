"""Measured clues: a log-normal whose centre and spread move with the year and the parent's value."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import FIRST_YEAR, GRADES
from scarfdate.knots import Array, log_interpolate
from scarfdate.tables.schema import Table
from scarfdate.tables.shares import ANY, check_covered, read_series, series_for
from scarfdate.tables.sheet import Basis

Pair = tuple[str, str]  # grade and value of the parent


@dataclass(frozen=True, kw_only=True)
class MeasuredTable:
    """Median and spread (a factor: 68 % within) at knots, by grade and value of the parent."""

    family: str
    series: Mapping[Pair, tuple[Array, Array]]  # knots (n,), [median, spread] (n, 2)
    bases: tuple[Basis, ...] = field(repr=False)  # in the order of the series and their knots

    def every_year(
        self, parent_values: Sequence[str], years: NDArray[np.int64]
    ) -> tuple[Array, Array]:
        """Centre and spread of the natural logarithm, each (parent values, grades, years)."""
        at = years.astype(float)
        done = {key: log_interpolate(*knots, at) for key, knots in self.series.items()}
        both = np.array(
            [[self._of(done, grade, value) for grade in GRADES] for value in parent_values]
        )
        return np.log(both[:, :, 0]), np.log(both[:, :, 1])

    def _of(self, done: Mapping[Pair, Array], grade: str, value: str) -> Array:
        return done[series_for(done, grade, value) or (ANY, ANY)]


def read_measured(family: str, table: Table) -> MeasuredTable:
    """``measured/<family>.csv``: year, grade, given, median (in the family's unit), spread."""
    series, bases = read_series(
        table, ("median", "spread"), lambda row: (row["grade"], row["given"]), first=FIRST_YEAR
    )
    check_covered(table, series, [word for word in table.words("given") if word != ANY], "given")
    return MeasuredTable(family=family, series=series, bases=bases)
