"""Years known from papers: when a museum got the piece, or an interval that somebody has stated.

These bound the year of making and say nothing of the look. Within the bounds every year is as likely as
before; how often a bound is wrong stands in ``known_by.csv``, and a bound that is never wrong is hard.
"""

from __future__ import annotations

import datetime
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.clue import NO_NOTES, Asked, Behind, Bound, Clue, Noted, Slip
from scarfdate.clues.field import Field, Warnings
from scarfdate.conventions import FIRST_YEAR, GRADES, Array
from scarfdate.errors import RangeError, ScarfdateError, WordError, did_you_mean, shown
from scarfdate.reading.cells import Observed, as_float, is_blank
from scarfdate.tables.families import Family
from scarfdate.tables.priors import Priors
from scarfdate.tables.words import plain
from scarfdate.words import edtf

UPPER = "acquired"  # the family that bounds from above alone
DOCUMENTED, REGISTER = "documented", "accession-register"  # how years are known when nobody says
_HARD = 1e-12  # a row of likelihoods holds no zero

Key = tuple[int | None, int | None, str]  # first year, last year, how they are known


@dataclass(frozen=True, slots=True)
class Bounds(Observed):
    """First and last year, both inclusive, None for an open side; and how they are known."""

    first: int | None
    last: int | None
    by: str

    def cells(self, name: str) -> dict[str, object]:
        """The years by column, and how they are known where that is not what is taken for granted."""
        if name == UPPER:
            return {name: self.last}
        years = {f"{name}_from": self.first, f"{name}_to": self.last}
        found: dict[str, object] = {column: y for column, y in years.items() if y is not None}
        return found if self.by == DOCUMENTED else found | {f"{name}_by": self.by}


class BoundsField(Field):
    """``acquired``: one year or date. Any other family: a phrase, or its two ends, and how they are known."""

    def __init__(self, priors: Priors, family: Family) -> None:
        super().__init__(priors, family)
        if self.name != UPPER:
            self.columns = (self.name, *(f"{self.name}_{end}" for end in ("from", "to", "by")))

    def reads(self, *cells: object) -> tuple[Bounds | None, Warnings]:
        """Years, EDTF, or a date in words ("20th century"); ends in the wrong order are refused."""
        cells = self.said(cells)
        if self.name == UPPER:
            _, last = self._years(self.name, cells[0])
            if last is None and not is_blank(cells[0]):
                raise RangeError(
                    f"{self.name}: {shown(cells[0])} has no last year; write the year in which the piece came in"
                )
            return (None if last is None else Bounds(None, last, REGISTER)), ()
        whole, start, end, way = cells
        by = self._way(way)
        first, last = self._years(self.columns[0], whole)
        if not is_blank(whole) and not (is_blank(start) and is_blank(end)):
            raise ScarfdateError(
                f"{self.name}: stands beside {self.columns[1]} or {self.columns[2]}; give one of them"
            )
        if is_blank(whole):
            first, _ = self._years(self.columns[1], start)
            _, last = self._years(self.columns[2], end)
        for column, cell, year in (
            (self.columns[1], start, first), (self.columns[2], end, last),
        ):  # fmt: skip
            if not is_blank(cell) and year is None:
                raise RangeError(f"{column}: {shown(cell)} leaves this side open; write a year")
        if first is None and last is None:
            said = () if is_blank(way) else (f"{self.columns[3]} says nothing without years",)
            return None, said
        if first is not None and last is not None and first > last:
            raise RangeError(
                f"{self.columns[1]}: {first} is later than {self.columns[2]} {last}; change one of them"
            )
        return Bounds(first, last, by), ()

    def _years(self, column: str, cell: object) -> tuple[int | None, int | None]:
        """First and last year of a cell, None where it is blank or leaves a side open."""
        if is_blank(cell):
            return None, None
        if isinstance(cell, datetime.date):
            return self._within(column, cell, cell.year, cell.year)
        number = as_float(cell)
        if number is not None:
            if not np.isfinite(number) or number != int(number):
                raise RangeError(f"{column}: a whole year is allowed, got {shown(cell)}")
            return self._within(column, cell, int(number), int(number))
        if not isinstance(cell, str):
            raise RangeError(f"{column}: a year or a date is allowed, got {shown(cell)}")
        text = cell.strip()
        if text.endswith(".0") and text[:-2].isdigit():
            text = text[:-2]  # a whole number that a spreadsheet wrote
        try:
            first, last = edtf.read(text)
        except ScarfdateError as error:
            raise RangeError(f"{column}: {error}") from None
        return self._within(column, cell, first, last)

    def _within(
        self, column: str, cell: object, first: int | None, last: int | None
    ) -> tuple[int | None, int | None]:
        low, high = int(self.family.low), int(self.family.high)
        if any(year is not None and not low <= year <= high for year in (first, last)):
            raise RangeError(f"{column}: years from {low} to {high} are allowed, got {shown(cell)}")
        return first, last

    def _way(self, cell: object) -> str:
        if is_blank(cell):
            return DOCUMENTED
        words = {plain(word): word for word in self.priors.known_by}
        found = words.get(plain(cell[:80])) if isinstance(cell, str) else None
        if found is None:
            hint = did_you_mean(cell, list(self.priors.known_by))
            raise WordError(f"{self.columns[3]}: {shown(cell)} is no way of knowing years; {hint}")
        return found

    def beside(self, seen: Mapping[str, Any]) -> Warnings:
        """Refuses years that begin after the piece was acquired."""
        known, acquired = seen[self.name], seen.get(UPPER)
        if acquired is not None and known.first is not None and known.first > acquired.last:
            raise RangeError(
                f"{UPPER}: {acquired.last} is earlier than {self.columns[1]} {known.first}; "
                "no piece is older in a museum than it is; change one of them"
            )
        return ()

    @property
    def others(self) -> tuple[str, ...]:  # type: ignore[override]
        """The year of acquisition, which must not lie before the first year."""
        return () if self.name == UPPER or UPPER not in self.priors.families else (UPPER,)

    def schema(self) -> dict[str, object]:
        """Whole numbers, and a word for how they are known."""
        limits = {"minimum": int(self.family.low), "maximum": int(self.family.high)}
        year = {"type": "integer", **limits}
        if self.name == UPPER:
            return {self.name: year}
        _, start, end, by = self.columns
        return {start: year, end: year, by: {"enum": list(self.priors.known_by)}}

    def specimens(self) -> list[dict[str, object]]:
        """Years and dates of every form that is read, by every way of knowing them."""
        low = int(self.family.usual_low)
        if self.name == UPPER:
            return [{self.name: low + 80}, {self.name: f"{low + 50}-05-17"}, {self.name: f"{low}s"}]
        whole, start, end, by = self.columns
        first: list[dict[str, object]] = [
            {whole: f"{low + 30}s"},
            {start: low},
            {end: f"{low + 40}"},
            {start: low + 10, end: low + 60},
        ]
        return first + [{start: low + 30, end: low + 70, by: way} for way in self.priors.known_by]


