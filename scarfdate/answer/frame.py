"""A frame of scarves to row numbers, a block of rows at a time; every cell that repeats is read once.

The reading itself is that of `reading` and `scarf`: here it is only made fast. What goes wrong with a
row is kept with the row and never stops the others.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scarfdate.answer import evidence
from scarfdate.answer.distinct import distinct_rows
from scarfdate.clues.shares import Measure, SharesClue
from scarfdate.errors import RangeError, ScarfdateError, TableError, did_you_mean, shown
from scarfdate.model.model import Codes, Model
from scarfdate.reading.cells import (
    LABEL_AGAINST_MAKE,
    Observation,
    checked_range,
    column_name,
    is_blank,
    read_method,
    read_number,
    read_observation,
    read_year,
    read_yes,
)
from scarfdate.reading.label import Label, read_label
from scarfdate.reading.scarf import (
    DERIVED,
    LABEL_METHOD,
    SIDES,
    checked_label,
    keywords,
    label_text,
    side_numbers,
)
from scarfdate.words import units

_CELLS_KEPT = 50_000  # distinct cells remembered for one column
_MISSING = np.iinfo(np.int64).min
_KEPT_AS_IS = "note"  # columns that begin so are the dealer's own and are never read
_FOLDED = {"stitches_per_cm": "stitches_per_inch", "grams_per_square_metre": "momme"}


@dataclass
class Block:
    """Row numbers of a block (n, clues), and what was wrong or odd, by row within the block."""

    codes: Codes
    errors: dict[int, list[str]] = field(default_factory=lambda: defaultdict(list))
    warnings: dict[int, list[str]] = field(default_factory=lambda: defaultdict(list))


class Columns:
    """The known columns of a frame, and how each is read. Raises TableError for an unknown one."""

    def __init__(self, model: Model, frame: pd.DataFrame) -> None:
        self.model, self.priors = model, model.priors
        self.place: dict[str, int] = {}
        known = [*keywords(self.priors), *(f"{name}_method" for name in self.priors.confusion)]
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
        self.frame = frame
        self._read: dict[object, dict[Hashable, Any]] = defaultdict(dict)
        self._repeated = self._repeated_ids()

    def block(self, start: int, stop: int) -> Block:
        """Read rows ``start`` to ``stop`` (left out)."""
        part = self.frame.iloc[start:stop]
        raw = {name: part.iloc[:, place] for name, place in self.place.items()}
        block = Block(np.zeros((len(part), len(self.model.clues)), dtype=np.int32))
        for row in np.flatnonzero(self._repeated[start:stop]):
            block.errors[int(row)].append(
                f"id: {shown(str(raw['id'].iloc[row]))} stands in an earlier row, too"
            )
        labels = self._labels(raw, block)
        seen = {
            clue.name: self._observations(clue.name, raw, block)
            for clue in self.model.clues
            if isinstance(clue, SharesClue)
        }
        cells = self._measured(raw, seen, block)
        for place, clue in enumerate(self.model.clues):
            if isinstance(clue, SharesClue):
                measured = [cells.get(measure.family.name) for measure in clue.measures]
                if seen[clue.name] is not None or any(cell is not None for cell in measured):
                    block.codes[:, place] = _indexed(clue, seen[clue.name], measured, len(part))
        self._dated(raw, block)
        self._makers(raw, seen.get("signature"), block)
        self._check_label(seen, block)
        if labels is not None:
            self._label_texts(labels, seen, block)
        return block

    def _labels(
        self, raw: dict[str, pd.Series], block: Block
    ) -> tuple[NDArray[np.intp], list[Label | None]] | None:
        """Read the texts of labels; what they tell of other clues goes into the blank cells."""
        if "label_text" not in raw:
            return None

        def read(cell: object) -> Label | None:
            if is_blank(cell):
                return None
            return read_label(label_text(cell), priors=self.priors)

        labels = self._each("label_text", [raw["label_text"]], read, block)
        if labels is None:
            return None
        told = [{} if label is None else label.clues_given() for label in labels[1]]
        index = raw["label_text"].index
        for name in ("label", "origin", "fibre"):
            words = np.array([found.get(name) for found in told], dtype=object)[labels[0]]
            given = raw[name].to_numpy(dtype=object) if name in raw else np.full(len(index), None)
            nothing = self.priors.vocabulary.says_nothing
            blank = np.array([is_blank(cell) or nothing(name, cell) for cell in given], dtype=bool)
            fill = blank & np.array([word is not None for word in words], dtype=bool)
            raw[name] = pd.Series(np.where(fill, words, given), index=index, dtype=object)
            if name == "fibre" and fill.any():
                method = f"{name}_method"
                how = (
                    raw[method].to_numpy(dtype=object)
                    if method in raw
                    else np.full(len(index), None)
                )
                raw[method] = pd.Series(
                    np.where(fill, LABEL_METHOD, how), index=index, dtype=object
                )
        return labels

    def _label_texts(
        self,
        labels: tuple[NDArray[np.intp], list[Label | None]],
        seen: dict[str, tuple[NDArray[np.intp], list[Observation | None]] | None],
        block: Block,
    ) -> None:
        """The row of each label, with what was noted of it beside, and the warnings of both."""
        place = self.model.column.get("label_text")
        beside = [seen[name] for name in ("label", "origin", "fibre")]
        parts = [labels[0], *(np.zeros_like(labels[0]) if s is None else s[0] for s in beside)]
        kinds, back = np.unique(np.stack(parts), axis=1, return_inverse=True)
        for kind, (number, *others) in enumerate(kinds.T.tolist()):
            label = labels[1][number]
            if label is None:
                continue
            rows = np.flatnonzero(back.ravel() == kind)
            noted: dict[str, str | None] = {}
            for name, of, other in zip(("label", "origin", "fibre"), beside, others, strict=True):
                found = None if of is None else of[1][other]
                noted[name] = None if found is None else found.word
            try:
                warnings = checked_label(label, noted)
            except ScarfdateError as refusal:
                for row in rows:
                    block.errors[int(row)].append(str(refusal))
                continue
            if place is not None:
                fibre = None if beside[2] is None else beside[2][1][others[2]]
                key = evidence.label_key(self.model, label, noted["label"], fibre)
                block.codes[rows, place] = self.model.index("label_text", key)
            for row in rows if warnings else ():
                block.warnings[int(row)].extend(warnings)

    def _repeated_ids(self) -> NDArray[np.bool_]:
        if "id" not in self.place:
            return np.zeros(len(self.frame), dtype=bool)
        ids = pd.Series(
            [
                "" if is_blank(cell) else str(cell).strip()
                for cell in self.frame.iloc[:, self.place["id"]]
            ],
            dtype=object,
        )
        return np.asarray(ids.duplicated() & (ids != ""), dtype=bool)

    def _each(
        self,
        name: object,
        values: Sequence[pd.Series],
        read: Callable[..., Any],
        block: Block,
        rows: NDArray[np.intp] | None = None,
    ) -> tuple[NDArray[np.intp], list[Any]] | None:
        """Read the distinct combinations of cells of some columns; a number for each row, 0 for none."""
        numbers, distinct = distinct_rows(values)
        if not distinct:
            return None
        kept = self._read[name]
        if len(kept) > _CELLS_KEPT:
            kept.clear()
        found: list[Any] = [None]
        faulty: dict[int, str] = {}
        for cells in distinct:
            answer = kept.get(cells)
            if answer is None:
                try:
                    answer = (read(*cells), "")
                except ScarfdateError as refusal:
                    answer = (None, str(refusal))
                if all(len(cell) < 200 for cell in cells if isinstance(cell, str)):
                    kept[cells] = answer
            if answer[1]:
                faulty[len(found)] = answer[1]
            found.append(answer[0])
        for number, error in faulty.items():
            wrong = np.flatnonzero(numbers == number)
            for row in wrong if rows is None else rows[wrong]:
                block.errors[int(row)].append(error)
        return numbers, found

    def _observations(
        self, name: str, raw: dict[str, pd.Series], block: Block
    ) -> tuple[NDArray[np.intp], list[Observation | None]] | None:
        method = raw.get(f"{name}_method")
        if name not in raw:
            if method is not None:
                self._each(
                    f"{name}_method",
                    [method],
                    lambda cell: read_method(self.priors, name, cell),
                    block,
                )
            return None

        def read(cell: object, how: object = None) -> Observation | None:
            return read_observation(self.priors, name, cell, how)

        return self._each(name, [raw[name]] if method is None else [raw[name], method], read, block)

    def _measured(
        self,
        raw: dict[str, pd.Series],
        seen: dict[str, tuple[NDArray[np.intp], list[Observation | None]] | None],
        block: Block,
    ) -> dict[str, NDArray[np.int64]]:
        """The cell of each measured family, `_MISSING` where nothing was measured."""
        cells: dict[str, NDArray[np.int64]] = {}
        for clue in self.model.clues:
            for measure in clue.measures if isinstance(clue, SharesClue) else ():
                name = measure.family.name
                if name in DERIVED:
                    continue
                columns = [raw[other] for other in (name, *_others(name)) if other in raw]
                names = [other for other in (name, *_others(name)) if other in raw]
                if columns:
                    cells[name] = self._numbers(measure, names, columns, block)
        used = [name for name in (*SIDES, "unit", "fringe") if name in raw]
        if any(name in raw for name in SIDES):
            cells |= self._sides(raw, used, seen.get("form"), block)
        elif "fringe" in raw:
            self._each(
                "fringe",
                [raw["fringe"]],
                lambda cell: side_numbers(self.priors, {"fringe": cell}, None, []),
                block,
            )
        return cells

    def _numbers(
        self, measure: Measure, names: list[str], columns: list[pd.Series], block: Block
    ) -> NDArray[np.int64]:
        family = measure.family
        if len(columns) == 1 and names[0] == family.name and _is_float(columns[0]):
            return self._plain_numbers(measure, columns[0], block)

        def read(*given: object) -> tuple[int, str] | None:
            read_all = {n: read_number(n, cell) for n, cell in zip(names, given, strict=True)}
            values = {n: value for n, value in read_all.items() if value is not None}
            if len(values) > 1:
                raise ScarfdateError(
                    f"{family.name}: given twice, as {' and as '.join(values)}; give it once"
                )
            for n, value in values.items():
                try:
                    number = _in_trade_unit(n, value)
                except ScarfdateError as error:
                    raise RangeError(f"{n}: {error}") from None
                warning = checked_range(family, number)  # refuses what has no cell
                return measure.cell(number), warning
            return None

        found = self._each(family.name, columns, read, block)
        return self._cells(found, len(block.codes), block)

    def _plain_numbers(
        self, measure: Measure, column: pd.Series, block: Block
    ) -> NDArray[np.int64]:
        """A column of floats: those that pass without a warning all at once, the others one by one."""
        family, values = measure.family, column.to_numpy(dtype=float)
        with np.errstate(invalid="ignore"):
            plain = (values >= family.usual_low) & (values <= family.usual_high)
        cells = np.full(len(values), _MISSING)
        cells[plain] = measure.cells(values[plain])
        for row in np.flatnonzero(~plain & ~np.isnan(values)):
            try:
                number = read_number(family.name, float(values[row]))
                if number is not None:
                    warning = checked_range(family, number)
                    cells[row] = measure.cell(number)
                    if warning:
                        block.warnings[int(row)].append(warning)
            except ScarfdateError as error:
                block.errors[int(row)].append(str(error))
        return cells

    @staticmethod
    def _cells(
        found: tuple[NDArray[np.intp], list[Any]] | None, n: int, block: Block
    ) -> NDArray[np.int64]:
        if found is None:
            return np.full(n, _MISSING)
        numbers, answers = found
        cell = np.array([_MISSING if answer is None else answer[0] for answer in answers])
        for number, answer in enumerate(answers):
            if answer is not None and answer[1]:
                for row in np.flatnonzero(numbers == number):
                    block.warnings[int(row)].append(answer[1])
        return cell[numbers]

    def _sides(
        self,
        raw: dict[str, pd.Series],
        used: list[str],
        form: tuple[NDArray[np.intp], list[Observation | None]] | None,
        block: Block,
    ) -> dict[str, NDArray[np.int64]]:
        clue = next(c for c in self.model.clues if isinstance(c, SharesClue) and c.name == "form")
        measures = {measure.family.name: measure for measure in clue.measures}

        def read(square: object, *given: object) -> tuple[dict[str, int], list[str]]:
            warnings: list[str] = []
            values = {n: cell for n, cell in zip(used, given, strict=True) if not is_blank(cell)}
            sides = side_numbers(self.priors, values, "square" if square else None, warnings)
            for name, side in sides.items():
                warning = checked_range(measures[name].family, side)
                if warning:
                    warnings.append(warning)
            return {
                name: measures[name].cell(side) for name, side in sides.items() if name in measures
            }, warnings

        n = len(block.codes)
        square = np.zeros(n, dtype=bool)
        if form is not None:
            called = np.array([seen is not None and seen.word == "square" for seen in form[1]])
            square = called[form[0]]
        cells = {name: np.full(n, _MISSING) for name in measures}
        slow = np.ones(n, dtype=bool)
        if all(_is_float(raw[name]) for name in used if name != "fringe") and {*used} - {
            "fringe"
        } == {"width_cm", "height_cm"}:
            slow = self._plain_sides(raw, measures, square, cells)
        rows = np.flatnonzero(slow)
        if not len(rows):
            return cells
        columns = [pd.Series(square[rows]), *(raw[name].iloc[rows] for name in used)]
        found = self._each("sides", columns, read, block, rows)
        if found is not None:
            numbers, answers = found
            for name in measures:
                by_answer = [_MISSING if a is None else a[0].get(name, _MISSING) for a in answers]
                cells[name][rows] = np.array(by_answer)[numbers]
            for number, answer in enumerate(answers):
                if answer is not None and answer[1]:
                    for row in rows[numbers == number]:
                        block.warnings[int(row)].extend(answer[1])
        return cells

    def _plain_sides(
        self,
        raw: dict[str, pd.Series],
        measures: dict[str, Measure],
        square: NDArray[np.bool_],
        cells: dict[str, NDArray[np.int64]],
    ) -> NDArray[np.bool_]:
        """Fill ``cells`` where both sides are floats that pass without a warning; True where not."""
        width, height = (
            raw["width_cm"].to_numpy(dtype=float),
            raw["height_cm"].to_numpy(dtype=float),
        )
        long, short = np.fmax(width, height), np.fmin(width, height)
        with np.errstate(invalid="ignore", divide="ignore"):
            slender = long / short
            plain = ~np.isnan(width) & ~np.isnan(height)
            plain &= ~square | (slender <= self.priors.allowances["shape_agreement"])
            for name, values in (("long_side", long), ("slenderness", slender)):
                family = self.priors.families[name]
                plain &= (values >= family.usual_low) & (values <= family.usual_high)
            plain &= short >= self.priors.families["long_side"].usual_low
        if "fringe" in raw:
            plain &= raw["fringe"].map(is_blank).to_numpy(dtype=bool)
        for name, values in (("long_side", long), ("slenderness", slender)):
            if name in measures:
                cells[name][plain] = measures[name].cells(values[plain])
        return np.asarray(~plain & ~(np.isnan(width) & np.isnan(height)))

    def _dated(self, raw: dict[str, pd.Series], block: Block) -> None:
        announced = raw.get("depicted_announced")
        for name in ("depicted_year", "printed_year"):
            if name not in raw or name not in self.model.column:
                continue
            family = self.priors.families[name]

            def read(
                cell: object, yes: object = None, name: str = name, family: Any = family
            ) -> Hashable:
                said = read_yes("depicted_announced", yes)
                year = read_year(family, cell)
                return (
                    None if year is None else evidence.dated_key(self.model, name, year, bool(said))
                )

            with_announced = name == "depicted_year" and announced is not None
            columns = (
                [raw[name], announced] if with_announced and announced is not None else [raw[name]]
            )
            found = self._each(name, columns, read, block)
            if found is not None:
                rows = np.array([self.model.index(name, key) for key in found[1]], dtype=np.int32)
                block.codes[:, self.model.column[name]] = rows[found[0]]
        if announced is not None:
            place = self.model.column.get("depicted_year")
            said = ~announced.map(is_blank).to_numpy(dtype=bool)
            alone = said & (block.codes[:, place] == 0) if place is not None else said
            for row in np.flatnonzero(alone):
                if int(row) not in block.errors:
                    block.warnings[int(row)].append(
                        "depicted_announced says nothing without depicted_year"
                    )

    def _makers(
        self,
        raw: dict[str, pd.Series],
        signature: tuple[NDArray[np.intp], list[Observation | None]] | None,
        block: Block,
    ) -> None:
        if "maker" not in raw or "maker" not in self.model.column:
            return
        forms: list[str | None] = [None]
        form = np.zeros(len(block.codes), dtype=np.intp)
        if signature is not None:
            form, forms = signature[0], [seen.word if seen else None for seen in signature[1]]
        words = pd.Series(
            [forms[number] for number in form], index=raw["maker"].index, dtype=object
        )

        def read(maker: object, signed: object = None) -> tuple[Hashable, str] | None:
            if is_blank(maker):
                return None
            if not isinstance(maker, str):
                raise ScarfdateError(f"maker: a name is allowed, got {shown(maker)}")
            return evidence.maker_key(self.model, maker, signed if isinstance(signed, str) else "")

        found = self._each("maker", [raw["maker"], words], read, block)
        if found is None:
            return
        for number, answer in enumerate(found[1]):
            if answer is None:
                continue
            key, warning = answer
            rows = np.flatnonzero(found[0] == number)
            block.codes[rows, self.model.column["maker"]] = self.model.index("maker", key)
            for row in rows:
                if warning:
                    block.warnings[int(row)].append(warning)
                evidence.drop_told_by_maker(self.model, block.codes[row], key)

    def _check_label(
        self,
        seen: dict[str, tuple[NDArray[np.intp], list[Observation | None]] | None],
        block: Block,
    ) -> None:
        label, make = seen.get("label"), seen.get("label_make")
        if label is None or make is None:
            return
        none = np.array([found is not None and found.word == "none-seen" for found in label[1]])[
            label[0]
        ]
        made = np.array([found is not None for found in make[1]])[make[0]]
        for row in np.flatnonzero(none & made):
            block.errors[int(row)].append(LABEL_AGAINST_MAKE)


def _is_float(column: pd.Series) -> bool:
    return isinstance(column.dtype, np.dtype) and column.dtype.kind == "f"


def _others(name: str) -> list[str]:
    return [other for other, trade in _FOLDED.items() if trade == name]


def _in_trade_unit(name: str, value: float) -> float:
    if name == "stitches_per_cm":
        return units.per_inch(value, "cm")
    if name == "grams_per_square_metre":
        return units.momme(value, "g/m²")
    return value


def _indexed(
    clue: SharesClue,
    seen: tuple[NDArray[np.intp], list[Observation | None]] | None,
    measured: Sequence[NDArray[np.int64] | None],
    n: int,
) -> NDArray[np.int32]:
    """Row numbers of a shares clue from its observations and measured cells."""
    if seen is not None and all(cells is None for cells in measured):
        nothing_measured = (None,) * len(measured)
        of_each = [clue.index(None if o is None else (o, nothing_measured)) for o in seen[1]]
        return np.array(of_each, dtype=np.int32)[seen[0]]
    parts = [np.zeros(n, dtype=np.intp) if seen is None else seen[0]]
    parts += [np.full(n, _MISSING) if cells is None else cells for cells in measured]
    key = parts[0].astype(np.int64)
    for part in parts[1:]:
        kinds, back = np.unique(part, return_inverse=True)
        key = key * len(kinds) + back
    _, first, back = np.unique(key, return_index=True, return_inverse=True)
    rows = np.empty(len(first), dtype=np.int32)
    for place, at in enumerate(first):
        observation = None if seen is None else seen[1][parts[0][at]]
        cells = tuple(None if part[at] == _MISSING else int(part[at]) for part in parts[1:])
        nothing = observation is None and all(cell is None for cell in cells)
        rows[place] = clue.index(None if nothing else (observation, cells))
    return rows[back]
