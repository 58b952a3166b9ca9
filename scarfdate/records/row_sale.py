"""The sale in a row of a dealer's book: day, price, costs and days to sell; what cannot be read is blanked."""

from __future__ import annotations

import datetime
import math

from scarfdate.columns.columns_map import ColumnsMap
from scarfdate.reading.cells import as_typed
from scarfdate.reading.days import days, sale_date
from scarfdate.reading.money import currency_of, is_code, price
from scarfdate.records.row import Notes, Row


class SaleReader:
    """Reads what was paid for a piece, and when; ``today``: the last day on which it can have been sold."""

    def __init__(self, using: ColumnsMap, today: datetime.date, notes: Notes) -> None:
        self.using, self.today, self.notes = using, today, notes

    def read(self, row: Row) -> None:
        """What was paid, when and after how many days, as far as the row says it."""
        row.sold_on = self.day(row, "sold_on")
        listed = self.day(row, "listed_on")
        if row.sold_on is not None and row.sold_on > self.today:
            row.wrong.append(("future", f"sold on {row.sold_on}, which lies after {self.today}; "
                              "mend the date"))  # fmt: skip
        words = self.using.words.get("sold_currency", {})
        stated = self.currency(row) or self.using.currency
        code = stated if is_code(stated) else ""
        for name in ("sold_price", "costs"):
            if (cell := row.cells.get(name)) is None:
                continue
            money = price(cell, self.using.decimal, words, code, free=name == "costs")
            if money.problem:
                self.notes.add(f"{name} was not read: {money.problem}", row.number, cell)
            elif stated and not code and money.currency not in ("", stated):
                self.notes.add(f"{name} was not read: in another currency than sold_currency says",
                               row.number, cell)  # fmt: skip
            elif name == "sold_price":
                row.price, row.currency = money.amount, money.currency or stated
                self._sign_alone(row)
            elif row.currency and money.currency and money.currency != row.currency:
                self.notes.add(
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
            self.notes.add(f"sold_currency was not read: {problem}", row.number, cell)
        return own

    def _sign_alone(self, row: Row) -> None:
        if row.currency and not is_code(row.currency):
            self.notes.add(f"the sign {row.currency} is that of several currencies; state currency, "
                           "or [words.sold_currency], in the map of columns", row.number)  # fmt: skip

    def day(self, row: Row, name: str) -> datetime.date | None:
        """The day in a cell; None, with a remark, where it cannot be read."""
        cell = row.cells.get(name)
        if cell is None:
            return None
        day, problem = sale_date(cell, self.using.date_order)
        if problem:
            self.notes.add(f"{name} was not read: {problem}", row.number, cell)
        return day

    def stated_days(self, row: Row) -> None:
        """The days to sell that the row states."""
        if (cell := row.cells.get("days_to_sell")) is not None:
            row.days_to_sell, problem = days(cell)
            if problem:
                self.notes.add(f"days_to_sell was not read: {problem}", row.number, cell)

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
