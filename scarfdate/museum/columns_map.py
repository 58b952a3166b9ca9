"""Files of museum records as rows of our own columns, whatever a museum calls them.

CSV, TSV and JSON (a list of objects, an object with one list of them, or one object a line) are
read a piece at a time, so that memory does not grow with the file. A bad row or object becomes a
fault with its place, and reading goes on behind it. A `ColumnsMap`, written as TOML, says which
field of an export is which of our columns; the shipped `data/museum_export/` has examples.
"""

from __future__ import annotations

import csv
import json
import re
import tomllib
from collections import Counter, deque
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from operator import itemgetter
from pathlib import Path
from types import MappingProxyType
from typing import IO, Any

from scarfdate.errors import Fault, TableError, did_you_mean, shown
from scarfdate.tables.priors import load_priors
from scarfdate.tables.vocabulary import plain

OWN = (
    "source", "record_id", "object_type", "date_text", "year_begin", "year_end", "medium_text",
    "country", "width_cm", "height_cm", "year_acquired", "licence",
)  # fmt: skip
_DATES = ("date_text", "year_begin", "year_end")
_JOINED = ("object_type", "date_text", "medium_text", "country", "licence")  # may be several fields
_SIZE_UNITS = ("cm", "in", "mm")
_KEYS = ("columns", "constants", "kinds", "unlisted", "size_unit", "widest_years", "records")
_ENDINGS = {
    ".csv": "csv", ".tsv": "csv", ".txt": "csv",
    ".json": "json", ".jsonl": "lines", ".ndjson": "lines",
}  # fmt: skip
_JOINT = "; "

_LONGEST_LINE = 2**20  # characters of a line of CSV
_LONGEST_ROW = 1_000  # lines of one row: more means that a double quote was never closed
_LONGEST_OBJECT = 2**23  # characters of one JSON object
_CHUNK = 2**16
_KEPT_PER_PROBLEM = 30  # faults of one sort kept with their places; all are counted
_UTF_16 = ("\udcff\udcfe", "\udcfe\udcff")  # its byte order mark, as it comes through `_open`
_MARKS = re.compile(r'[\\"{}\[\]]')

Rows = Iterator[tuple[int, Sequence[str]]]


# ---------------------------------------------------------------------------------- the map


@dataclass(frozen=True, slots=True)
class ColumnsMap:
    """Which field of an export is which of our columns, and what is the same in every record.

    ``columns``: our name to the fields that hold it (their texts are joined by "; "); empty where
    the export uses our own names. A field of nested JSON is a dotted path ("made.first"); a path
    through a list takes every member, or the one whose number it names ("dates.0.year").
    ``constants``: our name to a text that fills blank cells. ``kinds``: object type, in lower case,
    to kind. ``unlisted``: the kind of all other object types; None leaves such records out.
    ``size_unit``: "cm", "in" or "mm", for sizes that state none. ``widest_years``: a wider interval
    says too little and is left out. ``records``: dotted path of the list in a JSON object.
    """

    columns: Mapping[str, tuple[str, ...]]
    constants: Mapping[str, str]
    kinds: Mapping[str, str]
    unlisted: str | None
    size_unit: str
    widest_years: int
    records: str | None = None

    def kind(self, object_type: str) -> str | None:
        """The kind of an object type; of several joined by ";", the first that is listed."""
        whole = " ".join(object_type.casefold().split())
        if whole in self.kinds:
            return self.kinds[whole]
        for part in whole.split(";"):
            if part.strip() in self.kinds:
                return self.kinds[part.strip()]
        return self.unlisted


def read_columns_map(path: str | Path) -> ColumnsMap:
    """The map in a TOML file; what it does not say is as in the shipped ``default.toml``.

    Tables: ``[columns]``, ``[constants]``, ``[kinds]`` (kind = list of object types; it replaces the
    shipped kinds, and leaves other types out unless ``unlisted`` names a kind for them). Keys above
    them: ``size_unit``, ``widest_years``, ``unlisted``, ``records``. Raises TableError with
    everything that is wrong in the file.
    """
    return _mapped(_toml(Path(path)), str(path), _default())


