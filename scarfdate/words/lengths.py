"""A length as people type it, cut into numbers and units: the steps of `scarfdate.words.units`."""

from __future__ import annotations

import difflib
import math
import re
import unicodedata
from itertools import pairwise
from numbers import Real
from typing import NamedTuple

from scarfdate.errors import ScarfdateError, in_text

CM_PER_INCH = 2.54  # exact: 1 inch = 25.4 mm (fact measure-inch; yard and pound agreement, 1959)

_CM_PER_UNIT = {
    "mm": 0.1,
    "cm": 1.0,
    "m": 100.0,
    "in": CM_PER_INCH,
    "ft": 12 * CM_PER_INCH,
    "yd": 36 * CM_PER_INCH,
}
_UNIT_WORDS = {
    "mm": ("mm", "millimetre", "millimetres", "millimeter", "millimeters"),
    "cm": ("cm", "cms", "centimetre", "centimetres", "centimeter", "centimeters"),
    "m": ("m", "metre", "metres", "meter", "meters"),
    "in": ("in", "ins", "inch", "inches", '"'),
    "ft": ("ft", "foot", "feet", "'"),
    "yd": ("yd", "yds", "yard", "yards"),
}
UNIT_OF_WORD = {word: unit for unit, words in _UNIT_WORDS.items() for word in words}
ALLOWED_UNITS = "allowed: mm, cm, m, in (or \"), ft (or '), yd"
WHICH_UNIT = "which one? --unit cm or --unit in says it for a whole table"

# Larger to smaller units that may follow one another in one length, with how many of the next
# unit make one of this: 2 ft 14 in is a slip of the pen.
_FOLLOWS = {("yd", "ft"): 3, ("yd", "in"): 36, ("ft", "in"): 12, ("m", "cm"): 100,
            ("m", "mm"): 1000, ("cm", "mm"): 10}  # fmt: skip

_LONGEST = 100  # no length or size needs more; longer text is refused before it is looked into
_SHOWN = 60

_FRACTIONS = map(chr, (*range(0xBC, 0xBF), *range(0x2150, 0x215F)))  # ¼ to ¾ and their like
_SIGNS = str.maketrans(
    # Unicode writes ½ in three signs, too: 1, a slash of its own, 2
    {sign: " " + unicodedata.normalize("NFKC", sign).replace("\u2044", "/") for sign in _FRACTIONS}
    | dict.fromkeys("\u201c\u201d\u201e\u201f\u2033\u02ba\uff02", '"')  # curly quotes, primes
    | dict.fromkeys("\u2018\u2019\u201a\u201b\u2032\u02b9\u00b4`\uff07", "'")
    | {"\u2044": "/", "\u00d7": "x", "\u2715": "x", "\u2a2f": "x", "\u2212": "-", "\u2011": "-"}
)
_NUMBER = r"[0-9]+(?:[ -][0-9]+)?/[0-9]+|[0-9]*[.,][0-9]+|[0-9]+"
_PART = re.compile(rf"({_NUMBER}) ?([a-z]+|[\"'])?\.? ?")
_EXPONENT = re.compile(r"[0-9]e[+-]?[0-9]")


class Length(NamedTuple):
    """One length as typed: its parts, each a number and a unit or None."""

    parts: tuple[tuple[float, str | None], ...]


def shown_short(thing: object) -> str:
    """What was typed, for a message: its beginning."""
    if not isinstance(thing, str):
        return in_text(thing)[:_SHOWN]
    return repr(thing if len(thing) <= _SHOWN else thing[:_SHOWN] + "…")


def number_of(thing: object, what: str) -> float:
    """A number as a float; ScarfdateError for anything else."""
    # a truth value is a number to Python, and never a measurement
    if isinstance(thing, bool) or not isinstance(thing, Real):
        raise ScarfdateError(f"{what} must be a number: got {shown_short(thing)}")
    try:
        return float(thing)
    except OverflowError:
        return math.inf


