"""The text of a stock sheet: its headings as our columns, a row put in and taken out, every other line as it is."""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache

from scarfdate.clues.readable import column_names
from scarfdate.errors import ScarfdateError, TableError
from scarfdate.files import ROW_END, safe_cell
from scarfdate.reading.encoding import SAMPLE, recognised
from scarfdate.reading.header import csv_start
from scarfdate.reading.headings import heading_of, read_headings
from scarfdate.tables.priors import Priors

_MARKS = {
    codecs.BOM_UTF8: "utf-8", codecs.BOM_UTF16_LE: "utf-16-le", codecs.BOM_UTF16_BE: "utf-16-be",
}  # fmt: skip
_DELIMITERS = (",", ";", "\t")


@dataclass(frozen=True, eq=False, kw_only=True)
class Record:
    """One row of a file: its ``cells``, and the lines it stands on, from ``start`` up to ``stop``."""

    cells: list[str]
    start: int
    stop: int


@dataclass(frozen=True, eq=False, kw_only=True)
class SheetText:
    """A sheet as lines. ``mark``: bytes before the text; ``place``: the number of each of our columns in
    ``header``, which is the record number ``head``; ``end``: of a line."""

    mark: bytes
    encoding: str
    delimiter: str
    end: str
    lines: list[str]
    records: list[Record]
    head: int
    place: Mapping[str, int]

    @property
    def header(self) -> list[str]:
        """The headings as they stand there."""
        return self.records[self.head].cells

    @property
    def rows(self) -> list[Record]:
        """The records under the headings."""
        return self.records[self.head + 1 :]

    def column(self, name: str) -> list[str]:
        """The cells of one of our columns, none where it is not there."""
        at = self.place.get(name)
        return [] if at is None else [row.cells[at] for row in self.rows if at < len(row.cells)]

    def places(self, cells: Mapping[str, str]) -> list[int]:
        """The numbers among ``rows`` of those that are just these cells."""
        if self._lacking(cells):
            return []
        wanted = self._row(cells)
        return [at for at, row in enumerate(self.rows) if row.cells == wanted]

    def with_row(self, cells: Mapping[str, str]) -> bytes:
        """The file with one more row at its end. Raises ScarfdateError where a letter of it cannot be written."""
        sheet = self._with_columns(self._lacking(cells))
        lines = list(sheet.lines)
        if lines and not lines[-1].endswith(("\n", "\r")):
            lines[-1] += self.end
        return replace(sheet, lines=[*lines, sheet._line(sheet._row(cells))]).content()

    def without_row(self, cells: Mapping[str, str]) -> bytes:
        """The file without the last row that is just these cells."""
        row = self.rows[self.places(cells)[-1]]
        return replace(self, lines=self.lines[: row.start] + self.lines[row.stop :]).content()

    def content(self) -> bytes:
        """The bytes of the file."""
        try:
            return self.mark + "".join(self.lines).encode(self.encoding)
        except UnicodeEncodeError as error:
            letter = error.object[error.start]
            raise ScarfdateError(
                f"the letter {letter!r} cannot be written in the encoding of the sheet ({self.encoding}); "
                "leave it out, or save the sheet as UTF-8"
            ) from None

    def _lacking(self, cells: Mapping[str, str]) -> list[str]:
        """The columns of a row that the sheet does not have."""
        return [name for name in cells if name not in self.place]

    def _row(self, cells: Mapping[str, str]) -> list[str]:
        row = [""] * len(self.header)
        for name, cell in cells.items():
            row[self.place[name]] = str(safe_cell(cell))
        return row

    def _line(self, cells: Sequence[str]) -> str:
        text = io.StringIO(newline="")
        csv.writer(text, delimiter=self.delimiter, lineterminator=ROW_END).writerow(cells)
        return text.getvalue().removesuffix(ROW_END) + self.end

    def _with_columns(self, names: Sequence[str]) -> SheetText:
        """The same with more columns at the right, blank in the rows that are there."""
        if not names:
            return self
        width = len(self.header)
        lines = self.lines[: self.records[self.head].start]
        records, place = self.records[: self.head], dict(self.place)
        for at, record in enumerate(self.records[self.head :]):
            more = [str(safe_cell(name)) for name in names] if at == 0 else [""] * len(names)
            cells = [*record.cells, *[""] * (width - len(record.cells)), *more]
            records.append(Record(cells=cells, start=len(lines), stop=len(lines) + 1))
            lines.append(self._line(cells))
        place |= {name: width + at for at, name in enumerate(names)}
        return replace(self, lines=lines, records=records, place=place)


def new_sheet(columns: Sequence[str], priors: Priors) -> SheetText:
    """A sheet with headings and no row."""
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\n").writerow(map(safe_cell, columns))
    return read_sheet_text(text.getvalue().encode(), "", priors)


def read_sheet_text(content: bytes, name: str, priors: Priors) -> SheetText:
    """The text of a file. Raises TableError where it is no CSV with a heading that we know, or has a column twice."""
    mark = next((mark for mark in _MARKS if content.startswith(mark)), b"")
    encoding = _MARKS.get(mark) or recognised(content[:SAMPLE]) or "utf-8"
    try:
        text = content[len(mark) :].decode(encoding)
    except UnicodeDecodeError:
        raise TableError(f"{name}: not UTF-8 text; save the file as UTF-8") from None
    if "\0" in text:
        raise TableError(f"{name}: a NUL character is in it; save the file anew as CSV")
    known = column_names(priors)

    @cache
    def is_name(heading: str) -> bool:
        return heading_of(heading, known, priors.headings) in known

    above, delimiter = csv_start(text[:SAMPLE], is_name)
    lines = list(io.StringIO(text, newline=""))
    delimiter = delimiter or max(_DELIMITERS, key="".join(lines[above : above + 1]).count)
    try:
        records = list(_records(lines, above, delimiter))
    except csv.Error as error:
        raise TableError(
            f"{name}: cannot be taken apart as CSV ({error}); mend it in a spreadsheet"
        ) from None
    if not records:
        raise TableError(f"{name}: no headings are in it; empty the file, or name another")
    header = [cell.strip() for cell in records[0].cells]
    place = read_headings(header, known, priors.headings).place
    if not place:
        raise TableError(
            f"{name}: no heading of it is a clue, so it is no stock sheet; name another"
        )
    return SheetText(
        mark=mark, encoding=encoding, delimiter=delimiter,
        end="\r\n" if lines[0].endswith("\r\n") else "\n",
        lines=lines, records=records, head=0, place=place,
    )  # fmt: skip


def _records(lines: Sequence[str], above: int, delimiter: str) -> Iterator[Record]:
    """The rows that are not blank, from the headings on."""
    reader = csv.reader(iter(lines[above:]), delimiter=delimiter, strict=True)
    start = above
    for cells in reader:
        if any(map(str.strip, cells)):
            yield Record(cells=cells, start=start, stop=above + reader.line_num)
        start = above + reader.line_num
