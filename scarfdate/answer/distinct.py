"""The distinct cells of a frame and their combinations, so that each is read only once."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping, Sequence
from contextlib import suppress
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import Array
from scarfdate.errors import in_text
from scarfdate.model.numbered import distinct
from scarfdate.reading.cells import is_blank

if TYPE_CHECKING:
    import pandas as pd

_DIGITS = re.compile(r"[0-9]+(?:\.[0-9]+)?")
_LONGEST_NUMBER = 40


def distinct_rows(columns: Sequence[pd.Series]) -> tuple[NDArray[np.intp], list[tuple[Any, ...]]]:
    """The distinct combinations of cells, and for each row its number from 1; 0 where all are blank."""
    parts = [distinct_cells(column) for column in columns]
    if len(parts) == 1:
        numbers, cells = parts[0]
        return numbers, [(cell,) for cell in cells[1:]]
    first, back = distinct(*(numbers for numbers, _ in parts))
    found = [tuple(cells[numbers[at]] for numbers, cells in parts) for at in first]
    if found and all(cell is None for cell in found[0]):
        return back, found[1:]
    return back + 1, found


def distinct_cells(column: pd.Series) -> tuple[NDArray[np.intp], list[Any]]:
    """The place of each row's cell among the distinct ones, of which 0 is blank (None)."""
    import pandas as pd  # dating one scarf needs none

    try:
        numbers, cells = pd.factorize(column)
    except TypeError:
        # cells such as dictionaries, which cannot be compared, become their JSON text
        comparable = pd.Series([_comparable(cell) for cell in column], dtype=object)
        numbers, cells = pd.factorize(comparable)
    plain = [cell.item() if isinstance(cell, np.generic) else cell for cell in cells]
    return np.asarray(numbers).astype(np.intp) + 1, [None, *plain]


def plain_numbers(column: pd.Series) -> Array:
    """The numbers of a column: NaN where a cell is blank, infinite where it is no plain number.

    Digits with or without a decimal point are plain in text, too; all else has to be read.
    """
    kind = getattr(column.dtype, "kind", "O")
    if kind in "iuf":
        return np.asarray(column.to_numpy(dtype=np.float64, na_value=np.nan))
    return np.array([_plain_number(cell) for cell in column.to_numpy(dtype=object)], dtype=float)


def _plain_number(cell: object) -> float:
    if isinstance(cell, str):
        if len(cell) <= _LONGEST_NUMBER and _DIGITS.fullmatch(cell):
            return float(cell)
        return math.inf if cell.strip() else math.nan
    if isinstance(cell, float):
        return float(cell)
    return math.nan if is_blank(cell) else math.inf


def _comparable(cell: object) -> object:
    if isinstance(cell, Mapping):
        with suppress(TypeError, ValueError):  # keys that are no text, numbers of too many digits
            return json.dumps(dict(cell), default=str)
        return in_text(dict(cell))
    try:
        hash(cell)
    except TypeError:
        return in_text(cell)
    return cell
