"""Years to the text of ISO 8601-2 (EDTF), and dates as museums write them back to years.

Years are whole calendar years, 0 to 9999; the ends of an interval are inclusive; an open or
unknown end is ``None`` and stays so. Source of the forms: ISO 8601-2:2019, annex A, levels 0 to 2.

What is read, and by which rule:

* level 0: ``1962``, ``1962-05``, ``1962-05-17``, ``1958/1969`` (months and days only name the year;
  no clock times);
* level 1: ``196X``, ``19XX``, ``1962-XX``; ``1984?``, ``1984~``, ``1984%``; an open end ``..`` and
  an unknown end (nothing) both give ``None`` (no seasons, no years beyond four digits);
* level 2: a one-of set ``[1958..1969,1984]``, read as its hull (no all-of sets);
* phrases, in any case: ``1960s``, ``early`` (0-4), ``mid`` (3-7), ``late 1960s`` (5-9);
  ``20th century`` (1900-1999, as 19XX), ``early`` (00-25), ``mid`` (25-75), ``late`` (75-99), its
  halves and quarters; ``1958-69``, ``1958 to 1969``, ``between 1958 and 1969``, ``1940s or 1950s``;
  ``before``, ``after``, ``by``, ``since`` and the like, where the year named stays in, because
  records use these words both ways, and the wider reading cannot be wrong.

"ca. 1968", "probably 1968" and ``1968~`` give 1968 alone: the writer did not say how far off, and
this module does not make it up. :func:`is_approximate` tells that the text said so.
"1900s" is refused: it is a decade to some and a century to others.
"""

from __future__ import annotations

import re
from calendar import monthrange
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from scarfdate.errors import ScarfdateError

__all__ = ["interval_text", "is_approximate", "read", "set_text"]

_LAST_YEAR = 9999  # four digits, as in level 0
_LONGEST_PHRASE = 100  # a phrase in words; EDTF sets may be of any length
_SHOWN = 60

_ALLOWED = (
    "allowed: 1962, 1962-05, 1962-05-17, 196X, 19XX, 1984?, 1984~, 1984%, 1958/1969, ../1969, "
    "1958/.., [1958..1969,1984], or words such as 'ca. 1968', '1960s', 'late 1960s', '1958-69', "
    "'20th century', 'before 1960', 'after 1945'"
)

_MASKED = re.compile(r"([0-9]{2})(?:([0-9])X|XX)")
_DATE = re.compile(r"([0-9]{4})(?:-(?:XX(?:-XX)?|([0-9]{2})(?:-(XX|[0-9]{2}))?))?")


class _Years(NamedTuple):
    first: int | None
    last: int | None
    approximate: bool


# ---------------------------------------------------------------------------------- writing


def interval_text(first: int, last: int, *, open_start: bool = False) -> str:
    """Years ``first`` to ``last``, both inclusive, as EDTF level 1 text.

    One year gives "1962", a whole decade "196X", a whole century "19XX", any other span
    "1958/1969". ``open_start`` says that ``first`` is the first cell of the grid, which stands for
    that year *or any earlier one*; the text then has an open start, "../1905".

    Raises ScarfdateError if the years are not whole numbers in 0 to 9999 with first <= last.

    >>> interval_text(1960, 1969)
    '196X'
    """
    first, last = _checked(first, last)
    if open_start:
        return f"../{last:04d}"
    if first == last:
        return f"{first:04d}"
    if first % 100 == 0 and last == first + 99:
        return f"{first // 100:02d}XX"
    if first % 10 == 0 and last == first + 9:
        return f"{first // 10:03d}X"
    return f"{first:04d}/{last:04d}"


def set_text(stretches: Sequence[tuple[int, int]], *, open_start: bool = False) -> str:
    """One or more stretches of years, ends inclusive, as EDTF text.

    One stretch reads as in :func:`interval_text`. More than one give a level 2 one-of set,
    "[1958..1969,1984..1991]": one of these years, it is not known which. ``open_start`` says that
    the earliest stretch begins with the first cell of the grid ("or earlier"): "[..1905,1984]".

    Raises ScarfdateError if there is no stretch, or they are not in order and apart.
    """
    pairs = [_checked(first, last) for first, last in stretches]
    if not pairs:
        raise ScarfdateError("no stretch of years to write: got none, need at least one")
    if len(pairs) == 1:
        return interval_text(*pairs[0], open_start=open_start)
    for before, after in pairwise(pairs):
        if after[0] <= before[1]:
            raise ScarfdateError(
                f"stretches must ascend and not overlap: got {before[0]}-{before[1]} "
                f"before {after[0]}-{after[1]}"
            )
    members = [f"{a:04d}" if a == b else f"{a:04d}..{b:04d}" for a, b in pairs]
    if open_start:
        members[0] = f"..{pairs[0][1]:04d}"
    return f"[{','.join(members)}]"


def _checked(first: int, last: int) -> tuple[int, int]:
    if isinstance(first, float) or isinstance(last, float):
        raise ScarfdateError(f"years must be whole numbers: got {first!r} to {last!r}")
    if not 0 <= first <= last <= _LAST_YEAR:
        raise ScarfdateError(
            f"years must ascend within 0 to {_LAST_YEAR}: got {first!r} to {last!r}"
        )
    return int(first), int(last)


