"""Cells of a dealer's book: prices, sale dates, days, and the years in which a piece is known to be made.

What a cell says in a local form (3/4/2024, 1.234) is read only where the form is stated. Every reader
gives what it read, or a problem in words; none raises for anything a cell can hold.
"""

from __future__ import annotations

import datetime
import math
import re
import unicodedata
from collections.abc import Mapping
from decimal import Decimal
from typing import NamedTuple

import numpy as np

from scarfdate.errors import ScarfdateError
from scarfdate.reading.cells import as_float, is_blank
from scarfdate.tables.words import plain
from scarfdate.words import edtf

DATE_ORDERS = ("day-month-year", "month-day-year", "year-month-day")
DECIMALS = (".", ",")
_LONGEST = 80  # characters of a cell that can be a price or a date
_MOST_DIGITS = 12  # of a price: a float holds them all, and no scarf costs more
_BLANKS = str.maketrans(dict.fromkeys("\u00a0\u2007\u2009\u202f", " ") | {"\u2212": "-"})

# ------------------------------------------------------------------------------------- dates

# the ISO 8601 calendar date, with a clock time behind it or without
_CLOCK = (
    r"(?:,?[T ] ?\d{1,2}:\d{2}[\d:.]*(?: ?(?:[AaPp]\.?[Mm]\.?|Z|[A-Z]{3,4}|[+-]\d{2}:?\d{2}))?)?"
)
_ISO = re.compile(rf"(\d{{4}})-(\d{{2}})-(\d{{2}}){_CLOCK}", re.ASCII)
_LOCAL = re.compile(rf"(\d{{1,4}})([./-]) ?(\d{{1,2}})\2 ?(\d{{1,4}})\.?{_CLOCK}", re.ASCII)
_DAY_FIRST = re.compile(
    rf"(\d{{1,2}})(?:st|nd|rd|th)?[ .-]+([A-Za-z]{{3,9}})[ .,-]+(\d{{4}}){_CLOCK}", re.ASCII
)
_MONTH_FIRST = re.compile(
    rf"([A-Za-z]{{3,9}})[ .-]+(\d{{1,2}})(?:st|nd|rd|th)?[ ,-]+(\d{{4}}){_CLOCK}", re.ASCII
)
_MONTHS = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september",
    "october", "november", "december",
)  # fmt: skip


def sale_date(cell: object, order: str | None) -> tuple[datetime.date | None, str]:
    """The day in a cell that is not blank, and what is wrong with it.

    Read: dates of a spreadsheet or frame; ``2024-03-05`` (ISO 8601, a clock time behind it says
    nothing more); the month as an English word; and numbers in the stated ``order`` (one of
    `DATE_ORDERS`, None: not stated) with a year of four digits.
    """
    if isinstance(cell, np.datetime64):
        cell = cell.astype("datetime64[D]").item()
    if isinstance(cell, datetime.datetime) and not is_blank(cell):  # NaT is a datetime, too
        return cell.date(), ""
    if isinstance(cell, datetime.date) and not is_blank(cell):
        return cell, ""
    if not isinstance(cell, str):
        return None, "not a date; write it as 2024-03-05"
    text = " ".join(cell.translate(_BLANKS).split())
    if len(text) > _LONGEST:
        return None, "not a date; write it as 2024-03-05"
    if iso := _ISO.fullmatch(text):
        return _day(*iso.groups())
    if words := _DAY_FIRST.fullmatch(text):
        day, month, year = words.groups()
        return _named_month(year, month, day)
    if words := _MONTH_FIRST.fullmatch(text):
        month, day, year = words.groups()
        return _named_month(year, month, day)
    if local := _LOCAL.fullmatch(text):
        parts = (local[1], local[3], local[4])
        if order is None:
            return None, (
                "a date in a local order, which is never guessed; "
                f"state date_order in the map of columns ({', '.join(DATE_ORDERS)})"
            )
        named = dict(zip(order.split("-"), parts, strict=True))
        if len(named["year"]) != 4:
            other = any(len(part) == 4 for part in parts)
            return None, (
                f"not in the stated order {order}" if other else "a year without its century"
            ) + "; write it as 2024-03-05"
        return _day(named["year"], named["month"], named["day"], f"; the stated order is {order}")
    return None, "not a date; write it as 2024-03-05"


def _named_month(year: str, month: str, day: str) -> tuple[datetime.date | None, str]:
    word = month.casefold()
    for number, name in enumerate(_MONTHS, start=1):
        if word in (name, name[:3]) or (word == "sept" and number == 9):
            return _day(year, str(number), day)
    return None, "a month that is not known; write it as 2024-03-05"


def _day(year: str, month: str, day: str, more: str = "") -> tuple[datetime.date | None, str]:
    try:
        return datetime.date(int(year), int(month), int(day)), ""
    except ValueError:
        return None, f"a day that is in no calendar{more}"


