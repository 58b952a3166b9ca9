"""Files of museum records as rows of our own columns, whatever a museum calls them.

CSV, TSV and JSON (a list of objects, an object with one list of them, or one object a line) are
read a piece at a time, so that memory does not grow with the file. A bad row or object becomes a
fault with its place, and reading goes on behind it. A `ColumnsMap` says which field of an export is
which of our columns.
"""

from __future__ import annotations

import csv
import json
import re
from collections import deque
from collections.abc import Iterator, Sequence
from operator import itemgetter
from pathlib import Path
from typing import IO, Any

from scarfdate.errors import TableError, did_you_mean, shown
from scarfdate.records.columns_map import OWN, ColumnsMap, known_columns
from scarfdate.records.fault_log import FaultLog
from scarfdate.records.json_objects import objects_in
from scarfdate.tables.vocabulary import plain

_DATES = ("date_text", "year_begin", "year_end")
_ENDINGS = {
    ".csv": "csv", ".tsv": "csv", ".txt": "csv",
    ".json": "json", ".jsonl": "lines", ".ndjson": "lines",
}  # fmt: skip
_JOINT = "; "

_LONGEST_LINE = 2**20  # characters of a line of CSV
_LONGEST_ROW = 1_000  # lines of one row: more means that a double quote was never closed
_UTF_16 = ("\udcff\udcfe", "\udcfe\udcff")  # its byte order mark, as it comes through `_open`

Rows = Iterator[tuple[int, Sequence[str]]]


def open_rows(path: Path, columns: ColumnsMap, log: FaultLog) -> tuple[tuple[str, ...], Rows]:
    """The names of the cells, and the rows of a file, each with its place.

    The first cells are always those of `OWN`, in that order, then the clues that the file may
    state. The place of a row is its line (CSV, one object a line: counted from 1, the header being
    1) or its number in the list (JSON). Bad rows go to ``log``. Raises TableError, here or from
    the rows, where a file cannot be read at all.
    """
    kind = _ENDINGS.get(path.suffix.casefold())
    if kind is None:
        raise TableError(
            f"{path}: cannot tell what kind of file this is; endings read: {', '.join(_ENDINGS)}"
        )
    if kind == "csv":
        return _csv_rows(path, columns, log)
    return _json_rows(path, columns, log, lines=kind == "lines")


def _open(path: Path) -> IO[str]:
    # bytes that are no UTF-8 come through as lone surrogates, so that only their own rows are lost
    return path.open(encoding="utf-8-sig", errors="surrogateescape", newline="")


def _csv_rows(path: Path, columns: ColumnsMap, log: FaultLog) -> tuple[tuple[str, ...], Rows]:
    stream = _open(path)
    try:
        feed = _Feed(stream)
        first = next((line for line in feed if line.strip()), None)
        if first is None:
            raise TableError(f"{path}: the file is empty")
        if "\0" in first or first.startswith(_UTF_16):
            raise TableError(f"{path}: not UTF-8 text; save the file as UTF-8")
        feed.give_back(whole=True)
        delimiter = "\t" if path.suffix.casefold() == ".tsv" else _delimiter(first)
        reader = csv.reader(feed, delimiter=delimiter, strict=True)
        header = [cell.strip() for cell in next(reader)]
        feed.done()
    except (csv.Error, _TooLong) as error:
        stream.close()
        raise TableError(f"{path}, line 1: the header cannot be read ({error})") from None
    except BaseException:
        stream.close()
        raise
    try:
        names, places = _places(path, header, columns, log)
    except TableError:
        stream.close()
        raise
    defaults = _defaults(names, columns)

    def rows() -> Rows:
        with stream:
            single = all(len(place) < 2 for place in places)
            # one more cell, always blank, stands for the columns that the file does not have
            pick = itemgetter(*(place[0] if place else len(header) for place in places))
            while True:
                try:
                    cells = next(reader)
                except StopIteration:
                    return
                except (csv.Error, _TooLong) as error:
                    problem, step = _csv_problem(error)
                    log.lose(str(path), feed.start, None, problem, None, step)
                    feed.give_back()
                    continue
                start = feed.start
                feed.done()
                if len(cells) != len(header):
                    if any(map(str.strip, cells)):
                        few = "few" if len(cells) < len(header) else "many"
                        step = (
                            f"the header has {len(header)}; put a text with {delimiter!r} in quotes"
                        )
                        log.lose(
                            str(path), start, None, f"a row with too {few} cells", len(cells), step
                        )
                    continue
                cells.append("")
                found = list(pick(cells))
                if not single:
                    for at, place in enumerate(places):
                        if len(place) > 1:
                            found[at] = _joined(cells[number] for number in place)
                if any(map(str.strip, found)):
                    yield start, _filled(found, defaults)

    return names, rows()


