"""Lengths, sizes, stitch counts and cloth weights as people type them, in the units used inside.

Inside: lengths in centimetres, stitches per inch, weight in momme. Read here: ``90``, ``90 cm``,
``0.9 m``, ``35"``, ``35½ in``, ``35 1/2 inches``, ``35,5 cm`` (decimal comma), ``2 ft 11 in``,
``2'11"``, with curly quotes and primes too; sizes such as ``90 x 180 cm``. A full stop is always a
decimal point. A comma with three digits after it is refused: it may separate thousands.
"""

from __future__ import annotations

import difflib
import math
import re
import unicodedata
from itertools import pairwise
from numbers import Real
from typing import NamedTuple

from scarfdate.errors import ScarfdateError

__all__ = [
    "CM_PER_INCH",
    "GRAMS_PER_SQUARE_METRE_PER_MOMME",
    "momme",
    "per_inch",
    "read_length",
    "read_size",
]

CM_PER_INCH = 2.54  # exact: 1 inch = 25.4 mm (fact measure-inch; yard and pound agreement, 1959)
GRAMS_PER_SQUARE_METRE_PER_MOMME = 4.340  # fact measure-momme-definition: lb per 45 in x 100 yd

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
_UNIT_OF_WORD = {word: unit for unit, words in _UNIT_WORDS.items() for word in words}
_ALLOWED_UNITS = "allowed units: mm, cm, m, in (or \"), ft (or '), yd"

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


class _Length(NamedTuple):
    """One length as typed: its parts, each a number and a unit or None."""

    parts: tuple[tuple[float, str | None], ...]


def read_length(text_or_number: str | float, default_unit: str | None) -> float:
    """A length in cm, greater than 0.

    ``text_or_number`` is a number or text as typed; ``default_unit`` ("mm", "cm", "m", "in", "ft",
    "yd" or one of their spellings) holds for a bare number; with None a bare number is an error.

    Raises ScarfdateError naming what was got and what is allowed. Text of more than 100 characters
    is refused unread.

    >>> read_length("35 1/2 in", None), read_length(90, "cm")
    (90.17, 90.0)
    """
    default = _default(default_unit)
    if not isinstance(text_or_number, str):
        return _in_cm(((_number(text_or_number, "a length"), default),), text_or_number)
    words = _plain(text_or_number, "length")
    return _in_cm(_with_unit(_parts(words, text_or_number), default), text_or_number)


def read_size(text: str, default_unit: str | None) -> tuple[float, float]:
    """The two sides of a piece in cm, in the order typed: "90 x 180 cm", '35" x 35"', "90x90".

    Each side is read as in :func:`read_length`. If only the last side states a unit it holds for
    both; if neither does, ``default_unit`` holds. "26 in square" is both sides alike.

    Raises ScarfdateError as :func:`read_length` does, and where only the first side has a unit.

    >>> read_size("90 x 180 cm", None)
    (90.0, 180.0)
    """
    default = _default(default_unit)
    if not isinstance(text, str):
        raise ScarfdateError(f"a size must be text such as '90 x 90 cm': got {_shown(text)}")
    words = _plain(text, "size")
    if words.endswith(" square"):
        side = _in_cm(_with_unit(_parts(words.removesuffix(" square"), text), default), text)
        return side, side
    sides = re.split(r" ?x ?| by ", words)
    if len(sides) != 2:
        raise ScarfdateError(
            f"a size needs two sides, such as '90 x 180 cm', or 'square': got {_shown(text)}"
        )
    first, second = (_parts(side, text) for side in sides)
    if first.parts[-1][1] is not None and second.parts[-1][1] is None:
        raise ScarfdateError(
            f"the second side states no unit: got {_shown(text)}; write the unit on the last side "
            "(for both) or on each"
        )
    shared = default
    if second.parts[-1][1] is not None:
        # "2 x 2 ft 11 in" does not say what the bare 2 is in
        shared = second.parts[0][1] if len(second.parts) == 1 else None
    return _in_cm(_with_unit(first, shared), text), _in_cm(_with_unit(second, shared), text)


def per_inch(count: float, unit: str) -> float:
    """Stitches per inch from a count per inch (``unit`` "in") or per centimetre ("cm").

    Raises ScarfdateError unless the count is finite and above 0 and the unit is one of the two.

    >>> per_inch(4, "cm")
    10.16
    """
    number = _positive(_number(count, "a stitch count"), count, "a stitch count")
    known = _UNIT_OF_WORD.get(unit.strip().casefold()) if isinstance(unit, str) else None
    if known == "in":
        return number
    if known == "cm":
        return _positive(number * CM_PER_INCH, count, "a stitch count")
    raise ScarfdateError(f"unknown unit for a stitch count: got {_shown(unit)}; allowed: in, cm")


