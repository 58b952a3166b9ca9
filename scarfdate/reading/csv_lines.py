"""Lines of a CSV file that can be given back, and are given up when absurdly long.

So an open quote costs its own row only, and no file fills the memory.
"""

from __future__ import annotations

from collections import deque
from io import TextIOWrapper
from typing import IO

from scarfdate.errors import TableError, shown

LONGEST_FILE = 2 * 2**30  # bytes of a file that is read into memory
LONGEST_STREAM = 256 * 2**20  # bytes of what has no size beforehand and may be without end
LONGEST_ROW = 8 * 2**20  # characters, on however many lines


class TooLong(Exception):
    """A row that no table has."""


class Feed:
    """Lines for a CSV reader, which can be given back: so an open quote costs its own row only."""

    def __init__(
        self, stream: IO[bytes], name: str, *, strict: bool, longest: int | None = LONGEST_FILE
    ) -> None:
        self._stream = TextIOWrapper(stream, "utf-8", "surrogateescape", newline="")
        self._name, self._strict, self._longest = name, strict, longest
        self._waiting: deque[str] = deque()
        self._taken: list[str] = []
        self._length = 0  # characters taken
        self._before = 0  # lines of rows already done
        self._bytes = 0  # read so far
        self._cut = False  # the last line was not read to its end

    @property
    def start(self) -> int:
        """The line on which the present row begins."""
        return self._before + 1

    def __iter__(self) -> Feed:
        return self

    def __next__(self) -> str:
        line = self._waiting.popleft() if self._waiting else self._read()
        self._taken.append(line)
        self._length += len(line)
        if self._length > LONGEST_ROW:
            raise TooLong
        return line

    def _read(self) -> str:
        while self._cut:
            rest = self._stream.readline(LONGEST_ROW)
            self._cut = bool(rest) and not rest.endswith(("\n", "\r"))
        line = self._stream.readline(LONGEST_ROW + 1)
        if not line:
            raise StopIteration
        self._cut = len(line) > LONGEST_ROW and not line.endswith(("\n", "\r"))
        if self._bytes == 0:
            self._bytes = 3 * line.startswith("\ufeff")
            line = line.removeprefix("\ufeff")
        if self._strict:
            self._check(line)
        return line

    def _check(self, line: str) -> None:
        """Refuse what is not UTF-8 text, with its place."""
        raw = line.encode("utf-8", "surrogateescape")
        at = raw.find(0)
        why = "is NUL; save the file as UTF-8 text"
        if not line.isascii():
            try:
                line.encode("utf-8")
            except UnicodeEncodeError as error:
                at = len(line[: error.start].encode("utf-8"))
                before = line[: error.start][-20:]
                behind = f", behind {shown(before)}" if before.strip() else ""
                why = (
                    f"(0x{raw[at]:02x}) is not UTF-8 text{behind}; "
                    "save the file as UTF-8, or state its encoding (--encoding)"
                )
        if at >= 0:
            number = self._before + len(self._taken) + 1
            raise TableError(
                f"{self._name}, line {number}: byte {self._bytes + at} of the file {why}"
            )
        self._bytes += len(raw)
        if self._longest is not None and self._bytes > self._longest:
            raise TableError(f"{self._name}: longer than {self._longest} bytes; split the file")

    def done(self) -> None:
        """The lines taken made a row."""
        self._before += len(self._taken)
        self._taken.clear()
        self._length = 0

    def give_back(self, kept: int) -> None:
        """Count some of the lines taken as done, and read the others again."""
        self._waiting.extendleft(reversed(self._taken[kept:]))
        self._before += kept
        self._taken.clear()
        self._length = 0
