"""Measurements in a sentence as they were noted: "90 cm square", "34 1/2 x 35 in", "9 stitches per inch"."""

from __future__ import annotations

import re
from collections.abc import Sequence
from numbers import Real

_LONGEST = 40  # characters; longer notes are no measurement to be quoted
_SIGNIFICANT = ".5g"  # digits of a number that a spreadsheet may have worked out
_BOTH = re.compile(
    r"([\d.,/ ½¼¾⅛⅜⅝⅞]*[\d½¼¾⅛⅜⅝⅞]) ?[x×X*] ?([\d.,/ ½¼¾⅛⅜⅝⅞]*[\d½¼¾⅛⅜⅝⅞]) ?([A-Za-z.\"″”]*)"
)
_ONE = re.compile(r"([\d.,/ ½¼¾⅛⅜⅝⅞]*[\d½¼¾⅛⅜⅝⅞]) ?([A-Za-z.\"″”]*)")
_STATED = re.compile(r"[^\d.,/\s½¼¾⅛⅜⅝⅞–-]")  # a unit, or words
_MARKS = ('"', "″", "”")  # of inches, which stand close to their number
_PLAIN = re.compile(r"[\d.,/ ½¼¾⅛⅜⅝⅞]+")


def as_written(cell: object, unit: str) -> str:
    """One measurement with its unit, unless it states one; "" for what is too long to be quoted."""
    text = _text(cell)
    stated = not _only_digits(text) and _STATED.search(text)
    return text if stated or not text or not unit else f"{text} {unit}"


def both_written(cell: object, unit: str) -> str:
    """Both sides out of one text."""
    text = _text(cell)
    both = _BOTH.fullmatch(text)
    if both is None:
        one = _ONE.fullmatch(text)
        return as_written(text, unit) if one is None else _joined([one[1]], one[2] or unit)
    return _joined([both[1].strip(), both[2].strip()], both[3] or unit)


def sides_written(sides: Sequence[tuple[object, str]]) -> str:
    """Sides, each with its unit."""
    texts = [_text(cell) for cell, _ in sides]
    if not all(texts):
        return ""
    units = {unit for _, unit in sides}
    if len(units) == 1 and all(map(_plain, texts)):
        return _joined(texts, *units)
    return " x ".join(as_written(*side) for side in sides)


def _joined(sides: Sequence[str], unit: str) -> str:
    space = "" if unit.startswith(_MARKS) else " "
    if len(sides) == 2 and sides[0] == sides[1]:
        return f"{sides[0]}{space}{unit} square".replace("  ", " ")
    return f"{' x '.join(sides)}{space}{unit}".rstrip()


def _text(cell: object) -> str:
    if isinstance(cell, float):  # most of them
        return f"{cell:.0f}" if cell.is_integer() else format(cell, _SIGNIFICANT)
    if isinstance(cell, Real) and not isinstance(cell, bool):
        try:
            return _text(float(cell))
        except TypeError:  # a span of time calls itself a number
            return ""
    text = " ".join(str(cell).split())
    return text if text.isprintable() and len(text) <= _LONGEST else ""


def _plain(text: str) -> bool:
    """Whether it is a number alone."""
    return _only_digits(text) or _PLAIN.fullmatch(text) is not None


def _only_digits(text: str) -> bool:
    """What most cells are, told without a search: digits, with at most one point."""
    return text.replace(".", "", 1).isdecimal()
