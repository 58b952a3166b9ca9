"""One cell of a museum record read: years, intervals, sizes and clues, and what is wrong with them."""

from __future__ import annotations

import math
import re
from functools import lru_cache
from typing import NamedTuple

from scarfdate.columns.names import JOINT
from scarfdate.errors import ScarfdateError
from scarfdate.reading.observation import read_observation
from scarfdate.records.arrays import OPEN_END, OPEN_START
from scarfdate.tables.priors import Priors
from scarfdate.words import edtf, units
from scarfdate.words.date_phrases import DateWords
from scarfdate.words.date_years import Years

OTHER = "other"  # a form that is none of those that this library dates
_FORM, _OF_CLOTH = "form", ("fibre", "weave", "print_technique")
_KNOWN = "known"  # the family by whose words a date text can say that there is no date
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
    unread: bool = False  # nothing but a date text, which is not understood
    apart: bool = False  # the date text names other years than the record's own


_PLAIN_YEAR = re.compile(r"\+?([0-9]{1,4})(?:\.0*)?")
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_BEFORE_OUR_ERA = re.compile(r"-.*[0-9]|.*[0-9 ](?:b\.? ?c\.?(?: ?e\.?)?)", re.DOTALL)
_NO_YEAR_0 = "there is no year 0"
_NOT_FINITE = ("nan", "inf", "infinity", "+inf", "-inf", "+infinity", "-infinity")


def year_of(words: DateWords, text: str, end: bool) -> tuple[int | None, str]:
    """The year in a cell (its last with ``end``), None if blank; and what is wrong with it.

    ``words``: of dates (`Priors.date_words`).
    """
    bare = text.strip()
    if not bare:
        return None, ""
    if bare.casefold() in _NOT_FINITE:
        return None, "not a finite number"
    if plain_year := _PLAIN_YEAR.fullmatch(bare):
        number = int(plain_year[1])
        if number == 0:
            return None, _NO_YEAR_0
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
        year = edtf.read(bare, words)[1 if end else 0]
    except ScarfdateError:
        if JOINT.strip() in bare:
            return None, "several values where one year belongs"
        return None, "text that is no year"
    if year is None:
        return None, "text that leaves this side open"
    return max(year, 1), ""


def span_of(priors: Priors, begin: str, end: str, date_text: str) -> Span:
    """The interval that a record states; `NO_YEAR` where it states none. ``priors``: whose words it is in."""
    words = priors.date_words
    stated, unread = _stated(date_text, priors)
    ends: list[int | None] = []
    problems = []
    for column, cell in (("year_begin", begin), ("year_end", end)):
        year, problem = year_of(words, cell, column == "year_end")
        ends.append(year)
        problems += [(column, cell, problem)] if problem else []
    if [problem for _, _, problem in problems] == [_NO_YEAR_0] * 2:
        problems = []  # as collection systems write what nobody has filled in
    if problems:
        column, cell, problem = problems[0]
        several = JOINT.strip() in cell
        step = (
            "name one of the list by its place in the map, such as made.0.from" if several
            else "write a year such as 1957, or leave the cell blank"
        )  # fmt: skip
        return Span(NO_YEAR, OPEN_END, problem=problem, column=column, got=cell, step=step)
    first, last = ends
    from_text = first is None and last is None
    if from_text:
        if stated is None:
            return Span(NO_YEAR, OPEN_END, unread=unread)
        first, last = stated[:2]
        first = None if first is None else max(first, 1)
    if first is not None and last is not None and first > last:
        return Span(NO_YEAR, OPEN_END, problem="it begins after it ends", column="year_begin",
                     got=f"{first} to {last}", step="exchange the years, or mend one")  # fmt: skip
    found = Span(
        OPEN_START if first is None else first,
        OPEN_END if last is None else last,
        stated is not None and stated.approximate,
        from_text,
        text_last=stated.last if stated else None,
    )
    return found if stated is None else found._replace(apart=_apart(found, stated))


def _stated(date_text: str, priors: Priors) -> tuple[Years | None, bool]:
    """The years of a date text; and whether it says something that is not understood."""
    if not date_text.strip() or priors.vocabulary.says_nothing(_KNOWN, date_text):
        return None, False
    try:
        return edtf.read_years(date_text, priors.date_words), False
    except ScarfdateError:
        return None, True


def _apart(span: Span, stated: Years) -> bool:
    """Whether the years of a record and those of its date text have none in common."""
    early = stated.last is not None and stated.last < span.first
    return early or (stated.first is not None and stated.first > span.last)


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


def form_of(priors: Priors, object_type: str) -> str:
    """The form that an object type names, "" for none: "Scarves (accessory)", "shawl; fragment", "silk scarf"."""
    vocabulary = priors.vocabulary
    for part in (object_type, *re.split(r"[;(),]", object_type)):
        words = part.split()
        for start in range(len(words)):
            found = vocabulary.known(_FORM, " ".join(words[start:]))
            if found is not None:
                return found
            if not any(vocabulary.known(family, words[start]) for family in _OF_CLOTH):
                break  # no word of the cloth, and so perhaps of another thing: "furnishing square"
    return ""


def is_text(text: str) -> bool:
    """Whether a text is whole: no bytes that were not UTF-8, no NUL."""
    return "\0" not in text and (
        text.isascii() or not any("\ud800" <= letter <= "\udfff" for letter in text)
    )
