"""``priors/schema.toml`` read: what may stand in which column of which table, and the check of whole tables.

One declaration for all: `check` holds a sheet against it, and `scarfdate.tables.descriptor` describes it to
other programs.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache, cached_property
from pathlib import Path
from typing import Any

from scarfdate.conventions import GRADES, MARKETS
from scarfdate.tables.column import Column
from scarfdate.tables.sheet import Sheet

_VAST = 1e9  # no number of a table is larger, and sums and products of such ones stay numbers
_LIMITS = {  # where a line of the schema says nothing else
    "year": (1000, 2300), "share": (0, 100), "number": (-_VAST, _VAST), "whole": (-_VAST, _VAST),
}  # fmt: skip
_REST = "*"  # every column that has no line of its own


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
    gains: bool = False  # whether an older folder gets the rows that it lacks
    told_apart_by: tuple[
        str, ...
    ] = ()  # the columns that say which these are, where they are no key

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
    import tomllib  # only where tables are checked

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
            gains=told.get("gains", False),
            told_apart_by=tuple(told.get("told_apart_by", ())),
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
            if row.get("reading") not in ("synonym", "one-of", "narrower", "missing"):
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
