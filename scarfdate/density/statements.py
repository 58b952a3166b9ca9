"""What a museum means by the date that it states, estimated rather than assumed.

A museum states a year, "ca. 1925", a decade, a quarter, half or whole century. Read as bare
intervals, such dates mislead twice. *Kind*: older pieces are dated to centuries, newer ones to
years, so "20th century" is not an even statement about its hundred years. The share of each kind of
statement given the true year, q_t(y), is estimated, smooth in y. *Heaping*: dates said to be exact
or "circa" fall on round years. With probability h10 the stated year is the multiple of ten nearest
the truth, with h5 that of five; so a stated round year also speaks for its neighbours.

A record then has likelihood q_t(y) P(what was stated | t, y) in place of one inside its interval and
zero outside. `statement_fit` estimates all of it together with the density.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from scarfdate.density.intervals import Array, Cells, Mask, fold_table, weights, whole_numbers
from scarfdate.errors import RangeError

EXACT, NARROW, CIRCA, DECADE, QUARTER, HALF, CENTURY = range(7)
KINDS = 7
_HEAPED = (EXACT, CIRCA)  # kinds that state a year, so that it can be a round one
_LATE, _EARLY = 10_000, -10_000  # years that bound nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class Widths:
    """The longest statement, in years, of each kind that is known by its width.

    ``narrow`` is a few years, ``circa`` a "ca. 1925", ``quarter`` and ``half`` parts of a century.
    What is longer is a `CENTURY`. Raises RangeError unless 1 < narrow < circa < quarter < half.
    """

    narrow: int
    circa: int
    quarter: int
    half: int

    def __post_init__(self) -> None:
        """Each kind must have a width of its own."""
        if not 1 < self.narrow < self.circa < self.quarter < self.half:
            raise RangeError(
                f"the widths of date statements must increase from 2 years; got {self}"
            )

    @property
    def kinds(self) -> tuple[str, ...]:
        """The kinds in words, in the order of their numbers."""
        return (
            "one year",
            f"2 to {self.narrow} years",
            f"{self.narrow + 1} to {self.circa} years",
            "a decade",
            f"{self.circa + 1} to {self.quarter} years",
            f"{self.quarter + 1} to {self.half} years",
            f"over {self.half} years",
        )


def kinds_of(
    first_year: ArrayLike, last_year: ArrayLike, widths: Widths, circa: ArrayLike | None = None
) -> Cells:
    """The kind of each statement ``first_year``..``last_year`` (both in), by width and alignment.

    An open side (NaN) is as wide as can be. 1920-1929 is a decade; so is 1920-1930, unless
    ``circa`` (n,) says that the text was "ca. 1925", which museums store as the same pair.
    """
    first, last = _ends(first_year, last_year)
    width = last - first + 1
    if (width < 1).any():
        row = int((width < 1).argmax())
        raise RangeError(
            f"a statement must not end before it begins; row {row} has {first[row]:g}.."
            f"{last[row]:g} ({int((width < 1).sum())} such rows)"
        )
    kind = np.full(len(first), CENTURY, dtype=np.intp)
    kind[width <= widths.half] = HALF
    kind[width <= widths.quarter] = QUARTER
    kind[width <= widths.circa] = CIRCA
    kind[width <= widths.narrow] = NARROW
    aligned = (first % 10 == 0) & ((width == 10) | (width == 11))
    if circa is not None:
        aligned &= ~((width == 11) & np.asarray(circa, dtype=bool))
    kind[aligned] = DECADE
    kind[width == 1] = EXACT
    return kind


def centres_of(
    first_year: ArrayLike, last_year: ArrayLike, kind: ArrayLike, circa: ArrayLike | None = None
) -> Array:
    """The year that a statement names, (n,), NaN where it names none.

    That is an exact year, and the middle of a `CIRCA` interval with a year in its middle; where
    ``circa`` is given, only if it says that the text was a "circa" and not a span such as 1934-40.
    """
    first, last = _ends(first_year, last_year)
    kinds = whole_numbers(kind, "kind")
    named = kinds == EXACT
    about = (kinds == CIRCA) & ((last - first) % 2 == 0)
    if circa is not None:
        about &= np.asarray(circa, dtype=bool)
    return np.where(named | about, (first + last) // 2, np.nan)


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
    latest = np.where(latest >= np.minimum(reach, stop), _LATE, latest)
    begin = np.where(np.isnan(begin), _EARLY, np.maximum(begin, _EARLY))
    end = np.minimum(end, _LATE)
    # NaN is not equal to itself: a year that cannot be stands for "no centre" while sorting
    no_centre = np.where(np.isnan(middle), _EARLY - 1, middle)
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
        centre=np.where(distinct[:, 3] < _EARLY, np.nan, distinct[:, 3]),
        latest=distinct[:, 4],
        weight=np.bincount(index, load[kept]).astype(float),
        fold_weight=by_fold,
    )
    return rows, kept


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts:
    """P(what was stated | kind, y), (m, cells), by way of stating: as it is, or rounded."""

    own: Array
    ten: Array
    five: Array


def parts_of(records: Stated, start: int, cells: int) -> Parts:
    """The three ways in which each record can have come about, before their shares.

    Cell y is the year ``start + y``; cell 0 stands for all years up to ``start``. A year named
    before ``start`` is known to be about cell 0; how it fell within is not modelled.
    """
    year = np.arange(start, start + cells, dtype=float)
    first, last = records.first[:, None], records.last[:, None]
    inside = ((first <= year) & (year <= last)).astype(float)
    inside[:, 0] = records.first <= start
    named = ~np.isnan(records.centre)
    exact = (records.kind == EXACT) & named
    about = (records.kind == CIRCA) & named
    own = inside
    # "ca. 1925": the year named lies as near the truth on either side as the interval allows
    width = records.last - records.first + 1
    own[about] /= width[about, None]
    before = about & (records.first < start)
    own[before, 0] = (np.minimum(records.last, start) - records.first + 1)[before] / width[before]
    centre = np.where(exact | about, records.centre, np.nan)[:, None]
    ten, five = own.copy(), own.copy()
    inner = (exact | about) & (records.centre >= start)
    distance = np.abs(year - centre[inner])
    on_ten, on_five = centre[inner] % 10 == 0, centre[inner] % 5 == 0
    # a year that ends in five has two nearest tens
    ten[inner] = on_ten * np.where(distance < 5, 1.0, np.where(distance == 5, 0.5, 0.0))
    five[inner] = on_five * (distance <= 2)
    early = (exact | about) & (records.centre < start)
    for part in (own, ten, five):
        part[early] = 0
        part[early, 0] = 1
        part *= year <= records.latest[:, None]
    return Parts(own=own, ten=ten, five=five)


@dataclass(frozen=True, slots=True, kw_only=True)
class Statements:
    """How museums state dates: shares of kinds by true year, and heaping on round years.

    ``q`` (kinds, cells), columns sum to one. ``h10``, ``h5`` (kinds,): the shares of statements of
    that kind that were rounded to ten and to five; zero for kinds that name no year. Cell y is the
    year ``start + y``; cell 0 stands for all years up to ``start``.
    """

    start: int
    q: Array
    h10: Array
    h5: Array

    def rows(self, records: Stated, parts: Parts | None = None) -> Array:
        """P(statement | y) of each of ``records``, (m, cells); ``parts`` if they are at hand already.

        Within a kind that names no year, the choice among intervals that hold y is taken not to
        depend on y, and left out as a constant.
        """
        if len(records.kind) and not 0 <= records.kind.min() <= records.kind.max() < len(self.q):
            raise RangeError(f"a kind of statement must be a number from 0 to {len(self.q) - 1}")
        ways = parts or parts_of(records, self.start, self.q.shape[1])
        ten = self.h10[records.kind][:, None]
        five = self.h5[records.kind][:, None]
        stating = (1 - ten - five) * ways.own + ten * ways.ten + five * ways.five
        return np.asarray(stating * self.q[records.kind])


def heaped_kinds(kinds: int) -> Sequence[int]:
    """The kinds for which rounding is estimated, among the first ``kinds``."""
    return [kind for kind in _HEAPED if kind < kinds]


def _ends(first_year: ArrayLike, last_year: ArrayLike) -> tuple[Array, Array]:
    first, last = np.asarray(first_year, dtype=float), np.asarray(last_year, dtype=float)
    if first.ndim != 1 or first.shape != last.shape:
        raise RangeError("first and last years must be flat arrays of equal length")
    return np.where(np.isnan(first), _EARLY, first), np.where(np.isnan(last), _LATE, last)
