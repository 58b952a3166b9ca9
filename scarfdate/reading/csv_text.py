"""CSV text as rows of cells, each with its line; a bad row costs that row, and reading goes on.

Lines are read one at a time and given up when absurdly long, so that no file fills the memory.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import IO

from scarfdate.errors import TableError
from scarfdate.reading.csv_lines import LONGEST_FILE, LONGEST_ROW, Feed, TooLong
from scarfdate.reading.faults import FaultLog

LONGEST_CELL = 2**20  # characters
_UTF_16 = ("\udcff\udcfe", "\udcfe\udcff")  # its byte order mark, read as UTF-8

Rows = Iterator[tuple[int, list[str]]]


def csv_rows(
    stream: IO[bytes],
    name: str,
    log: FaultLog,
    *,
    delimiter: str = "",
    strict: bool = False,
    above: int = 0,
    longest: int | None = LONGEST_FILE,
) -> tuple[list[str], Rows]:
    """The header, and the rows below it that are not blank, each with the line on which it begins.

    ``delimiter``: "" takes comma, semicolon or tab, whichever the header has most of. Every row has as many cells as
    the header, blank ones at its end where ``log`` lets it end early; others, and rows that cannot be taken apart, are
    faults of ``log``.
    ``above``: lines over the header that are passed over. ``strict``: bytes that are not UTF-8, NULs, and more
    than ``longest`` bytes in all are a TableError; otherwise the bytes come through as lone surrogates
    (``surrogateescape``), and a file of any length is read.
    Raises TableError for an empty file and for a header that cannot be read.
    """
    feed = Feed(stream, name, strict=strict, longest=longest)
    try:
        for _ in range(above):
            next(feed, None)
            feed.done()
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
    except (csv.Error, TooLong) as error:
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
                except (csv.Error, TooLong) as error:
                    problem, mend = _problem(error)
                    log.lose(name, feed.start, problem, None, mend)
                    feed.give_back(1)
                    continue
                start = feed.start
                feed.done()
                if len(cells) == len(header):
                    again = is_headings(cells, header) and log.headings_again(start)
                    if not again and any(map(str.strip, cells)) and not log.no_piece(start, cells):
                        yield start, cells
                elif len(cells) < len(header) and log.no_piece(start, cells):
                    continue
                elif 1 < len(cells) < len(header) and log.ends_early(start):
                    yield start, [*cells, *[""] * (len(header) - len(cells))]
                elif any(map(str.strip, cells)):
                    few = "few" if len(cells) < len(header) else "many"
                    log.lose(name, start, f"a row with too {few} cells", len(cells), step)

    return header, rows()


def is_headings(cells: Iterable[str], header: Sequence[str]) -> bool:
    """Whether a row, as wide as they are, repeats the headings, as where two sheets were put under each other."""
    return all(cell.strip() == heading for cell, heading in zip(cells, header, strict=True))


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


def _problem(error: Exception) -> tuple[str, str]:
    """What is wrong with a row, and what to do about it."""
    text = str(error)
    if isinstance(error, TooLong):
        return (
            f"a row of more than {LONGEST_ROW} characters, which has a cell that is too long "
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
