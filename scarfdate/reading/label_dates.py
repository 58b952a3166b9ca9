"""Dates printed on a label, with their month as a word or in Roman numerals: "May 12th 1937", "12 mai 1937", "VI.1929".

The names of months are those of ``date_words.csv``. A short one needs its day: "SET 1950" is no September.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Set
from functools import lru_cache

from scarfdate.reading.label_marks import DATE, Mark
from scarfdate.tables.label import Months

_YEAR = re.compile(r"\d(?<!\d\d)\d{3}(?![\d%])(?! ?%)")
_LONGEST, _NEAR = 30, 16  # characters of a day and month, and of a month with a day behind it
_LAST_WORD = re.compile(r"([^\W\d_]+)\.?(?: ?\d{1,2}(?:st|nd|rd|th)?)?\Z")
_MONTHS = frozenset(["i", "ii", "iii", "iv", "v", "vi", "vii", "viii", "ix", "x", "xi", "xii"])
_DAY, _ORDINAL = r"\d{1,2}(?:st|nd|rd|th|er|\.)? ?(?:of |de |di )?", r"\d{1,2}(?:st|nd|rd|th)?"
_ROMAN = r"(?:\d{1,2}\. ?)?(?:i{1,3}|iv|vi{0,3}|ix|xi{0,2})[./]"


def dates_in_words(months: Months, printed: tuple[float, float], plain: str) -> Iterator[Mark]:
    """The dates in a plain text whose year is one that can be ``printed``."""
    low, high = printed
    for year in _YEAR.finditer(plain):
        first = max(0, year.start() - _LONGEST)
        before = plain[first : year.start()]
        near = before.rstrip(" ,./-")[-_NEAR:]
        if not near[-1:].isalnum():  # as before most years
            continue
        word = _LAST_WORD.search(near)
        if word is None or not (
            word[1] in _MONTHS or word[1] in months.full or word[1] in months.short
        ):
            continue
        whole = _day_and_month(months.full, months.short).search(before)
        if whole is not None and low <= float(year[0]) <= high:
            yield Mark(DATE, year[0], first + whole.start(), year.end())


@lru_cache(maxsize=8)
def _day_and_month(full: Set[str], short: Set[str]) -> re.Pattern[str]:
    """A day and month, or a month alone, at the end of what stands before a year."""
    named, every = ("|".join(map(re.escape, sorted(each))) for each in (full, full | short))
    return re.compile(
        rf"(?<![^\W_])(?:(?:{_DAY}(?:{every})|(?:{named}))\.?|(?:{every})\.? ?{_ORDINAL}|{_ROMAN})[ ,./-]{{0,2}}\Z"
    )
