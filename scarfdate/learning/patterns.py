"""Records as distinct patterns of clues and known years, encoded once."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from scarfdate.answer.frame import Columns
from scarfdate.conventions import FIRST_YEAR
from scarfdate.errors import RangeError, TableError
from scarfdate.model.model import Codes, Model
from scarfdate.records.known import KnownRecords, checked_records

_NAMED = 10  # rows that an error names


@dataclass(frozen=True, eq=False, kw_only=True)
class Patterns:
    """m distinct patterns of clues and known years: ``codes`` (m, clues), the place in ``keys`` of what was
    noted of each clue, 0 for nothing; ``first``, ``last`` (m,) cells of the known years; ``count`` (m,) records
    of each; ``pattern_of`` (n,) the pattern of every record; ``wrong`` (m,) the chance that the years are another
    piece's, 0 where none is given."""

    keys: tuple[tuple[Hashable, ...], ...]
    codes: Codes
    first: NDArray[np.intp]
    last: NDArray[np.intp]
    count: NDArray[np.float64]
    pattern_of: NDArray[np.intp]
    wrong: NDArray[np.float64] = field(default_factory=lambda: np.zeros(1))

    def __len__(self) -> int:
        return len(self.codes)

    def only(self, count: NDArray[np.float64]) -> Patterns:
        """The same patterns with other counts."""
        return replace(self, count=count)

    def thinned(self, n: int) -> Patterns:
        """Every so manieth of them, n or a few more, which stand for all: of such as are alike, near each other in
        their order, the same part is kept."""
        kept = np.arange(0, len(self), max(len(self) // n, 1))
        some = self.count[kept]
        return replace(
            self,
            codes=self.codes[kept],
            first=self.first[kept],
            last=self.last[kept],
            count=some * self.count.sum() / some.sum(),
            wrong=self.wrong[kept],
            pattern_of=np.zeros(0, dtype=np.intp),
        )

    def rows_of(self, model: Model, column: int) -> NDArray[np.intp]:
        """The rows of a clue's table that the patterns have, (m,)."""
        rows = [model.clues[column].index(key) for key in self.keys[column]]
        return np.array(rows, dtype=np.intp)[self.codes[:, column]]

    @property
    def noted(self) -> NDArray[np.bool_]:
        """Which clues some pattern has, (clues,)."""
        return np.asarray((self.codes != 0).any(axis=0))


def patterns_of(model: Model, records: KnownRecords) -> Patterns:
    """Encode records once. ScarfdateError where they are none, TableError naming the rows that the model cannot
    read, RangeError for years that cannot be."""
    checked_records(records)
    n = len(records.clues)
    if not n:
        raise RangeError("records: there are none to learn from")
    block = Columns(model, records.clues).block(0, n)
    if block.errors:
        lines = [
            f"  record {row + 1}: {'; '.join(errors)}"
            for row, errors in sorted(block.errors.items())
        ]
        more = [f"  and {len(lines) - _NAMED} more"] if len(lines) > _NAMED else []
        raise TableError("\n".join(["records that cannot be read:", *lines[:_NAMED], *more]))
    late = np.flatnonzero(np.asarray(records.known_to) > model.as_of)
    if late.size:
        raise RangeError(
            f"as_of: record {late[0] + 1} may be of {records.known_to[late[0]]}, after {model.as_of}, the last "
            f"possible year ({late.size} such records); give a later as_of"
        )
    first = np.clip(records.known_from - FIRST_YEAR, 0, len(model.years) - 1)
    last = np.clip(records.known_to - FIRST_YEAR, 0, len(model.years) - 1)
    if (last < first).any():
        row = int(np.flatnonzero(last < first)[0])
        raise RangeError(f"record {row + 1}: its last year lies before its first")
    # what is read off one label is learned from word by word, each with slips of its own
    chances, way = np.unique(_wrong(model, records), return_inverse=True)
    whole = np.column_stack([model.apart(block.codes), first, last, way.reshape(-1)])
    distinct, pattern_of, count = np.unique(whole, axis=0, return_inverse=True, return_counts=True)
    keys, codes = [], []
    for clue, rows in zip(model.clues, distinct[:, :-3].T, strict=True):
        # the model may renumber its rows later, the patterns keep what they stand for
        used, code = np.unique([0, *rows.tolist()], return_inverse=True)
        keys.append(tuple(clue.rows.keys[row] for row in used.tolist()))
        codes.append(code.reshape(-1)[1:])
    return Patterns(
        keys=tuple(keys),
        codes=np.column_stack(codes).astype(np.int32),
        first=distinct[:, -3].astype(np.intp),
        last=distinct[:, -2].astype(np.intp),
        wrong=chances[distinct[:, -1]],
        count=count.astype(float),
        pattern_of=pattern_of.reshape(-1).astype(np.intp),
    )


def _wrong(model: Model, records: KnownRecords) -> NDArray[np.float64]:
    """The chance that the known years of each record are another piece's, by how they are known, (n,)."""
    ways = getattr(records, "known_by", ("",) * len(records.clues))
    known = model.priors.known_by
    return np.array([known[way].wrong if way in known else 0.0 for way in ways])
