"""The objects of a JSON file of any size, one after the other, whatever its layout.

A list of objects, an object with one list of them, or one object a line is read a piece at a time,
so that memory does not grow with the file. A bad object becomes a fault with its place, and reading
goes on behind it.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from scarfdate.errors import TableError, shown
from scarfdate.records.fault_log import FaultLog

_LONGEST_OBJECT = 2**23  # characters of one JSON object
_CHUNK = 2**16
_MARKS = re.compile(r'[\\"{}\[\]]')


class _Bad(Exception):
    """JSON that cannot be read: the problem and its place in the file."""

    def __init__(self, problem: str, place: str) -> None:
        super().__init__(f"{problem} ({place})")
        self.problem, self.place = problem, place


def objects_in(
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