def columns_map(columns: ColumnsMap | Mapping[str, str | Sequence[str]] | None) -> ColumnsMap:
    """``columns`` as a whole map: a mapping of our names to fields, or None for our own names."""
    if isinstance(columns, ColumnsMap):
        return columns
    return _mapped({"columns": dict(columns)} if columns else {}, "columns", _default())


@cache
def _default() -> ColumnsMap:
    path = shipped_exports() / "default.toml"
    return _mapped(_toml(path), path.name, None)


def shipped_exports() -> Path:
    """Where the default map and the invented exports lie: beside the package, or in the wheel."""
    package = Path(__file__).resolve().parents[1]
    inside = package / "data"
    return (inside if inside.is_dir() else package.parent / "data") / "museum_export"


def _toml(path: Path) -> dict[str, Any]:
    try:
        with path.open("rb") as stream:
            return tomllib.load(stream)
    except tomllib.TOMLDecodeError as error:
        raise TableError(f"{path}: not TOML ({error}); see {shipped_exports().name}") from None
    except UnicodeDecodeError:
        raise TableError(f"{path}: not UTF-8 text; save the file as UTF-8") from None
    except (OSError, ValueError) as error:
        raise TableError(f"{path}: cannot be read ({error})") from None


def _mapped(said: Mapping[str, Any], name: str, default: ColumnsMap | None) -> ColumnsMap:
    wrong: list[str] = []
    for key in said:
        if key not in _KEYS:
            wrong.append(f"{shown(key)} is not a key of a columns map; {did_you_mean(key, _KEYS)}")
    tables: dict[str, dict[str, Any]] = {}
    for key in ("columns", "constants", "kinds"):
        tables[key] = said.get(key, {}) if isinstance(said.get(key, {}), dict) else {}
        if tables[key] is not said.get(key, tables[key]):
            wrong.append(f"{key} must be a table, got {shown(said[key])}; write [{key}]")
    columns: dict[str, tuple[str, ...]] = {}
    for ours, written in tables["columns"].items():
        fields = (written,) if isinstance(written, str) else written
        if ours not in OWN and ours not in _families():
            wrong.append(
                f"[columns] {shown(ours)} is none of our columns; {did_you_mean(ours, _known())}"
            )
        elif not _texts(fields):
            wrong.append(
                f"[columns] {ours} must be the name of a field, or a list of names, got {shown(written)}"
            )
        elif len(fields) > 1 and ours not in _JOINED:
            wrong.append(
                f"[columns] {ours} must be one field, got {len(fields)}; "
                f"several are joined only for {', '.join(_JOINED)}"
            )
        else:
            columns[ours] = tuple(fields)
    for ours, written in tables["constants"].items():
        if ours not in OWN and ours not in _families():
            wrong.append(
                f"[constants] {shown(ours)} is none of our columns; {did_you_mean(ours, _known())}"
            )
        elif ours == "record_id" or not isinstance(written, str) or not written.strip():
            wrong.append(f"[constants] {ours} must be a text that all records may share, "
                         f"got {shown(written)}")  # fmt: skip
    kinds: dict[str, str] = {}
    for kind, types in tables["kinds"].items():
        if not _texts(types):
            wrong.append(f"[kinds] {kind} must be a list of object types, got {shown(types)}")
            continue
        for word in (" ".join(text.casefold().split()) for text in types):
            if kinds.setdefault(word, kind) != kind:
                wrong.append(f"[kinds] {shown(word)} is counted as {kinds[word]} and as {kind}")
    unit = said.get("size_unit", default.size_unit if default else "cm")
    if unit not in _SIZE_UNITS:
        wrong.append(f"size_unit must be {', '.join(_SIZE_UNITS)}, got {shown(unit)}")
    widest = said.get("widest_years", default.widest_years if default else None)
    if not isinstance(widest, int) or isinstance(widest, bool) or widest < 1:
        wrong.append(f"widest_years must be a whole number above 0, got {shown(widest)}")
    for key in ("unlisted", "records"):
        if key in said and not _texts((said[key],)):
            wrong.append(f"{key} must be a text, got {shown(said[key])}")
    if wrong:
        raise TableError(f"{name}: " + "\n  ".join(wrong))
    unlisted = said.get("unlisted")
    if default is not None and not kinds:
        kinds, unlisted = dict(default.kinds), said.get("unlisted", default.unlisted)
    return ColumnsMap(
        MappingProxyType(columns),
        MappingProxyType({ours: text.strip() for ours, text in tables["constants"].items()}),
        MappingProxyType(kinds),
        unlisted,
        unit,
        widest,
        said.get("records"),
    )


