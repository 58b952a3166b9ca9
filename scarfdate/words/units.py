"""Lengths, sizes, stitch counts and cloth weights as people type them, in the units used inside.

Inside: lengths in centimetres, stitches per inch, weight in momme. Read here: ``90``, ``90 cm``,
``0.9 m``, ``35"``, ``35½ in``, ``35 1/2 inches``, ``35,5 cm`` (decimal comma), ``2 ft 11 in``,
``2'11"``, with curly quotes and primes too; sizes such as ``90 x 180 cm``. A full stop is always a
decimal point. A comma with three digits after it is refused: it may separate thousands.
"""

from __future__ import annotations

import re

from scarfdate.errors import ScarfdateError
from scarfdate.words.lengths import (
    ALLOWED_UNITS,
    CM_PER_INCH,
    UNIT_OF_WORD,
    in_cm,
    number_of,
    parts_of,
    plain,
    positive,
    shown_short,
    with_unit,
)

__all__ = [
    "CM_PER_INCH",
    "GRAMS_PER_SQUARE_METRE_PER_MOMME",
    "momme",
    "per_inch",
    "read_length",
    "read_size",
]
GRAMS_PER_SQUARE_METRE_PER_MOMME = 4.340  # fact measure-momme-definition: lb per 45 in x 100 yd


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
        return in_cm(((number_of(text_or_number, "a length"), default),), text_or_number)
    words = plain(text_or_number, "length")
    return in_cm(with_unit(parts_of(words, text_or_number), default), text_or_number)


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
        raise ScarfdateError(f"a size must be text such as '90 x 90 cm': got {shown_short(text)}")
    words = plain(text, "size")
    if words.endswith(" square"):
        side = in_cm(with_unit(parts_of(words.removesuffix(" square"), text), default), text)
        return side, side
    sides = re.split(r" ?x ?| by ", words)
    if len(sides) != 2:
        raise ScarfdateError(
            f"a size needs two sides, such as '90 x 180 cm', or 'square': got {shown_short(text)}"
        )
    first, second = (parts_of(side, text) for side in sides)
    if first.parts[-1][1] is not None and second.parts[-1][1] is None:
        raise ScarfdateError(
            f"the second side states no unit: got {shown_short(text)}; write the unit on the last side "
            "(for both) or on each"
        )
    shared = default
    if second.parts[-1][1] is not None:
        # "2 x 2 ft 11 in" does not say what the bare 2 is in
        shared = second.parts[0][1] if len(second.parts) == 1 else None
    return in_cm(with_unit(first, shared), text), in_cm(with_unit(second, shared), text)


def per_inch(count: float, unit: str) -> float:
    """Stitches per inch from a count per inch (``unit`` "in") or per centimetre ("cm").

    Raises ScarfdateError unless the count is finite and above 0 and the unit is one of the two.

    >>> per_inch(4, "cm")
    10.16
    """
    number = positive(number_of(count, "a stitch count"), count, "a stitch count")
    known = UNIT_OF_WORD.get(unit.strip().casefold()) if isinstance(unit, str) else None
    if known == "in":
        return number
    if known == "cm":
        return positive(number * CM_PER_INCH, count, "a stitch count")
    raise ScarfdateError(
        f"unknown unit for a stitch count: got {shown_short(unit)}; allowed: in, cm"
    )


def momme(value: float, unit: str) -> float:
    """Cloth weight in momme from momme ("momme", or the trade sign "mm") or "g/m²" ("g/m2", "gsm").

    Raises ScarfdateError unless the value is finite and above 0 and the unit is one of these.

    >>> round(momme(69.44, "g/m²"), 9)
    16.0
    """
    number = positive(number_of(value, "a cloth weight"), value, "a cloth weight")
    word = "".join(unit.split()).casefold() if isinstance(unit, str) else ""
    if word in ("momme", "mommes", "mm"):
        return number
    if word in ("g/m²", "g/m2", "g/m^2", "gsm"):
        weight = number / GRAMS_PER_SQUARE_METRE_PER_MOMME
        return positive(weight, value, "a cloth weight")
    raise ScarfdateError(
        f"unknown unit for a cloth weight: got {shown_short(unit)}; allowed: momme, g/m²"
    )


def _default(unit: str | None) -> str | None:
    if unit is None:
        return None
    known = UNIT_OF_WORD.get(unit.strip().casefold()) if isinstance(unit, str) else None
    if known is None:
        raise ScarfdateError(f"unknown default unit: got {shown_short(unit)}; {ALLOWED_UNITS}")
    return known