def momme(value: float, unit: str) -> float:
    """Cloth weight in momme from momme ("momme", or the trade sign "mm") or "g/m²" ("g/m2", "gsm").

    Raises ScarfdateError unless the value is finite and above 0 and the unit is one of these.

    >>> round(momme(69.44, "g/m²"), 9)
    16.0
    """
    number = _positive(_number(value, "a cloth weight"), value, "a cloth weight")
    word = "".join(unit.split()).casefold() if isinstance(unit, str) else ""
    if word in ("momme", "mommes", "mm"):
        return number
    if word in ("g/m²", "g/m2", "g/m^2", "gsm"):
        weight = number / GRAMS_PER_SQUARE_METRE_PER_MOMME
        return _positive(weight, value, "a cloth weight")
    raise ScarfdateError(
        f"unknown unit for a cloth weight: got {_shown(unit)}; allowed: momme, g/m²"
    )


# ---------------------------------------------------------------------------------- the steps


def _shown(thing: object) -> str:
    if not isinstance(thing, str):
        return f"{thing!r:.{_SHOWN}}"
    return repr(thing if len(thing) <= _SHOWN else thing[:_SHOWN] + "…")


def _default(unit: str | None) -> str | None:
    if unit is None:
        return None
    known = _UNIT_OF_WORD.get(unit.strip().casefold()) if isinstance(unit, str) else None
    if known is None:
        raise ScarfdateError(f"unknown default unit: got {_shown(unit)}; {_ALLOWED_UNITS}")
    return known


def _number(thing: object, what: str) -> float:
    # a truth value is a number to Python, and never a measurement
    if isinstance(thing, bool) or not isinstance(thing, Real):
        raise ScarfdateError(f"{what} must be a number: got {_shown(thing)}")
    try:
        return float(thing)
    except OverflowError:
        return math.inf


def _positive(number: float, got: object, what: str) -> float:
    if not (math.isfinite(number) and number > 0):
        raise ScarfdateError(f"{what} must be finite and greater than 0: got {_shown(got)}")
    return number


def _plain(text: str, what: str) -> str:
    """Lower case, one blank between words, one sign for each kind of quote, fraction and times."""
    stripped = text.strip()
    if len(stripped) > _LONGEST:
        raise ScarfdateError(
            f"a {what} cannot have more than {_LONGEST} characters: got {_shown(stripped)}"
        )
    words = stripped.translate(_SIGNS).replace("''", '"').casefold()
    return " ".join(words.split()).replace("- ", "-")


def _parts(words: str, text: str) -> _Length:
    if words.startswith("-"):
        raise ScarfdateError(f"a length must be finite and greater than 0: got {_shown(text)}")
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
            f"cannot read a length: got {_shown(text)}; write a number and a unit, such as "
            f"'90 cm' or '35 1/2 in'; {_ALLOWED_UNITS}"
        )
    for (whole, larger), (rest, smaller) in pairwise(parts):
        limit = _FOLLOWS.get((larger or "", smaller or ""))
        if limit is None or rest >= limit or not whole.is_integer():
            raise ScarfdateError(
                f"these numbers do not make one length: got {_shown(text)}; a length of two units "
                "is written such as '2 ft 11 in' or '1 m 20 cm'"
            )
    return _Length(tuple(parts))


def _value(number: str, text: str) -> float:
    if "/" in number:
        whole, _, fraction = number.replace("-", " ").rpartition(" ")
        above, _, below = fraction.partition("/")
        if int(above) >= int(below):  # 11/2 in is more likely 1 1/2 in than five and a half
            raise ScarfdateError(f"this fraction makes no sense: got {_shown(text)}")
        return float(whole or 0) + int(above) / int(below)
    before, comma, after = number.partition(",")
    if comma and len(after) == 3 and before.strip("0"):
        raise ScarfdateError(
            f"the comma may separate thousands or decimals: got {_shown(text)}; "
            "write it without a comma, or with a decimal point"
        )
    return float(number.replace(",", "."))


def _unit(word: str, text: str) -> str:
    if (unit := _UNIT_OF_WORD.get(word)) is not None:
        return unit
    near = difflib.get_close_matches(word, _UNIT_OF_WORD, n=1)
    hint = f" (nearest: {near[0]})" if near else ""
    raise ScarfdateError(f"unknown unit {_shown(word)}{hint}: got {_shown(text)}; {_ALLOWED_UNITS}")


def _with_unit(length: _Length, unit: str | None) -> tuple[tuple[float, str | None], ...]:
    return tuple((number, own or unit) for number, own in length.parts)


def _in_cm(parts: tuple[tuple[float, str | None], ...], got: object) -> float:
    total = 0.0
    for number, unit in parts:
        if unit is None:
            raise ScarfdateError(f"a length without a unit: got {_shown(got)}; {_ALLOWED_UNITS}")
        total += number * _CM_PER_UNIT[unit]
    return _positive(total, got, "a length")
