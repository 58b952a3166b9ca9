"""The distinct rows of a table of whole numbers, each numbered, so that what repeats is worked out once."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

_SPARSE = 8  # possible keys for each key present, above which they are sorted
_ROOM = 2**62  # keys stay below this


def distinct(*columns: NDArray[np.integer[Any]]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Where each distinct row first stands, and the number of the distinct row of every row.

    ``columns``: at least one, of equal length n; whole numbers, 0 or more.
    """
    key = columns[0].astype(np.int64)
    if not len(key):
        return np.zeros(0, dtype=np.intp), np.zeros(0, dtype=np.intp)
    for column in columns[1:]:
        widest = int(column.max()) + 1
        if (int(key.max()) + 1) * widest >= _ROOM:
            key = _numbered(key)[1].astype(np.int64)  # so that the next column finds room
        key = key * widest + column
    return _numbered(key)


def _numbered(key: NDArray[np.int64]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    room = int(key.max()) + 1
    if room > _SPARSE * len(key):
        _, first, numbers = np.unique(key, return_index=True, return_inverse=True)
        return first, numbers.reshape(-1)
    # few possible keys: marking them is quicker than sorting
    seen = np.zeros(room, dtype=bool)
    seen[key] = True
    place = np.cumsum(seen) - 1
    numbers = place[key]
    first = np.empty(int(place[-1]) + 1, dtype=np.intp)
    first[numbers[::-1]] = np.arange(len(key) - 1, -1, -1)  # the last written stays: the first
    return first, numbers
