"""``priors/schema.toml`` read: what may stand in which column of which table, and the check of whole tables.

One declaration for all: `check` holds a sheet against it, and `scarfdate.tables.descriptor` describes it to
other programs.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cache, cached_property
from pathlib import Path
from typing import Any

from scarfdate.conventions import GRADES, MARKETS
from scarfdate.errors import did_you_mean
from scarfdate.tables.column import Column, WrongCell
from scarfdate.tables.sheet import Basis, Sheet

_LIMITS = {"year": (1000, 2300), "share": (0, 100)}  # where a line of the schema says nothing else
_REST = "*"  # every column that has no line of its own
# people round to one decimal: a row of twenty may be off by half a point, not by two
_ROUNDED = 0.5


def shipped_folder() -> Path:
    """Where the priors that came with the library lie: beside the package, or inside the wheel."""
    package = Path(__file__).resolve().parent.parent
    inside = package / "priors"
    return inside if inside.is_dir() else package.parent / "priors"


@dataclass(frozen=True, kw_only=True)
class TableSchema:
    """One table, or all of one kind, as declared. ``lines``: columns; a name "@..." stands for several."""

    file: str
    title: str
    description: str
    lines: tuple[Column, ...]
    key: tuple[str, ...] = ()
    rises: str = ""

    def columns(self, words: Words, header: Iterable[str], file: str) -> tuple[Column, ...]:
        """The columns of one file, with the words that a folder allows."""
        own = [self._own(line, words, file) for line in self.lines if line.name != _REST]
        columns = [column for some in own for column in some]
        known = {column.name for column in columns}
        for line in self.lines:
            if line.name == _REST:
                rest = [name for name in header if name not in known]
                columns += [replace(line, name=name, group=_REST) for name in rest]
        return tuple(columns)

    def _own(self, line: Column, words: Words, file: str) -> list[Column]:
        if line.words is not None:
            line = replace(line, words=words.allowed(line.words, file))
        if not line.name.startswith("@"):
            return [line]
        names = words.allowed((line.name,), file) or ()
        return [replace(line, name=name, group=line.name) for name in names]


@dataclass(frozen=True)
class Schema:
    """All tables, by file or by ``folder/*``; the lists of words; and what is said of files by their place."""

    tables: Mapping[str, TableSchema]
    words: Mapping[str, tuple[str, ...]]
    remarks: Mapping[str, str]

    def of(self, file: str) -> TableSchema | None:
        """What is declared of a file; None where nothing is."""
        *folders, _ = file.split("/")
        kind = f"{folders[-1]}/*" if folders else ""
        return self.tables.get(file) or self.tables.get(kind)

    @property
    def files(self) -> tuple[str, ...]:
        """The files that are declared by their names."""
        return tuple(file for file in self.tables if "*" not in file)


@cache
def schema() -> Schema:
    """The schema that came with the library."""
    read = tomllib.loads((shipped_folder() / "schema.toml").read_text(encoding="utf-8"))
    provenance = [_column(name, line) for name, line in read["provenance"].items()]
    tables = {}
    for file, told in read.items():
        if ".csv" not in file and "/" not in file:
            continue
        last = told.get("provenance", [column.name for column in provenance])
        tables[file] = TableSchema(
            file=file,
            title=told["title"],
            description=told["description"],
            key=tuple(told.get("key", ())),
            rises=told.get("rises", ""),
            lines=(
                *(_column(name, line) for name, line in told["columns"].items()),
                *(column for column in provenance if column.name in last),
            ),
        )
    words = {name: tuple(some) for name, some in read["words"].items()}
    return Schema(tables, words, read["remarks"])


def _column(name: str, told: Mapping[str, Any]) -> Column:
    line = dict(told)
    kind = line.pop("type", "word" if "words" in line else "text")
    low, high = _LIMITS.get(kind, (None, None))
    words = line.pop("words", None)
    return Column(
        name=name, type=kind, low=line.pop("min", low), high=line.pop("max", high),
        words=None if words is None else tuple(words), **line,
    )  # fmt: skip


class Words:
    """The words that a folder allows, found in its sheets as they were written."""

    def __init__(self, sheets: Mapping[str, Sheet]) -> None:
        self.sheets = sheets
        self.meanings: dict[str, dict[str, str]] = {}
        for row in self._rows("vocabulary.csv"):
            if row.get("reading") not in ("synonym", "one-of", "missing"):
                own = self.meanings.setdefault(row.get("family", ""), {})
                own[row.get("word", "")] = row.get("means", "")
        self.families = {row.get("family", ""): row for row in self._rows("families.csv")}

    def _rows(self, file: str) -> Iterator[Mapping[str, str]]:
        return self.sheets[file].rows if file in self.sheets else iter(())

    def values(self, family: str) -> list[str]:
        """Values of a family, in their written order."""
        return [*self.meanings.get(family, {})]

    def name(self, family: str) -> str:
        """A family as a person reads it."""
        return self.families.get(family, {}).get("name") or family

    def parent(self, family: str) -> str:
        """The family on which a measured one depends; "" for others."""
        return self.families.get(family, {}).get("parent", "")

    def of_kind(self, kind: str) -> list[str]:
        """The families of a kind."""
        return [name for name, row in self.families.items() if row.get("kind") == kind]

    @cached_property
    def folders(self) -> list[str]:
        """The folders with tables of their own for a channel."""
        parts = (file.split("/") for file in self.sheets)
        return sorted({part[0] for part in parts if len(part) == 3})

    def allowed(self, named: Iterable[str], file: str) -> tuple[str, ...] | None:
        """Words as the schema lists them, each "@..." by what it stands for; None where that is not known."""
        found: list[str] = []
        for name in named:
            some = self._list(name[1:], file) if name.startswith("@") else [name]
            if some is None:
                return None
            found += some
        return tuple(dict.fromkeys(found))

    def _list(self, name: str, file: str) -> list[str] | None:
        family = file.split("/")[-1].removesuffix(".csv")
        first, _, rest = name.partition(" ")
        if name in schema().words:
            return [*schema().words[name]]
        if name in ("grades", "markets"):
            return [*(GRADES if name == "grades" else MARKETS)]
        if name == "folders":
            return self.folders
        if not {"vocabulary.csv", "families.csv"} <= set(self.sheets):
            return None
        if name == "parent values":
            return self.values(self.parent(family))
        if first == "values":
            return self.values(rest.removeprefix("of ") or family)
        if first == "families":
            return self.of_kind(rest.removeprefix("of ")) if rest else [*self.families]
        if first == "methods":
            return [f"{each}_method" for each in self.of_kind(rest.removeprefix("of "))]
        other = rest.removeprefix("of ") if first == "columns" else first
        sheet, declared = self.sheets.get(other), schema().of(other)
        if sheet is None or not sheet.lines or declared is None:
            return None
        if first != "columns":
            return [cell for cell in sheet.distinct(rest) if cell]
        columns = declared.columns(self, sheet.header, other)
        return [column.name for column in columns if column.group == _REST]


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

    def __getitem__(self, column: str) -> Any:
        return self.cells[column]

    def get(self, column: str, otherwise: Any) -> Any:
        """The cell, or something else where the table has no such column."""
        return self.cells.get(column, otherwise)


@dataclass(kw_only=True)
class Table:
    """A sheet whose cells were checked. ``rows``: those that are whole; ``every``: the others, too, where the
    first word that is allowed, NaN or nothing stands for a wrong cell. ``whole``: whether all of them are."""

    sheet: Sheet
    columns: tuple[Column, ...] = ()
    every: list[Row] = field(default_factory=list)
    whole: bool = False

    @cached_property
    def rows(self) -> list[Row]:
        """The rows in which no cell is wrong."""
        return [row for row in self.every if row.whole]

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
    columns = declared.columns(words, sheet.header, sheet.name)
    if not sheet.header or not _header_holds(sheet, columns):
        return Table(sheet=sheet, columns=columns)
    present = [column for column in columns if column.name in sheet.header]
    names = [column.name for column in present]
    before = len(sheet.faults)
    wrong: list[tuple[int, str, WrongCell]] = []
    read = zip(*(_values(sheet, column, wrong) for column in present), strict=True)
    for line, name, fault in sorted(wrong, key=lambda one: one[0]):
        sheet.fault(line, name, fault.problem, fault.got, fault.step)
    broken = {line for line, _, _ in wrong}
    every = []
    for line, values in zip(sheet.lines, read, strict=True):
        cells = dict(zip(names, values, strict=True))
        every.append(Row(line=line, cells=cells, whole=line not in broken, file=sheet.name))
    table = Table(sheet=sheet, columns=tuple(present), every=every)
    _check_rows(table)
    _check_keys(table, [name for name in declared.key if name in sheet.header], declared.rises)
    table.whole = len(sheet.faults) == before
    return table


def _values(sheet: Sheet, column: Column, wrong: list[tuple[int, str, WrongCell]]) -> Iterable[Any]:
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
    return map(values.__getitem__, cells)


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
    for row in table.every:
        for total, names in totals.values():
            found = math.fsum(row[name] for name in names)
            if abs(found - total) > _ROUNDED:  # never so for NaN, which has its own fault
                problem = f"the shares of a row add up to {total:g}"
                table.fault(row, None, problem, f"{found:g}", "mend the row")
        basis = row.get("basis", "")
        if row.whole and basis in sourced and not row["source"]:
            problem = f"a row with basis {basis!r} names its source"
            table.fault(row, "source", problem, "an empty cell")


def _check_keys(table: Table, key: list[str], rises: str) -> None:
    """No two rows of the same key, and knots that rise."""
    if not key:
        return
    seen: set[tuple[Any, ...]] = set()
    last: dict[tuple[Any, ...], float] = {}
    for place, row in enumerate(table.every):
        if not row.whole:
            continue
        own = tuple(row[name] for name in key)
        series = tuple(row[name] for name in key if name != rises)
        if own in seen:
            got = " ".join(f"{one:g}" if isinstance(one, float) else str(one) for one in own)
            table.fault(row, rises or key[-1], "stands there twice", got)
            table.every[place] = replace(row, whole=False)
        elif rises and row[rises] < last.get(series, -math.inf):
            got = f"{row[rises]:g} after {last[series]:g}"
            table.fault(row, rises, "rises from row to row", got)
        seen.add(own)
        if rises:
            last[series] = row[rises]
