"""One cell of a museum record read: years, intervals, sizes and clues, and what is wrong with them."""

from __future__ import annotations

import math
import re
from contextlib import suppress
from functools import lru_cache
from typing import NamedTuple

from scarfdate.errors import ScarfdateError
from scarfdate.reading.observation import read_observation
from scarfdate.records.arrays import OPEN_END, OPEN_START
from scarfdate.tables.priors import Priors
from scarfdate.words import edtf, units

NO_YEAR = -1  # in `first`, while reading: the record has no date
REMEMBERED = 2**16  # distinct dates and numbers whose reading is remembered


class Span(NamedTuple):
    """What a record's dates say; ``problem`` is "" where they can be."""

    first: int
    last: int
    approximate: bool = False
    from_text: bool = False
    problem: str = ""
    column: str = ""
    got: str = ""
    step: str = ""
    text_last: int | None = None  # the last year that the date text itself allows


_PLAIN_YEAR = re.compile(r"\+?([0-9]{1,4})(?:\.0*)?")
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_BEFORE_OUR_ERA = re.compile(r"-.*[0-9]|.*[0-9 ](?:b\.? ?c\.?(?: ?e\.?)?)", re.DOTALL)
_NOT_FINITE = ("nan", "inf", "infinity", "+inf", "-inf", "+infinity", "-infinity")


@lru_cache(maxsize=REMEMBERED)
def year_of(text: str, end: bool) -> tuple[int | None, str]:
    """The year in a cell (its last with ``end``), None if blank; and what is wrong with it."""
    bare = text.strip()
    if not bare:
        return None, ""
    if bare.casefold() in _NOT_FINITE:
        return None, "not a finite number"
    if plain_year := _PLAIN_YEAR.fullmatch(bare):
        number = int(plain_year[1])
        if number == 0:
            return None, "there is no year 0"
        if number < 100:
            return None, "a year of one or two digits may be short for one of any century"
        return number, ""
    if _NUMBER.fullmatch(bare):
        if bare.startswith("-"):
            return None, "a year before the common era"
        if not math.isfinite(float(bare)):
            return None, "not a finite number"
        return None, "not a whole year of four digits at most"
    if _BEFORE_OUR_ERA.fullmatch(bare.casefold()):
        return None, "a year before the common era"
    try:
        year = edtf.read(bare)[1 if end else 0]
    except ScarfdateError:
        return None, "text that is no year"
    if year is None:
        return None, "text that leaves this side open"
    return max(year, 1), ""


@lru_cache(maxsize=REMEMBERED)
def span_of(begin: str, end: str, date_text: str) -> Span:
    """The interval that a record states; `NO_YEAR` where it states none."""
    step = "write a year such as 1957, or leave the cell blank"
    first, problem = year_of(begin, False)
    if problem:
        return Span(NO_YEAR, OPEN_END, problem=problem, column="year_begin", got=begin, step=step)
    last, problem = year_of(end, True)
    if problem:
        return Span(NO_YEAR, OPEN_END, problem=problem, column="year_end", got=end, step=step)
    stated: tuple[int | None, int | None] | None = None
    approximate = False
    if date_text:
        # words that edtf does not know say nothing; the years, if there are any, stand
        with suppress(ScarfdateError):
            stated, approximate = edtf.read(date_text), edtf.is_approximate(date_text)
    from_text = first is None and last is None
    if from_text:
        if stated is None:
            return Span(NO_YEAR, OPEN_END)
        first, last = stated
        first = None if first is None else max(first, 1)
    if first is not None and last is not None and first > last:
        return Span(NO_YEAR, OPEN_END, problem="it begins after it ends", column="year_begin",
                     got=f"{first} to {last}", step="exchange the years, or mend one")  # fmt: skip
    return Span(
        OPEN_START if first is None else first,
        OPEN_END if last is None else last,
        approximate,
        from_text,
        text_last=stated[1] if stated else None,
    )


@lru_cache(maxsize=REMEMBERED)
def size_of(text: str, unit: str) -> tuple[float, str]:
    """A side in cm, NaN if blank; and what is wrong with it."""
    bare = text.strip()
    if not bare:
        return math.nan, ""
    if bare.casefold() in _NOT_FINITE:
        return math.nan, "not a finite number"
    try:
        return units.read_length(float(bare) if _NUMBER.fullmatch(bare) else bare, unit), ""
    except ScarfdateError:
        return math.nan, "a size that is no length"


def clue_of(priors: Priors, family: str, text: str) -> tuple[str, str]:
    """A clue in the words of the vocabulary; and what is wrong with it."""
    try:
        seen = read_observation(priors, family, text)
    except ScarfdateError as error:
        return "", str(error)
    if seen is None:
        return "", ""
    return (seen.word or text.strip()), ""


def is_text(text: str) -> bool:
    """Whether a text is whole: no bytes that were not UTF-8, no NUL."""
    return "\0" not in text and (
        text.isascii() or not any("\ud800" <= letter <= "\udfff" for letter in text)
    )
