"""What is understood of a stock sheet, column by column and cell by cell; nothing is dated."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import pandas as pd

from scarfdate.clues.field import Field
from scarfdate.clues.kinds import KEPT, fields_of, keywords
from scarfdate.clues.sides import SIZE
from scarfdate.columns.names import NOTE, SOLD
from scarfdate.columns.sheet import Sheet
from scarfdate.errors import ScarfdateError
from scarfdate.reading.cells import column_name, is_blank
from scarfdate.reading.headings import read_headings
from scarfdate.reading.json_text import cell_text
from scarfdate.show import page
from scarfdate.tables.families import DESCRIPTION
from scarfdate.tables.priors import Priors

_UNIT, _FRINGE = "unit", "fringe"
_SHOWN = 60  # characters of a cell that are repeated
_ROWS = 20
_NAMED, _HARDLY = 4, 0.005  # words of a cell with weights that are named; what is left unsaid


class Cell(NamedTuple):
    """One cell, or several that are read together: where, what was written, as what it was read, the problem; one that is
    read in part has both."""

    place: int
    column: str
    written: str
    clue: str
    read_as: str
    problem: str


@dataclass(frozen=True, eq=False)
class StockUnderstood:
    """What `date_table` would understand of a sheet; nothing is refused here.

    ``columns``: one row a column: column, read_as ("" where it is nobody's), remark. ``cells``: one row a
    cell that is read: place, column, written, clue, read_as ("" where nothing of it is used), problem ("" where all of it
    is). ``notes``: remarks on the file. ``counted``: what places count: "line", "row" or "record".
    """

    columns: pd.DataFrame
    cells: pd.DataFrame
    notes: tuple[str, ...]
    counted: str

    @property
    def unread(self) -> int:
        """How many cells cannot be read, not even a part of them."""
        return sum(bool(problem) and not said for said, problem in self._read)

    @property
    def in_part(self) -> int:
        """How many cells are read in part: what was understood counts, and the rest does not."""
        return sum(bool(problem and said) for said, problem in self._read)

    @property
    def _read(self) -> list[tuple[str, str]]:
        return list(
            zip(self.cells["read_as"].tolist(), self.cells["problem"].tolist(), strict=True)
        )

    def to_string(self, rows: int = _ROWS) -> str:
        """All of it as plain text: columns, cells of the first ``rows`` rows, and every cell that is not read, or only in
        part."""
        width = min(max(map(len, self.columns["column"]), default=0), 40)
        lines = ["Columns"]
        lines += [
            f"  {_short(name)[:40]:<{width}}  {('-> ' + as_) if as_ else '-':<24}{remark}".rstrip()
            for name, as_, remark in self.columns.to_numpy(dtype=object).tolist()
        ]
        places = self.cells["place"].unique().tolist()
        early = {*places[:rows]}
        had: object = None
        lines += ["", "Cells" + (f" of the first {rows} of {len(places)} rows, and all that were not read"
                                 if len(places) > rows else "")]  # fmt: skip
        for one in map(Cell._make, self.cells.to_numpy(dtype=object).tolist()):
            if one.place not in early and not one.problem:
                continue
            if one.place != had:
                lines.append(f"{self.counted} {one.place}")
                had = one.place
            says = f"-> {one.read_as}" if one.read_as else f"NOT READ: {one.problem}"
            says += f"; {one.problem}" if one.read_as and one.problem else ""
            wrote = f"{one.written!r}" if one.written else "(stated for all)"
            lines.append(f"  {one.column or one.clue}: {wrote} {says}")
        lines += ["", *(f"- {note}" for note in self.notes)]
        whole = len(self.cells) - self.unread - self.in_part
        some = f"{self.in_part} read in part, " if self.in_part else ""
        counts = f"{len(self.cells)} cells of clues: {whole} read, {some}{self.unread} not read."
        return "\n".join([*lines, counts]).strip()

    def __str__(self) -> str:
        return self.to_string()

    def _repr_html_(self) -> str:
        return page.view(self.to_string())


def stock_understood(
    sheet: Sheet, priors: Priors, answers: tuple[str, ...], unit: str | None = None
) -> StockUnderstood:
    """What is understood of a sheet. ``answers``: names of the columns of an earlier answer; ``unit``: of
    lengths that state none."""
    fate = []
    for written, read_as, remark in sheet.fate:
        name, heading = column_name(written), _bearable(written)
        if name in answers:
            fate.append((heading, "", "an earlier answer, worked out anew"))
        elif read_as in KEPT or read_as.startswith(NOTE):
            fate.append((heading, read_as, "kept, not weighed"))
        elif read_as in SOLD:
            fate.append((heading, read_as, "kept, not used for dating"))
        elif read_as:
            fate.append((heading, read_as, ""))
        else:
            fate.append((heading, "", remark or "not used"))
    cells = pd.DataFrame(_cells(sheet, priors, unit), columns=Cell._fields)
    counted = str(sheet.table.index.name or "row")
    columns = pd.DataFrame(fate, columns=["column", "read_as", "remark"])
    return StockUnderstood(columns, cells, sheet.remarks, counted)


def _cells(sheet: Sheet, priors: Priors, unit: str | None) -> Iterator[Cell]:
    known = [*keywords(priors), *(f"{name}_method" for name in priors.confusion)]
    found = read_headings(list(sheet.clues.columns), known, priors.headings)
    columns = {name: sheet.clues.iloc[:, at].tolist() for name, at in found.place.items()}
    unit = found.units.get(SIZE) or unit
    fields = [(one, [name for name in one.columns if name in columns]) for one in fields_of(priors)]
    standing: dict[str, list[int]] = {}  # our name to the numbers of the person's columns
    for at, (_, as_, _) in enumerate(sheet.fate):
        for own in filter(None, as_.split(", ")):
            standing.setdefault(own, []).append(at)
    written_in = [
        [cell_text(cell) for cell in sheet.table.iloc[:, at].tolist()]
        for at in range(sheet.table.shape[1])
    ]
    read: dict[object, tuple[str, str]] = {}  # cells repeat, and to read one takes long
    for row, line in enumerate(sheet.clues.index.tolist()):
        for one, held in fields:
            given = {name: columns[name][row] for name in held if not is_blank(columns[name][row])}
            alone = not {*given} - {_UNIT, _FRINGE, one.method}
            if alone and _FRINGE not in given:
                continue  # a unit by itself says nothing
            held_in = dict.fromkeys(at for name in given for at in standing.get(name, ()))
            cells = [written_in[at][row] for at in held_in]
            written = ", ".join(_short(cell) for cell in cells if cell.strip())
            over = " + ".join(_bearable(sheet.fate[at][0]) for at in held_in)
            clue = "/".join(given)
            if unit and _UNIT in one.columns:
                given.setdefault(_UNIT, unit)
            same = one.name, *((name, type(cell), cell) for name, cell in given.items())
            try:
                if same not in read:
                    read[same] = _read(one, given)
                said = read[same]
            except TypeError:  # a list or a mapping in a cell
                said = _read(one, given)
            if (
                not alone or said[1]
            ):  # a fringe by itself says nothing, but may be one that is not read
                yield Cell(line, over, written, clue, *said)


def _read(one: Field, given: dict[str, object]) -> tuple[str, str]:
    """What a field makes of its cells, and the problem where it can make nothing of them, or not of all."""
    cells, others = [given.get(name) for name in one.columns], dict[str, object]()
    problem, unread = "", ""
    try:
        seen, odd = one.reads(*cells)
    except ScarfdateError as refusal:
        noted = one.as_noted(*cells)
        if noted is None:
            return "", str(refusal)
        unread = noted.unread
        problem = one.told_unread([None], unread) if unread else ""
        seen, odd, others = noted.value, noted.odd, dict(noted.others)
    plain = {} if seen is None else seen.cells(one.name)
    if one.name == DESCRIPTION and seen is not None:
        plain = {column: cell for told in one.fills(seen).values() for column, cell in told.items()}
    if one.method in plain and _goes_without_saying(one, plain, seen):
        del plain[one.method]
    plain |= others
    if not plain and problem:
        return "", one.told_unread(cells, unread)
    if not plain:
        return ("nothing of a clue" if seen is not None else "not looked at") + (
            f" ({'; '.join(odd)})" if odd else ""
        ), ""
    said = [cell_in_words(cell) for cell in plain.values()]
    names = [*plain]
    text = said[0] if names == [one.name] else ", ".join(
        f"{name} {cell}" for name, cell in zip(names, said, strict=True)
    )  # fmt: skip
    return text + (f" ({'; '.join(odd)})" if odd else ""), problem


def _goes_without_saying(one: Field, plain: dict[str, object], seen: object) -> bool:
    """Whether how it was looked at follows from the word, as of a mixture, which nobody feels: nothing was said of it."""
    try:
        return one.reads(plain.get(one.name), None)[0] == seen
    except ScarfdateError:
        return False


def cell_in_words(cell: object) -> str:
    """A cell as it was read, for a person: a word, a number, or weights ("silk 70 %, others 30 %"); cut where it is long."""
    return f"{cell:.4g}" if isinstance(cell, float) else _short(_weighed(cell_text(cell)))


def _weighed(text: str) -> str:
    """Weights as a person says them: "silk 70 %, others 30 %"; any other text as it is."""
    if not text.startswith("{"):
        return text
    weights = sorted(json.loads(text).items(), key=lambda one: -one[1])
    named = [(word, weight) for word, weight in weights if weight >= weights[0][1] / 2][:_NAMED]
    rest = sum(weight for _, weight in weights) - sum(weight for _, weight in named)
    named += [("others", rest)] if rest > _HARDLY else []
    return ", ".join(f"{word} {weight:.0%}".replace("%", " %") for word, weight in named)


def _bearable(heading: str) -> str:
    """A heading in letters that can be written down: half of a pair of code units cannot."""
    return heading.encode("utf-8", "replace").decode("utf-8")


def _short(text: str) -> str:
    plain = " ".join(text.split())
    cut = plain if len(plain) <= _SHOWN else plain[: _SHOWN - 1] + "…"
    return "".join(letter if letter.isprintable() else "?" for letter in cut)
