"""The rows of a frame, some thousands at a time, as row numbers of the tables that they will be dated by."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from scarfdate.answer.kind import channels_of, parts
from scarfdate.answer.quotes import Quotes
from scarfdate.answer.reasons import Notes
from scarfdate.model.model import Codes, Model, compiled
from scarfdate.tables.priors import Priors

if TYPE_CHECKING:
    import pandas as pd

    from scarfdate.answer.frame import Block

BLOCK = 8192  # rows read and summarised at a time: cells that repeat are read once in each


@dataclass(frozen=True, kw_only=True)
class Part:
    """Rows of one block that are dated by one model.

    ``start``: the first row of the block; ``rows``: those meant, by their places behind it; ``codes``
    (rows, clues); ``notes``: by row of this part what was measured; ``read``: the whole block, with what
    was wrong or odd in it.
    """

    start: int
    rows: slice | NDArray[np.intp]
    model: Model
    codes: Codes
    notes: Notes
    read: Block

    @property
    def places(self) -> slice | NDArray[np.intp]:
        """The rows, by their places in the frame."""
        if isinstance(self.rows, slice):
            return slice(self.start + self.rows.start, self.start + self.rows.stop)
        return self.start + self.rows


class Blocks:
    """A frame of scarves to be dated; going through it gives its parts in turn.

    ``strict``: a column that is not known is a TableError. ``model``: the one of ``channel``, whose years
    all parts share; ``not_used``: the columns that are no clue.
    """

    def __init__(
        self,
        frame: pd.DataFrame,
        priors: Priors,
        channel: str,
        as_of: int | None,
        unit: str | None,
        *,
        strict: bool,
    ) -> None:
        from scarfdate.answer.frame import Columns

        self.priors, self.channel, self.n = priors, channel, len(frame)
        self.model = compiled(priors, channel, as_of)
        self._reader = Columns(self.model, frame, unit, strict=strict, noted=True)
        self.not_used = self._reader.not_used

    def __iter__(self) -> Iterator[Part]:
        reader = self._reader
        of_kind = channels_of(self.priors, self.channel, reader.cells("form"))
        for start in range(0, self.n, BLOCK):
            stop = min(start + BLOCK, self.n)
            for name, rows in parts(of_kind, self.channel, start, stop):
                # a new one when it is full
                reader.model = model = compiled(self.priors, name, self.model.as_of)
                block = reader.block(start, stop)
                quotes = Quotes(reader.fields.in_turn, block.raw)
                yield Part(
                    start=start,
                    rows=rows,
                    model=model,
                    codes=block.codes[rows],
                    notes=quotes.of(np.arange(stop - start)[rows]),
                    read=block,
                )
