"""Cells of a dealer's book: days of sale and numbers of days.

What a cell says in a local form (3/4/2024) is read only where the form is stated, or where cells show it: 24/12/2024
can be day first alone, and days with points (3.4.2024) are written so alone. Every reader gives what it read, or a
problem in words; none raises for anything a cell can hold.
"""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Iterable, Mapping
from typing import NamedTuple

import numpy as np

from scarfdate.reading.cells import as_float, is_blank
from scarfdate.words.date_phrases import words_of

DATE_ORDERS = ("day-month-year", "month-day-year", "year-month-day")
_DAY_FIRST, _MONTH_FIRST = DATE_ORDERS[:2]
LONGEST = 80  # characters of a cell that can be a price or a date
BLANKS = str.maketrans(dict.fromkeys("\u00a0\u2007\u2009\u202f", " ") | {"\u2212": "-"})
_MIDDLE, _MONTHS_OF_A_YEAR = 15, 12
_LAST_CENTURY = (
    69  # of the year in two digits: 69 to 99 are 19.., 00 to 68 are 20.. (POSIX, strptime, %y)
)
_NO_DATE = "not a date; write it as 2024-03-05"

# the ISO 8601 calendar date, with a clock time behind it or without
_CLOCK = (
    r"(?:,?[T ] ?\d{1,2}:\d{2}[\d:.]*(?: ?(?:[AaPp]\.?[Mm]\.?|Z|[A-Z]{3,4}|[+-]\d{2}:?\d{2}))?)?"
)
_ISO = re.compile(rf"(\d{{4}})-(\d{{2}})-(\d{{2}}){_CLOCK}", re.ASCII)
_LOCAL = re.compile(rf"(\d{{1,4}})([./-]) ?(\d{{1,2}})\2 ?(\d{{1,4}})\.?{_CLOCK}", re.ASCII)
_NAME = r"([A-Za-z\u00c0-\u017f]{3,9})"  # of a month
_ENDING = r"(?:st|nd|rd|th|er|\u00ba|\u00b0)?"  # of a day: 1st, 1er, 1º
_DAY_NAMED = re.compile(rf"([0-9]{{1,2}}){_ENDING}[ .-]+(?:de )?{_NAME}[ .,-]+([0-9]{{4}}){_CLOCK}")
_MONTH_NAMED = re.compile(rf"{_NAME}[ .-]+([0-9]{{1,2}}){_ENDING}[ ,-]+([0-9]{{4}}){_CLOCK}")
_MONTH_ALONE = re.compile(rf"{_NAME}[ .,-]+([0-9]{{4}})")


class Day(NamedTuple):
    """A day, None with the ``problem`` where it cannot be read; ``month``: the cell says no more than the month, and
    the day is the middle of it."""

    day: datetime.date | None
    problem: str = ""
    month: bool = False


def sale_date(cell: object, order: str | None, months: Mapping[str, int]) -> Day:
    """The day in a cell that is not blank.

    Read: dates of a spreadsheet or frame; ``2024-03-05`` (ISO 8601, a clock time behind it says
    nothing more); the month as a word (``months``: as `DateWords.months`); and numbers in the stated ``order`` (one
    of `DATE_ORDERS`, None: not stated, then in the one order in which they are a day). A year of two digits is read as
    POSIX reads it.
    """
    if isinstance(cell, np.datetime64):
        cell = cell.astype("datetime64[D]").item()
    if isinstance(cell, datetime.datetime) and not is_blank(cell):  # NaT is a datetime, too
        return Day(cell.date())
    if isinstance(cell, datetime.date) and not is_blank(cell):
        return Day(cell)
    if not isinstance(cell, str):
        return Day(None, _NO_DATE)
    text = " ".join(cell.translate(BLANKS).split())
    if len(text) > LONGEST:
        return Day(None, _NO_DATE)
    if iso := _ISO.fullmatch(text):
        return _day(*iso.groups())
    if words := _DAY_NAMED.fullmatch(text):
        day, name, year = words.groups()
        return _named_month(year, name, day, months)
    if words := _MONTH_NAMED.fullmatch(text):
        name, day, year = words.groups()
        return _named_month(year, name, day, months)
    if words := _MONTH_ALONE.fullmatch(text):
        return _named_month(words[2], words[1], str(_MIDDLE), months)._replace(month=True)
    if local := _LOCAL.fullmatch(text):
        return _local(local, order)
    return Day(None, _NO_DATE)


def _local(local: re.Match[str], order: str | None) -> Day:
    """A day in numbers, in the order that is stated or that it shows."""
    parts, stated = (local[1], local[3], local[4]), order is not None
    order = order or _shown(local)
    if order is None:
        return Day(
            None,
            "a date in a local order, which is never guessed; "
            f"state date_order in the map of columns ({', '.join(DATE_ORDERS)})",
        )
    named = dict(zip(order.split("-"), parts, strict=True))
    year = named["year"]
    if len(year) == 2 and all(len(part) <= 2 for part in parts) and order != DATE_ORDERS[2]:
        year = f"{'19' if int(year) >= _LAST_CENTURY else '20'}{year}"
    if len(year) != 4:
        other = any(len(part) == 4 for part in parts)
        why = f"not in the stated order {order}" if other else "a year without its century"
        return Day(None, f"{why}; write it as 2024-03-05")
    more = f"; the stated order is {order}" if stated else ""
    return _day(year, named["month"], named["day"], more)


def _shown(local: re.Match[str]) -> str | None:
    """The order in which alone the numbers are a day: by a day above 12, by points, by a year in front."""
    first, second, last = local[1], local[3], local[4]
    if len(first) == 4 and len(last) <= 2:
        return DATE_ORDERS[2]
    if len(first) > 2 or len(last) not in (2, 4):
        return None
    if local[2] == "." or int(first) > _MONTHS_OF_A_YEAR:
        return _DAY_FIRST
    return _MONTH_FIRST if int(second) > _MONTHS_OF_A_YEAR else None


def order_of(cells: Iterable[object]) -> tuple[str | None, bool]:
    """The order of the days in one table, as far as its cells show it and agree; and whether any cell needs it."""
    shown: set[str] = set()
    open_ = False
    for cell in cells:
        text = cell.translate(BLANKS).strip() if isinstance(cell, str) else ""
        local = _LOCAL.fullmatch(text) if len(text) <= LONGEST else None
        if local is not None:
            order = _shown(local)
            open_ = open_ or order is None
            shown |= {order} if order in (_DAY_FIRST, _MONTH_FIRST) else set()
    return (shown.pop() if len(shown) == 1 else None), open_


def _named_month(year: str, month: str, day: str, months: Mapping[str, int]) -> Day:
    number = months.get(" ".join(words_of(month)))
    if number is None:
        return Day(None, "a month that is not known; write it as 2024-03-05")
    return _day(year, str(number), day)


def _day(year: str, month: str, day: str, more: str = "") -> Day:
    try:
        return Day(datetime.date(int(year), int(month), int(day)))
    except ValueError:
        return Day(None, f"a day that is in no calendar{more}")


_DAYS = re.compile(r"(\d{1,6})(?:\.0*)?(?: ?(?:days?|d))?", re.ASCII | re.IGNORECASE)


def days(cell: object) -> tuple[float, str]:
    """A number of days, 0 or more, in a cell that is not blank; and what is wrong with it."""
    number = as_float(cell)
    if isinstance(cell, str) and (written := _DAYS.fullmatch(cell.strip())):
        number = float(written[1])
    if number is None or not 0 <= number < 10**6:
        return math.nan, "not a number of days; write digits, such as 30"
    return number, ""