# ------------------------------------------------------------------------------------- money

_PRICE = re.compile(
    r"([^\d+-]*?) ?([+-]?)(\d[\d.,'’ ]*?)(?:([.,])-{1,2})? ?([^\d.,'’-]*(?:\.)?)", re.ASCII
)
_CODE = re.compile(r"[A-Z]{3}")  # the form of ISO 4217; which codes are in use is not looked up
_SIGNED = re.compile(r"[A-Za-z]{0,3} ?[^\w\s]", re.ASCII)
# signs and the currencies that write them: common practice; a sign not listed fits every code
_WRITTEN_BY = {
    "€": ("EUR",),
    "£": ("GBP", "EGP", "FKP", "GIP", "LBP", "SHP", "SSP", "SYP"),
    "¥": ("JPY", "CNY"),
    "$": (
        "USD", "ARS", "AUD", "BBD", "BMD", "BND", "BSD", "BZD", "CAD", "CLP", "COP", "DOP", "FJD",
        "GYD", "HKD", "JMD", "MXN", "NAD", "NZD", "SGD", "SRD", "TTD", "TWD", "UYU", "XCD",
    ),
}  # fmt: skip


class Money(NamedTuple):
    """An amount, its currency as far as the cell says it ("" if not), and what is wrong with it."""

    amount: float
    currency: str = ""
    problem: str = ""


def is_code(text: str) -> bool:
    """Whether a text has the form of an ISO 4217 code: three capital letters."""
    return _CODE.fullmatch(text) is not None


def price(
    cell: object,
    decimal: str | None,
    words: Mapping[str, str],
    stated: str = "",
    *,
    free: bool = False,
) -> Money:
    """The money in a cell that is not blank.

    ``decimal``: the decimal sign, "." or ","; None: not stated, then only digits with at most two
    behind a full stop are read. With it, the other sign, a blank or an apostrophe may part groups of
    three. ``words``: what the currency is called (as compared by `plain`) to its code. ``stated``:
    the code that holds where a cell has no currency, or a sign that this code is written with.
    ``free``: 0 is allowed, as for costs. A sign of several currencies stays as it is.
    """
    nothing = math.nan
    if isinstance(cell, Decimal):
        cell = float(cell) if cell.is_finite() else nothing
    if not isinstance(cell, str):
        number = as_float(cell)
        if number is None or not math.isfinite(number):
            return Money(nothing, "", "not a price; write digits, such as 40.50")
        return _amount(number, stated, free)
    text = " ".join(cell.translate(_BLANKS).split())
    match = _PRICE.fullmatch(text) if len(text) <= _LONGEST else None
    if match is None:
        return Money(nothing, "", "not a price; write digits, such as 40.50")
    before, minus, digits, _, after = match.groups()
    currency, problem = _currency(before.strip(), after.strip(), words, stated)
    if problem:
        return Money(nothing, "", problem)
    number, problem = _number(digits.strip(), decimal)
    if problem:
        return Money(nothing, "", problem)
    return _amount(-number if minus == "-" else number, currency, free)


def _amount(number: float, currency: str, free: bool) -> Money:
    if number < 0 or (number == 0 and not free):
        return Money(math.nan, "", "an amount below 0" if number < 0 else "a price of 0 is no sale")
    if number >= 10**_MOST_DIGITS:
        return Money(math.nan, "", "more than any scarf can cost")
    return Money(number, currency)


def _number(digits: str, decimal: str | None) -> tuple[float, str]:
    if len(digits) > 2 * _MOST_DIGITS:
        return math.nan, "more than any scarf can cost"
    if decimal is None:
        if re.fullmatch(r"\d+(\.\d{1,2})?", digits, re.ASCII):
            return float(digits), ""
        return math.nan, (
            "a number in a local form, which is never guessed; "
            'state decimal in the map of columns ("." or ",")'
        )
    parting = "'’ " + ("," if decimal == "." else ".")
    whole = rf"\d{{1,3}}([{parting}])\d{{3}}(?:\1\d{{3}})*|\d+"
    if not re.fullmatch(rf"(?:{whole})(?:{re.escape(decimal)}\d{{1,4}})?", digits, re.ASCII):
        return math.nan, f'not a number whose decimal sign is the stated "{decimal}"'
    for sign in parting:
        digits = digits.replace(sign, "")
    return float(digits.replace(",", ".")), ""


def currency_of(text: str, words: Mapping[str, str]) -> tuple[str, str]:
    """A cell of currency alone: its code, or its sign as it stands; and what is wrong with it."""
    named = words.get(plain(text))
    if named is not None:
        return named, ""
    bare = text.strip()
    if is_code(bare.upper()):
        return bare.upper(), ""
    if _is_sign(bare):
        only = _WRITTEN_BY.get(bare, ())
        return (only[0] if len(only) == 1 else bare.replace(" ", "")), ""
    return "", (
        "a currency that is not known; write its ISO 4217 code (three letters), "
        "or say under [words.sold_currency] which it is"
    )


