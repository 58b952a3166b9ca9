"""JSON as records of names and values: a list read whole, or of any size a record at a time.

A list of records, an object with one list of them, or one record a line. What is no JSON is a broken
file; of one record a line only the bad lines are lost. No more than one record is in memory at a time.
(The module ``json`` reads the records, because ``ijson`` builds them with no bound on their depth, and
dies of a number of some thousand digits.)
"""

from __future__ import annotations

import datetime
import io
import json
from collections import Counter
from collections.abc import Iterator
from decimal import Decimal
from io import TextIOWrapper
from itertools import islice
from typing import IO

from scarfdate.errors import TableError, in_text, shown
from scarfdate.reading import json_scan
from scarfdate.reading.faults import FaultLog, Refusals
from scarfdate.reading.json_scan import Records, Scan

_LISTS_NAMED = 5
_LAYOUTS = "a list of records, an object with one such list, or one record a line (.jsonl)"


def cell_text(value: object) -> str:
    """A cell of a spreadsheet or of JSON as a person would have typed it."""
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    if isinstance(value, float) and value.is_integer() and abs(value) < 2**53:
        return str(int(value))
    if isinstance(value, (datetime.date, datetime.time)):
        return value.isoformat().removesuffix("T00:00:00")  # a day, not a moment
    if isinstance(value, Decimal):
        return f"{value:f}"
    if not isinstance(value, (dict, list, tuple, bool, int, float)):
        return in_text(value, str)  # such as a span of time: as it is, not in quotes of JSON
    try:
        return json.dumps(value, ensure_ascii=False, default=str)
    except (TypeError, ValueError):  # keys that are no text, numbers of too many digits
        return in_text(value)


def whole_list(content: bytes, name: str) -> list[dict[str, object]]:
    """The records of a JSON list. Raises TableError for anything else, with its place."""

    def once(pairs: list[tuple[str, object]]) -> dict[str, object]:
        record = dict(pairs)
        if len(record) < len(pairs):
            twice = Counter(key for key, _ in pairs).most_common(1)[0][0]
            raise TableError(
                f"{name}: the name {shown(twice)} stands twice in one record; take one out"
            )
        return record

    try:
        records = json.loads(content.decode("utf-8-sig"), object_pairs_hook=once)
    except TableError:
        raise
    except UnicodeDecodeError as error:
        raise TableError(
            f"{name}: byte {error.start} is not UTF-8 text; save the file as UTF-8"
        ) from None
    except json.JSONDecodeError as error:
        raise TableError(f"{name}, line {error.lineno}: not JSON ({error.msg})") from None
    except (ValueError, RecursionError):
        raise TableError(
            f"{name}: not JSON that can be read; a list of records is allowed"
        ) from None
    if not isinstance(records, list):
        raise TableError(
            f"{name}: a list of records is allowed, got {shown(type(records).__name__)}; "
            'write [{"id": "A1", "fibre": "silk"}, ...]'
        )
    for place, record in enumerate(records, start=1):
        if not isinstance(record, dict):
            raise TableError(
                f"{name}, record {place}: names and values are allowed, got {shown(record)}"
            )
    return records


def line_records(content: bytes, name: str) -> list[dict[str, object]]:
    """The records of JSON lines. Raises TableError for the first line that is none, with its number."""
    return [record for _, record in records_of_lines(io.BytesIO(content), name)]


def records_of_lines(stream: IO[bytes], name: str) -> Iterator[tuple[int, dict[str, object]]]:
    """The records of JSON lines one at a time, each with the number of its line, which may be absurdly long.

    Raises TableError for the first line that is no record.
    """
    log = Refusals()
    for number, record in json_records(stream, name, log, lines=True, wanted=None):
        if not isinstance(record, dict):
            raise TableError(
                f"{name}, line {number}: names and values are allowed, got {shown(record)}"
            )
        yield number, record
    log.refuse()


def json_records(
    stream: IO[bytes], name: str, log: FaultLog, *, lines: bool, wanted: str | None
) -> Records:
    """The records of a JSON file of any layout, each with its number in the list, or its line.

    ``lines``: one record a line; otherwise the first characters tell. ``wanted``: dotted path of the
    list in an object, or in each of a list of pages; None takes the first list of records. No more than one
    record, or one page of a list of pages, is in memory at a time. Raises TableError for a broken file,
    behind the records that were good.
    """
    path = wanted.split(".") if wanted else []
    # bytes that are not UTF-8 come through as lone surrogates, so that only their own lines are lost
    text = TextIOWrapper(stream, "utf-8-sig", "surrogateescape", newline="")
    scan = Scan(text, name)
    mark = scan.peek()
    if not mark:
        raise TableError(f"{name}: the file is empty")
    if mark not in "[{":
        raise scan.refusal("not JSON; records begin with [ or {")
    if lines or (mark == "{" and wanted is None and _is_one_a_line(text)):
        text.seek(0)
        for line, value in _one_a_line(text, name, log):
            for record in _of_page(value, path):
                yield line, record
        return
    text.seek(0)
    scan = Scan(text, name)
    if mark == "[":
        yield from _of_pages(scan, path)
    else:
        count = 0
        for number, record in _in_object(scan, path, log):
            count += 1
            yield number, record
        if not count:
            lacking = f"no record at {shown(wanted)}" if wanted else "no list of records in it"
            raise TableError(f"{name}: {lacking}; {lists_in(text, name) or f'allowed: {_LAYOUTS}'}")
    if scan.peek():
        raise scan.refusal("more text after the end of the JSON")