def _texts(value: object) -> bool:
    return (
        isinstance(value, (list, tuple))
        and len(value) > 0
        and all(isinstance(text, str) and text.strip() for text in value)
    )


def _families() -> tuple[str, ...]:
    """The clues that a record may state in words of the vocabulary."""
    return tuple(load_priors().shares)


def _known() -> tuple[str, ...]:
    return (*OWN, *_families())


# ---------------------------------------------------------------------------------- faults


@dataclass(slots=True)
class FaultLog:
    """Faults as they are met: some of each sort with their places, and the count of each sort."""

    kept: list[Fault] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)
    rows_lost: int = 0  # rows that could not even be taken apart

    def add(
        self, file: str, row: int | None, column: str | None, problem: str, got: object = None,
        next_step: str = "",
    ) -> None:  # fmt: skip
        """Count a fault by its problem, and keep it unless there are many of that sort already."""
        self.counts[problem] += 1
        if self.counts[problem] <= _KEPT_PER_PROBLEM:
            text = "" if got is None else str(got) if isinstance(got, int) else shown(got)
            self.kept.append(Fault(file, row, column, problem, text, next_step))

    def lose(
        self, file: str, row: int | None, column: str | None, problem: str, got: object = None,
        next_step: str = "",
    ) -> None:  # fmt: skip
        """A fault that costs its row."""
        self.rows_lost += 1
        self.add(file, row, column, problem, got, next_step)


# ---------------------------------------------------------------------------------- the files


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
    fields = columns.columns or {ours: (ours,) for ours in _known()}
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


class _Bad(Exception):
    """JSON that cannot be read: the problem and its place in the file."""

    def __init__(self, problem: str, place: str) -> None:
        super().__init__(f"{problem} ({place})")
        self.problem, self.place = problem, place


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
        names = _known()
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
            for number, value in _objects(path, stream, columns.records, log, lines):
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


def _objects(
    path: Path, stream: IO[str], records: str | None, log: FaultLog, lines: bool
) -> Iterator[tuple[int, object]]:
    """The objects of a JSON file of any of the three layouts, each with its number or its line."""
    scan = _Scan(stream)
    try:
        mark = scan.peek()
        if not mark:
            raise TableError(f"{path}: the file is empty")
        if mark not in "[{":
            raise TableError(f"{path}, {scan.place()}: not JSON; records begin with [ or {{")
        if mark == "{":
            stream.seek(0)
            lines = lines or (records is None and _is_one_a_line(stream))
            stream.seek(0)
            if lines:
                yield from _one_a_line(path, stream, log)
                return
            scan = _Scan(stream)
            yield from _in_object(path, scan, records.split(".") if records else [], log)
        else:
            scan.at += 1
            yield from _in_list(path, scan, log)
        if scan.peek() and not scan.lost:
            log.add(
                str(path), None, None, "more text after the JSON, which was not read", scan.place()
            )
    except _Bad as bad:
        raise TableError(f"{path}, {bad.place}: {bad.problem}") from None