def _places(
    path: Path, header: Sequence[str], columns: ColumnsMap, log: FaultLog
) -> tuple[tuple[str, ...], list[tuple[int, ...]]]:
    """Our names, and for each the numbers of the cells of a row that hold it (maybe none)."""
    fields = columns.columns or {ours: (ours,) for ours in known_columns()}
    found: dict[str, tuple[int, ...]] = {}
    for ours, wanted in fields.items():
        numbers: list[int] = []
        for name in wanted:
            same = [at for at, cell in enumerate(header) if cell == name.strip()]
            same = same or [at for at, cell in enumerate(header) if plain(cell) == plain(name)]
            if len(same) > 1:
                raise TableError(f"{path}: the column {shown(name)} stands there twice; rename one")
            numbers += same
            if not same and columns.columns:
                step = did_you_mean(name, header)
                log.add(str(path), 1, name, "the header lacks a column of the map", None, step)
        if numbers:
            found[ours] = tuple(numbers)
    if not any(name in found or name in columns.constants for name in _DATES):
        dates = [name for ours in _DATES for name in fields.get(ours, (ours,))]
        raise TableError(
            f"{path}: no column of dates; wanted one of {', '.join(map(shown, dates))}, "
            f"got {', '.join(map(shown, header[:12]))}; say which column it is in a columns map"
        )
    clues = [ours for ours in (*found, *columns.constants) if ours not in OWN]
    names = (*OWN, *dict.fromkeys(clues))
    return names, [found.get(name, ()) for name in names]


def _defaults(names: Sequence[str], columns: ColumnsMap) -> list[tuple[int, str]]:
    return [
        (at, columns.constants[name]) for at, name in enumerate(names) if name in columns.constants
    ]


def _filled(cells: list[str], defaults: Sequence[tuple[int, str]]) -> list[str]:
    for at, text in defaults:
        if not cells[at].strip():
            cells[at] = text
    return cells


def _joined(texts: Iterator[str]) -> str:
    return _JOINT.join(text.strip() for text in texts if text.strip())


def _delimiter(header: str) -> str:
    """Comma, semicolon or tab: whichever the header line has most of outside quotes."""
    bare = re.sub(r'"[^"]*"', "", header)
    return max((",", ";", "\t"), key=bare.count)


class _TooLong(Exception):
    """A line or a row that no table has."""


def _csv_problem(error: Exception) -> tuple[str, str]:
    text = str(error)
    if isinstance(error, _TooLong):
        return text, "close its double quote, or shorten it"
    if "unexpected end" in text:
        return "a double quote opens here and is never closed", "close it"
    if "expected after" in text:
        return "text follows a closing double quote", "double the quotes inside a cell"
    if "field larger" in text:
        return "a cell is too long", "shorten it, or close its double quote"
    return text, ""


class _Feed:
    """Lines for a CSV reader. The lines of a row that went wrong can be given back but its first.

    So an unclosed double quote costs its own row and not the rest of the file.
    """

    def __init__(self, stream: IO[str]) -> None:
        self._stream = stream
        self._waiting: deque[str] = deque()
        self._taken: list[str] = []
        self._before = 0  # lines that belong to rows already done

    @property
    def start(self) -> int:
        """The line on which the present row begins."""
        return self._before + 1

    def __iter__(self) -> _Feed:
        return self

    def __next__(self) -> str:
        if len(self._taken) >= _LONGEST_ROW:
            raise _TooLong(f"a row of more than {_LONGEST_ROW} lines")
        line = self._waiting.popleft() if self._waiting else self._stream.readline(_LONGEST_LINE)
        if not line:
            raise StopIteration
        if len(line) >= _LONGEST_LINE and not line.endswith(("\n", "\r")):
            while (rest := self._stream.readline(_LONGEST_LINE)) and not rest.endswith(
                ("\n", "\r")
            ):
                pass
            self._taken.append(line + "\n")  # its rest is gone: given back, it must end here
            raise _TooLong(f"a line of more than {_LONGEST_LINE} characters")
        self._taken.append(line)
        return line

    def done(self) -> None:
        """The lines taken made a row."""
        self._before += len(self._taken)
        self._taken.clear()

    def give_back(self, *, whole: bool = False) -> None:
        """Put back the lines taken: all but the first, or with ``whole`` the last line alone."""
        kept = len(self._taken) - 1 if whole else 1
        self._waiting.extendleft(reversed(self._taken[kept:]))
        self._before += kept
        self._taken.clear()


