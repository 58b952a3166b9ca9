"""Files of museum records as rows of our own columns, whatever a museum calls them.

Files are read a row at a time, so that memory does not grow with them. A bad row becomes a fault with
its place, and reading goes on behind it. A `ColumnsMap` says which field of an export is which of our
columns.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from io import TextIOWrapper
from pathlib import Path

from scarfdate.columns.columns_map import ColumnsMap
from scarfdate.columns.names import MUSEUM, known_names, places_of
from scarfdate.errors import TableError, did_you_mean, shown
from scarfdate.files import open_plain
from scarfdate.reading.csv_text import csv_rows
from scarfdate.reading.faults import FaultLog
from scarfdate.reading.json_text import json_records, lists_in
from scarfdate.records.nested import Nested, field_at, field_reader, joined
from scarfdate.tables.priors import Priors
from scarfdate.tables.words import plain

_DATES = ("date_text", "year_begin", "year_end")
ENDINGS = {
    ".csv": "csv", ".tsv": "csv", ".txt": "csv",
    ".json": "json", ".jsonl": "lines", ".ndjson": "lines",
}  # fmt: skip

Cells = list[str]
Rows = Iterator[tuple[int, Cells]]
Fields = Mapping[str, tuple[str, ...]]


def open_rows(
    path: Path, using: ColumnsMap, log: FaultLog, priors: Priors
) -> tuple[tuple[str, ...], Rows]:
    """The names of the cells, and the rows of a file, each with its place.

    The first cells are always those of `MUSEUM`, in that order, then the clues that the file may
    state. The place of a row is its line (CSV, one record a line: counted from 1, the header being
    1) or its number in the list (JSON). Bad rows go to ``log``. Raises TableError, here or from
    the rows, where a file cannot be read at all.
    """
    kind = ENDINGS.get(path.suffix.casefold())
    if kind is None:
        raise TableError(
            f"{path}: cannot tell what kind of file this is; endings read: {', '.join(ENDINGS)}"
        )
    fields = using.columns or {ours: (ours,) for ours in known_names(MUSEUM, priors)}
    if kind == "csv":
        names, rows = _csv_rows(path, fields, using, log)
    else:
        names, rows = _json_rows(path, fields, using, log, lines=kind == "lines")
    return names, _completed(names, rows, using)


def lists_of_file(path: Path) -> str:
    """What to do about a JSON file whose records lie in a list further in; "" for any other."""
    if ENDINGS.get(path.suffix.casefold()) != "json":
        return ""
    with open_plain(path) as stream:
        found = lists_in(TextIOWrapper(stream, "utf-8-sig", "surrogateescape"), str(path))
    return found and f"; {found}"


def _names(fields: Iterable[str], using: ColumnsMap) -> tuple[str, ...]:
    return tuple(dict.fromkeys((*MUSEUM, *fields, *using.constants)))


def _completed(names: Sequence[str], rows: Rows, using: ColumnsMap) -> Rows:
    """The rows that say anything, their words exchanged for ours, and their blanks filled."""
    words = [(at, using.words[name]) for at, name in enumerate(names) if name in using.words]
    filled = [(at, using.constants[name]) for at, name in enumerate(names) if name in using.constants]  # fmt: skip
    for place, cells in rows:
        if not any(map(str.strip, cells)):
            continue
        for at, ours in words:
            if len(cells[at]) < 200:  # a longer text is no word
                cells[at] = ours.get(plain(cells[at]), cells[at])
        for at, text in filled:
            if not cells[at].strip():
                cells[at] = text
        yield place, cells


# ---------------------------------------------------------------------------------- CSV


def _csv_rows(
    path: Path, fields: Fields, using: ColumnsMap, log: FaultLog
) -> tuple[tuple[str, ...], Rows]:
    stream = open_plain(path)
    try:
        delimiter = "\t" if path.suffix.casefold() == ".tsv" else ""
        header, read = csv_rows(stream, str(path), log, delimiter=delimiter)
        standing = _places(path, header, fields, using, log)
    except BaseException:
        stream.close()
        raise
    names = _names(standing, using)
    # one more cell, always blank, stands for the columns that the file does not have
    places = [standing.get(name, (len(header),)) for name in names]
    first = [place[0] for place in places]
    several = [(at, place) for at, place in enumerate(places) if len(place) > 1]

    def rows() -> Rows:
        with stream:
            for line, cells in read:
                cells.append("")
                picked = [cells[at] for at in first]
                for at, place in several:
                    picked[at] = joined(cells[number] for number in place)
                yield line, picked

    return names, rows()


def _places(
    path: Path, header: Sequence[str], fields: Fields, using: ColumnsMap, log: FaultLog
) -> dict[str, tuple[int, ...]]:
    """For each of our names that the file has, the numbers of the cells of a row that hold it."""
    standing: dict[str, tuple[int, ...]] = {}
    for ours, wanted in fields.items():
        for name in wanted:
            at = places_of(name, header)
            if len(at) > 1:
                raise TableError(f"{path}: the column {shown(name)} stands there twice; rename one")
            if at:
                standing[ours] = (*standing.get(ours, ()), at[0])
            elif using.columns:
                step = did_you_mean(name, header)
                log.add(str(path), 1, name, "the header lacks a column of the map", None, step)
    if {*standing, *using.constants}.isdisjoint(_DATES):
        dates = [name for ours in _DATES for name in fields.get(ours, (ours,))]
        raise TableError(
            f"{path}: no column of dates; wanted one of {', '.join(map(shown, dates))}, "
            f"got {', '.join(map(shown, header[:12]))}; say which column it is in a columns map"
        )
    return standing


# ---------------------------------------------------------------------------------- JSON


def _json_rows(
    path: Path, fields: Fields, using: ColumnsMap, log: FaultLog, *, lines: bool
) -> tuple[tuple[str, ...], Rows]:
    if {*fields, *using.constants}.isdisjoint(_DATES):
        raise TableError(
            f"{path}: the columns map names no field of dates; add one of {', '.join(_DATES)}"
        )
    names = _names(fields, using)
    readers = [field_reader(fields.get(name, ()), weighed=name not in MUSEUM) for name in names]

    def rows() -> Rows:
        unseen = {name for group in using.columns.values() for name in group}
        with open_plain(path) as stream:
            records = json_records(stream, str(path), log, lines=lines, wanted=using.records)
            for number, record in records:
                try:
                    if not isinstance(record, dict):
                        log.lose(
                            str(path), number, "a record is an object of names and values", record
                        )
                        continue
                    cells = [read(record) for read in readers]
                    if unseen:
                        unseen -= {
                            n for n in unseen if field_at(record, n, n.split(".")) is not None
                        }
                except Nested as error:
                    problem = f"the field {error.args[0]} is a group of fields where one belongs"
                    log.lose(
                        str(path), number, problem, None, "name one of the group with a dotted path"
                    )
                except RecursionError:
                    log.lose(str(path), number, "a record nested too deeply")
                else:
                    yield number, cells
        for name in sorted(unseen):
            log.add(str(path), None, name, "no record has this field of the map", None,
                    "check its spelling, and the dotted path to it")  # fmt: skip

    return names, rows()