def _is_one_a_line(stream: IO[str]) -> bool:
    """Whether each line is an object: told by the first two lines that are not blank."""
    found: list[str] = []
    while len(found) < 2 and (line := stream.readline(_LONGEST_OBJECT)):
        if line.strip():
            found.append(line.strip())
    if found and found[0].endswith("}"):
        values = [_loaded(line) for line in found]
        if len(found) == 1:
            only = values[0]
            return isinstance(only, dict) and not any(
                isinstance(member, list) and any(isinstance(one, dict) for one in member)
                for member in only.values()
            )
        return any(isinstance(value, dict) for value in values)
    return False


def _loaded(line: str) -> object:
    try:
        return json.loads(line)
    except (ValueError, RecursionError):
        return None


def _one_a_line(path: Path, stream: IO[str], log: FaultLog) -> Iterator[tuple[int, object]]:
    number = 0
    while line := stream.readline(_LONGEST_OBJECT):
        number += 1
        if len(line) >= _LONGEST_OBJECT and not line.endswith(("\n", "\r")):
            while (rest := stream.readline(_LONGEST_OBJECT)) and not rest.endswith(("\n", "\r")):
                pass
            log.lose(str(path), number, None, f"a record of more than {_LONGEST_OBJECT} characters")
            continue
        if not line.strip():
            continue
        try:
            yield number, json.loads(line)
        except json.JSONDecodeError as error:
            step = f"character {error.pos + 1} of the line: {error.msg}"
            log.lose(str(path), number, None, "a line that is not JSON", line[:80], step)
        except RecursionError:
            log.lose(str(path), number, None, "a record nested too deeply")
        except ValueError as error:
            log.lose(str(path), number, None, "a line that is not JSON", str(error))


def _in_list(path: Path, scan: _Scan, log: FaultLog) -> Iterator[tuple[int, object]]:
    """The members of a list whose bracket has been read."""
    number = 0
    if scan.peek() == "]":
        scan.at += 1
        return
    while True:
        number += 1
        opens = scan.peek() in ("{", "[")
        try:
            value = scan.value()
        except _Bad as bad:
            whole = opens and scan.skip()
            problem = bad.problem if whole else f"{bad.problem}: what follows was not read"
            log.lose(str(path), number, None, problem, None, bad.place)
            if not whole:
                scan.lost = True
                return
        else:
            yield number, value
        mark = scan.peek()
        scan.at += 1
        if mark == "]":
            return
        if mark != ",":
            what = "the file ends before its list does" if not mark else "not JSON"
            log.add(
                str(path), number, None, f"{what}: what follows was not read", None, scan.place()
            )
            scan.lost = True
            return
        scan.peek()


def _in_object(
    path: Path, scan: _Scan, wanted: list[str], log: FaultLog
) -> Iterator[tuple[int, object]]:
    """The members of the one list of objects in an object, or of the list that is wanted."""
    scan.take("{")
    found = False
    while scan.peek() != "}":
        key = scan.value()
        if not isinstance(key, str):
            raise _Bad("not JSON: a name in double quotes belongs here", scan.place())
        scan.take(":")
        mark = scan.peek()
        if mark == "{":
            if wanted[:1] == [key] and len(wanted) > 1:
                yield from _in_object(path, scan, wanted[1:], log)
                found = True
            elif not scan.skip():
                raise _Bad("the file ends within an object", scan.place())
        elif mark == "[":
            scan.take("[")
            of_objects = scan.peek() == "{"
            if wanted == [key] or (not wanted and of_objects and not found):
                yield from _in_list(path, scan, log)
                found = True
            else:
                if of_objects and not wanted:
                    log.add(str(path), None, key, "another list of records, which was not read",
                            None, 'say which list it is in the columns map: records = "..."')  # fmt: skip
                if not scan.skip(depth=1):
                    raise _Bad("the file ends within a list", scan.place())
        else:
            scan.value()
        if scan.lost:
            return
        if scan.peek() == ",":
            scan.at += 1
        elif scan.peek() != "}":
            if not found:
                raise _Bad("not JSON: , or } belongs here", scan.place())
            log.add(
                str(path), None, None, "not JSON: what follows was not read", None, scan.place()
            )
            scan.lost = True
            return
    scan.at += 1
    if not found:
        want = (
            f"no list at {shown('.'.join(wanted))}"
            if wanted
            else "an object with no list of records"
        )
        raise TableError(
            f"{path}: {want}; allowed: a list of objects, an object with one such list, or one "
            "object a line (.jsonl)"
        )


