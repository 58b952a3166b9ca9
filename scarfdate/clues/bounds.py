"""Years known from papers: when a museum got the piece, or an interval that somebody has stated.

These bound the year of making and say nothing of the look. Within the bounds every year is as likely as
before; how often a bound is wrong stands in ``known_by.csv``, and a bound that is never wrong is hard. Of the first
cell of the grid, which stands for every year up to it, that part lies within which is not older than the first year
(`scarfdate.clues.first_cell`); all of it where there is none, or where the bounds lie wholly in the cell. Years that say
of themselves that they are about right ("ca. 1920", 1920?) are never hard: on either side ``known_about`` years of
``allowances.csv`` are added, and beyond these they are wrong as often as ``known_by.csv`` says of ``approximate``.
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
from scarfdate.clues.first_cell import FirstCell
from scarfdate.conventions import FIRST_YEAR, GRADES, Array
from scarfdate.errors import RangeError, ScarfdateError, WordError, did_you_mean, shown
from scarfdate.reading.cells import Observed, as_float, is_blank
from scarfdate.tables.families import Family
from scarfdate.tables.priors import Priors
from scarfdate.tables.words import plain
from scarfdate.words import edtf
from scarfdate.words.date_years import Years

UPPER = "acquired"  # the family that bounds from above alone
# how years are known when nobody says: of papers, of an acquisition, and of years that are about right
DOCUMENTED, REGISTER, ABOUT = "documented", "accession-register", "approximate"
_HARD = 1e-12  # a row of likelihoods holds no zero

# first year, last year, how they are known, how many years were added because they are about right
Key = tuple[int | None, int | None, str, int]


@dataclass(frozen=True, slots=True)
class Bounds(Observed):
    """First and last year, both inclusive, None for an open side; and how they are known.

    ``about``: how many years were added on either side, because what was written says that it is about right.
    """

    first: int | None
    last: int | None
    by: str
    about: int = 0

    def cells(self, name: str) -> dict[str, object]:
        """The years by column, and how they are known where that is not what is taken for granted."""
        first = None if self.first is None else self.first + self.about
        last = None if self.last is None else self.last - self.about
        if name == UPPER:
            return {name: f"{last:04d}~" if self.about else last}
        if self.about and self.by != ABOUT:  # about right, and known by something all the same
            ends = ["" if year is None else f"{year:04d}~" for year in (first, last)]
            text = ends[0] if first == last else "/".join(end or ".." for end in ends)
            return {name: text, f"{name}_by": self.by}
        years = {f"{name}_from": first, f"{name}_to": last}
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
            had = self._years(self.name, cells[0])
            if had.last is None and not is_blank(cells[0]):
                raise RangeError(
                    f"{self.name}: {shown(cells[0])} has no last year; write the year in which the piece came in"
                )
            if had.last is None:
                return None, ()
            by = ABOUT if had.approximate else REGISTER
            return self._bounds(had._replace(first=None), by), ()
        whole, start, end, way = cells
        by = self._way(way)
        years = self._years(self.columns[0], whole)
        if not is_blank(whole) and not (is_blank(start) and is_blank(end)):
            raise ScarfdateError(
                f"{self.name}: stands beside {self.columns[1]} or {self.columns[2]}; give one of them"
            )
        if is_blank(whole):
            low, high = (
                self._years(column, cell)
                for column, cell in zip(self.columns[1:3], (start, end), strict=True)
            )
            years = Years(low.first, high.last, low.approximate or high.approximate)
        for column, cell, year in (
            (self.columns[1], start, years.first), (self.columns[2], end, years.last),
        ):  # fmt: skip
            if not is_blank(cell) and year is None:
                raise RangeError(f"{column}: {shown(cell)} leaves this side open; write a year")
        if years.first is None and years.last is None:
            said = () if is_blank(way) else (f"{self.columns[3]} says nothing without years",)
            return None, said
        if years.first is not None and years.last is not None and years.first > years.last:
            raise RangeError(
                f"{self.columns[1]}: {years.first} is later than {self.columns[2]} {years.last}; change one of them"
            )
        by = by or (ABOUT if years.approximate else DOCUMENTED)
        years = years._replace(approximate=years.approximate or by == ABOUT)
        return self._bounds(years, by), ()

    def _bounds(self, years: Years, by: str) -> Bounds:
        """The years, with what is added on either side of those that are about right."""
        about = int(self.priors.allowances["known_about"]) if years.approximate else 0
        first = None if years.first is None else years.first - about
        last = None if years.last is None else years.last + about
        return Bounds(first, last, by, about)

    def _years(self, column: str, cell: object) -> Years:
        """First and last year of a cell, None where it is blank or leaves a side open."""
        if is_blank(cell):
            return Years(None, None, False)
        if isinstance(cell, datetime.date):
            return self._within(column, cell, Years(cell.year, cell.year, False))
        number = as_float(cell)
        if number is not None:
            if not np.isfinite(number) or number != int(number):
                raise RangeError(f"{column}: a whole year is allowed, got {shown(cell)}")
            return self._within(column, cell, Years(int(number), int(number), False))
        if not isinstance(cell, str):
            raise RangeError(f"{column}: a year or a date is allowed, got {shown(cell)}")
        text = cell.strip()
        if text.endswith(".0") and text[:-2].isdigit():
            text = text[:-2]  # a whole number that a spreadsheet wrote
        try:
            years = edtf.read_years(text, self.priors.date_words)
        except ScarfdateError as error:
            raise RangeError(f"{column}: {error}") from None
        return self._within(column, cell, years)

    def _within(self, column: str, cell: object, years: Years) -> Years:
        low, high = int(self.family.low), int(self.family.high)
        if any(year is not None and not low <= year <= high for year in years[:2]):
            raise RangeError(f"{column}: years from {low} to {high} are allowed, got {shown(cell)}")
        return years

    def _way(self, cell: object) -> str:
        """How somebody says that the years are known; "" where nobody does."""
        if is_blank(cell):
            return ""
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
        """Whole numbers, EDTF for those that are about right, and a word for how they are known."""
        limits = {"minimum": int(self.family.low), "maximum": int(self.family.high)}
        year = {"type": "integer", **limits}
        about = {"type": "string", "pattern": "^[0-9./~]+$"}
        if self.name == UPPER:
            return {self.name: {**about, **year, "type": ["integer", "string"]}}
        whole, start, end, by = self.columns
        return {whole: about, start: year, end: year, by: {"enum": list(self.priors.known_by)}}

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
        self._cell = FirstCell.of(priors)

    def key(self, seen: Mapping[str, Any]) -> tuple[Key | None, Warnings]:
        """The bounds; refused where all years of the dating lie before the first of them."""
        bounds = seen.get(self.name)
        if bounds is None:
            return None, ()
        last = int(self.years[-1])
        late = bounds.last if self.name == UPPER else bounds.first
        if late is not None and late - (bounds.about if self.name == UPPER else 0) > last:
            raise RangeError(
                f"{self.name}: {late} lies after {last}, the year of this dating (as_of); "
                "check the year, or give a later as_of"
            )
        return (bounds.first, bounds.last, bounds.by, bounds.about), ()

    def likelihood(self, key: Hashable) -> Array:
        """The same for every grade: the mean of 1 and the chance that they are wrong, by what lies within."""
        first, last, by, _ = cast(Key, key)
        within = np.ones(len(self.years))
        if first is not None:
            within[self.years < first] = 0.0
        if last is not None:
            within[self.years > last] = 0.0
        in_cell = last is not None and last <= FIRST_YEAR  # it is told apart no further
        within[0] = 1.0 if first is None or in_cell else self._cell.since(first)
        return np.broadcast_to(within + (1 - within) * self._wrong(by), self.shape)

    def amiss(self, key: Hashable, part: str) -> Array:
        """Bounds that are wrong: any year is as likely as before."""
        return np.full(self.shape, self._wrong(cast(Key, key)[2]))

    def bound(self, key: Hashable) -> Bound | None:
        """The first of the years, where one is given within the grid."""
        first, _, by, _ = cast(Key, key)
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
        first, last, by, about = cast(Key, key)
        years = (
            f"to {last} at the latest" if first is None
            else f"from {first} on" if last is None
            else f"{first}" if first == last else f"{first}-{last}"
        )  # fmt: skip
        wide = f', its "ca." taken as {about} years' if about else ""
        if self.name == UPPER:
            return self.wording.phrase(self.name, f"{last}{wide}{',' if wide else ''}", self.title)
        how = "" if by in (DOCUMENTED, ABOUT) else f", {by.replace('-', ' ')}"
        return self.wording.phrase(self.name, f"{years}{wide}{how}", self.title)

    def supposes(self, key: Hashable, part: str) -> str:
        """That the years are right."""
        return "it is right" if self.name == UPPER else "they are right"

    def _wrong(self, by: str) -> float:
        return max(self.known_by[by].wrong, _HARD)
