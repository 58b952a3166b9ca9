"""A sheet held against the schema: its cells as numbers and words, and what its rows say together."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, field, fields
from functools import cached_property
from typing import Any, TypeVar

from scarfdate.errors import did_you_mean
from scarfdate.tables.column import Column, WrongCell
from scarfdate.tables.schema import TableSchema, Words, schema
from scarfdate.tables.sheet import Basis, Sheet

# people round to one decimal: a row of twenty may be off by half a point, not by two
R = TypeVar("R")
_ROUNDED = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row of a checked table: ``row["rate"]`` is a number. ``whole``: whether no cell of it is wrong."""

    line: int
    cells: Mapping[str, Any]
    whole: bool
    file: str

    @property
    def basis(self) -> Basis:
        """How the numbers of the row are known."""
        basis, source, note = (self.cells.get(name, "") for name in ("basis", "source", "note"))
        return Basis(self.file, self.line, basis, source, note)

    def read_as(self, kind: type[R], **other: object) -> R:
        """A dataclass with each field from the column of its name, but for those that are given."""
        found: dict[str, object] = {}
        for field_ in fields(kind):  # type: ignore[arg-type]
            name = field_.name
            if field_.type == "Basis":
                found[name] = self.basis
            elif name in self.cells:
                cell = self.cells[name]
                found[name] = float(cell) if field_.type == "float" else cell
        return kind(**(found | other))

    def __getitem__(self, column: str) -> Any:
        return self.cells[column]

    def get(self, column: str, otherwise: Any) -> Any:
        """The cell, or something else where the table has no such column."""
        return self.cells.get(column, otherwise)


@dataclass(kw_only=True)
class Table:
    """A sheet whose cells were checked: ``cells`` by column, row by row. In the ``broken`` of them, by place, the
    first word that is allowed, NaN or nothing stands for a wrong cell. ``whole``: whether nothing is wrong at all."""

    sheet: Sheet
    columns: tuple[Column, ...] = ()
    cells: Mapping[str, Sequence[Any]] = field(default_factory=dict)
    broken: frozenset[int] = frozenset()
    whole: bool = False

    @cached_property
    def every(self) -> list[Row]:
        """All rows, also those in which a cell is wrong."""
        if not self.cells:  # the header does not hold
            return []
        names, cells = [*self.cells], zip(*self.cells.values(), strict=True)
        return [
            Row(
                line=line,
                cells=dict(zip(names, values, strict=True)),
                whole=place not in self.broken,
                file=self.name,
            )
            for place, (line, values) in enumerate(zip(self.sheet.lines, cells, strict=True))
        ]

    @cached_property
    def rows(self) -> list[Row]:
        """The rows in which no cell is wrong."""
        return [row for row in self.every if row.whole]

    def column(self, name: str) -> Sequence[Any]:
        """The cells of a column in `rows`."""
        cells = self.cells.get(name, ())  # none where the header does not hold
        if not self.broken:
            return cells
        return [cell for place, cell in enumerate(cells) if place not in self.broken]

    @property
    def bases(self) -> list[Basis]:
        """How the numbers of each of `rows` are known."""
        lines = self.sheet.lines
        whole = [line for place, line in enumerate(lines) if place not in self.broken]
        each = (
            self.column(name) if name in self.cells else [""] * len(whole)
            for name in ("basis", "source", "note")
        )
        return [*map(Basis, [self.name] * len(whole), whole, *each)]

    def beside(self, sheet: Sheet) -> Table:
        """The same table with its faults told to another list."""
        same = copy(self)
        same.sheet = sheet
        return same

    @property
    def name(self) -> str:
        """The file's name in the folder."""
        return self.sheet.name

    def names(self, group: str) -> tuple[str, ...]:
        """The names of the columns that one line of the schema stands for, such as "@values"."""
        return tuple(column.name for column in self.columns if column.group == group)

    def words(self, column: str) -> tuple[str, ...]:
        """The words that are allowed in a column."""
        return next(own.words or () for own in self.columns if own.name == column)

    def fault(
        self, row: Row | None, column: str | None, problem: str, got: object = "", step: str = ""
    ) -> None:
        """Note a fault that several cells make together."""
        self.sheet.fault(None if row is None else row.line, column, problem, got, step)


def check(sheet: Sheet, declared: TableSchema, words: Words) -> Table:
    """Every cell held against what is declared; every fault is noted with row, column and what to do."""
    return check_by(declared.columns(words, sheet.header, sheet.name), sheet, declared)