# ---------------------------------------------------------------------------------- reading


def read(text: str) -> tuple[int | None, int | None]:
    """The first and last year that a date text allows, both inclusive; None for an open end.

    The forms and rules are at the head of this module. The time taken grows in step with the
    length of the text.

    Raises ScarfdateError for everything else, naming the text and what is allowed.

    >>> read("[1958..1969,1984]"), read("after 1945")
    ((1958, 1984), (1945, None))
    """
    years = _read(text)
    return years.first, years.last


def is_approximate(text: str) -> bool:
    """Whether a date text says of itself that it is uncertain or approximate.

    True for ``1984?``, ``1984~``, ``1984%``, "ca. 1968", "probably 1968" and the like, at either
    end of an interval or in any member of a set. ``read`` gives the years named; whoever has a
    reason for a width can add it where this is True.

    Raises ScarfdateError where :func:`read` does.
    """
    return _read(text).approximate


def _read(text: str) -> _Years:
    if not isinstance(text, str):
        raise ScarfdateError(f"a date must be text: got {text!r:.{_SHOWN}}; {_ALLOWED}")
    bare = text.strip()
    if bare.startswith("["):
        return _one_of(bare, text)
    if "/" in bare:
        return _interval(bare, text)
    return _date(bare) or _phrase(bare, text)


def _refusal(text: str, reason: str) -> ScarfdateError:
    shown = text if len(text) <= _SHOWN else text[:_SHOWN] + "…"
    return ScarfdateError(f"cannot read the date {shown!r}: {reason}; {_ALLOWED}")


def _date(text: str) -> _Years | None:
    """A single EDTF date of level 0 or 1, or None if the text is not one."""
    qualified = text.endswith(("?", "~", "%"))
    if qualified:
        text = text[:-1]
    if masked := _MASKED.fullmatch(text):
        century, decade = masked.groups()
        first = int(century) * 100 + (int(decade) * 10 if decade else 0)
        return _Years(first, first + (9 if decade else 99), qualified)
    if dated := _DATE.fullmatch(text):
        year = int(dated[1])
        if _in_calendar(year, dated[2], dated[3]):
            return _Years(year, year, qualified)
    return None


def _in_calendar(year: int, month: str | None, day: str | None) -> bool:
    if month is None:
        return True
    if not 1 <= int(month) <= 12:
        return False
    return day in (None, "XX") or 1 <= int(day) <= monthrange(year, int(month))[1]


def _interval(bare: str, text: str) -> _Years:
    start, _, end = bare.partition("/")
    ends = []
    for side in (start, end):
        if side in ("", ".."):  # unknown or open: either way no bound on this side
            ends.append(_Years(None, None, False))
        elif (date := _date(side)) is not None:
            ends.append(date)
        else:
            raise _refusal(text, "an end of the interval is not a date of level 0 or 1")
    return _hull(ends[0], ends[1], text)


def _hull(start: _Years, end: _Years, text: str) -> _Years:
    if start.first is None and end.last is None:
        raise _refusal(text, "it names no year")
    # ends that overlap (1965/196X) are sound; ends that run backwards are a slip of the pen
    if start.first is not None and end.last is not None and end.last < start.first:
        raise _refusal(text, "it ends before it starts")
    return _Years(start.first, end.last, start.approximate or end.approximate)


def _one_of(bare: str, text: str) -> _Years:
    if not bare.endswith("]"):
        raise _refusal(text, "the set has no closing bracket")
    members = bare[1:-1].split(",")
    firsts: list[int | None] = []
    lasts: list[int | None] = []
    approximate = False
    for index, member in enumerate(members):
        start, dots, end = member.strip().partition("..")
        if dots and not start and index == 0:
            low: _Years | None = _Years(None, None, False)
        else:
            low = _date(start)
        if not dots:
            high = low
        elif not end and index == len(members) - 1:
            high = _Years(None, None, False)
        else:
            high = _date(end)
        if low is None or high is None:
            raise _refusal(text, f"member {index + 1} of the set is not a year or a range of years")
        whole = _hull(low, high, text)
        firsts.append(whole.first)
        lasts.append(whole.last)
        approximate = approximate or whole.approximate
    return _Years(
        None if None in firsts else min(year for year in firsts if year is not None),
        None if None in lasts else max(year for year in lasts if year is not None),
        approximate,
    )


# ---------------------------------------------------------------------------------- phrases

