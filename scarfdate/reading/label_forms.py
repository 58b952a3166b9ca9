"""A number beside a word on a label: a price in a currency, a standard with its year.

The words are rows of ``label_words.csv`` in which a nought stands for the number: "dm 0", "0 lire",
"rm 0,00" (only with decimals), "gb 0000" (the number of a standard, and its year); yyyy for a year: "mfd yyyy".
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import NamedTuple

from scarfdate.reading.label_marks import Mark
from scarfdate.tables.label import Entry, Form

_NOT_IN_A_WORD, _NO_WORD_BEHIND = r"(?<![^\W_])", r"(?![^\W_])"
_AMOUNT = {
    "0": r"\d{1,6}(?:[.,' ]\d{3})?(?:[.,]\d{2}|[.,]-{1,2})?(?![\d%])(?! ?%)",
    "0,00": r"\d{1,6}(?:[.,]\d{2}|[.,]-{1,2})(?![\d%])(?! ?%)",
}
_BETWEEN = r"\.?[ :]{0,2}"  # a word and its number
# letters, a number of up to six digits with parts, letters again, and the year
_STANDARD = (
    r"[ :№-]{0,2}(?:[a-z] ?)?\d{1,6}(?:[ .]\d{1,4})?(?:-[a-z]{2,5})? ?[-:] ?"
    r"(?P<year>(?:19|20)\d{2}{short})(?!\d)"
)
_YEAR = r"[ :.]{0,3}(?P<year>(?:19|20)\d{2})(?!\d)"
_YEAR_FIRST = r" ?- ?(?P<year>[3-9]\d)(?=/[a-z\d])"
_SHORT = r"|[3-9]\d"  # two digits, as written in the last century
_A_YEAR = "yyyy"
_CENTURY = "19"


class _Pattern(NamedTuple):
    needs: str  # what a text must have in it
    pattern: re.Pattern[str]
    entry: Entry


def numbers_beside_words(forms: tuple[Form, ...], plain: str) -> Iterator[Mark]:
    """The marks of these forms in a plain text, each with the year or the value that it tells."""
    for needs, pattern, entry in _patterns(forms):
        if needs in plain:
            for match in pattern.finditer(plain):
                year = match.groupdict().get("year")
                value = entry.value if year is None else f"{_CENTURY}{year}"[-4:]
                yield Mark(entry.mark, value, *match.span())


@lru_cache(maxsize=8)
def _patterns(forms: tuple[Form, ...]) -> Sequence[_Pattern]:
    return [_pattern(words, entry) for words, entry in forms]


def _pattern(words: str, entry: Entry) -> _Pattern:
    parts = words.split()
    named = [part for part in parts if not part.startswith("0")]
    if parts[-1] == _A_YEAR:
        name = r"\.? ?".join(map(re.escape, named[:-1]))
        text = f"{_NOT_IN_A_WORD}{name}{_YEAR}"
    elif parts[-1] == "0000":
        name = r" ?".join(map(re.escape, named))
        behind = (
            _YEAR_FIRST
            if entry.value == "first"
            else _STANDARD.replace("{short}", _SHORT if entry.value else "")
        )
        text = f"{_NOT_IN_A_WORD}{name}{behind}"
    else:
        pieces = [_AMOUNT.get(part, re.escape(part)) for part in parts]
        text = f"{_NOT_IN_A_WORD}{_BETWEEN.join(pieces)}"
        if not parts[-1].startswith("0"):
            text += _NO_WORD_BEHIND
    return _Pattern(named[0], re.compile(text), entry)
