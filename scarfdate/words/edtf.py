"""Years to the text of ISO 8601-2 (EDTF), and dates as museums write them back to years.

Years are whole calendar years, 0 to 9999; the ends of an interval are inclusive; an open or
unknown end is ``None`` and stays so. Source of the forms: ISO 8601-2:2019, annex A, levels 0 to 2.

What is read, and by which rule:

* level 0: ``1962``, ``1962-05``, ``1962-05-17``, ``1958/1969`` (months and days only name the year;
  no clock times);
* level 1: ``196X``, ``19XX``, ``1962-XX``; ``1984?``, ``1984~``, ``1984%``; an open end ``..`` and
  an unknown end (nothing) both give ``None`` (no seasons, no years beyond four digits);
* level 2: a one-of set ``[1958..1969,1984]``, read as its hull (no all-of sets);
* ``1960/65``, as ``1960/1965``; ``19uu`` and ``196u``, as drafts of the standard have ``19XX`` and ``196X``;
* phrases in any case and six languages, by the words of ``date_words.csv``, which has the years behind "early" and
  "late" and those of periods: ``1960s``, ``late 1960s``, ``1950er Jahre``, ``anni '60``; ``20th century``
  (1900-1999, as 19XX), ``XIXe siècle``, ``20. Jh., 2. Hälfte``, ``1st quarter 20th c.``; ``12 May 1937``;
  ``1958-69``, ``between 1958 and 1969``, ``1940s or 1950s``; ``Meiji period``; ``designed 1953, printed 1971``
  (the year of making; a design alone bounds from below); ``before``, ``nach``, ``by``, ``depuis`` and the like, where
  the year named stays in, because records use these words both ways, and the wider reading cannot be wrong.

"ca. 1968", "probably 1968" and ``1968~`` give 1968 alone: the writer did not say how far off, and
this module does not make it up. :func:`is_approximate` tells that the text said so; whoever reads years that are to
bound something adds a width (``known_about`` of ``allowances.csv``).
"1900s" is refused: it is a decade to some and a century to others.
"""

from __future__ import annotations

import re
from calendar import monthrange

from scarfdate.errors import ScarfdateError, shown
from scarfdate.words.date_phrases import DateWords
from scarfdate.words.date_years import ALLOWED, Years, hull, refusal
from scarfdate.words.edtf_text import interval_text, set_text

__all__ = ["interval_text", "is_approximate", "read", "read_years", "set_text", "stretches"]

_MASKED = re.compile(r"([0-9]{2})(?:([0-9])[Xu]|XX|uu)")
_IN_WORDS = re.compile(r"[0-9]{4}/[0-9]{2}|[0-9]{1,2}/[0-9]{1,2}/[0-9]{4}|.*[^\W\dX_].*", re.DOTALL)
_NO_WORDS = DateWords(())
_DATE = re.compile(r"([0-9]{4})(?:-(?:XX(?:-XX)?|([0-9]{2})(?:-(XX|[0-9]{2}))?))?")


def read(text: str, words: DateWords = _NO_WORDS) -> tuple[int | None, int | None]:
    """The first and last year that a date text allows, both inclusive; None for an open end.

    The forms and rules are at the head of this module. ``words``: of phrases (`Priors.date_words`); without them
    EDTF alone is read. The time taken grows in step with the length of the text.

    Raises ScarfdateError for everything else, naming the text and what is allowed.

    >>> read("[1958..1969,1984]"), read("1945/..")
    ((1958, 1984), (1945, None))
    """
    years = read_years(text, words)
    return years.first, years.last


def stretches(text: str) -> tuple[tuple[int | None, int | None], ...]:
    """The stretches of years of a date text, as :func:`set_text` wrote them: one, or the members of a set.

    Raises ScarfdateError where :func:`read` does.

    >>> stretches("[1958..1969,1984]")
    ((1958, 1969), (1984, 1984))
    """
    read(text)  # the whole is right, and not its members alone
    bare = text.strip()
    members = bare[1:-1].split(",") if bare.startswith("[") else []
    return tuple(read(f"[{member}]") for member in members) or (read(bare),)


def is_approximate(text: str, words: DateWords = _NO_WORDS) -> bool:
    """Whether a date text says of itself that it is uncertain or approximate.

    True for ``1984?``, ``1984~``, ``1984%``, "ca. 1968", "probably 1968" and the like, at either
    end of an interval or in any member of a set. ``read`` gives the years named; whoever has a
    reason for a width can add it where this is True.

    Raises ScarfdateError where :func:`read` does.
    """
    return read_years(text, words).approximate


def read_years(text: str, words: DateWords = _NO_WORDS) -> Years:
    """`read` and `is_approximate` in one."""
    if not isinstance(text, str):
        raise ScarfdateError(f"a date must be text: got {shown(text)}; {ALLOWED}")
    bare = text.strip()
    if bare.startswith("["):
        return _one_of(bare, text)
    if "/" in bare and not _IN_WORDS.fullmatch(bare):
        return _interval(bare, text)
    return _date(bare) or words.read(bare, text)


def _date(text: str) -> Years | None:
    """A single EDTF date of level 0 or 1, or None if the text is not one."""
    qualified = text.endswith(("?", "~", "%"))
    if qualified:
        text = text[:-1]
    if masked := _MASKED.fullmatch(text):
        century, decade = masked.groups()
        first = int(century) * 100 + (int(decade) * 10 if decade else 0)
        return Years(first, first + (9 if decade else 99), qualified)
    if dated := _DATE.fullmatch(text):
        year = int(dated[1])
        if _in_calendar(year, dated[2], dated[3]):
            return Years(year, year, qualified)
    return None


def _in_calendar(year: int, month: str | None, day: str | None) -> bool:
    if month is None:
        return True
    if not 1 <= int(month) <= 12:
        return False
    return day in (None, "XX") or 1 <= int(day) <= monthrange(year, int(month))[1]


def _interval(bare: str, text: str) -> Years:
    start, _, end = bare.partition("/")
    ends = []
    for side in (start, end):
        if side in ("", ".."):  # unknown or open: either way no bound on this side
            ends.append(Years(None, None, False))
        elif (date := _date(side)) is not None:
            ends.append(date)
        else:
            raise refusal(text, "an end of the interval is not a date of level 0 or 1")
    return hull(ends[0], ends[1], text)


def _one_of(bare: str, text: str) -> Years:
    if not bare.endswith("]"):
        raise refusal(text, "the set has no closing bracket")
    members = bare[1:-1].split(",")
    firsts: list[int | None] = []
    lasts: list[int | None] = []
    approximate = False
    for index, member in enumerate(members):
        start, dots, end = member.strip().partition("..")
        if dots and not start and index == 0:
            low: Years | None = Years(None, None, False)
        else:
            low = _date(start)
        if not dots:
            high = low
        elif not end and index == len(members) - 1:
            high = Years(None, None, False)
        else:
            high = _date(end)
        if low is None or high is None:
            raise refusal(text, f"member {index + 1} of the set is not a year or a range of years")
        whole = hull(low, high, text)
        firsts.append(whole.first)
        lasts.append(whole.last)
        approximate = approximate or whole.approximate
    return Years(
        None if None in firsts else min(year for year in firsts if year is not None),
        None if None in lasts else max(year for year in lasts if year is not None),
        approximate,
    )