_DASHES = str.maketrans(dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2015\u2212", "-"))
_ABOUT = ("ca.", "ca", "c.", "circa", "about", "around", "approximately", "probably", "possibly")
_UP_TO = ("not later than", "no later than", "not after", "before", "until", "by", "up to", "pre")
_FROM = (
    "not earlier than", "no earlier than", "not before", "after", "from", "since", "post",
)  # fmt: skip
_PARTS = {
    # years of the decade as the project's museum records read these words
    "decade": {"early": (0, 4), "mid": (3, 7), "late": (5, 9)},
    "century": {
        "early": (0, 25), "mid": (25, 75), "late": (75, 99),
        "first half": (0, 49), "second half": (50, 99),
        "first quarter": (0, 24), "second quarter": (25, 49), "third quarter": (50, 74),
        "fourth quarter": (75, 99), "last quarter": (75, 99),
    },
}  # fmt: skip
_YEAR_WORD = re.compile(r"[0-9]{4}")
_DECADE_WORD = re.compile(r"([0-9]{3})0'?s")
_CENTURY_WORD = re.compile(r"([0-9]{1,2})(st|nd|rd|th) (?:century|cent\.?|c\.?)")
_ORDINALS = {1: "st", 2: "nd", 3: "rd"}
_SHORT_END = re.compile(r"[0-9]{2}|[0-9]0'?s")


def _phrase(bare: str, text: str) -> _Years:
    if len(bare) > _LONGEST_PHRASE:
        raise _refusal(text, f"it is longer than {_LONGEST_PHRASE} characters")
    if len(bare) == 7 and bare[4] == "-" and bare[5:] in ("21", "22", "23", "24"):
        raise _refusal(text, "it can be a season or a span of years (write 1920/1921)")
    words = " ".join(bare.casefold().translate(_DASHES).replace("\u2019", "'").split())
    for part in ("early", "mid", "late"):
        words = words.replace(f"{part}-", f"{part} ")
    words = words.replace(" of the ", " ").replace(" of ", " ")

    for ending, up_to in ((" or earlier", True), (" or before", True), (" or later", False),
                          (" or after", False)):  # fmt: skip
        if words.endswith(ending):
            return _one_sided(words.removesuffix(ending), text, up_to=up_to)
    if words.startswith("between ") and " and " in words:
        start, _, end = words.removeprefix("between ").partition(" and ")
        return _span(start, end, text)
    if words.startswith("from ") and (" to " in words or " until " in words):
        start, _, end = words.removeprefix("from ").replace(" until ", " to ").partition(" to ")
        return _span(start, end, text)
    for word in _UP_TO + _FROM:
        if words.startswith((f"{word} ", f"{word}-")):
            return _one_sided(words[len(word) + 1 :], text, up_to=word in _UP_TO)
    for joint in (" to ", " or ", "-"):
        start, found, end = words.partition(joint)
        if found:
            return _span(start, end, text)
    return _point(words, text)


def _one_sided(words: str, text: str, *, up_to: bool) -> _Years:
    point = _point(words, text)
    if up_to:
        return _Years(None, point.last, point.approximate)
    return _Years(point.first, None, point.approximate)


def _span(start: str, end: str, text: str) -> _Years:
    start, end = start.strip(), end.strip()
    if end.endswith(" century") and start.endswith(("st", "nd", "rd", "th")):
        start += " century"  # late 19th - early 20th century
    low = _point(start, text)
    if _SHORT_END.fullmatch(end) and low.first is not None:
        end = f"{low.first // 100:02d}{end}"  # 1958-69, 1940s-60s
        if _point(end, text).first == low.first:
            raise _refusal(text, "it starts and ends in the same year")
    return _hull(low, _point(end, text), text)


def _point(words: str, text: str) -> _Years:
    """A year, decade or century in words, with 'ca.' or a part of it before it."""
    approximate = words.endswith("?")
    words = words.removesuffix("?")
    for word in _ABOUT:
        if words.startswith(f"{word} "):
            words, approximate = words[len(word) + 1 :], True
            break
    else:
        for prefix in ("ca.", "c.", "ca", "c"):  # also written close up: c1968, ca.1968
            if words.startswith(prefix) and words[len(prefix) : len(prefix) + 1].isdigit():
                words, approximate = words[len(prefix) :], True
                break
    if _YEAR_WORD.fullmatch(words):
        return _Years(int(words), int(words), approximate)
    for scale, parts in _PARTS.items():
        for part, (low, high) in parts.items():
            if words.startswith(f"{part} "):
                start = _start(words[len(part) + 1 :], scale, text)
                if start is not None:
                    return _Years(start + low, start + high, approximate)
    if (start := _start(words, "decade", text)) is not None:
        return _Years(start, start + 9, approximate)
    if (start := _start(words, "century", text)) is not None:
        return _Years(start, start + 99, approximate)
    raise _refusal(text, "these words are not known")


def _start(words: str, scale: str, text: str) -> int | None:
    """First year of a decade ("1960s") or century ("20th century"), or None."""
    if scale == "decade":
        if (decade := _DECADE_WORD.fullmatch(words)) is None:
            return None
        if decade[1].endswith("0"):
            century = decade[1][:2]
            raise _refusal(
                text, f"it can be a decade or a century (write {century}0X or {century}XX)"
            )
        return int(decade[1]) * 10
    if (century_word := _CENTURY_WORD.fullmatch(words)) is None:
        return None
    number = int(century_word[1])
    ordinal = "th" if 10 <= number <= 20 else _ORDINALS.get(number % 10, "th")
    if number == 0 or century_word[2] != ordinal:
        return None
    return (number - 1) * 100
