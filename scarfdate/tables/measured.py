"""Measured clues: a log-normal whose centre and spread move with the year and the parent's value."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import GRADES
from scarfdate.errors import Fault
from scarfdate.knots import Array, log_interpolate
from scarfdate.tables.shares import ANY, checked_knots
from scarfdate.tables.sheet import Basis, read_sheet

Key = tuple[str, str]


@dataclass(frozen=True)
class MeasuredTable:
    """Median and spread (a factor: 68 % within) at knots, by grade and value of the parent."""

    family: str
    series: Mapping[Key, tuple[Array, Array]]  # knots (n,), [median, spread] (n, 2)
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

    def _of(self, done: Mapping[Key, Array], grade: str, value: str) -> Array:
        for key in ((grade, value), (ANY, value), (grade, ANY)):
            if key in done:
                return done[key]
        return done[ANY, ANY]


def read_measured(
    family: str,
    content: bytes,
    parent_values: Sequence[str],
    faults: list[Fault],
    *,
    folder: str = "measured",
) -> MeasuredTable:
    """``measured/<family>.csv``: year, grade, given, median (in the family's unit), spread."""
    columns = ("year", "grade", "given", "median", "spread", "records?")
    sheet = read_sheet(f"{folder}/{family}.csv", content, columns, faults)
    rows: dict[Key, list[tuple[int, int, list[float]]]] = {}
    bases: dict[int, Basis] = {}
    for line, _ in sheet.rows:
        bases[line] = sheet.basis(line)
        key = (
            sheet.word(line, "grade", (*GRADES, ANY)),
            sheet.word(line, "given", (*parent_values, ANY)),
        )
        numbers = [
            sheet.number(line, "median", low=1e-6),
            sheet.number(line, "spread", low=1.001, high=20),
        ]
        rows.setdefault(key, []).append((line, sheet.year(line), numbers))
    series = {key: checked_knots(sheet, found) for key, found in rows.items()}
    if sheet.rows:
        for grade in GRADES:
            for value in parent_values:
                if not {(grade, value), (ANY, value), (grade, ANY), (ANY, ANY)} & set(series):
                    sheet.fault(None, "given", "rows are missing", f"grade {grade}, given {value}")
    return MeasuredTable(
        family, series, tuple(bases[line] for found in rows.values() for line, _, _ in found)
    )
