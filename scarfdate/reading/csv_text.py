"""CSV text as lists of cells, with the line of each row; every fault names its place.

Lines are read one at a time and refused when absurdly long, so that no file fills the memory.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from typing import IO

from scarfdate.errors import TableError, shown

LONGEST_FILE = 2 * 2**30  # bytes of a CSV file
LONGEST_CELL = 2**20  # characters
_LONGEST_LINE = 8 * 2**20  # bytes: read before anything is known about its cells
_FAULTS_TOLD = 5
_LONE_RETURN = re.compile(rb"(?<=\r)(?!\n)")


def read_csv(stream: IO[bytes], name: str) -> tuple[list[str], list[list[str]], list[int]]:
    """The header, the rows, and the line on which each row begins. Raises TableError."""
    lines = _Lines(stream, name)
    first = next((line for line in lines if line.strip()), None)
    if first is None:
        raise TableError(f"{name}: the file is empty")
    limit = csv.field_size_limit(LONGEST_CELL)
    # lines before the header were blank: they count, but the reader never sees them
    text = _Counted(lines, first)
    reader = csv.reader(text, delimiter=_delimiter(first), strict=True)
    header: list[str] = []
    rows: list[list[str]] = []
    places: list[int] = []
    ragged: list[str] = []
    start = text.blank + 1
    try:
        for cells in reader:
            if not header:
                header = [cell.strip() for cell in cells]
            elif not any(map(str.strip, cells)):
                pass
            elif len(cells) != len(header):
                ragged.append(f"line {start} has {len(cells)} cells")
                if len(ragged) > _FAULTS_TOLD:
                    break
            else:
                rows.append(cells)
                places.append(start)
            start = text.blank + reader.line_num + 1
    except csv.Error as error:
        raise TableError(f"{name}, line {start}: {_csv_problem(error)}") from None
    finally:
        csv.field_size_limit(limit)
    if ragged:
        more = " and more" if len(ragged) > _FAULTS_TOLD else ""
        raise TableError(
            f"{name}: every row has as many cells as the header, which has {len(header)}; "
            f"{', '.join(ragged[:_FAULTS_TOLD])}{more}; put text with a "
            f"{shown(reader.dialect.delimiter)} in it between double quotes"
        )
    return header, rows, places


class _Counted:
    """The first line that is not blank, then the rest; ``blank``: how many lines went before it."""

    def __init__(self, lines: _Lines, first: str) -> None:
        self.blank = lines.count - 1
        self._first: list[str] = [first]
        self._lines = lines

    def __iter__(self) -> Iterator[str]:
        yield from self._first
        yield from self._lines


class _Lines:
    """Lines of UTF-8 text; a place is named where they are not."""

    def __init__(self, stream: IO[bytes], name: str) -> None:
        self._stream, self._name = stream, name
        self.count = 0
        self._pieces = self._read()

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        return next(self._pieces)

    def _read(self) -> Iterator[str]:
        at = 0
        while line := self._stream.readline(_LONGEST_LINE + 1):
            if len(line) > _LONGEST_LINE:
                raise TableError(
                    f"{self._name}, line {self.count + 1}: longer than {_LONGEST_LINE} bytes, so it has "
                    f"a cell that is too long ({LONGEST_CELL} characters are allowed), or is no table"
                )
            begin = at
            at += len(line)
            if at > LONGEST_FILE:
                raise TableError(f"{self._name}: longer than {LONGEST_FILE} bytes; split the file")
            if begin == 0:
                line = line.removeprefix(b"\xef\xbb\xbf")
                begin = at - len(line)
            for piece in _LONE_RETURN.split(line):
                if piece:
                    self.count += 1
                    yield self._decoded(piece, begin)
                    begin += len(piece)

    def _decoded(self, piece: bytes, begin: int) -> str:
        try:
            text = piece.decode("utf-8")
        except UnicodeDecodeError as error:
            raise TableError(
                f"{self._name}, line {self.count}: byte {begin + error.start} of the file "
                f"(0x{piece[error.start]:02x}) is not UTF-8 text; save the file as UTF-8"
            ) from None
        if "\0" in text:
            raise TableError(
                f"{self._name}, line {self.count}: byte {begin + piece.index(0)} of the file is NUL; "
                "save the file as UTF-8 text"
            )
        return text


def _delimiter(header: str) -> str:
    """Comma, semicolon or tab: whichever the header line has most of outside quotes."""
    bare = re.sub(r'"[^"]*"', "", header)
    return max((",", ";", "\t"), key=bare.count)


def _csv_problem(error: csv.Error) -> str:
    text = str(error)
    if "field larger" in text:
        return (
            f"a cell of more than {LONGEST_CELL} characters; shorten it, or close its double quote"
        )
    if "unexpected end" in text:
        return "a double quote opens here and is never closed; close it"
    if "expected after" in text:
        return "text follows a closing double quote; double the quotes inside a cell"
    return text
