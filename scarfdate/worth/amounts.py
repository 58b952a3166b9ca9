"""Money as a person writes it, and as a person typed it."""

from __future__ import annotations

import math

from scarfdate.errors import RangeError, TableError, shown
from scarfdate.reading.money import typed_price
from scarfdate.worth.costs import AMOUNTS, Costs

_ROUND = 20  # money: from here on nobody asks for the small coins


def amount(money: float, currency: str, *, down: bool = False) -> str:
    """An amount with its currency: in whole money from 20 on, below with two digits. ``down``: never rounded up,
    for the most that may be paid."""
    digits = 0 if abs(money) >= _ROUND else 2
    if down:
        money = math.floor(money * 10**digits + 1e-9) / 10**digits
    text = f"{money:.{digits}f}"
    text = text.lstrip("-") if float(text) == 0 else text
    return f"{text} {currency}".strip()


def between(low: float, high: float, currency: str) -> str:
    """Two amounts: "4.20 and 31 EUR"."""
    return f"{amount(low, '')} and {amount(high, currency)}"


def read_amount(name: str, typed: object, currency: str) -> float | None:
    """Money as it was typed, such as 12, "12.50", "12,50" or "EUR 12"; None where nothing was given.

    Raises RangeError, naming it, for what is no amount, negative, or of another currency than ``currency``.
    """
    if typed is None or (isinstance(typed, str) and not typed.strip()):
        return None
    if isinstance(typed, bool):
        raise RangeError(f"{name}: money is allowed, such as 12.50, got {shown(typed)}")
    read = typed_price(typed, currency)
    if read.problem:
        raise RangeError(f"{name}: {read.problem}, got {shown(typed)}")
    return read.amount


def one_currency(costs: Costs, prices: str) -> str:
    """The currency of costs and prices, a label; TableError, naming both, where they are not the same."""
    if costs.currency != prices and len(costs.not_stated) < len(AMOUNTS):
        each = [f"{name} in {code}" if code else f"{name} without a currency"
                for name, code in (("costs", costs.currency), ("prices", prices))]  # fmt: skip
        raise TableError(f"{each[0]}, {each[1]}: nothing is converted; state all in one currency")
    return prices
