"""Dates in words, as museums write them: "late 1960s", "20th century", "before 1960", "1958-69"."""

from __future__ import annotations

import re

from scarfdate.words.date_years import Years, hull, refusal

_LONGEST_PHRASE = 100  # a phrase in words; EDTF sets may be of any length


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


def in_words(bare: str, text: str) -> Years:
    """The years of ``bare``, a date in words; ``text``: as it was given, for a refusal."""
    if len(bare) > _LONGEST_PHRASE:
        raise refusal(text, f"it is longer than {_LONGEST_PHRASE} characters")
    if len(bare) == 7 and bare[4] == "-" and bare[5:] in ("21", "22", "23", "24"):
        raise refusal(text, "it can be a season or a span of years (write 1920/1921)")
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


def _one_sided(words: str, text: str, *, up_to: bool) -> Years:
    point = _point(words, text)
    if up_to:
        return Years(None, point.last, point.approximate)
    return Years(point.first, None, point.approximate)


def _span(start: str, end: str, text: str) -> Years:
    start, end = start.strip(), end.strip()
    if end.endswith(" century") and start.endswith(("st", "nd", "rd", "th")):
        start += " century"  # late 19th - early 20th century
    low = _point(start, text)
    if _SHORT_END.fullmatch(end) and low.first is not None:
        end = f"{low.first // 100:02d}{end}"  # 1958-69, 1940s-60s
        if _point(end, text).first == low.first:
            raise refusal(text, "it starts and ends in the same year")
    return hull(low, _point(end, text), text)


def _point(words: str, text: str) -> Years:
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
        return Years(int(words), int(words), approximate)
    for scale, parts in _PARTS.items():
        for part, (low, high) in parts.items():
            if words.startswith(f"{part} "):
                start = _start(words[len(part) + 1 :], scale, text)
                if start is not None:
                    return Years(start + low, start + high, approximate)
    if (start := _start(words, "decade", text)) is not None:
        return Years(start, start + 9, approximate)
    if (start := _start(words, "century", text)) is not None:
        return Years(start, start + 99, approximate)
    raise refusal(text, "these words are not known")


def _start(words: str, scale: str, text: str) -> int | None:
    """First year of a decade ("1960s") or century ("20th century"), or None."""
    if scale == "decade":
        if (decade := _DECADE_WORD.fullmatch(words)) is None:
            return None
        if decade[1].endswith("0"):
            century = decade[1][:2]
            raise refusal(
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
