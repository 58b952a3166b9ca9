"""A number beside a word on a label: a price in a currency, a standard with its year.

The words are rows of ``label_words.csv`` in which a nought stands for the number: "dm 0", "0 lire",
"rm 0,00" (only with decimals), "gb 0000" (the number of a standard, and its year), "bangalore 000000" (an Indian postcode); yyyy for a
year: "mfd yyyy", and "festival yyyy" of an event or a prize, with words between: "Festival of Britain 1951".
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import lru_cache

from scarfdate.reading.label_marks import DATE, EVENT, Mark
from scarfdate.tables.label import Entry, Forms

_NO_WORD_BEHIND = r"(?![^\W_])"
_AMOUNT = {
    "0": r"\d\d{0,5}(?:[.,' ]\d{3})?(?:[.,]\d{2}|[.,]-{1,2})?(?![\d%])(?! ?%)",
    "0,00": r"\d\d{0,5}(?:[.,]\d{2}|[.,]-{1,2})(?![\d%])(?! ?%)",
}
_BETWEEN = r"\.?[ :]{0,2}"  # a word and its number
# letters, a number of up to six digits with parts, letters again, and the year
_STANDARD = (
    r"[ :№-]{0,2}(?:[a-z] ?)?\d{1,6}(?:[ .]\d{1,4})?(?:-[a-z]{2,5})? ?[-:] ?"
    r"(?P<year>(?:19|20)\d{2}{short})(?!\d)"
)
_YEAR = r"[ :.]{0,3}(?P<year>(?:19|20)\d{2})(?!\d)"
_YEAR_OF_AN_EVENT = (
    r"(?:[ ,'-]{1,2}[^\W\d_]{1,14}){0,5}[ ,:.]{1,3}"
    r"(?P<year>(?:18|19|20)\d{2}|'[3-9]\d|(?<=expo )[3-9]\d(?! ?x))(?![\d%])"
)
_YEAR_FIRST = r" ?- ?(?P<year>[3-9]\d)(?=/[a-z\d])"
_SIX = r"[ ,:.-]{0,3}[1-8]\d{2} ?\d{3}(?!\d)"
_SHORT = r"|[3-9]\d"  # two digits, as written in the last century
_A_YEAR = "yyyy"
_CENTURY, _APOSTROPHE = "19", "'"

_Pattern = tuple[re.Pattern[str], Entry]


def numbers_beside_words(forms: Forms, plain: str) -> Iterator[Mark]:
    """The marks of these forms in a plain text, each with the year or the value that it tells."""
    for pattern, entry in [
        each for needs, some in _patterns(forms) if needs in plain for each in some
    ]:
        for match in pattern.finditer(plain):
            year = match.groupdict().get("year")
            value = entry.value if year is None else f"{_CENTURY}{year.lstrip(_APOSTROPHE)}"[-4:]
            yield Mark(entry.mark, value, *match.span())


@lru_cache(maxsize=8)
def _patterns(forms: Forms) -> Sequence[tuple[str, Sequence[_Pattern]]]:
    """What a text must have in it for each pattern, and the patterns."""
    found: dict[str, list[_Pattern]] = {}
    for words, entry in forms.rows:
        needs, pattern = _pattern(words, entry)
        found.setdefault(needs, []).append((pattern, entry))
    return [*found.items()]


def _pattern(words: str, entry: Entry) -> tuple[str, re.Pattern[str]]:
    """What a text must have in it, and the pattern of a row."""
    parts = words.split()
    named = [part for part in parts if not part.startswith("0")]
    if parts[-1] == _A_YEAR:
        text = r"\.? ?".join(map(re.escape, named[:-1]))
        text += _YEAR_OF_AN_EVENT if entry.mark in (DATE, EVENT) else _YEAR
    elif parts[-1] == "0000":
        text = r" ?".join(map(re.escape, named)) + (
            _YEAR_FIRST
            if entry.value == "first"
            else _STANDARD.replace("{short}", _SHORT if entry.value else "")
        )
    elif parts[-1] == "000000":
        text = r" ?".join(map(re.escape, named)) + _SIX
    else:
        text = _BETWEEN.join(_AMOUNT.get(part, re.escape(part)) for part in parts)
        if not parts[-1].startswith("0"):
            text += _NO_WORD_BEHIND
    # the engine finds quickly where a text may begin with it, and then looks whether a word goes on before
    first = r"\d" if parts[0] in _AMOUNT else re.escape(parts[0])
    return named[0], re.compile(f"{first}(?<![^\\W_]{first}){text.removeprefix(first)}")
