"""Cells of a dealer's book: the years in which a piece is known to be made, or a problem in words."""

from __future__ import annotations

import datetime
import math
import re
from typing import NamedTuple

import numpy as np

from scarfdate.errors import ScarfdateError
from scarfdate.reading.cells import as_float, is_blank
from scarfdate.words import edtf
from scarfdate.words.date_phrases import DateWords

OPEN = ".."


class Known(NamedTuple):
    """The years in which a piece can have been made, None for an open end; and what is wrong."""

    first: int | None = None
    last: int | None = None
    approximate: bool = False
    problem: str = ""


def known_years(words: DateWords, known: object, start: object, end: object) -> Known | None:
    """The interval in ``known`` (one cell), or in its two ends; None where all three are blank (None).

    A cell is a year, or text that `scarfdate.words.edtf` reads with these ``words``; of an interval in ``start`` the
    first year counts, in ``end`` the last. ``..`` is an open end, and is written: an end that is left blank beside
    years with two ends is a problem, because these may be meant alone. Where both ways are used they must agree.
    """
    one = None if known is None else _whole(known, "known", words)
    if start is None and end is None:
        return one
    two = _ends(start, end, words)
    if one is None or one.problem or two.problem:
        return one if one is not None and one.problem else two
    if (one.first, one.last) != (two.first, two.last):
        return Known(problem="known does not agree with known_from and known_to; give one of them")
    return one


def _ends(start: object, end: object, words: DateWords) -> Known:
    if start is None or end is None:
        name, other = ("known_to", "known_from") if start is None else ("known_from", "known_to")
        alone = _whole(end if start is None else start, name, words)
        if not alone.problem and alone.first is not None and alone.last is not None:
            return Known(problem=f"{other} is blank: write what stands in {name} into known where it is meant alone, "
                                 f"or {OPEN} for an open end")  # fmt: skip
        return alone
    sides = []
    for name, cell in (("known_from", start), ("known_to", end)):
        opened = isinstance(cell, str) and cell.strip() == OPEN
        sides.append(Known() if opened else _whole(cell, name, words))
    for side in sides:
        if side.problem:
            return side
    first, last = sides[0].first, sides[1].last
    if first is None and last is None:
        return Known(problem="both ends are open: no year is named")
    return Known(first, last, sides[0].approximate or sides[1].approximate)


def _whole(cell: object, name: str, words: DateWords) -> Known:
    number = as_float(cell)
    if isinstance(cell, datetime.date) and not is_blank(cell):
        text = f"{cell.year:04d}"
    elif isinstance(cell, np.datetime64):
        text = str(cell.astype("datetime64[Y]"))
    elif number is not None and math.isfinite(number) and number == int(number):
        text = str(int(number))
    elif isinstance(cell, str):
        text = cell.strip()
        text = text.removesuffix(".0") if re.fullmatch(r"\d{4}\.0", text, re.ASCII) else text
    else:
        return Known(problem=f"{name}: a year or an interval such as 1958/1969 is wanted")
    try:
        first, last, about = edtf.read_years(text, words)
    except ScarfdateError as refusal:
        return Known(problem=f"{name}: {refusal}")
    if last is not None and last < 1:
        return Known(problem=f"{name}: there is no year 0")
    return Known(None if first is None else max(first, 1), last, about)
