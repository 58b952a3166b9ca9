"""One CSV file as rows of text with the line each stands on; faults are gathered, never raised one by one."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from scarfdate.errors import FileFault, shown

MOST_FAULTS = 1000  # of one file that are told: nobody mends more of them by hand
LONGEST_SHEET = 64 * 2**20  # bytes: a table that a person can edit is far smaller


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
    """One file as text: its columns, each cell by cell, and the line each row ends on. Faults go to a shared list."""

    name: str
    faults: list[FileFault] = field(repr=False)
    header: tuple[str, ...] = ()
    lines: tuple[int, ...] = ()
    columns: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    told: int = 0  # faults

    def fault(
        self, line: int | None, column: str | None, problem: str, got: object = "", step: str = ""
    ) -> None:
        """Note one fault of this file; of very many the first, and that there are more."""
        self.told += 1
        if self.told > MOST_FAULTS:
            if self.told == MOST_FAULTS + 1:
                more = f"more faults than the {MOST_FAULTS} that are told of one file"
                self.faults.append(FileFault(self.name, None, None, more, "", "mend these first"))
            return
        text = shown(got) if got != "" else ""
        self.faults.append(FileFault(self.name, line, column, problem, text, step))

    @property
    def rows(self) -> Iterator[Mapping[str, str]]:
        """The rows, by column."""
        every = zip(*self.columns.values(), strict=True)
        return (dict(zip(self.columns, cells, strict=True)) for cells in every)

    def distinct(self, column: str) -> list[str]:
        """The distinct cells of a column, in the order of the rows; none where it is missing."""
        return [*dict.fromkeys(self.columns.get(column, ()))]


def read_sheet(name: str, content: bytes, faults: list[FileFault]) -> Sheet:
    """Read one file; a row with too few or too many cells is a fault, and left out."""
    sheet = Sheet(name, faults)
    if len(content) > LONGEST_SHEET:
        sheet.fault(None, None, "the file is too long to be a table", f"{len(content)} bytes")
        return sheet
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        sheet.fault(None, None, "not UTF-8 text", f"byte {error.start}", "save it as UTF-8")
        return sheet
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    header: tuple[str, ...] = ()
    lines: list[int] = []
    rows: list[list[str]] = []
    try:
        for cells in reader:
            cells = [cell.strip() for cell in cells]
            if not any(cells):
                continue
            if not header:
                header = tuple(cells)
            elif len(cells) != len(header):
                problem = f"a row has {len(header)} cells"
                sheet.fault(reader.line_num, None, problem, f"{len(cells)}")
            else:
                lines.append(reader.line_num)
                rows.append(cells)
    except csv.Error as error:
        sheet.fault(reader.line_num, None, "not readable as CSV", str(error))
        return sheet
    if len(set(header)) != len(header):
        sheet.fault(1, None, "a column stands there twice")
    if not rows:
        sheet.fault(None, None, "the file has no rows")
    columns = dict(zip(header, zip(*rows, strict=True), strict=True)) if rows else {}
    return Sheet(name, faults, header, tuple(lines), columns)
