"""Sold records that can teach, with their sales, and what became of the others."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scarfdate.errors import RangeError, shown
from scarfdate.show import page


@dataclass(frozen=True, eq=False, kw_only=True)
class SoldRecords:
    """Records that can teach, and what became of the others; n of them.

    ``clues``: a frame (n rows, index 0 to n - 1) whose columns are keywords that `date_table` takes
    and notes, as they were written, None where blank. ``known_from``, ``known_to``: (n,) first and
    last year in which each piece can have been made, inclusive; 1 is an open start, and an open end
    is the year of the sale or else the last year of all. ``known_by``: how each is known.
    ``sales``: a frame of the same rows: id, sold_on (datetime64, NaT), price, currency, channel,
    days_to_sell, costs; NaN or "" where not stated. ``source_row``: (n,) rows of the table that are
    not blank, 1 being the first under the header. ``left_out``: row, reason, kind (unreadable,
    no-date, future, contradictory, circular, duplicate) and place in the file. ``notes``: remarks.
    ``file_hash``: SHA-256 of the file (of a frame: of its cells as text).
    """

    clues: pd.DataFrame
    known_from: NDArray[np.int64]
    known_to: NDArray[np.int64]
    known_by: tuple[str, ...]
    sales: pd.DataFrame
    source_row: NDArray[np.int64]
    left_out: pd.DataFrame
    notes: tuple[str, ...]
    file_hash: str

    def __len__(self) -> int:
        return len(self.known_from)

    def take(self, places: object) -> SoldRecords:
        """The records at some places, (k,) whole numbers from 0 or a mask (n,); repeats are allowed.

        ``left_out``, ``notes`` and ``file_hash`` stay those of the whole table. Raises RangeError
        for a place that is not there.
        """
        at = checked_places(places, len(self))
        return replace(
            self,
            clues=self.clues.iloc[at].reset_index(drop=True),
            known_from=self.known_from[at],
            known_to=self.known_to[at],
            known_by=tuple(self.known_by[place] for place in at.tolist()),
            sales=self.sales.iloc[at].reset_index(drop=True),
            source_row=self.source_row[at],
        )

    def to_frame(self) -> pd.DataFrame:
        """Everything that is known of each record, in one frame: to look at."""
        head = {"row": self.source_row, "known_from": self.known_from, "known_to": self.known_to}
        known = pd.DataFrame({**head, "known_by": pd.Series(self.known_by, dtype=object)})
        return pd.concat([known, self.sales, self.clues], axis=1)

    def _repr_html_(self) -> str:
        return page.view(str(self))

    def __str__(self) -> str:
        text = f"{counted_records(len(self))} of {len(self) + len(self.left_out)} can teach"
        text += f" ({self.file_hash[:8]})."
        return "\n".join([text, *(f"- {note}" for note in self.notes)])


def checked_places(places: object, n: int) -> NDArray[np.intp]:
    """Places among ``n`` rows, given as whole numbers from 0 or as a mask (n,). Raises RangeError for a
    place that is not there."""
    try:
        at = np.asarray(places)
    except ValueError:  # lists of unequal length
        at = np.array(None)
    if at.dtype == bool:
        if at.shape != (n,):
            raise RangeError(f"places: a mask has {n} values, got {at.shape}")
        at = np.flatnonzero(at)
    at = at.astype(np.intp) if at.size == 0 else at
    if at.ndim != 1 or at.dtype.kind not in "iu":
        raise RangeError(f"places: whole numbers or a mask are allowed, got {shown(places)}")
    if at.size and not (at.min() >= 0 and at.max() < n):
        raise RangeError(f"places: 0 to {n - 1} are there, got {at.min()} to {at.max()}")
    return at


def counted_records(count: int) -> str:
    """How many records, as a sentence has it."""
    return "1 record" if count == 1 else f"{count} records"