# ---------------------------------------------------------------------------------- JSON


class _Nested(Exception):
    """A field of the map is a group of fields; ``args[0]`` is its path."""


def _json_rows(
    path: Path, columns: ColumnsMap, log: FaultLog, *, lines: bool
) -> tuple[tuple[str, ...], Rows]:
    if columns.columns:
        clues = [ours for ours in (*columns.columns, *columns.constants) if ours not in OWN]
        names: tuple[str, ...] = (*OWN, *dict.fromkeys(clues))
        fields = [columns.columns.get(name, ()) for name in names]
    else:
        names = known_columns()
        fields = [(name,) for name in names]
    if not any(columns.columns.get(name) or name in columns.constants for name in _DATES) and (
        columns.columns
    ):
        raise TableError(
            f"{path}: the columns map names no field of dates; add {_JOINT.join(_DATES)}"
        )
    paths = [
        [(name, name.split("."), ours not in OWN) for name in group]
        for ours, group in zip(names, fields, strict=True)
    ]
    defaults = _defaults(names, columns)

    def rows() -> Rows:
        unseen = {name for group in columns.columns.values() for name in group}
        with _open(path) as stream:
            for number, value in objects_in(path, stream, columns.records, log, lines):
                if not isinstance(value, dict):
                    log.lose(
                        str(path), number, None, "a record is an object of names and values", value
                    )
                    continue
                try:
                    cells = [
                        _field(value, *group[0]) if len(group) == 1
                        else _joined(_field(value, *one) for one in group)
                        for group in paths
                    ]  # fmt: skip
                except _Nested as error:
                    log.lose(str(path), number, error.args[0], "a group of fields where one belongs",
                            None, "name one of the group with a dotted path")  # fmt: skip
                    continue
                if unseen:
                    unseen -= {
                        name for name in unseen if _at(value, name, name.split(".")) is not None
                    }
                if any(map(str.strip, cells)):
                    yield number, _filled(cells, defaults)
        for name in sorted(unseen):
            log.add(str(path), None, name, "no record has this field of the map", None,
                    "check its spelling, and the dotted path to it")  # fmt: skip

    return names, rows()


def _at(value: Any, name: str, parts: Sequence[str]) -> Any:
    """What stands at a dotted path; every member where the path runs through a list."""
    if isinstance(value, dict) and name in value:
        return value[name]
    for at, part in enumerate(parts):
        if isinstance(value, dict):
            value = value.get(part)
        elif isinstance(value, list) and part.isdecimal() and len(part) < 10:
            value = value[int(part)] if int(part) < len(value) else None
        elif isinstance(value, list):
            found = [_at(member, ".".join(parts[at:]), parts[at:]) for member in value]
            return [member for member in found if member is not None] or None
        else:
            return None
    return value


def _field(record: dict[str, Any], name: str, parts: Sequence[str], weighed: bool) -> str:
    """The cell at a dotted path; where it may be ``weighed``, an object is weights over words."""
    value = _at(record, name, parts)
    if weighed and isinstance(value, dict):
        return json.dumps(value, ensure_ascii=False)
    return _text(value, name)


def _text(value: Any, name: str) -> str:
    """A JSON value as it would stand in a cell of CSV."""
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    if isinstance(value, list):
        return _joined(_text(member, name) for member in value)
    if isinstance(value, dict):
        raise _Nested(name)
    if isinstance(value, float) and value.is_integer() and abs(value) < 2**53:
        return str(int(value))
    return str(value)
