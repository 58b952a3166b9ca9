"""The sale in a row of a dealer's book: day, price, costs and days to sell; what cannot be read is blanked."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from scarfdate.columns.columns_map import ColumnsMap
from scarfdate.reading.cells import as_typed
from scarfdate.reading.days import LONGEST, days, order_of, sale_date
from scarfdate.reading.money import Money, currency_of, decimal_of, is_code, price
from scarfdate.records.row import Notes, Row
from scarfdate.tables.sheet_words import SheetWords

_DAYS = ("bought_on", "listed_on", "sold_on")
_MONEY = ("costs", "asked_price", "sold_price")


class SaleReader:
    """Reads what was paid for a piece, and when; ``today``: the last day on which it can have been sold; ``words``:
    what stands beside a price; ``months``: as `DateWords.months`."""

    def __init__(
        self,
        using: ColumnsMap,
        today: datetime.date,
        notes: Notes,
        words: SheetWords,
        months: Mapping[str, int],
    ) -> None:
        self.using, self.today, self.notes, self.words = using, today, notes, words
        self.months = months

    def settle(self, rows: Sequence[Row]) -> None:
        """The order of days and the decimal sign, where the map states none and cells of the table show them."""
        say, using = self.notes.say, self.using
        if using.date_order is None:
            order, needed = order_of(row.cells.get(name) for name in _DAYS for row in rows)
            using = replace(using, date_order=order if needed else None)
            if using.date_order:
                say(f"days such as 03/04/2024 are read as {order}, as other cells of the table show; date_order in "
                    "the map of columns says otherwise")  # fmt: skip
        if using.decimal is None:
            decimal, needed = decimal_of(row.cells.get(name) for name in _MONEY for row in rows)
            using = replace(using, decimal=decimal if needed else None)
            if using.decimal:
                say(f"money such as 1.234 is read with the decimal sign {decimal!r}, as other cells of the table "
                    "show; decimal in the map of columns says otherwise")  # fmt: skip
        self.using = using

    def money(self, cell: object, code: str, *, free: bool) -> Money:
        """The money in a cell, without the words that can stand beside it ("6 + p&p")."""
        if free and self.words.says("free", cell):
            return Money(0.0, code)
        if isinstance(cell, str):
            cell = self.words.price_alone(cell)
        words = self.using.words.get("sold_currency", {})
        return price(cell, self.using.decimal, words, code, free=free)

    def says_sold(self, row: Row) -> bool:
        """Whether a cell of the sale says that there was one, though neither its day nor its price can be read."""
        cells = [row.cells.get(name) for name in ("sold_on", "sold_price")]
        return any(
            self.words.says("sold", cell) or any(map(str.isdecimal, as_typed(cell)[:LONGEST]))
            for cell in cells
            if not self.words.says("unsold", cell)
        )

    def read(self, row: Row) -> None:
        """What was paid, when and after how many days, as far as the row says it."""
        row.sold_on = self.day(row, "sold_on")
        listed = self.day(row, "listed_on")
        if row.sold_on is not None and row.sold_on > self.today:
            row.wrong.append(("future", f"sold on {row.sold_on}, which lies after {self.today}; "
                              "mend the date"))  # fmt: skip
        stated = self.currency(row) or self.using.currency
        code = stated if is_code(stated) else ""
        for name in ("sold_price", "costs"):
            if (cell := row.cells.get(name)) is None or self.says_nothing(name, cell):
                continue
            money = self.money(cell, code, free=name == "costs")
            if money.problem:
                self.notes.unread(f"{name} was not read: {money.problem}", row.number, cell)
            elif stated and not code and money.currency not in ("", stated):
                self.notes.unread(f"{name} was not read: in another currency than sold_currency says",
                               row.number, cell)  # fmt: skip
            elif name == "sold_price":
                row.price, row.currency = money.amount, money.currency or stated
                self._sign_alone(row)
            elif row.currency and money.currency and money.currency != row.currency:
                self.notes.unread(
                    "costs was not read: in another currency than the price", row.number, cell
                )
            else:
                row.costs, row.currency = money.amount, row.currency or money.currency
        self._days(row, listed)

    def currency(self, row: Row) -> str:
        """The currency that a row states in a cell of its own, "" where it states none."""
        if (cell := row.cells.get("sold_currency")) is None:
            return ""
        words = self.using.words.get("sold_currency", {})
        own, problem = currency_of(as_typed(cell)[:80], words)
        if problem:
            self.notes.unread(f"sold_currency was not read: {problem}", row.number, cell)
        return own

    def _sign_alone(self, row: Row) -> None:
        if row.currency and not is_code(row.currency):
            self.notes.add(f"the sign {row.currency} is that of several currencies; state currency, "
                           "or [words.sold_currency], in the map of columns", row.number)  # fmt: skip

    def says_nothing(self, name: str, cell: object) -> bool:
        """Whether a cell of the sale says no more than that there was one, or was none ("sold", "in stock")."""
        return name in ("sold_on", "sold_price") and (
            self.words.says("unsold", cell) or self.words.says("sold", cell)
        )

    def day(self, row: Row, name: str) -> datetime.date | None:
        """The day in a cell; None, with a remark, where it cannot be read."""
        cell = row.cells.get(name)
        if cell is None or self.says_nothing(name, cell):
            return None
        read = sale_date(cell, self.using.date_order, self.months)
        if read.problem:
            self.notes.unread(f"{name} was not read: {read.problem}", row.number, cell)
        if read.month:
            row.months.add(name)
            self.notes.add(
                f"{name} says no more than a month: its middle is taken", row.number, cell
            )
        return read.day

    def stated_days(self, row: Row) -> None:
        """The days to sell that the row states."""
        if (cell := row.cells.get("days_to_sell")) is not None:
            row.days_to_sell, problem = days(cell)
            if problem:
                self.notes.unread(f"days_to_sell was not read: {problem}", row.number, cell)

    def _days(self, row: Row, listed: datetime.date | None) -> None:
        self.stated_days(row)
        if row.sold_on is None or listed is None:
            return
        between = (row.sold_on - listed).days
        if between < 0:
            self.notes.add("listed_on lies after sold_on and is not used", row.number)
        elif math.isnan(row.days_to_sell):
            row.days_to_sell = float(between)
        elif between != row.days_to_sell:
            self.notes.add("days_to_sell differs from the days between listed_on and sold_on; "
                           "it stands as it was written", row.number)  # fmt: skip