def _is_sign(text: str) -> bool:
    return _SIGNED.fullmatch(text) is not None and unicodedata.category(text[-1]) == "Sc"


def _currency(before: str, after: str, words: Mapping[str, str], stated: str) -> tuple[str, str]:
    """The currency of the texts around a number, with what is stated for all of them."""
    currencies = []
    for text in filter(None, (before, after)):
        if not (plain(text) in words or is_code(text) or _is_sign(text)):
            return "", (
                "not a price; write digits, such as 40.50, with an ISO 4217 code or a currency sign "
                "(other words for a currency are stated under [words.sold_currency])"
            )
        currencies.append(currency_of(text, words)[0])
    codes = list(dict.fromkeys([*filter(is_code, currencies), *filter(None, [stated])]))
    signs = [text for text in currencies if not is_code(text)]
    if len(codes) > 1:
        return "", f"a price in {codes[0]} and in {codes[1]}"
    if not codes:
        return (signs[0] if signs else ""), ""
    for sign in signs:
        if codes[0] not in _WRITTEN_BY.get(sign, codes):
            return "", f"a sign that {codes[0]} is not written with"
    return codes[0], ""


_DAYS = re.compile(r"(\d{1,6})(?:\.0*)?(?: ?(?:days?|d))?", re.ASCII | re.IGNORECASE)


def days(cell: object) -> tuple[float, str]:
    """A number of days, 0 or more, in a cell that is not blank; and what is wrong with it."""
    number = as_float(cell)
    if isinstance(cell, str) and (written := _DAYS.fullmatch(cell.strip())):
        number = float(written[1])
    if number is None or not 0 <= number < 10**6:
        return math.nan, "not a number of days; write digits, such as 30"
    return number, ""


# ------------------------------------------------------------------------------- known years

OPEN = ".."
_CLOCKED = re.compile(r"(\d{4}-\d{2}-\d{2})[T ]\d{2}:\d{2}.*", re.ASCII)


class Known(NamedTuple):
    """The years in which a piece can have been made, None for an open end; and what is wrong."""

    first: int | None = None
    last: int | None = None
    approximate: bool = False
    problem: str = ""


def known_years(known: object, start: object, end: object) -> Known | None:
    """The interval in ``known`` (one cell), or in its two ends; None where all three are blank (None).

    A cell is a year, or text that `scarfdate.words.edtf` reads. ``..`` is an open end, and is written: an
    end that is left blank beside a single year is a problem, because it may mean that year alone.
    Where both ways are used they must agree.
    """
    one = None if known is None else _whole(known, "known")
    if start is None and end is None:
        return one
    two = _ends(start, end)
    if one is None or one.problem or two.problem:
        return one if one is not None and one.problem else two
    if (one.first, one.last) != (two.first, two.last):
        return Known(problem="known does not agree with known_from and known_to; give one of them")
    return one


def _ends(start: object, end: object) -> Known:
    if start is None or end is None:
        name, other = ("known_to", "known_from") if start is None else ("known_from", "known_to")
        alone = _whole(end if start is None else start, name)
        if not alone.problem and alone.first == alone.last:
            return Known(problem=f"{other} is blank: repeat the year where it is that year alone, "
                                 f"or write {OPEN} for an open end")  # fmt: skip
        return alone
    sides = []
    for name, cell in (("known_from", start), ("known_to", end)):
        opened = isinstance(cell, str) and cell.strip() == OPEN
        sides.append(Known() if opened else _whole(cell, name))
    for side in sides:
        if side.problem:
            return side
    first, last = sides[0].first, sides[1].last
    if first is None and last is None:
        return Known(problem="both ends are open: no year is named")
    return Known(first, last, sides[0].approximate or sides[1].approximate)


def _whole(cell: object, name: str) -> Known:
    number = as_float(cell)
    if isinstance(cell, datetime.date) and not is_blank(cell):
        text = f"{cell.year:04d}"
    elif isinstance(cell, np.datetime64):
        text = str(cell.astype("datetime64[Y]"))
    elif number is not None and math.isfinite(number) and number == int(number):
        text = str(int(number))
    elif isinstance(cell, str):
        clocked = _CLOCKED.fullmatch(cell.strip())  # a date cell of a spreadsheet
        text = clocked[1] if clocked else cell.strip()
        text = text.removesuffix(".0") if re.fullmatch(r"\d{4}\.0", text, re.ASCII) else text
    else:
        return Known(problem=f"{name}: a year or an interval such as 1958/1969 is wanted")
    try:
        first, last = edtf.read(text)
        about = edtf.is_approximate(text)
    except ScarfdateError as refusal:
        return Known(problem=f"{name}: {refusal}")
    if last is not None and last < 1:
        return Known(problem=f"{name}: there is no year 0")
    return Known(None if first is None else max(first, 1), last, about)
