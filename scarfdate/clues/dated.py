"""A dated thing in the print: it bounds from below, and then a lag.

What is shown, or a year printed in the design, cannot be later than the piece (an announced event a
little). After that most pieces follow within a year or two, and a long tail at any time.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.clue import Asked, Behind, Clue, Slip
from scarfdate.clues.field import Field, Warnings
from scarfdate.conventions import GRADES, Array
from scarfdate.errors import RangeError
from scarfdate.reading.cells import Observed, read_year, read_yes
from scarfdate.tables.families import Family
from scarfdate.tables.knots import ANY
from scarfdate.tables.priors import Priors

Key = tuple[int, str]  # the year, and the column of lags.csv that holds for it


def announced_column(name: str) -> str:
    """Where it is noted that the event of a dated family could be announced before."""
    return f"{name.removesuffix('_year')}_announced"


@dataclass(frozen=True, slots=True)
class Dated(Observed):
    """A year, and whether it could be announced before; None where nobody says."""

    year: int
    announced: bool | None = None

    def cells(self, name: str) -> dict[str, object]:
        """The year, and yes or no."""
        found: dict[str, object] = {name: self.year}
        return found if self.announced is None else found | {announced_column(name): self.announced}


class DatedField(Field):
    """A year; for families with a column of lags for announced events, whether it was one."""

    is_year = True

    def __init__(self, priors: Priors, family: Family) -> None:
        super().__init__(priors, family)
        self.announced = announced_column(self.name)
        if self.announced in priors.lags.columns:
            self.columns = (self.name, self.announced)

    def reads(self, *cells: object) -> tuple[Dated | None, Warnings]:
        """A whole year within the limits of the family."""
        said = read_yes(self.announced, cells[1]) if len(cells) > 1 else None
        year, odd = read_year(self.family, cells[0])
        if year is not None:
            return Dated(year, said), (odd,) if odd else ()
        return None, () if said is None else (f"{self.announced} says nothing without {self.name}",)

    def schema(self) -> dict[str, object]:
        """A whole number, and a truth value."""
        limits = {"minimum": int(self.family.low), "maximum": int(self.family.high)}
        found: dict[str, object] = {name: {"type": "boolean"} for name in self.columns[1:]}
        return found | {self.name: {"type": "integer", **limits}}

    def specimens(self) -> list[dict[str, object]]:
        """The first usual year and one that is later by the middle lag of the table, announced or not."""
        low = int(self.family.usual_low)
        knots = self.priors.lags.series[ANY][0]
        later = low + int(knots[len(knots) // 2])
        found: list[dict[str, object]] = [{self.name: low}, {self.name: str(later)}]
        for name in self.columns[1:]:
            found += [{self.name: later, name: "yes"}, {self.name: later, name: False}]
        return found


class DatedClue(Clue):
    """P(the year shown | year made): the lag between them, and a slip for a misread year."""

    def __init__(self, priors: Priors, name: str, years: NDArray[np.int64]) -> None:
        family = priors.families[name]
        super().__init__(name, family.title, family.reads, (name,), (1, len(GRADES), len(years)))
        self.lags, self.slip, self.years = priors.lags, priors.slips[name], years
        self._ahead = int(priors.allowances["future_years"])

    def key(self, seen: Mapping[str, Any]) -> tuple[Key | None, Warnings]:
        """The year, with the lags of an announced event or the usual ones."""
        dated = seen.get(self.name)
        if dated is None:
            return None, ()
        last = int(self.years[-1])
        if dated.year > last + (self._ahead if dated.announced else 0):
            raise RangeError(
                f"{self.name}: {dated.year} lies after {last}, the year of this dating (as_of); "
                "check the year, or give a later as_of"
            )
        return (dated.year, announced_column(self.name) if dated.announced else self.name), ()

    def likelihood(self, key: Hashable) -> Array:
        """The share of each lag, the same for every grade."""
        year, column = cast(Key, key)
        known = self.lags.series[ANY][0]
        every = np.arange(known[0], known[-1] + 1)
        share = self.lags.values_of(column, every)
        share = share / share.sum()
        lag = self.years - year
        row = np.zeros(len(lag))
        inside = (lag >= every[0]) & (lag <= every[-1])
        row[inside] = share[(lag[inside] - every[0]).astype(int)]
        # pieces of older things than the table reaches: as rare as its last lag
        row[lag > every[-1]] = share[-1]
        # the first cell stands for every year up to it
        row[0] = share[every <= lag[0]].sum() if lag[0] >= every[0] else 0.0
        return np.broadcast_to((1 - self.slip) * row + self.slip / len(self.years), self.shape)

    def slips(self, key: Hashable) -> tuple[Slip, ...]:
        """A misread year: any year of the grid."""
        return (Slip(self.name, self.says(key), self.slip, 1 / len(self.years), 1.0, None),)

    def behind(self, key: Hashable, asked: Asked) -> Behind:
        """The row of the lag between the year shown and the year asked for."""
        lag = asked.year - cast(Key, key)[0]
        return Behind(self.lags.bases[int(abs(self.lags.series[ANY][0] - lag).argmin())])

    def says(self, key: Hashable) -> str:
        """The title and the year."""
        return f"{self.title} {cast(Key, key)[0]}"
