"""What was measured, as it was noted: "90 x 90 cm", and not the step of a scale on which it is weighed."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
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
        self._columns: dict[str, dict[str, list[object]]] = {}

    def __call__(self, rows: Sequence[int], families: Collection[str]) -> Iterator[Noted]:
        """Of each row by measured family, of those asked for."""
        asked = dict.fromkeys(self._of[name] for name in families if name in self._of)
        each = [(one, one.derives or (one.name,), self._cells(one)) for one in asked]
        for row in rows:
            found: dict[str, str] = {}
            for one, names, columns in each:
                given = {n: every[row] for n, every in columns.items() if not is_blank(every[row])}
                text = one.quote(given) if given else ""
                if text:
                    found |= dict.fromkeys(names, text)
            yield found or NO_NOTES

    def of(self, places: NDArray[np.intp]) -> Notes:
        """By the rows among some places of the block."""
        every = places.tolist()
        return lambda rows, families: self([every[row] for row in rows], families)

    def _cells(self, one: Field) -> dict[str, list[object]]:
        """The columns of a field."""
        found = self._columns.get(one.name)
        if found is None:
            there = [name for name in one.columns if name in self._raw]
            found = {name: self._raw[name].to_numpy(dtype=object).tolist() for name in there}
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
