"""Where the headings of a table stand: in the first row, or under rows that hold a title.

A row of headings is known by names that a column can have. Rows above it are passed over only where they
have fewer cells than it has, or hold sentences and no name, so a full row of headings is never taken for a title.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

Names = Callable[[str], bool]


@dataclass(frozen=True)
class IsName:
    """What is known of a dealer's table before it is read: whether a text can be a heading (``names``), and whether
    cells are a row of totals (``totals``)."""

    names: Names
    totals: Callable[[Iterable[str]], bool]

    def __call__(self, text: str) -> bool:
        """Whether a text can be a heading."""
        return self.names(text)


_LOOKED_AT = 40  # rows from the top among which the headings are looked for
WIDEST = (
    1000  # columns of a table of scarves: each of their names is compared with all that are known
)
_SENTENCE = 25  # characters of a cell, on average: no heading is so long
_STATED = re.compile(r"sep=([,;\t|])\r?\n?")  # some spreadsheets write it above a CSV


def header_place(rows: Sequence[Sequence[str]], is_name: Names | None) -> int:
    """The number from 0 of the row with the headings, among the first rows of a table.

    ``is_name``: whether a text can be the name of a column; None: the headings are the first row.
    """
    if is_name is None or not rows:
        return 0
    first = [row[:WIDEST] for row in rows[:_LOOKED_AT]]
    known = [sum(bool(cell.strip()) and is_name(cell) for cell in row) for row in first]
    filled = [sum(bool(cell.strip()) for cell in row) for row in first]
    best = known.index(max(known))
    wanted = 1 if known[0] == 0 and filled[0] == 1 else 2
    if known[best] >= wanted and known[best] > known[0]:
        above = zip(first[:best], known, filled, strict=False)
        if all(
            cells < filled[best] or (not names and _is_prose(row)) for row, names, cells in above
        ):
            return best
    if known[0] == 0 and filled[0] == 1:  # no name is known: a title is one cell over a full row
        return next((at for at, cells in enumerate(filled) if cells > 2), 0)
    return 0


def _is_prose(row: Sequence[str]) -> bool:
    """Whether cells hold sentences, such as help over the headings."""
    lengths = [len(cell.strip()) for cell in row if cell.strip()]
    return sum(lengths) > _SENTENCE * len(lengths)


def csv_start(text: str, is_name: Names | None) -> tuple[int, str]:
    """How many lines of a CSV text stand above its headings, and its delimiter ("": by the headings)."""
    stated = _STATED.match(text)
    above, marks = (1, stated[1]) if stated else (0, ",;\t")
    if is_name is None:
        return above, stated[1] if stated else ""
    found = (0, above, stated[1] if stated else "")
    for mark in marks:
        rows: list[list[str]] = []
        starts: list[int] = []
        lines = io.StringIO(text, newline="")
        for _ in range(above):
            lines.readline()
        reader = csv.reader(lines, delimiter=mark)
        try:
            before = 0
            for row in reader:
                if any(map(str.strip, row)):
                    rows.append(row[:WIDEST])
                    starts.append(before)
                before = reader.line_num
                if len(rows) == _LOOKED_AT:
                    break
        except csv.Error:
            pass  # whatever is wrong below is told, with its line, when the rows are read
        place = header_place(rows, is_name)
        if place:
            names = sum(map(is_name, rows[place])) + 1
            if names > found[0]:
                found = (names, above + starts[place], mark)
        elif rows and sum(map(is_name, rows[0])) > found[0]:
            found = (sum(map(is_name, rows[0])), above, mark)
    return found[1:]