class _Scan:
    """JSON values one after the other from a stream, with no more of it in memory than one value."""

    def __init__(self, stream: IO[str]) -> None:
        self._stream = stream
        self._decoder = json.JSONDecoder()
        self._buffer = ""
        self._line, self._gone = 1, 0  # of what has left the buffer
        self._ended = False
        self.at = 0
        self.lost = False  # the place was lost: nothing more can be read

    def place(self, at: int | None = None) -> str:
        """Where a character stands; a line alone says little of a file that is all one line."""
        at = self.at if at is None else at
        line = self._line + self._buffer.count("\n", 0, at)
        return f"line {line}, character {self._gone + at + 1} of the file"

    def more(self) -> bool:
        """Read on, and forget what lies before ``at``."""
        at = min(self.at, len(self._buffer))
        self._line += self._buffer.count("\n", 0, at)
        self._gone += at
        self._buffer = self._buffer[at:]
        self.at -= at
        # ever larger pieces, so that a long value is not looked at again and again
        piece = self._stream.read(max(_CHUNK, len(self._buffer)))
        self._ended = not piece
        self._buffer += piece
        return bool(piece)

    def peek(self) -> str:
        """The next character that is not blank, "" at the end; ``at`` stands on it."""
        while True:
            while self.at < len(self._buffer):
                mark = self._buffer[self.at]
                if mark not in " \t\r\n":
                    return mark
                self.at += 1
            if not self.more():
                return ""

    def take(self, mark: str) -> None:
        """Step over one mark that belongs here."""
        if self.peek() != mark:
            raise _Bad(f"not JSON: {mark} belongs here", self.place())
        self.at += 1

    def value(self) -> object:
        """The next value. Raises _Bad, with ``at`` still where the value begins."""
        self.peek()
        while True:
            try:
                value, end = self._decoder.raw_decode(self._buffer, self.at)
            except json.JSONDecodeError as error:
                if self._is_cut(error):
                    if len(self._buffer) - self.at > _LONGEST_OBJECT:
                        raise _Bad(
                            f"a record of more than {_LONGEST_OBJECT} characters", self.place()
                        ) from None
                    self.more()
                    continue
                raise _Bad("not JSON", f"{self.place(error.pos)}: {error.msg}") from None
            except RecursionError:
                raise _Bad("a record nested too deeply", self.place()) from None
            except ValueError as error:
                raise _Bad("not JSON", f"{self.place()}: {error}") from None
            if end == len(self._buffer) and not self._ended and isinstance(value, (int, float)):
                self.more()  # its last digits may be still to come
                continue
            self.at = end
            return value

    def _is_cut(self, error: json.JSONDecodeError) -> bool:
        """Whether a value may be good but for what has not been read yet."""
        near = error.pos >= len(self._buffer) - 16  # no literal, number or escape part is longer
        return not self._ended and (near or error.msg.startswith("Unterminated string"))

    def skip(self, depth: int = 0) -> bool:
        """Step over a list or object by its brackets alone; False if the file ends within it."""
        inside, at = False, self.at
        while True:
            found = _MARKS.search(self._buffer, at)
            if found is None:
                ahead = max(at - len(self._buffer), 0)
                self.at = len(self._buffer)
                if not self.more():
                    return False
                at = self.at + ahead
                continue
            mark, at = found.group(), found.end()
            if inside:
                at += mark == "\\"
                inside = mark != '"'
            elif mark == '"':
                inside = True
            elif mark in "{[":
                depth += 1
            elif mark in "}]":
                depth -= 1
                if depth == 0:
                    self.at = at
                    return True
