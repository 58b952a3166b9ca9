"""The kind of a statement of a date, told by its width and alignment, and the year that it names."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from scarfdate.conventions import Array
from scarfdate.density.intervals import Cells, whole_numbers
from scarfdate.errors import RangeError

EXACT, NARROW, CIRCA, DECADE, QUARTER, HALF, CENTURY = range(7)
KINDS = 7
_HEAPED = (EXACT, CIRCA)  # kinds that state a year, so that it can be a round one
LATE, EARLY = 10_000, -10_000  # years that bound nothing


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


def heaped_kinds(kinds: int) -> Sequence[int]:
    """The kinds for which rounding is estimated, among the first ``kinds``."""
    return [kind for kind in _HEAPED if kind < kinds]


def _ends(first_year: ArrayLike, last_year: ArrayLike) -> tuple[Array, Array]:
    first, last = np.asarray(first_year, dtype=float), np.asarray(last_year, dtype=float)
    if first.ndim != 1 or first.shape != last.shape:
        raise RangeError("first and last years must be flat arrays of equal length")
    return np.where(np.isnan(first), EARLY, first), np.where(np.isnan(last), LATE, last)