class BoundsClue(Clue):
    """1 within the bounds; without them the chance that such bounds are wrong."""

    def __init__(self, priors: Priors, name: str, years: NDArray[np.int64]) -> None:
        family = priors.families[name]
        super().__init__(name, family.title, family.reads, (name,), (1, len(GRADES), len(years)))
        self.known_by, self.years, self.wording = priors.known_by, years, priors.wording

    def key(self, seen: Mapping[str, Any]) -> tuple[Key | None, Warnings]:
        """The bounds; refused where all years of the dating lie before the first of them."""
        bounds = seen.get(self.name)
        if bounds is None:
            return None, ()
        last = int(self.years[-1])
        late = bounds.last if self.name == UPPER else bounds.first
        if late is not None and late > last:
            raise RangeError(
                f"{self.name}: {late} lies after {last}, the year of this dating (as_of); "
                "check the year, or give a later as_of"
            )
        return (bounds.first, bounds.last, bounds.by), ()

    def likelihood(self, key: Hashable) -> Array:
        """The same for every grade. The first cell of the grid stands for every year up to it."""
        first, last, by = cast(Key, key)
        within = np.ones(len(self.years), dtype=bool)
        if first is not None and first > FIRST_YEAR:
            within &= self.years >= first
        if last is not None:
            within &= (self.years <= last) | (self.years == FIRST_YEAR)
        return np.broadcast_to(np.where(within, 1.0, self._wrong(by)), self.shape)

    def amiss(self, key: Hashable, part: str) -> Array:
        """Bounds that are wrong: any year is as likely as before."""
        return np.full(self.shape, self._wrong(cast(Key, key)[2]))

    def bound(self, key: Hashable) -> Bound | None:
        """The first of the years, where one is given within the grid."""
        first, _, by = cast(Key, key)
        if first is None or first <= FIRST_YEAR:
            return None
        basis = self.known_by[by].basis
        reason = f"the {self.title} begin in {first}"
        return Bound(first, self.name, reason, basis.source or f"{basis.file}, {basis.basis}")

    def slips(self, key: Hashable) -> tuple[Slip, ...]:
        """Bounds that are wrong: then they say nothing."""
        return (Slip(self.name, self.says(key), self._wrong(cast(Key, key)[2]), 1.0, 1.0, None),)

    def behind(self, key: Hashable, asked: Asked) -> Behind:
        """The row that says how often such bounds are wrong."""
        return Behind(self.known_by[cast(Key, key)[2]].basis)

    def says(self, key: Hashable, noted: Noted = NO_NOTES) -> str:
        """The years, and how they are known where somebody has said so."""
        first, last, by = cast(Key, key)
        if self.name == UPPER:
            return self.wording.phrase(self.name, str(last), self.title)
        years = (
            f"to {last} at the latest" if first is None
            else f"from {first} on" if last is None
            else f"{first}" if first == last else f"{first}-{last}"
        )  # fmt: skip
        how = "" if by == DOCUMENTED else f", {by.replace('-', ' ')}"
        return self.wording.phrase(self.name, f"{years}{how}", self.title)

    def _wrong(self, by: str) -> float:
        return max(self.known_by[by].wrong, _HARD)
