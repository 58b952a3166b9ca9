"""A frame of scarves to row numbers, a block of rows at a time; every cell that repeats is read once.

How cells are read and what they make is each clue's own (`scarfdate.clues`): here it is only made fast.
What cannot be read is kept with its row, and stops neither the other cells nor the other rows.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scarfdate.answer.distinct import distinct_cells, distinct_rows, plain_numbers
from scarfdate.clues.clue import NOT_LOOKED_AT, Clue
from scarfdate.clues.field import Field, Seen
from scarfdate.clues.kinds import fields_of, keywords
from scarfdate.clues.sides import SIZE
from scarfdate.errors import ScarfdateError, TableError, did_you_mean, shown
from scarfdate.model.model import Codes, Model
from scarfdate.model.numbered import distinct
from scarfdate.reading.cells import as_typed, is_blank
from scarfdate.reading.headings import read_headings
from scarfdate.tables.families import DESCRIPTION

_CELLS_KEPT = 50_000  # distinct cells remembered for one column
_LONGEST_KEPT = 200  # characters of a cell that is remembered
_UNIT, _WITHOUT_UNIT = "unit", ("width", "height", SIZE, DESCRIPTION)

Raw = dict[str, pd.Series]
_Answer = tuple[Any, Sequence[str], str, Mapping[str, object]]


@dataclass
class Block:
    """Row numbers of a block (n, clues), and what was wrong or odd, by row within the block.

    ``others``: what cells say of other columns, as people write them: rows, column, cell. ``raw``: the cells.
    """

    codes: Codes
    others: list[tuple[NDArray[np.intp], str, object]] = field(default_factory=list)
    raw: Raw = field(default_factory=dict)
    errors: dict[int, list[str]] = field(default_factory=lambda: defaultdict(list))
    warnings: dict[int, list[str]] = field(default_factory=lambda: defaultdict(list))


class Columns:
    """The columns of a frame that are read, and how. ``not_used``: the others, with a hint where one is sure.

    ``unit``: of lengths without one; ``strict``: TableError for a column that is not known, and for a table
    of which no column is; what cannot be read is an error of its row. ``noted``: doubt, alternatives and
    the like are read, too ("silk?"), not plain words alone.
    """

    def __init__(
        self,
        model: Model,
        frame: pd.DataFrame,
        unit: str | None = None,
        *,
        strict: bool = True,
        noted: bool = False,
    ) -> None:
        self.model, self.frame, self.strict, self.noted = model, frame, strict, noted
        self.fields = fields_of(model.priors)
        known = [*keywords(model.priors), *(f"{name}_method" for name in model.priors.confusion)]
        found = read_headings(list(frame.columns), known, model.priors.headings)
        self.place, self.not_used, self._units = found.place, found.not_used, found.units
        if self.not_used and (strict or not self.place):
            name = self.not_used[0]
            raise TableError(
                f"column {shown(name)} is not known; {did_you_mean(name, known)} "
                "Begin its name with 'note' to keep it without reading it."
            )
        if "methods" in self.place:
            raise TableError(
                "column 'methods' is not read in a table; "
                "write a column for each clue, such as fibre_method"
            )
        self._unit = unit
        self._read: dict[object, dict[Hashable, Any]] = defaultdict(dict)
        self._repeated = self._repeated_ids()

    def cells(self, name: str) -> pd.Series | None:
        """The column of this name as it was given; None where there is none."""
        return self.frame.iloc[:, self.place[name]] if name in self.place else None

    def block(self, start: int, stop: int) -> Block:
        """Read rows ``start`` to ``stop`` (left out)."""
        part = self.frame.iloc[start:stop]
        raw = {name: part.iloc[:, place] for name, place in self.place.items()}
        self._with_unit(raw, len(part))
        block = self._block(raw, len(part))
        if block.others:
            # what a cell says of other columns is theirs where they are blank: "silk twill" among fibres
            for rows, name, cell in block.others:
                self._put(raw, rows, name, cell, len(part))
            block = self._block(raw, len(part))
        block.raw = raw
        for row in np.flatnonzero(self._repeated[start:stop]):
            block.warnings[int(row)].insert(0, repeated_id(raw["id"].iloc[row]))
        return block

    def _block(self, raw: Raw, n: int) -> Block:
        block = Block(np.zeros((n, len(self.model.clues)), dtype=np.int32))
        seen: dict[str, Seen] = {}
        by_cell: dict[str, NDArray[np.intp]] = {}
        for one in self.fields.in_turn:
            names = [name for name in one.columns if name in raw]
            if names:
                cells = {name: raw[name] for name in names}
                seen[one.name], by_cell[one.name] = self._seen(one, cells, seen, block)
                if one.tells:
                    self._fill(one, seen[one.name], raw)
        for one in self.fields.beside_others:
            if one.name in seen and any(name in seen for name in one.others):
                self._hold_beside(one, by_cell[one.name], seen, block)
        silent: list[tuple[NDArray[np.intp], int]] = []
        for place, clue in enumerate(self.model.clues):
            silent += self._encode(place, clue, seen, block)
        for rows, place in silent:
            block.codes[rows, place] = NOT_LOOKED_AT
        return block

    def _with_unit(self, raw: Raw, n: int) -> None:
        """The unit of the whole table, or of a heading, where a row states none."""
        unit = self._units.get(SIZE) or self._unit
        if unit is None or not any(name in raw for name in _WITHOUT_UNIT):
            return
        if _UNIT not in raw:
            raw[_UNIT] = pd.Series([unit] * n, dtype=object)
            return
        cells = raw[_UNIT].to_numpy(dtype=object)
        raw[_UNIT] = pd.Series([unit if is_blank(c) else c for c in cells], dtype=object)

    def _put(self, raw: Raw, rows: NDArray[np.intp], name: str, cell: object, n: int) -> None:
        """A cell into the rows of a column in which nobody noted anything."""
        one = self.fields.by_name.get(name)
        if one is None:
            return
        cells = raw[name].to_numpy(dtype=object) if name in raw else np.full(n, None, dtype=object)
        cells = cells.copy()
        for row in rows.tolist():
            if one.says_nothing(cells[row]):
                cells[row] = cell
        raw[name] = pd.Series(cells, dtype=object)

    def _repeated_ids(self) -> NDArray[np.bool_]:
        if "id" not in self.place:
            return np.zeros(len(self.frame), dtype=bool)
        cells = self.frame.iloc[:, self.place["id"]]
        ids = pd.Series(
            ["" if is_blank(cell) else as_typed(cell).strip() for cell in cells], dtype=object
        )
        return np.asarray(ids.duplicated() & (ids != ""), dtype=bool)

    def _seen(
        self, one: Field, raw: Raw, seen: dict[str, Seen], block: Block
    ) -> tuple[Seen, NDArray[np.intp]]:
        """What was seen of one family in every row: all plain rows at once, the others cell by cell.

        Those others are what is still to be held beside other families.
        """
        numbers = {name: plain_numbers(raw[name]) for name in raw if name in one.numeric}
        read = None
        if numbers:
            texts = {name: Seen(*distinct_cells(raw[name])) for name in raw if name not in numbers}
            read = one.at_once(numbers, texts, seen)
        if read is None:
            every = np.arange(len(block.codes))
            return self._one_by_one(one, raw, every, block), every
        found, done = read
        there = [~np.isnan(column) for column in numbers.values()]
        there += [column.numbers > 0 for column in texts.values()]
        rows = np.flatnonzero(~done & np.any(there, axis=0))
        if not rows.size:
            return found, rows
        slow = self._one_by_one(one, {n: c.iloc[rows] for n, c in raw.items()}, rows, block)
        place = found.numbers.copy()
        place[rows] = np.where(slow.numbers > 0, slow.numbers + len(found.values) - 1, 0)
        return Seen(place, [*found.values, *slow.values[1:]]), rows

    def _one_by_one(self, one: Field, raw: Raw, rows: NDArray[np.intp], block: Block) -> Seen:
        """Read the distinct combinations of cells of some rows of the block."""
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
                answer = *_answer(read, cells), {}
                if answer[2] and self.noted:
                    answer = self._as_noted(one, places, cells, answer)
                if all(len(cell) < _LONGEST_KEPT for cell in cells if isinstance(cell, str)):
                    kept[cells] = answer
            value, odd, error, others = answer
            values.append(value)
            if error or odd or others:
                here = rows[numbers == number]
                _tell(block, here, odd, error)
                block.others += [(here, name, cell) for name, cell in others.items()]
        return Seen(numbers, values)

    @staticmethod
    def _as_noted(
        one: Field, places: Sequence[int], given: Sequence[object], refused: _Answer
    ) -> _Answer:
        """What cells say that are no plain words, and what of them was not understood."""
        cells: list[object] = [None] * len(one.columns)
        for place, cell in zip(places, given, strict=True):
            cells[place] = cell
        try:
            noted = one.as_noted(*cells)
        except (
            ScarfdateError
        ):  # a word of doubt or another language for a value that these tables lack
            return refused
        if noted is None:
            return refused
        error = one.told_unread(cells, noted.unread) if noted.unread else ""
        return noted.value, noted.odd, error, noted.others

    def _fill(self, one: Field, found: Seen, raw: Raw) -> None:
        """Put what one family tells of others into their blank cells, and into those that say no more than it does."""
        told = [{} if value is None else one.fills(value) for value in found.values]
        for name in dict.fromkeys(name for each in told for name in each):
            if name not in self.fields.by_name:
                continue
            field, n = self.fields.by_name[name], len(found.numbers)
            given = {c: raw[c].to_numpy(dtype=object) for c in field.columns if c in raw}
            filled = {column: cells.copy() for column, cells in given.items()}
            of_row = [told[number].get(name) for number in found.numbers.tolist()]
            for row, words in enumerate(of_row):
                if words:
                    own = {column: cells[row] for column, cells in given.items()}
                    for column, word in field.takes(words, own).items():
                        filled.setdefault(column, np.full(n, None, dtype=object))[row] = word
            raw |= {column: pd.Series(cells, dtype=object) for column, cells in filled.items()}

    def _hold_beside(
        self, one: Field, rows: NDArray[np.intp], seen: dict[str, Seen], block: Block
    ) -> None:
        """What is odd or wrong in some rows, where one family stands beside others."""
        names = [name for name in (one.name, *one.others) if name in seen]
        here = {name: Seen(seen[name].numbers[rows], seen[name].values) for name in names}
        back, each = _together(names, here)
        for number, values in enumerate(_by_family(each)):
            if one.name in values:
                _, odd, error = _answer(lambda v: (None, one.beside(v)), (values,))
                if odd or error:
                    here_too = rows[back == number]
                    _tell(block, here_too, odd, error)
                    if error:  # of two that cannot both be, the one that speaks of the other goes
                        numbers = seen[one.name].numbers.copy()
                        numbers[here_too] = 0
                        seen[one.name] = seen[one.name]._replace(numbers=numbers)

    def _encode(
        self, place: int, clue: Clue, seen: dict[str, Seen], block: Block
    ) -> list[tuple[NDArray[np.intp], int]]:
        """The row numbers of one clue; and rows where it makes the clue of a column silent."""
        names = [name for name in clue.needs if name in seen]
        if not names:
            return []
        back, each = _together(names, seen)
        silent: list[tuple[NDArray[np.intp], int]] = []
        keys = clue.keys(each)
        if keys is None:
            keys = [None] * len(each[names[0]])
            for number, values in enumerate(_by_family(each)):
                if not values:
                    continue
                try:
                    keys[number], odd = clue.key(values)
                except ScarfdateError as refusal:
                    _tell(block, np.flatnonzero(back == number), (), str(refusal))
                    continue
                if odd:
                    _tell(block, np.flatnonzero(back == number), odd, "")
                for name in () if keys[number] is None else clue.silences(keys[number]):
                    silent.append((np.flatnonzero(back == number), self.model.column[name]))
        block.codes[:, place] = np.array(clue.indices(keys), dtype=np.int32)[back]
        return silent


def repeated_id(cell: object) -> str:
    """What a person is told where two pieces have one number."""
    return f"id: {shown(as_typed(cell))} is the id of an earlier row, too; each was dated by itself"


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
) -> tuple[NDArray[np.intp], dict[str, list[Any]]]:
    """The combination of each row, and by family what was seen in each combination."""
    if len(names) == 1:
        (name,) = names
        return seen[name].numbers, {name: seen[name].values}
    first, back = distinct(*(seen[name].numbers for name in names))
    return back, {
        name: [seen[name].values[number] for number in seen[name].numbers[first].tolist()]
        for name in names
    }


def _by_family(each: dict[str, list[Any]]) -> Iterator[dict[str, Any]]:
    """What was seen in each combination, by family."""
    # one at a time: thousands of mappings kept at once make Python look through them again and again
    for values in zip(*each.values(), strict=True):
        yield {name: value for name, value in zip(each, values, strict=True) if value is not None}
