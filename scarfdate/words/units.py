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
    "checked_unit",
    "momme",
    "per_inch",
    "read_length",
    "read_side",
    "read_sides",
    "read_size",
]
_NEARLY = (
    r"(?:just (?:under|over|short of)|nearly|almost|(?:slightly|a bit|a little) (?:under|over)|about|abt|"
    r"approx(?:imately)?|around|roughly|c|ca|circa|env|environ|etwa|ungefähr|aprox|maybe|or so)"
)
_ABOUT = re.compile(rf"^(?:{_NEARLY}\b\.? ?|~ ?)+| {_NEARLY}\.?$")
_SAME = 0.1  # of a length: rounding of a second unit, or both ends of "26-27 in"
_TWICE = re.compile(r" ?\(| [/=] |(?<=[a-z\"]) ?/ ?(?=[0-9])")
# 28 in sq, not quite true
_ASIDE = re.compile(
    r",(?! ?(?:(?:mm|cm|m|in|ft|yd|sq)\b|inch|feet|squ|im quad|quad|carr|cuad))[a-z' ]+$"
    r"|^[a-z ]+, | (?:hankie|hanky|handkerchief|pochette|foulard|scarf|shawl|overall|in all|total)$"
)
_METRES = re.compile(r"\b([0-9])m([0-9]{2})\b")  # 1m10
_ISH = re.compile(r"(?<=[0-9])ish\b")
_UNIT_FIRST = re.compile(r"^(mm|cm|m|in)\.? ?(?=[0-9])(.*[0-9])$")  # cm 90 x 90
_BY_A_SLASH = re.compile(
    r"^([0-9]{2,}(?:[.,][0-9]+)?) ?/ ?([0-9]{2,}(?:[.,][0-9]+)?(?: ?[a-z\"]+)?)$"
)
_FROM_TO = re.compile(
    r"([0-9]+(?:[.,][0-9]+)?)(?:\"| ?(?:in|cm)\b)? ?(?:-|–|to|bis|à) ?"
    r"([0-9]+(?:[.,][0-9]+)?)(?![0-9.,]| ?/)"  # no fraction: 35-1/2
)
_SQUARE = re.compile(
    r"^(?:square|carré|quadrato|cuadrado|quadratisch) |[ ,]*(?:square|sq|squared|im quadrat|quadratisch|carré|"
    r"quadrato|cuadrado|per side|de côté|di lato|per lato|de lado|pro seite)\.?$"
)
_BETWEEN = re.compile(r" ?[x*] ?| (?:by|auf|par|por|per) ")
_JOINS = re.compile(r"^[ ,;&]*(?:and |und |et |e )?|[ ,;&]+(?:and|und|et|e)?$")
# which side it is: 60l x 14w, 35 in wide
_WHICH = re.compile(
    r"(?<![a-z])(?:wide|long|high|tall|width|length|height|each side|each way|longueur|long|largeur|larg|hauteur|haut|"
    r"länge|lang|breite|breit|höhe|hoch|lunghezza|larghezza|altezza|largo|ancho|alto|[whlb])(?![a-z])\.?[:=]?"
)
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


def read_side(text_or_number: str | float, default_unit: str | None) -> float:
    """One side in cm as people note it: as `read_length`, and ``c. 35 in``, ``27" (68cm)``, ``"35"``.

    Raises ScarfdateError as `read_length` does.
    """
    try:
        return read_length(text_or_number, default_unit)
    except ScarfdateError:
        sides = _as_noted(text_or_number, _default(default_unit))
        if sides is None or sides[1] is not None:
            raise
        return sides[0]


def read_sides(text: str, default_unit: str | None) -> tuple[float, float | None]:
    """The sides in cm as people note a size, the second None where there is one side alone.

    As `read_size`, and ``36" sq``, ``c. 90 x 90 cm``, ``27" (68cm)``, ``35" x 35``, ``90 cm``. Raises
    ScarfdateError as `read_size` does.

    >>> read_sides('36" sq', None), read_sides("27 in", None)
    ((91.44, 91.44), (68.58, None))
    """
    try:
        return read_size(text, default_unit)
    except ScarfdateError:
        sides = _as_noted(text, _default(default_unit))
        if sides is None:
            raise
        return sides


def _as_noted(text: object, default: str | None) -> tuple[float, float | None] | None:
    """The sides of a text with what people write around them; None where it is no size.

    Raises ScarfdateError where a side cannot be read.
    """
    if not isinstance(text, str):
        return None
    words = _ISH.sub("", _METRES.sub(r"\1 m \2 cm", plain(text, "size").strip()))
    words = _ABOUT.sub("", _ASIDE.sub("", words))
    if len(words) > 2 and words[0] == words[-1] == '"':
        words = words[1:-1].strip()
    # the same once more in another unit: 27" (68cm)
    read, refusal = [], None
    for part in _TWICE.split(words.replace(")", ""), maxsplit=1):
        try:
            read.append(_sides_of(_ABOUT.sub("", part.strip()), text, default))
        except ScarfdateError as error:
            refusal = refusal or error
    if not read:
        if refusal is not None:
            raise refusal
        return None
    first, last = read[0], read[-1]
    if first is None or last is None or abs(first[0] / last[0] - 1) > _SAME:
        return None
    return first


def _sides_of(words: str, text: str, default: str | None) -> tuple[float, float | None] | None:
    bare = _SQUARE.sub("", words)
    square = bare != words
    bare = _FROM_TO.sub(_middle, _UNIT_FIRST.sub(r"\2 \1", bare))
    bare = _BY_A_SLASH.sub(r"\1 x \2", bare)
    sides = [part.strip() for part in _BETWEEN.split(_WHICH.sub(" ", bare).strip())]
    if len(sides) == 1:  # 60 in long, 11 in wide
        apart = [_JOINS.sub("", part) for part in _WHICH.split(bare)]
        *most, last = [part for part in apart if part] or sides
        # 60l 11w in: the unit stands behind the letter
        sides = (
            [*most[:-1], f"{most[-1]} {last}"] if most and last in UNIT_OF_WORD else [*most, last]
        )
    if not 1 <= len(sides) <= 2 or (square and len(sides) > 1):
        return None
    lengths = [parts_of(" ".join(side.split()), text) for side in sides]
    stated = {parts.parts[-1][1] for parts in lengths if len(parts.parts) == 1} - {None}
    shared = stated.pop() if len(stated) == 1 else default
    first, *more = (in_cm(with_unit(side, shared), text) for side in lengths)
    return first, first if square else more[0] if more else None


def _middle(ends: re.Match[str]) -> str:
    """The middle of two lengths that are nearly the same, as text; what else stands there as it is."""
    first, last = (float(end.replace(",", ".")) for end in ends.groups())
    if not first < last <= (1 + _SAME) * first:
        return ends.group()
    return f"{(first + last) / 2:g}"


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


def checked_unit(unit: str | None) -> str | None:
    """The unit in its one spelling, None for None; ScarfdateError for what is no unit of length."""
    return _default(unit)


def _default(unit: str | None) -> str | None:
    if unit is None:
        return None
    known = UNIT_OF_WORD.get(unit.strip().casefold()) if isinstance(unit, str) else None
    if known is None:
        raise ScarfdateError(f"unknown default unit: got {shown_short(unit)}; {ALLOWED_UNITS}")
    return known
