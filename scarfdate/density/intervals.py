"""Intervals of years as cells of a grid, and how many records state each of them.

Dates of museums repeat: thousands of records state some hundreds of distinct intervals. Everything
after `compressed` works on the distinct ones, so that its cost does not grow with the records.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from scarfdate.conventions import Array
from scarfdate.errors import RangeError

Cells = NDArray[np.intp]
Mask = NDArray[np.bool_]

FOLDS = 10  # parts for held-out scores: the usual choice; fewer leave out more, more take longer


@dataclass(frozen=True, slots=True, kw_only=True)
class Intervals:
    """Distinct closed intervals ``first``..``last`` of cells, sorted, with positive weights.

    ``first`` and ``last`` are (m,) cell numbers from 0, ``weight`` (m,) is the number of records
    (or their summed weights). ``fold_weight`` (m, folds), if there, splits each weight over the
    parts of a held-out score; its rows sum to ``weight``.
    """

    first: Cells
    last: Cells
    weight: Array
    fold_weight: Array | None = None

    def __len__(self) -> int:
        return len(self.first)


def whole_numbers(values: ArrayLike, name: str) -> Cells:
    """``values`` as a flat array of integers; refused if one is not whole or not finite."""
    array = np.asarray(values)
    if array.ndim != 1:
        raise RangeError(f"{name} must be a flat array; got shape {array.shape}")
    if array.dtype.kind in "iu":
        return array.astype(np.intp)
    try:
        number = array.astype(float)
    except (TypeError, ValueError):
        raise RangeError(f"{name} must be whole numbers; got an array of {array.dtype}") from None
    bad = ~(np.isfinite(number) & (number == np.floor(number)))
    if bad.any():
        row = int(bad.argmax())
        raise RangeError(f"{name} must be whole numbers; row {row} has {number[row]!r}")
    return number.astype(np.intp)


def weights(weight: ArrayLike | None, length: int) -> Array:
    """``weight`` as (length,) floats, ones if none are given; refused if negative or not finite."""
    if weight is None:
        return np.ones(length)
    array = np.asarray(weight, dtype=float)
    if array.shape != (length,):
        raise RangeError(f"weight must have one number a row ({length}); got shape {array.shape}")
    bad = ~(np.isfinite(array) & (array >= 0))
    if bad.any():
        row = int(bad.argmax())
        raise RangeError(f"weight must be 0 or more and finite; row {row} has {array[row]!r}")
    if not array.sum() > 0:
        raise RangeError("no row has a weight above 0; nothing is left to estimate from")
    return array


def fold_table(index: Cells, weight: Array, fold: ArrayLike, length: int) -> Array:
    """Weights (length, folds) summed by row number ``index`` and ``fold``, both one a record."""
    number = whole_numbers(fold, "fold")
    if number.shape != index.shape or number.min(initial=0) < 0:
        raise RangeError("fold must have one number from 0 up for each record")
    folds = int(number.max(initial=0)) + 1
    table = np.bincount(index * folds + number, weight, length * folds).astype(float)
    return table.reshape(length, folds)


def compressed(
    first: ArrayLike,
    last: ArrayLike,
    weight: ArrayLike | None = None,
    fold: ArrayLike | None = None,
) -> Intervals:
    """The distinct intervals among records ``first``..``last`` (cells, both ends in), with counts.

    ``weight``: one number a record, default 1; records of weight 0 are left out. ``fold``: for
    held-out scores, the part (0, 1, ...) that each record belongs to, such as from `fold_numbers`.
    Raises RangeError for cells below 0, ends in the wrong order, or no weight at all.
    """
    begin, end = whole_numbers(first, "first"), whole_numbers(last, "last")
    if begin.shape != end.shape:
        raise RangeError(f"first and last differ in length: {len(begin)} and {len(end)}")
    bad = (begin < 0) | (end < begin)
    if bad.any():
        row = int(bad.argmax())
        raise RangeError(
            f"an interval must have 0 <= first <= last; row {row} has {begin[row]}..{end[row]}"
            f" ({int(bad.sum())} such rows)"
        )
    load = weights(weight, len(begin))
    if not len(begin):
        raise RangeError("no interval at all; give at least one record")
    width = int(end.max()) + 1
    key = begin * width + end
    if width * width <= 4 * len(key) + 1_000_000:  # counting beats sorting on a grid of years
        total = np.bincount(key, load, width * width)
        distinct = np.flatnonzero(total)
        place = np.zeros(width * width, dtype=np.intp)
        place[distinct] = np.arange(len(distinct))
        index = place[key] if fold is not None else None
        total = total[distinct]
    else:
        kept = load > 0
        distinct, index = np.unique(key[kept], return_inverse=True)
        total = np.bincount(index, load[kept])
        if fold is not None:
            index = np.searchsorted(distinct, key).clip(max=len(distinct) - 1)
    by_fold = None
    if fold is not None and index is not None:
        by_fold = fold_table(index, load, fold, len(distinct))
    return Intervals(
        first=distinct // width,
        last=distinct % width,
        weight=total.astype(float),
        fold_weight=by_fold,
    )


def fold_numbers(
    group: ArrayLike,
    rng: np.random.Generator,
    folds: int = FOLDS,
    weight: ArrayLike | None = None,
) -> Cells:
    """A part 0..folds-1 for each record, equal for all records of one ``group``.

    Near-identical records (one gift of dozens of samples) must not sit on both sides of a held-out
    score. Groups are taken in random order, each to the part that has least weight so far.
    """
    if folds < 2:
        raise RangeError(f"folds must be 2 or more; got {folds}")
    names, member = np.unique(np.asarray(group), return_inverse=True)
    load = np.bincount(member, weights(weight, len(member)), len(names))
    held = np.zeros(folds)
    part = np.empty(len(names), dtype=np.intp)
    for number in rng.permutation(len(names)):
        part[number] = held.argmin()
        held[part[number]] += load[number]
    return part[member]


def split_weights(weight: Array, folds: int, rng: np.random.Generator) -> Array:
    """Counts (m,) dealt out at random over (m, folds): every record is its own group.

    A count of 200 is 200 records, which fall on all parts; what is left of a weight that is not a
    whole number goes to one part.
    """
    whole = np.floor(weight + 1e-9).astype(np.int64)
    table = rng.multinomial(whole, np.full(folds, 1 / folds)).astype(float)
    rest = np.maximum(weight - whole, 0)
    table[np.arange(len(weight)), rng.integers(folds, size=len(weight))] += rest
    return table
