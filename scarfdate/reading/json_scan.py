"""JSON values one after the other from a stream, with no more of it in memory than one value."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import IO, Any

from scarfdate.errors import TableError, shown

LONGEST_RECORD = 2**23  # characters
_CHUNK = 2**16
Records = Iterator[tuple[int, object]]


class Scan:
    """Steps from value to value, name to name, member to member."""

    def __init__(self, stream: IO[str], name: str) -> None:
        self.name = name
        self._stream = stream
        self._decoder = json.JSONDecoder()
        self._buffer = ""
        self._at = 0
        self._line, self._gone = 1, 0  # of what has left the buffer
        self._ended = False

    def refusal(self, problem: str, at: int | None = None) -> TableError:
        """A TableError with its place; a line alone says little of a file that is all one line."""
        at = self._at if at is None else at
        line = self._line + self._buffer.count("\n", 0, at)
        place = f"line {line}, character {self._gone + at + 1} of the file"
        return TableError(f"{self.name}, {place}: {problem}")

    def _more(self) -> bool:
        """Read on, and forget what has been read."""
        self._line += self._buffer.count("\n", 0, self._at)
        self._gone += self._at
        # ever larger pieces, so that a long value is not looked at again and again
        piece = self._stream.read(max(_CHUNK, len(self._buffer) - self._at))
        self._ended = not piece
        self._buffer, self._at = self._buffer[self._at :] + piece, 0
        return bool(piece)

    def peek(self) -> str:
        """The next character that is not blank, "" at the end."""
        while True:
            while self._at < len(self._buffer):
                if (mark := self._buffer[self._at]) not in " \t\r\n":
                    return mark
                self._at += 1
            if not self._more():
                return ""

    def _take(self, allowed: str) -> str:
        """Step over one of the marks that may stand here."""
        mark = self.peek()
        if not mark or mark not in allowed:
            got = f"got {shown(mark)}" if mark else "but the file ends"
            raise self.refusal(f"not JSON: {' or '.join(allowed)} belongs here, {got}")
        self._at += 1
        return mark

    def value(self) -> Any:
        """The next value."""
        self.peek()
        while True:
            try:
                value, end = self._decoder.raw_decode(self._buffer, self._at)
            except RecursionError:
                raise self.refusal("a record nested too deeply") from None
            except json.JSONDecodeError as error:
                near = error.pos >= len(self._buffer) - 16  # longer than a literal or an escape
                cut = near or error.msg.startswith("Unterminated string")
                if self._ended or not cut:
                    raise self.refusal(f"not JSON ({error.msg})", error.pos) from None
            except ValueError as error:  # a number of too many digits
                raise self.refusal(f"not JSON that can be read ({error})") from None
            else:
                if end < len(self._buffer) or self._ended:
                    self._at = end
                    return value
            if len(self._buffer) - self._at > LONGEST_RECORD:
                raise self.refusal(f"a record of more than {LONGEST_RECORD} characters")
            self._more()

    def names(self) -> Iterator[tuple[str, str]]:
        """The names in an object, each with the first character of its value, which is read between."""
        self._take("{")
        if self.peek() == "}":
            self._at += 1
            return
        mark = ","
        while mark == ",":
            if self.peek() != '"':
                raise self.refusal("not JSON: a name in double quotes belongs here")
            name = self.value()
            self._take(":")
            yield name, self.peek()
            mark = self._take(",}")

    def members(self) -> Records:
        """The members of a list, numbered from 1."""
        self._take("[")
        if self.peek() == "]":
            self._at += 1
            return
        number, mark = 0, ","
        while mark == ",":
            number += 1
            yield number, self.value()
            mark = self._take(",]")

    def skip(self) -> None:
        """Step over a value; of a long one no more is in memory than a part."""
        mark = self.peek()
        if mark == "{":
            try:
                for _ in self.names():
                    self.skip()
            except RecursionError:
                raise self.refusal("objects nested too deeply") from None
        elif mark == "[":
            for _ in self.members():
                pass
        else:
            self.value()
