"""Rows of a book of bought and sold pieces understood one by one: days, money, what came back.

A cell that cannot be read is blanked with a remark. What contradicts itself costs its row.
"""

from __future__ import annotations

import datetime
import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from scarfdate.columns.columns_map import ColumnsMap
from scarfdate.errors import ScarfdateError, TableError, shown
from scarfdate.reading.cells import as_typed, read_number, read_yes
from scarfdate.reading.money import BELOW_ZERO, is_code, writes
from scarfdate.records.row import Row
from scarfdate.records.sheet_rows import SheetRows, alike, clue_frame
from scarfdate.records.sold_files import SoldTable
from scarfdate.tables.priors import Priors

CLUE_DATES = ("known", "known_from", "known_to", "known_by")  # here a clue as in a stock sheet
_MONEY = {"costs": "paid", "asked_price": "asked", "sold_price": "price"}  # column to field
_DAYS = {"bought_on": "bought", "listed_on": "listed", "sold_on": "sold"}
_FREE = "costs"  # a piece may have cost nothing; nothing is offered or sold for nothing


@dataclass
class PieceRow(Row):
    """A row of the book; ``currencies``: what each amount of money states, "" where it states none."""

    bought_on: datetime.date | None = None
    listed_on: datetime.date | None = None
    paid: float = math.nan
    asked: float = math.nan
    price_index: float = math.nan
    returned: bool | None = None
    currencies: dict[str, str] = field(default_factory=dict)
    says_sold: bool = False

    @property
    def sold(self) -> bool:
        """Whether it was sold: a day or a price of sale is stated, be it one that cannot be read."""
        return self.sold_on is not None or not math.isnan(self.price) or self.says_sold

    @property
    def last_day(self) -> datetime.date | None:
        """The last day that the row names."""
        named = [day for day in (self.bought_on, self.listed_on, self.sold_on) if day is not None]
        return max(named, default=None)


