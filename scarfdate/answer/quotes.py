"""What was measured, as it was noted: "90 x 90 cm", and not the step of a scale on which it is weighed."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.answer.reasons import Notes
from scarfdate.clues.clue import NO_NOTES, Noted
from scarfdate.clues.field import Field

if TYPE_CHECKING:
    import pandas as pd


class Quotes:
    """The measurements of each row of a block; cells are put into words when a row is asked for."""

    def __init__(self, fields: Sequence[Field], raw: Mapping[str, pd.Series]) -> None:
        self._raw = raw
        quoting = [one for one in fields if one.quotes and any(n in raw for n in one.columns)]
        self._of = {name: one for one in quoting for name in one.derives or (one.name,)}
        self._cells: dict[str, np.ndarray[Any, np.dtype[np.object_]]] = {}

    def __call__(self, row: int, families: Collection[str]) -> Noted:
        """By measured family, of those asked for."""
        found: dict[str, str] = {}
        for name in families:
            one = self._of.get(name)
            if one is not None and name not in found:
                text = one.quote(*[self._cell(column, row) for column in one.columns])
                if text:
                    found |= dict.fromkeys(one.derives or (name,), text)
        return found or NO_NOTES

    def of(self, places: NDArray[np.intp]) -> Notes:
        """By the row among some places of the block."""
        return lambda row, families: self(int(places[row]), families)

    def _cell(self, name: str, row: int) -> object:
        if name not in self._raw:
            return None
        if name not in self._cells:
            self._cells[name] = self._raw[name].to_numpy(dtype=object)
        return self._cells[name][row]


def quoted(fields: Mapping[str, Field], seen: Mapping[str, Any]) -> Noted:
    """The measurements of one scarf, by measured family."""
    found: dict[str, str] = {}
    for name, observed in seen.items():
        text = getattr(observed, "noted", "")
        if text and name in fields:
            found |= dict.fromkeys(fields[name].derives or (name,), text)
    return found
