"""Records as the exact sum wants them: distinct patterns of clues and known years, with their counts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scarfdate.answer.frame import Columns
from scarfdate.conventions import FIRST_YEAR
from scarfdate.errors import RangeError, TableError
from scarfdate.model.model import Codes, Model

_TOLD = 10  # rows that an error names


class Dated(Protocol):
    """What is needed of records: the clues, and the first and the last year that each can be of."""

    @property
    def clues(self) -> pd.DataFrame:
        """One row a record, columns as `date_table` takes them."""
        ...

    @property
    def known_from(self) -> NDArray[np.int64]:
        """First possible year of each, inclusive."""
        ...

    @property
    def known_to(self) -> NDArray[np.int64]:
        """Last possible year of each, inclusive."""
        ...


@dataclass(frozen=True, eq=False)
class Patterns:
    """m distinct patterns: ``codes`` (m, clues) row numbers, ``first``, ``last`` (m,) cells of the known
    years, ``count`` (m,) records of each; ``which`` (n,) the pattern of every record."""

    codes: Codes
    first: NDArray[np.intp]
    last: NDArray[np.intp]
    count: NDArray[np.float64]
    which: NDArray[np.intp]

    def __len__(self) -> int:
        return len(self.codes)

    def only(self, count: NDArray[np.float64]) -> Patterns:
        """The same patterns with other counts."""
        return Patterns(self.codes, self.first, self.last, count, self.which)


def patterns_of(model: Model, records: Dated) -> Patterns:
    """Encode records once. TableError names the rows that the model cannot read."""
    n = len(records.clues)
    if not n:
        raise RangeError("records: there are none to learn from")
    block = Columns(model, records.clues).block(0, n)
    if block.errors:
        told = [
            f"  record {row + 1}: {'; '.join(said)}" for row, said in sorted(block.errors.items())
        ]
        more = [f"  and {len(told) - _TOLD} more"] if len(told) > _TOLD else []
        raise TableError("\n".join(["records that cannot be read:", *told[:_TOLD], *more]))
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
    whole = np.column_stack([block.codes, first, last])
    kinds, which, count = np.unique(whole, axis=0, return_inverse=True, return_counts=True)
    return Patterns(
        kinds[:, :-2].astype(np.int32),
        kinds[:, -2].astype(np.intp),
        kinds[:, -1].astype(np.intp),
        count.astype(float),
        which.reshape(-1).astype(np.intp),
    )