def check_by(columns: tuple[Column, ...], sheet: Sheet, declared: TableSchema) -> Table:
    """The same where the columns, with the words that are allowed in them, are known already."""
    if not sheet.columns or not _header_holds(sheet, columns):  # one without rows is told already
        return Table(sheet=sheet, columns=columns)
    present = [column for column in columns if column.name in sheet.header]
    names = [column.name for column in present]
    before = len(sheet.faults)
    wrong: list[tuple[int, str, WrongCell]] = []
    read = [_values(sheet, column, wrong) for column in present]
    for line, name, fault in sorted(wrong, key=lambda one: one[0]):
        sheet.fault(line, name, fault.problem, fault.got, fault.step)
    lines = {line for line, _, _ in wrong}
    table = Table(
        sheet=sheet,
        columns=tuple(present),
        cells=dict(zip(names, read, strict=True)),
        broken=frozenset(place for place, line in enumerate(sheet.lines) if line in lines),
    )
    _check_rows(table)
    _check_keys(table, [name for name in declared.key if name in sheet.header], declared.rises)
    table.whole = len(sheet.faults) == before
    return table


def _values(sheet: Sheet, column: Column, wrong: list[tuple[int, str, WrongCell]]) -> list[Any]:
    """What the cells of a column say; those that cannot stand there are added to ``wrong``."""
    cells = sheet.columns[column.name]
    values: dict[str, Any] = {}
    for text in dict.fromkeys(cells):  # most cells of a column are alike
        try:
            values[text] = column.value(text)
        except WrongCell as fault:
            values[text] = column.instead
            same = (line for line, cell in zip(sheet.lines, cells, strict=True) if cell == text)
            wrong += ((line, column.name, fault) for line in same)
    return [*map(values.__getitem__, cells)]


def _header_holds(sheet: Sheet, columns: Iterable[Column]) -> bool:
    """Whether every column is there that has to be; where not, each cell would be a fault of its own."""
    known = {column.name: column for column in columns}
    missing = [name for name, own in known.items() if not own.optional and name not in sheet.header]
    for name in missing:
        sheet.fault(1, name, "a column is missing", "", "add it to the header")
    for name in sheet.header:
        if name not in known:
            step = did_you_mean(name, sorted(known))
            sheet.fault(1, name, "a column nobody knows", name, step)
    return not missing


def _check_rows(table: Table) -> None:
    """What the cells of a row say together: shares that add up, and a source where the basis needs one."""
    sourced = schema().words["basis with a source"]
    totals: dict[str, tuple[float, list[str]]] = {}
    for column in table.columns:
        if column.total is not None:
            totals.setdefault(column.group, (column.total, []))[1].append(column.name)
    for row in table.every if totals else ():
        for total, names in totals.values():
            found = math.fsum(map(row.cells.__getitem__, names))
            if abs(found - total) > _ROUNDED:  # never so for NaN, which has its own fault
                problem = f"the shares of a row add up to {total:g}"
                table.fault(row, None, problem, f"{found:g}", "mend the row")
    ordered = [column for column in table.columns if column.not_below in table.cells]
    for row in table.every if ordered else ():
        for column in ordered:
            least, own = row.cells[column.not_below], row.cells[column.name]
            if own < least:  # never so for NaN, which stands for a blank cell
                problem = f"must not be below {column.not_below} of its row ({least:g})"
                table.fault(row, column.name, problem, f"{own:g}", "mend one of the two")
    if "basis" not in table.sheet.columns:
        return
    for row in table.every:
        basis = row.cells["basis"]
        if basis in sourced and not row.cells["source"] and row.whole:
            problem = f"a row with basis {basis!r} names its source"
            table.fault(row, "source", problem, "an empty cell")


def _check_keys(table: Table, key: list[str], rises: str) -> None:
    """No two rows of the same key, and knots that rise."""
    whole = [row.cells for row in table.every if row.whole]
    keys = [tuple(map(cells.__getitem__, key)) for cells in whole]
    # most tables have no two alike, and none that rises: then there is nothing to look for row by row
    if not key or (not rises and len(set(keys)) == len(keys)):
        return
    seen: set[tuple[Any, ...]] = set()
    last: dict[tuple[Any, ...], float] = {}
    twice = set()
    for place, row in enumerate(table.every):
        if not row.whole:
            continue
        own = tuple(row[name] for name in key)
        series = tuple(row[name] for name in key if name != rises)
        if own in seen:
            got = " ".join(f"{one:g}" if isinstance(one, float) else str(one) for one in own)
            table.fault(row, rises or key[-1], "stands there twice", got)
            twice.add(place)
        elif rises and row[rises] < last.get(series, -math.inf):
            got = f"{row[rises]:g} after {last[series]:g}"
            table.fault(row, rises, "rises from row to row", got)
        seen.add(own)
        if rises:
            last[series] = row[rises]
    if twice:
        table.broken |= twice
        del table.every  # made of the rows that were broken until now