def lists_in(text: IO[str], name: str) -> str:
    """What to write into a map, where an object has lists of records in it; "" where it has none."""
    text.seek(0)
    scan = Scan(text, name)
    try:
        found = [*islice(_paths(scan), _LISTS_NAMED)] if scan.peek() == "{" else []
    except (TableError, RecursionError):
        return ""
    lists = " or ".join(f'records = "{path}"' for path in found)
    return (found and f"name the list in a map of columns: {lists}") or ""


def _paths(scan: Scan, before: str = "") -> Iterator[str]:
    """The dotted paths of the lists of objects in an object."""
    for key, mark in scan.names():
        if mark == "{":
            yield from _paths(scan, f"{before}{key}.")
        elif mark == "[":
            kinds = {type(member) for _, member in scan.members()}
            if kinds == {dict}:
                yield f"{before}{key}"
        else:
            scan.skip()


def _is_one_a_line(text: IO[str]) -> bool:
    """Whether each line is a record, by the first two lines that are not blank."""
    text.seek(0)
    first: list[object] = []
    while len(first) < 2 and (line := text.readline(json_scan.LONGEST_RECORD)):
        if line.strip():
            try:
                first.append(json.loads(line))
            except (ValueError, RecursionError):
                first.append(None)
    if len(first) == 1 and isinstance(first[0], dict):
        return not any(isinstance(one, list) and {dict} & {*map(type, one)}
                       for one in first[0].values())  # fmt: skip
    return any(isinstance(one, dict) for one in first)


def _one_a_line(text: IO[str], name: str, log: FaultLog) -> Records:
    number = 0
    while line := text.readline(json_scan.LONGEST_RECORD):
        number += 1
        if len(line) == json_scan.LONGEST_RECORD and not line.endswith(("\n", "\r")):
            while (rest := text.readline(json_scan.LONGEST_RECORD)) and not rest.endswith(
                ("\n", "\r")
            ):
                pass
            log.lose(name, number, f"a record of more than {json_scan.LONGEST_RECORD} characters")
        elif line.strip():
            try:
                yield number, json.loads(line)
            except json.JSONDecodeError as error:
                step = f"character {error.pos + 1} of the line: {error.msg}"
                log.lose(name, number, "a line that is not JSON", line[:80], step)
            except RecursionError:
                log.lose(name, number, "a record nested too deeply")
            except ValueError as error:  # a number of too many digits
                log.lose(name, number, "a line that is not JSON", str(error))


def _of_pages(scan: Scan, path: list[str]) -> Records:
    """What stands in the list of each page of a list of pages, numbered on; of a list of records themselves these."""
    every = (record for _, value in scan.members() for record in _of_page(value, path))
    return enumerate(every, 1)


def _of_page(value: object, path: list[str]) -> list[object]:
    """The records of a page, by the path to its list; a value that is no page is a record."""
    inner = _list_at(value, path)
    return [value] if inner is None else inner


def _list_at(value: object, path: list[str]) -> list[object] | None:
    for name in path:
        value = value.get(name) if isinstance(value, dict) else None
    return value if path and isinstance(value, list) else None


def _in_object(scan: Scan, wanted: list[str], log: FaultLog) -> Records:
    """The members of the list that is wanted, or else of the first list of objects."""
    had = ""
    for key, mark in scan.names():
        if mark == "{" and wanted[:1] == [key] and len(wanted) > 1:
            yield from _in_object(scan, wanted[1:], log)
        elif mark == "[" and wanted[:1] == [key] and len(wanted) > 1:
            pages = (_list_at(page, wanted[1:]) for _, page in scan.members())
            yield from enumerate((record for page in pages for record in page or ()), 1)
        elif mark == "[" and wanted in ([], [key]):
            for number, record in scan.members():
                if number == 1 and (wanted or (isinstance(record, dict) and not had)):
                    had = key
                elif number == 1 and isinstance(record, dict):
                    log.add(scan.name, None, key, "another list of records, which was not read",
                            None, 'say which list it is in the columns map: records = "..."')  # fmt: skip
                if had == key:
                    yield number, record
        else:
            scan.skip()
