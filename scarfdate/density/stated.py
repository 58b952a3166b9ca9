"""Statements of dates as records make them: the distinct ones with their counts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from scarfdate.conventions import Array
from scarfdate.density.intervals import Cells, Mask, fold_table, weights, whole_numbers
from scarfdate.density.kinds import EARLY, LATE, Widths, centres_of, kinds_of
from scarfdate.errors import RangeError


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """Distinct statements with their counts: kinds and years, (m,) each, and weights.

    ``first``, ``last``: stated years; ``centre``: the year named, NaN if none; ``latest``: the year
    of acquisition or other hard upper bound. ``fold_weight`` as in `Intervals`.
    """

    kind: Cells
    first: Array
    last: Array
    centre: Array
    latest: Array
    weight: Array
    fold_weight: Array | None = None

    def __len__(self) -> int:
        return len(self.kind)


def stated(
    first_year: ArrayLike,
    last_year: ArrayLike,
    *,
    acquired: ArrayLike | None = None,
    kind: ArrayLike | None = None,
    centre: ArrayLike | None = None,
    circa: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    fold: ArrayLike | None = None,
    widths: Widths | None = None,
    start: int,
    stop: int,
) -> tuple[Stated, Mask]:
    """The distinct statements among records, and which records they are made of.

    ``first_year``, ``last_year``, ``acquired``: years, (n,), NaN where not stated ("After 1933" has
    no last year and then ends at acquisition). ``kind``: default `kinds_of` with ``widths``, one of
    which must be given; ``centre``: default `centres_of`. ``weight``, ``fold`` as in `compressed`. Left out: nothing stated, ends in the
    wrong order, begun after acquisition or after ``stop``, weight 0. Statements before ``start``
    stay: they are about cell 0.
    """
    begin, end = np.asarray(first_year, dtype=float), np.asarray(last_year, dtype=float)
    had = np.full(begin.shape, np.nan) if acquired is None else np.asarray(acquired, dtype=float)
    if begin.ndim != 1 or not begin.shape == end.shape == had.shape:
        raise RangeError("first_year, last_year and acquired must be flat and equally long")
    if kind is None and widths is None:
        raise RangeError("give the kind of each statement, or the widths that tell the kinds apart")
    load = weights(weight, len(begin))
    latest = np.clip(np.fmin(had, stop), start, None)  # cell 0 is all years up to start
    nothing = np.isnan(begin) & np.isnan(end)
    kept = ~nothing & ~(end < begin) & ~(begin > np.fmin(had, stop)) & (load > 0)
    if not kept.any():
        raise RangeError("no record states a date that can be used; check the years")
    end = np.where(np.isnan(end), latest, end)  # an open end is bounded before its kind is read
    begin, end, latest = begin[kept], end[kept], latest[kept]
    about = None if circa is None else np.asarray(circa, dtype=bool)[kept]
    if kind is not None:
        kinds = whole_numbers(kind, "kind")[kept]
    elif widths is not None:
        kinds = kinds_of(begin, end, widths, about)
    middle = (
        centres_of(begin, end, kinds, about)
        if centre is None
        else np.asarray(centre, dtype=float)[kept]
    )
    # a bound after the end of what is stated bounds nothing, unless heaping reaches beyond it
    reach = np.where(np.isnan(middle), end, end + 5)
    latest = np.where(latest >= np.minimum(reach, stop), LATE, latest)
    begin = np.where(np.isnan(begin), EARLY, np.maximum(begin, EARLY))
    end = np.minimum(end, LATE)
    # NaN is not equal to itself: a year that cannot be stands for "no centre" while sorting
    no_centre = np.where(np.isnan(middle), EARLY - 1, middle)
    table = np.stack([kinds, begin, end, no_centre, latest], axis=1)
    code = np.zeros(len(table), dtype=np.int64)
    for column in table.T:  # one whole number for each distinct row: sorting those is quick
        values, place = np.unique(column, return_inverse=True)
        code = np.unique(code * len(values) + place, return_inverse=True)[1]
    _, where, index = np.unique(code, return_index=True, return_inverse=True)
    distinct = table[where]
    by_fold = None
    if fold is not None:
        part = whole_numbers(fold, "fold")[kept]
        by_fold = fold_table(index, load[kept], part, len(distinct))
    rows = Stated(
        kind=distinct[:, 0].astype(np.intp),
        first=distinct[:, 1],
        last=distinct[:, 2],
        centre=np.where(distinct[:, 3] < EARLY, np.nan, distinct[:, 3]),
        latest=distinct[:, 4],
        weight=np.bincount(index, load[kept]).astype(float),
        fold_weight=by_fold,
    )
    return rows, kept
