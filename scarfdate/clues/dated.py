"""A dated thing in the print: it bounds from below, and then a lag.

What is shown, or a year printed in the design, cannot be later than the piece (an announced event a
little; where nobody says, it may have been announced). After that most pieces follow within a year or two, and a long tail at any time; of a year that is
printed the tail is the same design printed again (`scarfdate.clues.lags`).
"""

from __future__ import annotations

import re
from collections.abc import Hashable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.clue import NO_NOTES, Asked, Behind, Bound, Clue, Noted, Slip
from scarfdate.clues.field import Field, Warnings
from scarfdate.clues.lags import lags_of, unsaid_lags
from scarfdate.conventions import GRADES, Array
from scarfdate.errors import RangeError, ScarfdateError
from scarfdate.reading.cells import Observed, read_year, read_yes
from scarfdate.tables.families import Family
from scarfdate.tables.knots import ANY
from scarfdate.tables.priors import Priors
from scarfdate.words import edtf

_A_WORD = re.compile(r"[^\W\d_]{3}")
_UNSAID = ""
Key = tuple[int, str]  # the year, and the column of lags.csv that holds for it; _UNSAID for both


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
        cells = self.said(cells)
        said = read_yes(self.announced, cells[1]) if len(cells) > 1 else None
        year, odd = self._year(cells[0])
        if year is not None:
            return Dated(year, said), (odd,) if odd else ()
        return None, () if said is None else (f"{self.announced} says nothing without {self.name}",)

    def _year(self, cell: object) -> tuple[int | None, str]:
        """The year in a cell, and a warning; a date in words ("12 May 1937", "dated 1986") is its year."""
        try:
            return read_year(self.family, cell)
        except RangeError:
            # without a word it may be what a spreadsheet made of something else
            if not isinstance(cell, str) or _A_WORD.search(cell) is None:
                raise
            with suppress(ScarfdateError):
                first, last, about = edtf.read_years(cell, self.priors.date_words)
                if first is not None and first == last and not about:
                    return read_year(self.family, first)
            raise

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
        self.wording = priors.wording
        announced = announced_column(name)
        self._lags = {name: lags_of(priors, name, name)}
        if announced in priors.lags.columns:
            self._lags |= {
                announced: lags_of(priors, name, announced),
                _UNSAID: unsaid_lags(priors, name, announced),
            }
        self._ahead = int(priors.allowances["future_years"])

    def key(self, seen: Mapping[str, Any]) -> tuple[Key | None, Warnings]:
        """The year, with the lags of an announced event, those of others, or of both where nobody says."""
        dated = seen.get(self.name)
        if dated is None:
            return None, ()
        last = int(self.years[-1])
        if dated.year > last + (self._ahead if dated.announced else 0):
            raise RangeError(
                f"{self.name}: {dated.year} lies after {last}, the year of this dating (as_of); "
                "check the year, or give a later as_of"
            )
        if dated.announced is None and _UNSAID in self._lags:
            return (dated.year, _UNSAID), ()
        return (dated.year, announced_column(self.name) if dated.announced else self.name), ()

    def likelihood(self, key: Hashable) -> Array:
        """The share of each lag, of first printings and of later ones; the same for every grade."""
        first, again = self._by_year(key)
        return self._with_slip(first + again)

    def amiss(self, key: Hashable, part: str) -> Array:
        """A misread year."""
        return np.full(self.shape, self.slip / len(self.years))

    def first_printing(self, key: Hashable) -> Array | None:
        """Without the lags of reissues, where there are any."""
        first, again = self._by_year(key)
        return self._with_slip(first) if again.any() else None

    def design_year(self, key: Hashable) -> int | None:
        """The year, where designs of its kind are printed again."""
        year, column = cast(Key, key)
        return year if self._lags[column].again.any() else None

    def bound(self, key: Hashable) -> Bound | None:
        """The year, or the first in which it could be announced."""
        year, column = cast(Key, key)
        lags = self._lags[column]
        reason = self.says(key)
        if lags.earliest < 0:
            reason += f", which can have been announced {-lags.earliest} years ahead"
        place = int(np.flatnonzero(self.lags.series[ANY][0] <= lags.earliest)[-1])
        basis = self.lags.bases[place]
        return Bound(
            year + lags.earliest, self.name, reason, basis.source or f"{basis.file}, {basis.basis}"
        )

    def _by_year(self, key: Hashable) -> tuple[Array, Array]:
        year, column = cast(Key, key)
        return self._lags[column].by_year(self.years, year)

    def _with_slip(self, row: Array) -> Array:
        return np.broadcast_to((1 - self.slip) * row + self.slip / len(self.years), self.shape)

    def slips(self, key: Hashable) -> tuple[Slip, ...]:
        """A misread year: any year of the grid."""
        return (Slip(self.name, self.says(key), self.slip, 1 / len(self.years), 1.0, None),)

    def behind(self, key: Hashable, asked: Asked) -> Behind:
        """The row of the lag between the year shown and the year asked for."""
        lag = asked.year - cast(Key, key)[0]
        return Behind(self.lags.bases[int(abs(self.lags.series[ANY][0] - lag).argmin())])

    def says(self, key: Hashable, noted: Noted = NO_NOTES) -> str:
        """The year, and what it is of."""
        return self.wording.phrase(self.name, str(cast(Key, key)[0]), self.title)
