"""What was read of the shipped tables, kept so that a later process need not check every cell again.

It lies where Python keeps its own compiled modules, ``__pycache__`` beside this one, and only where Python may
write there (``PYTHONDONTWRITEBYTECODE``): like those it is this package's own, may be deleted at any time, and is
believed only while nothing that it was made of has changed. Its first line holds two hashes: of the contents of all
files of the folder with their schema and the code that reads them, and of the lines that follow, the names of the tables and one line
for each. It is text, and nothing in it runs. Whatever is wrong with it, the tables are read as if there were none.
"""

from __future__ import annotations

import hashlib
import json
import sys
from collections.abc import Iterator, Mapping
from contextlib import suppress
from importlib.util import cache_from_source
from pathlib import Path

from scarfdate.errors import ScarfdateError
from scarfdate.files import read_at_most, write_whole
from scarfdate.tables.checked import Table
from scarfdate.tables.column import Column
from scarfdate.tables.schema import shipped_folder
from scarfdate.tables.sheet import Sheet

_LONGEST = 64 * 2**20  # bytes: the shipped tables take about one MB
_CODE = ("tables", "words")  # folders of the package with what reads and checks tables


class Cache:
    """One file, for one folder of tables at a time."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def tables(self, files: Mapping[str, bytes]) -> Mapping[str, Table] | None:
        """The tables of files that were found without a fault; None where nothing is kept of just these."""
        try:
            first, _, rest = read_at_most(self.path, _LONGEST).partition(b"\n")
            told = json.loads(first)
            if told["of"] != _hash_of(files) or told["lines"] != hashlib.sha256(rest).hexdigest():
                return None
            names, *lines = rest.splitlines()
            return _Kept(dict(zip(json.loads(names), lines, strict=True)))
        except (OSError, ValueError, KeyError, TypeError, RecursionError):
            return None  # none there, or half of one, or of another version

    def put(self, files: Mapping[str, bytes], tables: Mapping[str, Table]) -> None:
        """Keep tables without a fault; where Python would keep nothing, or nothing can be written, nothing is done."""
        if sys.dont_write_bytecode:
            return
        lines = [json.dumps([*tables]).encode(), *map(_line, tables.values()), b""]
        rest = b"\n".join(lines)
        told = {"of": _hash_of(files), "lines": hashlib.sha256(rest).hexdigest()}
        with suppress(OSError, ScarfdateError):
            write_whole(self.path, json.dumps(told).encode() + b"\n" + rest)


def of_the_package() -> Cache | None:
    """Where Python keeps this module compiled; None where it keeps none, or the package is no folder."""
    source = Path(__file__)
    try:
        place = Path(cache_from_source(source))
    except NotImplementedError:
        return None
    return Cache(place.with_suffix(".json")) if source.is_file() else None


class _Kept(Mapping[str, Table]):
    """Tables by name, each made of its line when it is first asked for: few are needed to date a piece."""

    def __init__(self, lines: Mapping[str, bytes]) -> None:
        self._lines = lines
        self._made: dict[str, Table] = {}

    def __getitem__(self, name: str) -> Table:
        table = self._made.get(name)
        if table is None:
            table = self._made[name] = _table(name, self._lines[name])
        return table

    def __contains__(self, name: object) -> bool:
        return name in self._lines

    def __iter__(self) -> Iterator[str]:
        return iter(self._lines)

    def __len__(self) -> int:
        return len(self._lines)


def _line(table: Table) -> bytes:
    columns = [(column.name, column.type, column.group) for column in table.columns]
    told = [table.sheet.header, table.sheet.lines, columns, [*table.cells.values()]]
    return json.dumps(told, ensure_ascii=False, separators=(",", ":")).encode()


def _table(name: str, line: bytes) -> Table:
    header, lines, told, cells = json.loads(line)
    columns = tuple(Column(name=own, type=kind, group=group) for own, kind, group in told)
    for place, column in enumerate(columns):
        if column.type == "words":
            cells[place] = [tuple(cell) for cell in cells[place]]
    names = (column.name for column in columns)
    sheet = Sheet(name, [], tuple(header), tuple(lines))
    return Table(
        sheet=sheet, columns=columns, cells=dict(zip(names, cells, strict=True)), whole=True
    )


def _hash_of(files: Mapping[str, bytes]) -> str:
    """SHA-256 of files, of what declares them and of the code that reads them, each by its name and length."""
    found = hashlib.sha256()
    package = Path(__file__).parent.parent
    read_by = [path for each in _CODE for path in sorted((package / each).glob("*.py"))]
    read_by += [package / "conventions.py", shipped_folder() / "schema.toml"]
    parts = [(path.name, path.read_bytes()) for path in read_by]
    for name, content in (*parts, *sorted(files.items())):
        found.update(f"{name} {len(content)}\n".encode())
        found.update(content)
    return found.hexdigest()
