"""CSV text as rows of cells, each with its line; a bad row costs that row, and reading goes on.

Lines are read one at a time and given up when absurdly long, so that no file fills the memory.
"""

from __future__ import annotations

import csv
import re
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from io import TextIOWrapper
from typing import IO

from scarfdate.errors import TableError
from scarfdate.reading.faults import FaultLog

LONGEST_FILE = 2 * 2**30  # bytes of a file that is read into memory
LONGEST_CELL = 2**20  # characters
_LONGEST_ROW = 8 * 2**20  # characters, on however many lines
_UTF_16 = ("\udcff\udcfe", "\udcfe\udcff")  # its byte order mark, read as UTF-8

Rows = Iterator[tuple[int, list[str]]]


def csv_rows(
    stream: IO[bytes], name: str, log: FaultLog, *, delimiter: str = "", strict: bool = False
) -> tuple[list[str], Rows]:
    """The header, and the rows below it that are not blank, each with the line on which it begins.

    ``delimiter``: "" takes comma, semicolon or tab, whichever the header has most of. Every row has
    as many cells as the header; others, and rows that cannot be taken apart, are faults of ``log``.
    ``strict``: bytes that are not UTF-8, and NULs, are a TableError; otherwise the bytes come through
    as lone surrogates (``surrogateescape``), and a file of more than `LONGEST_FILE` bytes is read.
    Raises TableError for an empty file and for a header that cannot be read.
    """
    feed = _Feed(stream, name, strict=strict)
    try:
        for first in feed:
            if first.strip():
                break
            feed.done()
        else:
            raise TableError(f"{name}: the file is empty")
        if "\0" in first or first.startswith(_UTF_16):
            raise TableError(f"{name}: not UTF-8 text; save the file as UTF-8")
        feed.give_back(0)
        reader = csv.reader(feed, delimiter=delimiter or _delimiter(first), strict=True)
        with _bounded_cells():
            header = [cell.strip() for cell in next(reader)]
    except (csv.Error, _TooLong) as error:
        raise TableError(f"{name}, line {feed.start}: {'; '.join(_problem(error))}") from None
    feed.done()
    step = (
        f"the header has {len(header)}; put text with {reader.dialect.delimiter!r} in it between "
        "double quotes"
    )

    def rows() -> Rows:
        with _bounded_cells():
            while True:
                try:
                    cells = next(reader)
                except StopIteration:
                    return
                except (csv.Error, _TooLong) as error:
                    problem, mend = _problem(error)
                    log.lose(name, feed.start, problem, None, mend)
                    feed.give_back(1)
                    continue
                start = feed.start
                feed.done()
                if len(cells) == len(header):
                    if any(map(str.strip, cells)):
                        yield start, cells
                elif any(map(str.strip, cells)):
                    few = "few" if len(cells) < len(header) else "many"
                    log.lose(name, start, f"a row with too {few} cells", len(cells), step)

    return header, rows()


def _delimiter(header: str) -> str:
    bare = re.sub(r'"[^"]*"', "", header)
    return max((",", ";", "\t"), key=bare.count)


@contextmanager
def _bounded_cells() -> Iterator[None]:
    """Hold the module ``csv`` to cells of a bearable length."""
    limit = csv.field_size_limit(LONGEST_CELL)
    try:
        yield
    finally:
        csv.field_size_limit(limit)


class _TooLong(Exception):
    """A row that no table has."""


def _problem(error: Exception) -> tuple[str, str]:
    """What is wrong with a row, and what to do about it."""
    text = str(error)
    if isinstance(error, _TooLong):
        return (
            f"a row of more than {_LONGEST_ROW} characters, which has a cell that is too long "
            f"({LONGEST_CELL} characters are allowed), or is no table"
        ), "close its double quote, or shorten it"
    if "field larger" in text:
        return (
            f"a cell of more than {LONGEST_CELL} characters",
            "shorten it, or close its double quote",
        )
    if "unexpected end" in text:
        return "a double quote opens here and is never closed", "close it"
    if "expected after" in text:
        return "text follows a closing double quote", "double the quotes inside a cell"
    return text, "save the file anew as CSV"


class _Feed:
    """Lines for a CSV reader, which can be given back: so an open quote costs its own row only."""

    def __init__(self, stream: IO[bytes], name: str, *, strict: bool) -> None:
        self._stream = TextIOWrapper(stream, "utf-8", "surrogateescape", newline="")
        self._name, self._strict = name, strict
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

    def __iter__(self) -> _Feed:
        return self

    def __next__(self) -> str:
        line = self._waiting.popleft() if self._waiting else self._read()
        self._taken.append(line)
        self._length += len(line)
        if self._length > _LONGEST_ROW:
            raise _TooLong
        return line

    def _read(self) -> str:
        while self._cut:
            rest = self._stream.readline(_LONGEST_ROW)
            self._cut = bool(rest) and not rest.endswith(("\n", "\r"))
        line = self._stream.readline(_LONGEST_ROW + 1)
        if not line:
            raise StopIteration
        self._cut = len(line) > _LONGEST_ROW and not line.endswith(("\n", "\r"))
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
                why = f"(0x{raw[at]:02x}) is not UTF-8 text; save the file as UTF-8"
        if at >= 0:
            number = self._before + len(self._taken) + 1
            raise TableError(
                f"{self._name}, line {number}: byte {self._bytes + at} of the file {why}"
            )
        self._bytes += len(raw)
        if self._bytes > LONGEST_FILE:
            raise TableError(f"{self._name}: longer than {LONGEST_FILE} bytes; split the file")

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
