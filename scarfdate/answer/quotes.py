"""What was measured, as it was noted: "90 x 90 cm", and not the step of a scale on which it is weighed."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.answer.reasons import Notes
from scarfdate.clues.clue import NO_NOTES, Noted
from scarfdate.clues.field import Field
from scarfdate.reading.cells import is_blank

if TYPE_CHECKING:
    import pandas as pd


class Quotes:
    """The measurements of each row of a block; cells are put into words when a row is asked for."""

    def __init__(self, fields: Sequence[Field], raw: Mapping[str, pd.Series]) -> None:
        self._raw = raw
        quoting = [one for one in fields if one.quotes and any(n in raw for n in one.columns)]
        self._of = {name: one for one in quoting for name in one.derives or (one.name,)}
        self._columns: dict[str, list[tuple[str, list[object]]]] = {}
        self._asked: dict[Collection[str], list[Field]] = {}

    def __call__(self, row: int, families: Collection[str]) -> Noted:
        """By measured family, of those asked for."""
        asked = self._asked.get(families)
        if asked is None:
            there = [self._of[name] for name in families if name in self._of]
            asked = self._asked[families] = [*dict.fromkeys(there)]
        found: dict[str, str] = {}
        for one in asked:
            given = {}
            for column, every in self._cells(one):
                cell = every[row]
                # the commonest first: a number, and none
                if cell == cell if type(cell) is float else not is_blank(cell):
                    given[column] = cell
            if given:
                text = one.quote(given)
                if text:
                    found |= dict.fromkeys(one.derives or (one.name,), text)
        return found or NO_NOTES

    def of(self, places: NDArray[np.intp]) -> Notes:
        """By the row among some places of the block."""
        rows = places.tolist()
        return lambda row, families: self(rows[row], families)

    def _cells(self, one: Field) -> list[tuple[str, list[object]]]:
        found = self._columns.get(one.name)
        if found is None:
            there = [name for name in one.columns if name in self._raw]
            found = [(name, self._raw[name].to_numpy(dtype=object).tolist()) for name in there]
            self._columns[one.name] = found
        return found


def quoted(fields: Mapping[str, Field], seen: Mapping[str, Any]) -> Noted:
    """The measurements of one scarf, by measured family."""
    found: dict[str, str] = {}
    for name, observed in seen.items():
        text = getattr(observed, "noted", "")
        if text and name in fields:
            found |= dict.fromkeys(fields[name].derives or (name,), text)
    return found
