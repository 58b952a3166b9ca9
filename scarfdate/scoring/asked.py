"""The arguments of scoring, checked; and which records hang together."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from importlib.util import find_spec
from numbers import Integral
from typing import TYPE_CHECKING

import numpy as np

from scarfdate.conventions import FIRST_YEAR
from scarfdate.errors import RangeError, ScarfdateError, TableError, shown
from scarfdate.records.known import checked_records
from scarfdate.scoring.in_words import records_in_words
from scarfdate.years import Cells, checked_as_of, checked_level

if TYPE_CHECKING:
    from scarfdate.records.sold_records import SoldRecords

_DRAWS = (100, 100_000)
_SEED = 1880


@dataclass(frozen=True, eq=False, kw_only=True)
class Asked:
    """The arguments that all have, checked; known years as cells of the grid."""

    channel: str
    as_of: int
    level: float
    first: Cells
    last: Cells
    unit: Cells
    rng: np.random.Generator
    draws: int

    @staticmethod
    def of(
        records: SoldRecords,
        channel: str,
        as_of: int | None,
        level: float,
        groups: Iterable[object] | None,
        rng: np.random.Generator | None,
        draws: int,
        alike: bool = False,
    ) -> Asked:
        """RangeError for what is not allowed. ``alike``: groups with records that are alike are joined."""
        checked_records(records, parts=True)
        if find_spec("scipy") is None:
            raise ScarfdateError('scores need SciPy: pip install "scarfdate[learn]"')
        if not is_whole(draws) or not _DRAWS[0] <= draws <= _DRAWS[1]:
            raise RangeError(
                f"draws: a whole number from {_DRAWS[0]} to {_DRAWS[1]} is allowed, got {shown(draws)}"
            )
        if rng is not None and not isinstance(rng, np.random.Generator):
            raise RangeError(f"rng: a numpy.random.Generator is allowed, got {shown(rng)}")
        year = checked_as_of(as_of)
        begin, end = np.asarray(records.known_from), np.asarray(records.known_to)
        if not len(begin):
            raise TableError("records: there is none to score; give at least one")
        late = np.flatnonzero(end > year)
        if late.size:
            raise RangeError(
                f"as_of: {records_in_words(late.size)} may be later than {year} (record {late[0]}:"
                f" {begin[late[0]]} to {end[late[0]]}); give a later as_of"
            )
        return Asked(
            channel=channel,
            as_of=year,
            level=checked_level(level),
            first=(np.maximum(begin, FIRST_YEAR) - FIRST_YEAR).astype(np.intp),
            last=(np.maximum(end, FIRST_YEAR) - FIRST_YEAR).astype(np.intp),
            unit=_units(groups, len(begin), _alike(records) if alike else None),
            rng=rng if rng is not None else np.random.default_rng(_SEED),
            draws=int(draws),
        )


def _units(groups: Iterable[object] | None, n: int, alike: Cells | None) -> Cells:
    """Group numbers (n,) from 0, joined where records are alike."""
    labels = np.arange(n, dtype=np.intp)
    if groups is not None:
        if isinstance(groups, str) or not isinstance(groups, Iterable):
            raise RangeError(f"groups: one label a record is needed, got {shown(groups)}")
        given = list(groups)
        if len(given) != n:
            raise RangeError(f"groups: {n} labels are needed, one a record, got {len(given)}")
        first: dict[object, int] = {}
        try:
            labels = np.array(
                [
                    place if _blank(one) else first.setdefault(one, place)
                    for place, one in enumerate(given)
                ],
                dtype=np.intp,
            )
        except TypeError:
            raise RangeError("groups: labels are words or numbers, not lists or tables") from None
    if alike is not None:  # chains of records in one group, or alike, hang together
        from scipy.sparse import csr_array
        from scipy.sparse.csgraph import connected_components

        joined = csr_array((np.ones(n), (labels, n + alike)), shape=(2 * n, 2 * n))
        labels = connected_components(joined, directed=False)[1][labels]
    return np.asarray(np.unique(labels, return_inverse=True)[1], dtype=np.intp)


def _alike(records: SoldRecords) -> Cells:
    """A number (n,) below n for each record, equal for those alike in clues and known years."""
    read = [name for name in records.clues if not str(name).startswith("note") and name != "id"]
    cells = records.clues[read].itertuples(index=False, name=None)
    first: dict[object, int] = {}
    return np.array(
        [
            first.setdefault((a, b, *(None if _blank(cell) else str(cell) for cell in row)), place)
            for place, (a, b, row) in enumerate(
                zip(records.known_from.tolist(), records.known_to.tolist(), cells, strict=True)
            )
        ],
        dtype=np.intp,
    )


def _blank(cell: object) -> bool:
    if isinstance(cell, str):
        return not cell.strip()
    return cell is None or str(cell) in ("nan", "<NA>", "NaT")


def is_whole(value: object) -> bool:
    """Whether a value is a whole number, and not yes or no."""
    return isinstance(value, Integral) and not isinstance(value, bool)