def positive(number: float, got: object, what: str) -> float:
    """The number itself; ScarfdateError unless it is finite and above 0."""
    if not (math.isfinite(number) and number > 0):
        raise ScarfdateError(f"{what} must be finite and greater than 0: got {shown_short(got)}")
    return number


def plain(text: str, what: str) -> str:
    """Lower case, one blank between words, one sign for each kind of quote, fraction and times."""
    stripped = text.strip()
    if len(stripped) > _LONGEST:
        raise ScarfdateError(
            f"a {what} cannot have more than {_LONGEST} characters: got {shown_short(stripped)}"
        )
    words = stripped.translate(_SIGNS).replace("''", '"').casefold()
    return " ".join(words.split()).replace("- ", "-")


def parts_of(words: str, text: str) -> Length:
    """The numbers of a length with their units; ``text``: as it was typed, for a refusal."""
    if _EXPONENT.search(words):
        raise ScarfdateError(
            f"a number with an exponent: got {shown_short(text)}; write it out in digits, such as 90"
        )
    if words.startswith("-"):
        raise ScarfdateError(f"a length must be finite and greater than 0: got {shown_short(text)}")
    parts: list[tuple[float, str | None]] = []
    position = 0
    while position < len(words):
        part = _PART.match(words, position)
        if part is None:
            break
        number, word = part.groups()
        parts.append((_value(number, text), None if word is None else _unit(word, text)))
        position = part.end()
    if position < len(words) or not parts:
        raise ScarfdateError(
            f"cannot read a length: got {shown_short(text)}; write a number and a unit, such as "
            f"'90 cm' or '35 1/2 in'; {ALLOWED_UNITS}"
        )
    for (whole, larger), (rest, smaller) in pairwise(parts):
        limit = _FOLLOWS.get((larger or "", smaller or ""))
        if limit is None or rest >= limit or not whole.is_integer():
            raise ScarfdateError(
                f"these numbers do not make one length: got {shown_short(text)}; a length of two units "
                "is written such as '2 ft 11 in' or '1 m 20 cm'"
            )
    return Length(tuple(parts))


def _value(number: str, text: str) -> float:
    if "/" in number:
        whole, _, fraction = number.replace("-", " ").rpartition(" ")
        above, _, below = fraction.partition("/")
        if int(above) >= int(below):  # 11/2 in is more likely 1 1/2 in than five and a half
            raise ScarfdateError(f"this fraction makes no sense: got {shown_short(text)}")
        return float(whole or 0) + int(above) / int(below)
    before, comma, after = number.partition(",")
    if comma and len(after) == 3 and before.strip("0"):
        raise ScarfdateError(
            f"the comma may separate thousands or decimals: got {shown_short(text)}; "
            "write it without a comma, or with a decimal point"
        )
    return float(number.replace(",", "."))


def _unit(word: str, text: str) -> str:
    if (unit := UNIT_OF_WORD.get(word)) is not None:
        return unit
    near = difflib.get_close_matches(word, UNIT_OF_WORD, n=1)
    hint = f" (nearest: {near[0]})" if near else ""
    raise ScarfdateError(
        f"unknown unit {shown_short(word)}{hint}: got {shown_short(text)}; {ALLOWED_UNITS}"
    )


def with_unit(length: Length, unit: str | None) -> tuple[tuple[float, str | None], ...]:
    """The parts, a bare number in the unit given."""
    return tuple((number, own or unit) for number, own in length.parts)


def in_cm(parts: tuple[tuple[float, str | None], ...], got: object) -> float:
    """The sum of the parts in cm; ScarfdateError for a bare number."""
    total = 0.0
    for number, unit in parts:
        if unit is None:
            raise ScarfdateError(
                f"a length without a unit: got {shown_short(got)}; {WHICH_UNIT}; {ALLOWED_UNITS}"
            )
        total += number * _CM_PER_UNIT[unit]
    return positive(total, got, "a length")
