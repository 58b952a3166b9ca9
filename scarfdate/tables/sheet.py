"""One CSV file of a priors folder, read into rows; faults are gathered, never raised one by one."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from scarfdate.errors import Fault, did_you_mean, shown

BASES = ("museum", "statute", "standard", "published", "common practice", "memory", "records")
PROVENANCE = ("basis", "source", "note")
_NEEDS_SOURCE = ("museum", "statute", "standard", "published")
_LONGEST_FILE = 64 * 2**20  # bytes: a table that a person can edit is far smaller


@dataclass(frozen=True, slots=True)
class Basis:
    """How a row's numbers are known, and where the row stands."""

    file: str
    row: int
    basis: str
    source: str
    note: str


@dataclass
class Sheet:
    """The rows of one file as text, with the line each stands on. Faults go to a shared list."""

    name: str
    header: tuple[str, ...]
    rows: list[tuple[int, Mapping[str, str]]]
    faults: list[Fault] = field(default_factory=list)

    def fault(
        self, line: int | None, column: str | None, problem: str, got: object = "", step: str = ""
    ) -> None:
        """Note one fault of this file."""
        text = shown(got) if got != "" else ""
        self.faults.append(Fault(self.name, line, column, problem, text, step))

    def number(
        self, line: int, column: str, *, low: float = -math.inf, high: float = math.inf
    ) -> float:
        """The number in a cell, between ``low`` and ``high``; a fault and NaN where it is not."""
        text = self._cell(line, column)
        try:
            value = float(text)
        except ValueError:
            self.fault(
                line, column, "not a number", text or "an empty cell", "write digits, with a point"
            )
            return math.nan
        if not math.isfinite(value) or not low <= value <= high:
            self.fault(line, column, f"must lie between {low:g} and {high:g}", text)
            return math.nan
        return value

    def year(self, line: int, column: str = "year") -> int:
        """The whole year in a cell; a fault and 0 where there is none."""
        value = self.number(line, column, low=1000, high=2300)
        if math.isnan(value):
            return 0
        if value != int(value):
            self.fault(line, column, "a year is a whole number", str(value))
        return int(value)

    def word(self, line: int, column: str, allowed: Sequence[str]) -> str:
        """The word in a cell, one of ``allowed``; a fault, and the first allowed, where it is not."""
        text = self._cell(line, column)
        if text in allowed:
            return text
        self.fault(
            line,
            column,
            "not an allowed word",
            text or "an empty cell",
            did_you_mean(text, allowed),
        )
        return allowed[0] if allowed else ""

    def basis(self, line: int) -> Basis:
        """The row's basis; a fault where it is missing, unknown, or needs a source and has none."""
        kind = self.word(line, "basis", BASES)
        source = self._cell(line, "source")
        # where the basis itself is unknown, that is fault enough
        if kind == self._cell(line, "basis") and kind in _NEEDS_SOURCE and not source:
            self.fault(
                line, "source", f"a row with basis {kind!r} names its source", "an empty cell"
            )
        return Basis(self.name, line, kind, source, self._cell(line, "note"))

    def shares(self, line: int, columns: Sequence[str]) -> list[float]:
        """Shares in per cent over ``columns``; a fault where they do not add up to 100."""
        values = [self.number(line, column, low=0, high=100) for column in columns]
        total = math.fsum(values)
        # people round to one decimal: a row of twenty may be off by half a point, not by two
        if not math.isnan(total) and abs(total - 100) > 0.5:
            self.fault(
                line, None, "the shares of a row add up to 100", f"{total:g}", "mend the row"
            )
        return values

    def text(self, line: int, column: str) -> str:
        """The text in a cell; a fault where it is empty."""
        text = self._cell(line, column)
        if not text:
            self.fault(line, column, "must not be empty")
        return text

    def optional_number(self, line: int, column: str) -> float:
        """The number in a cell, NaN where the cell is empty."""
        return self.number(line, column) if self._cell(line, column) else math.nan

    def _cell(self, line: int, column: str) -> str:
        return self._by_line[line].get(column, "")

    def __post_init__(self) -> None:
        self._by_line = dict(self.rows)


def read_sheet(
    name: str,
    content: bytes,
    expected: Sequence[str],
    faults: list[Fault],
    provenance: Sequence[str] = PROVENANCE,
) -> Sheet:
    """Read one file. ``expected`` columns must be there, with basis, source and note; no others.

    An expected name that ends in ``?`` may be missing; ``*`` stands for any further columns.
    """
    sheet = Sheet(name, (), [], faults)
    if len(content) > _LONGEST_FILE:
        sheet.fault(None, None, "the file is too long to be a table", f"{len(content)} bytes")
        return sheet
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        sheet.fault(None, None, "not UTF-8 text", f"byte {error.start}", "save it as UTF-8")
        return sheet
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    rows: list[tuple[int, Mapping[str, str]]] = []
    header: tuple[str, ...] = ()
    try:
        for cells in reader:
            if not any(cell.strip() for cell in cells):
                continue
            if not header:
                header = tuple(cell.strip() for cell in cells)
            elif len(cells) != len(header):
                sheet.fault(
                    reader.line_num, None, f"a row has {len(header)} cells", f"{len(cells)}"
                )
            else:
                row = {key: cell.strip() for key, cell in zip(header, cells, strict=True)}
                rows.append((reader.line_num, row))
    except csv.Error as error:
        sheet.fault(reader.line_num, None, "not readable as CSV", str(error))
        return sheet
    required = [column for column in (*expected, *provenance) if not column.endswith(("?", "*"))]
    for column in required:
        if column not in header:
            sheet.fault(1, column, "a column is missing", "", "add it to the header")
    if "*" not in expected:
        known = {column.rstrip("?") for column in (*expected, *provenance)}
        for column in header:
            if column not in known:
                sheet.fault(
                    1, column, "a column nobody knows", column, did_you_mean(column, sorted(known))
                )
    if len(set(header)) != len(header):
        sheet.fault(1, None, "a column stands there twice")
    if not rows:
        sheet.fault(None, None, "the file has no rows")
    if any(column not in header for column in required):
        rows = []  # every cell would be a fault of its own; the header is the one to mend
    return Sheet(name, header, rows, faults)
