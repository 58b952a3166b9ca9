"""The unit of sizes that state none, where the other cells of their column state one and agree."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from typing import TYPE_CHECKING

from scarfdate.clues.readable import column_names
from scarfdate.reading.cells import as_typed, is_blank
from scarfdate.reading.headings import read_headings
from scarfdate.tables.priors import Priors
from scarfdate.words.lengths import UNIT_OF_WORD
from scarfdate.words.units import CM_PER_INCH

if TYPE_CHECKING:
    import pandas as pd

_SIZE, _UNIT = "size", "unit"
_SIDE = re.compile(r"\d+(?:[.,]\d+)?")
_FRACTION = re.compile(r"(?<=\s)\d/\d\b")  # of a side: 35 1/2
_WORD = re.compile(r"[^\W\d_]+|[\"'″”]+")
_NEAR = math.sqrt(CM_PER_INCH)  # in a ratio nearer than this, a side fits no other unit better


def shared_unit(cells: Iterable[object]) -> tuple[str, int]:
    """The unit, "cm" or "in", that all cells of sizes state that state one, and how many state none.

    "" where they do not agree, where none or every one states it, and where a side without a unit lies so far from all
    others that it may be of another unit.
    """
    stated: dict[str, list[float]] = {}
    bare: list[list[float]] = []
    for cell in cells:
        text = "" if is_blank(cell) else as_typed(cell).casefold()
        sides = [float(side.replace(",", ".")) for side in _SIDE.findall(_FRACTION.sub("", text))]
        units = {UNIT_OF_WORD[word] for word in _WORD.findall(text) if word in UNIT_OF_WORD}
        if not sides:
            continue
        if not units:
            bare.append(sides)
        for unit in units:
            stated.setdefault(unit, []).extend(sides)
    if len(stated) != 1 or not bare:
        return "", 0
    ((unit, known),) = stated.items()
    near = (min(known) / _NEAR, max(known) * _NEAR)
    if unit not in ("cm", "in") or any(
        not near[0] <= s <= near[1] for sides in bare for s in sides
    ):
        return "", 0
    return unit, len(bare)


def unit_of_sheet(clues: pd.DataFrame, priors: Priors) -> tuple[str, str]:
    """`shared_unit` of the sizes of a sheet, and what a person is told of it; "" where a heading or a column has it."""
    read = read_headings(list(clues.columns), column_names(priors), priors.headings)
    if _SIZE not in read.place or _UNIT in read.place or read.units:
        return "", ""
    unit, count = shared_unit(clues.iloc[:, read.place[_SIZE]].tolist())
    return unit, told(unit, count)


def told(unit: str, count: int) -> str:
    """What a person is told of so many sizes that were read in a unit that they do not state."""
    if not unit:
        return ""
    sizes = "1 size without a unit is" if count == 1 else f"{count} sizes without a unit are"
    return f"{sizes} read in {unit}, as all others of the column; --unit says otherwise"
