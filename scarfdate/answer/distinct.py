"""The distinct combinations of cells of a frame, so that each is read only once."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray


def distinct_rows(columns: Sequence[pd.Series]) -> tuple[NDArray[np.intp], list[tuple[Any, ...]]]:
    """The distinct combinations of cells, and for each row its number from 1; 0 where all are blank."""
    parts = [_factorised(column) for column in columns]
    if len(parts) == 1:
        numbers, cells = parts[0]
        return numbers.astype(np.intp) + 1, [(cell,) for cell in cells]
    key = np.zeros(len(columns[0]), dtype=np.int64)
    for numbers, cells in parts:
        key = key * (len(cells) + 1) + numbers + 1
        if key.size and key.max() > 2**40:  # keep room for the next column
            key = np.unique(key, return_inverse=True)[1].astype(np.int64) + (key.min() > 0)
    if not np.any(key):
        return np.zeros(len(key), dtype=np.intp), []
    _, first, back = np.unique(key, return_index=True, return_inverse=True)
    combinations = []
    for at in first:
        cells_here = tuple(
            cells[numbers[at]] if numbers[at] >= 0 else None for numbers, cells in parts
        )
        combinations.append(cells_here)
    if combinations and all(cell is None for cell in combinations[0]):
        return back.astype(np.intp), combinations[1:]
    return back.astype(np.intp) + 1, combinations


def _factorised(column: pd.Series) -> tuple[NDArray[np.intp], list[Any]]:
    try:
        numbers, cells = pd.factorize(column)
    except (
        TypeError
    ):  # cells such as dictionaries, which cannot be compared, become their JSON text
        numbers, cells = pd.factorize(
            pd.Series([_comparable(cell) for cell in column], dtype=object)
        )
    return np.asarray(numbers), [
        cell.item() if isinstance(cell, np.generic) else cell for cell in cells
    ]


def _comparable(cell: object) -> object:
    if isinstance(cell, Mapping):
        return json.dumps(dict(cell), default=str)
    try:
        hash(cell)
    except TypeError:
        return repr(cell)
    return cell