class BookReader(SheetRows):
    """Reads the rows of one book. ``currency``: of amounts that state none, "" if not stated; ``closed_on``:
    the last day that a row may name."""

    def __init__(
        self, priors: Priors, using: ColumnsMap, *, currency: str, closed_on: datetime.date
    ) -> None:
        super().__init__(priors, using, closed_on)
        self.stated = currency or using.currency

    def rows(self, table: SoldTable, places: Mapping[str, tuple[int, ...]]) -> list[PieceRow]:
        """All rows, in their order, each with what is wrong with it."""
        read = self.cells(PieceRow, table, places)
        keys = [alike(row) for row in read]
        for row in read:
            self._days(row)
            self._money(row)
            self._others(row)
        self.read_clues(read, clue_frame(read, self.clue_names(read)), noted=True)
        self._twice(read, keys)
        self._returns([row for row in read if not row.wrong])
        self.currency = self._one_currency([row for row in read if not row.wrong], table)
        return read

    def clue_names(self, rows: Sequence[Row]) -> list[str]:
        """The columns of clues and notes; a known date is a clue here."""
        known = [name for name in CLUE_DATES if rows and name in rows[0].cells]
        return [*super().clue_names(rows), *known]

    def _days(self, row: PieceRow) -> None:
        for name in _DAYS:
            setattr(row, name, self.sale.day(row, name))
        self._within_months(row)
        named = [(what, day) for name, what in _DAYS.items() if (day := getattr(row, name))]
        for (earlier, first), (later, last) in pairwise(named):
            if last < first:
                row.wrong.append(("contradictory", f"{later} on {last}, before it was {earlier} on "
                                  f"{first}; mend one of them"))  # fmt: skip
        for what, day in named:
            if day > self.today:
                row.wrong.append(("future", f"{what} on {day}, which lies after {self.today}; "
                                  "mend the date"))  # fmt: skip
        self.sale.stated_days(row)
        if row.sold_on is not None and row.listed_on is not None:
            row.days_to_sell = float((row.sold_on - row.listed_on).days)

    def _within_months(self, row: PieceRow) -> None:
        """A day that is the middle of a month alone gives way to a stated one of the same month that it would
        contradict: bought in June, and sold on the 3rd."""
        latest = self.today
        for name in reversed(_DAYS):
            day: datetime.date | None = getattr(row, name)
            if day is None:
                continue
            if name in row.months and day > latest and same_month(day, latest):
                setattr(row, name, latest)
            latest = min(latest, getattr(row, name))
        earliest = datetime.date.min
        for name in _DAYS:
            day = getattr(row, name)
            if day is None:
                continue
            if name in row.months and day < earliest and same_month(day, earliest):
                setattr(row, name, earliest)
            earliest = max(earliest, getattr(row, name))

    def _money(self, row: PieceRow) -> None:
        own = self.sale.currency(row)
        for name, kept in _MONEY.items():
            cell = row.cells.get(name)
            if cell is None or self.sale.says_nothing(name, cell):
                continue
            code = own if is_code(own) else ""
            money = self.sale.money(cell, code, free=name == _FREE)
            if money.problem == BELOW_ZERO:
                row.wrong.append(("contradictory", f"{name} is {shown(cell)}, {BELOW_ZERO}; mend it, or "
                                  "write a piece that came back as returned"))  # fmt: skip
            elif money.problem:
                self.notes.unread(f"{name} was not read: {money.problem}", row.number, cell)
            else:
                setattr(row, kept, money.amount)
                row.currencies[name] = money.currency or own
        row.says_sold = self.sale.says_sold(row)
        if row.says_sold and row.sold_on is None and math.isnan(row.price):
            self.notes.unread("counted as sold: when and for how much cannot be read", row.number)

    def _others(self, row: PieceRow) -> None:
        count = row.cells.get("quantity")
        if count is not None and as_typed(count).strip().casefold().strip("x× ") not in (
            "1",
            "1.0",
        ):
            row.wrong.append(("unreadable", f"quantity is {shown(count)}: a row of a book is one piece; give each a "
                              "row of its own"))  # fmt: skip
        try:
            row.returned = read_yes("returned", row.cells.get("returned"))
        except ScarfdateError as refusal:
            self.notes.unread(f"returned was not read: {_why(refusal)}", row.number)
        try:
            index = read_number("price_index", row.cells.get("price_index"))
            row.price_index = math.nan if index is None else index
            if row.price_index <= 0:
                raise ScarfdateError(f"price_index: a number above 0 is allowed, got {index:g}")
        except ScarfdateError as refusal:
            row.price_index = math.nan
            self.notes.unread(f"price_index was not read: {_why(refusal)}", row.number)
        if not row.sold and not math.isnan(row.days_to_sell):
            row.days_to_sell = math.nan
            self.notes.add("days_to_sell is not used: neither a day nor a price says that it was sold",
                           row.number)  # fmt: skip
        if row.returned and not row.sold:
            row.wrong.append(("contradictory", "returned, but neither a day nor a price says that it was "
                              "sold; add the sale"))  # fmt: skip

    def _twice(self, rows: Sequence[PieceRow], keys: Sequence[tuple[str, ...]]) -> None:
        """Rows that were written twice, and different rows of one id; which one comes first never matters.

        Pieces without an id may be alike: two of a dozen that were bought together.
        """
        seen: dict[tuple[str, ...], int] = {}
        of_id: dict[str, list[PieceRow]] = defaultdict(list)
        for row, key in zip(rows, keys, strict=True):
            if row.wrong:
                continue
            name = str(row.cells.get("id") or "").strip()
            if (earlier := seen.setdefault(key, row.number)) == row.number:
                of_id[name].append(row)
            elif name:
                row.wrong.append(("duplicate", f"the same as row {earlier} in all that is read; give "
                                  "each piece an id of its own"))  # fmt: skip
            else:
                self.notes.add(f"without an id, and the same as row {earlier}: counted as a piece of its own",
                               row.number)  # fmt: skip
        of_id.pop("", None)
        for name, same in of_id.items():
            if sum(not row.returned for row in same) < 2:
                continue  # what came back can be sold again
            numbers = ", ".join(str(row.number) for row in same)
            for row in same:
                row.wrong.append(("contradictory", f"id {shown(name)} stands in rows {numbers}, which differ, "
                                  "and none of them says returned; give each piece an id of its own"))  # fmt: skip

    def _returns(self, rows: Sequence[PieceRow]) -> None:
        """Where only pieces that came back are marked, the other sold ones stayed with their buyers."""
        if {row.returned for row in rows} != {True, None}:
            return
        self.notes.say("returned says yes and never no: sold pieces in which it is blank are taken not to have "
                       "come back")  # fmt: skip
        for row in rows:
            if row.sold and row.returned is None:
                row.returned = False

    def _one_currency(self, rows: Sequence[PieceRow], table: SoldTable) -> str:
        """The currency of all amounts, "" where none is stated. Raises TableError for two."""
        where: dict[str, list[PieceRow]] = defaultdict(list)
        for row in rows:
            for currency in {currency or self.stated for currency in row.currencies.values()}:
                where[currency].append(row)
        codes = {one for one in (self.stated, *where) if is_code(one)}
        if len(codes) == 1:  # its sign is the same currency
            (code,) = codes
            for sign in [one for one in where if one not in ("", code) and writes(code, one)]:
                where[code] += where.pop(sign)

        def told(currency: str) -> str:
            first = min(where[currency], key=lambda row: row.number)
            return f"{_rows(len(where[currency]))}, such as {table.places[first.number - 1]}"

        named = sorted({one for one in (self.stated, *where) if one})
        if len(named) > 1:
            each = " and ".join(
                f"{one} ({told(one) if one in where else 'stated for all'})" for one in named
            )
            raise TableError(f"{table.name}: money in {each}. A book is kept in one currency, and nothing is "
                             "converted here; keep a book for each")  # fmt: skip
        if named and "" in where:
            self.notes.say(
                f"money without a currency ({told('')}) is taken to be in {named[0]}, as all that is stated"
            )
        return named[0] if named else ""


def same_month(one: datetime.date, other: datetime.date) -> bool:
    """Whether two days are of the same month."""
    return (one.year, one.month) == (other.year, other.month)


def _why(refusal: ScarfdateError) -> str:
    """A refusal without the name of the column in front."""
    return str(refusal).partition(": ")[2]


def _rows(count: int) -> str:
    return "1 row" if count == 1 else f"{count} rows"
