"""A frame of scarves to row numbers, a block of rows at a time; every cell that repeats is read once.

How cells are read and what they make is each clue's own (`scarfdate.clues`): here it is only made fast.
What goes wrong with a row is kept with the row and never stops the others.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scarfdate.answer.distinct import combinations, distinct_cells, distinct_rows, plain_numbers
from scarfdate.clues.clue import NOT_LOOKED_AT, Clue
from scarfdate.clues.field import Field, Seen
from scarfdate.clues.kinds import fields_of, keywords
from scarfdate.errors import ScarfdateError, TableError, did_you_mean, shown
from scarfdate.model.model import Codes, Model
from scarfdate.reading.cells import column_name, is_blank

_CELLS_KEPT = 50_000  # distinct cells remembered for one column
_LONGEST_KEPT = 200  # characters of a cell that is remembered
_KEPT_AS_IS = "note"  # columns that begin so are the dealer's own and are never read

Raw = dict[str, pd.Series]


@dataclass
class Block:
    """Row numbers of a block (n, clues), and what was wrong or odd, by row within the block."""

    codes: Codes
    errors: dict[int, list[str]] = field(default_factory=lambda: defaultdict(list))
    warnings: dict[int, list[str]] = field(default_factory=lambda: defaultdict(list))


class Columns:
    """The known columns of a frame, and how each is read. Raises TableError for an unknown one."""

    def __init__(self, model: Model, frame: pd.DataFrame) -> None:
        self.model, self.frame = model, frame
        self.fields = fields_of(model.priors)
        self.place: dict[str, int] = {}
        known = [*keywords(model.priors), *(f"{name}_method" for name in model.priors.confusion)]
        for place, written in enumerate(frame.columns):
            name = column_name(written)
            if name.startswith(_KEPT_AS_IS) and name not in known:
                continue
            if name not in known:
                raise TableError(
                    f"column {shown(written)} is not known; {did_you_mean(name, known)} "
                    "Begin its name with 'note' to keep it without reading it."
                )
            if name in self.place:
                raise TableError(f"column {shown(written)} stands there twice; take one out")
            self.place[name] = place
        if "methods" in self.place:
            raise TableError(
                "column 'methods' is not read in a table; "
                "write a column for each clue, such as fibre_method"
            )
        self._read: dict[object, dict[Hashable, Any]] = defaultdict(dict)
        self._repeated = self._repeated_ids()

    def block(self, start: int, stop: int) -> Block:
        """Read rows ``start`` to ``stop`` (left out)."""
        part = self.frame.iloc[start:stop]
        raw = {name: part.iloc[:, place] for name, place in self.place.items()}
        block = Block(np.zeros((len(part), len(self.model.clues)), dtype=np.int32))
        for row in np.flatnonzero(self._repeated[start:stop]):
            block.warnings[int(row)].append(repeated_id(raw["id"].iloc[row]))
        seen: dict[str, Seen] = {}
        for one in self.fields:
            names = [name for name in one.columns if name in raw]
            if names:
                seen[one.name] = self._seen(one, {name: raw[name] for name in names}, seen, block)
                if one.tells:
                    self._fill(one, seen[one.name], raw)
        for one in self.fields.beside_others:
            if one.name in seen and any(name in seen for name in one.others):
                self._hold_beside(one, seen, block)
        silent: list[tuple[NDArray[np.intp], int]] = []
        for place, clue in enumerate(self.model.clues):
            silent += self._encode(place, clue, seen, block)
        for rows, place in silent:
            block.codes[rows, place] = NOT_LOOKED_AT
        return block

    def _repeated_ids(self) -> NDArray[np.bool_]:
        if "id" not in self.place:
            return np.zeros(len(self.frame), dtype=bool)
        cells = self.frame.iloc[:, self.place["id"]]
        ids = pd.Series(
            ["" if is_blank(cell) else str(cell).strip() for cell in cells], dtype=object
        )
        return np.asarray(ids.duplicated() & (ids != ""), dtype=bool)

    def _seen(self, one: Field, raw: Raw, seen: dict[str, Seen], block: Block) -> Seen:
        """What was seen of one family in every row: all plain rows at once, the others cell by cell."""
        numbers = {name: plain_numbers(raw[name]) for name in raw if name in one.numeric}
        if not numbers:
            return self._one_by_one(one, raw, None, block)
        texts = {name: Seen(*distinct_cells(raw[name])) for name in raw if name not in numbers}
        read = one.at_once(numbers, texts, seen)
        if read is None:
            return self._one_by_one(one, raw, None, block)
        found, done = read
        there = [~np.isnan(column) for column in numbers.values()]
        there += [column.numbers > 0 for column in texts.values()]
        rows = np.flatnonzero(~done & np.any(there, axis=0))
        if not rows.size:
            return found
        slow = self._one_by_one(one, {n: c.iloc[rows] for n, c in raw.items()}, rows, block)
        place = found.numbers.copy()
        place[rows] = np.where(slow.numbers > 0, slow.numbers + len(found.values) - 1, 0)
        return Seen(place, [*found.values, *slow.values[1:]])

    def _one_by_one(
        self, one: Field, raw: Raw, rows: NDArray[np.intp] | None, block: Block
    ) -> Seen:
        """Read the distinct combinations of cells; ``rows``: the rows of the block, all for None."""
        places = [one.columns.index(name) for name in raw]

        def read(*given: object) -> tuple[Any, Sequence[str]]:
            cells: list[object] = [None] * len(one.columns)
            for place, cell in zip(places, given, strict=True):
                cells[place] = cell
            return one.reads(*cells)

        numbers, distinct = distinct_rows(list(raw.values()))
        kept = self._read[one.name]
        if len(kept) > _CELLS_KEPT:
            kept.clear()
        values: list[Any] = [None]
        for number, cells in enumerate(distinct, 1):
            answer = kept.get(cells)
            if answer is None:
                answer = _answer(read, cells)
                if all(len(cell) < _LONGEST_KEPT for cell in cells if isinstance(cell, str)):
                    kept[cells] = answer
            value, odd, error = answer
            values.append(value)
            if error or odd:
                here = np.flatnonzero(numbers == number)
                _tell(block, here if rows is None else rows[here], odd, error)
        return Seen(numbers, values)

    def _fill(self, one: Field, found: Seen, raw: Raw) -> None:
        """Put what one family tells of others into their blank cells."""
        told = [{} if value is None else one.fills(value) for value in found.values]
        for name in dict.fromkeys(name for each in told for name in each):
            if name not in self.fields.by_name:
                continue
            blank = np.full(len(found.numbers), None, dtype=object)
            given = raw[name].to_numpy(dtype=object) if name in raw else blank
            nothing = self.fields.by_name[name].says_nothing
            fill = np.array([name in each for each in told])[found.numbers]
            fill &= np.array([nothing(cell) for cell in given], dtype=bool)
            cells = [each.get(name, {}) for each in told]
            for column in dict.fromkeys(column for each in cells for column in each):
                words = np.array([each.get(column) for each in cells], dtype=object)[found.numbers]
                before = raw[column].to_numpy(dtype=object) if column in raw else blank
                raw[column] = pd.Series(np.where(fill, words, before), dtype=object)

    def _hold_beside(self, one: Field, seen: dict[str, Seen], block: Block) -> None:
        """What is odd or wrong where one family stands beside others."""
        names = [name for name in (one.name, *one.others) if name in seen]
        back, each = _together(names, seen)
        for number, values in enumerate(each):
            if one.name in values:
                _, odd, error = _answer(lambda v: (None, one.beside(v)), (values,))
                if odd or error:
                    _tell(block, np.flatnonzero(back == number), odd, error)

    def _encode(
        self, place: int, clue: Clue, seen: dict[str, Seen], block: Block
    ) -> list[tuple[NDArray[np.intp], int]]:
        """The row numbers of one clue; and rows where it makes the clue of a column silent."""
        names = [name for name in clue.needs if name in seen]
        if not names:
            return []
        back, each = _together(names, seen)
        rows = np.zeros(len(each), dtype=np.int32)
        silent: list[tuple[NDArray[np.intp], int]] = []
        for number, values in enumerate(each):
            try:
                key, odd = clue.key(values)
            except ScarfdateError as refusal:
                _tell(block, np.flatnonzero(back == number), (), str(refusal))
                continue
            if odd:
                _tell(block, np.flatnonzero(back == number), odd, "")
            if key is not None:
                rows[number] = clue.index(key)
                for name in clue.silences(key):
                    silent.append((np.flatnonzero(back == number), self.model.column[name]))
        block.codes[:, place] = rows[back]
        return silent


def repeated_id(cell: object) -> str:
    """What a person is told where two pieces have one number."""
    return f"id: {shown(str(cell))} is the id of an earlier row, too; each was dated by itself"


def _answer(
    ask: Callable[..., tuple[Any, Sequence[str]]], given: Sequence[Any]
) -> tuple[Any, Sequence[str], str]:
    """What a question answers, with its warnings, and "" or what it refuses."""
    try:
        return *ask(*given), ""
    except ScarfdateError as refusal:
        return None, (), str(refusal)


def _tell(block: Block, rows: NDArray[np.intp], odd: Sequence[str], error: str) -> None:
    for row in rows.tolist():
        if odd:
            block.warnings[row].extend(odd)
        if error:
            block.errors[row].append(error)


def _together(
    names: Sequence[str], seen: dict[str, Seen]
) -> tuple[NDArray[np.intp], list[dict[str, Any]]]:
    """The combination of each row, and what was seen in each combination, by family."""
    if len(names) == 1:
        (name,) = names
        only = seen[name]
        return only.numbers, [{} if v is None else {name: v} for v in only.values]
    first, back = combinations([seen[name].numbers for name in names])
    columns = [
        [seen[name].values[number] for number in seen[name].numbers[first].tolist()]
        for name in names
    ]
    return back, [
        {name: value for name, value in zip(names, values, strict=True) if value is not None}
        for values in zip(*columns, strict=True)
    ]
