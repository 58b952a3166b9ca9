"""Cells of a dealer's book: days of sale and numbers of days.

What a cell says in a local form (3/4/2024) is read only where the form is stated. Every reader gives
what it read, or a problem in words; none raises for anything a cell can hold.
"""

from __future__ import annotations

import datetime
import math
import re

import numpy as np

from scarfdate.reading.cells import as_float, is_blank

DATE_ORDERS = ("day-month-year", "month-day-year", "year-month-day")
LONGEST = 80  # characters of a cell that can be a price or a date
BLANKS = str.maketrans(dict.fromkeys("\u00a0\u2007\u2009\u202f", " ") | {"\u2212": "-"})

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
    text = " ".join(cell.translate(BLANKS).split())
    if len(text) > LONGEST:
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


_DAYS = re.compile(r"(\d{1,6})(?:\.0*)?(?: ?(?:days?|d))?", re.ASCII | re.IGNORECASE)


def days(cell: object) -> tuple[float, str]:
    """A number of days, 0 or more, in a cell that is not blank; and what is wrong with it."""
    number = as_float(cell)
    if isinstance(cell, str) and (written := _DAYS.fullmatch(cell.strip())):
        number = float(written[1])
    if number is None or not 0 <= number < 10**6:
        return math.nan, "not a number of days; write digits, such as 30"
    return number, ""
