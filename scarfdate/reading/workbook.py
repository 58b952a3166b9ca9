"""An .xlsx file to be written: headings that stay in sight, columns as wide as their text, drop-down lists.

The same contents are the same bytes, whenever they are written. No cell is a formula.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from scarfdate.errors import TableError, shown
from scarfdate.reading.pages import cell_name

_MOST_ROWS, _LONGEST = (
    2**20,
    32_767,
)  # rows of a sheet and characters of a cell that the format allows
_NARROW, _WIDE = 8, 48  # characters of a column's width
_LOOKED_AT = 200  # rows by which a width is found
_ROOM = 1000  # blank rows under the last one that have drop-down lists, too
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")  # no XML has these
_MOMENT = (1980, 1, 1, 0, 0, 0)  # of every part: the first that the format of packages knows
_TIMES = re.compile(rb"(<dcterms:(created|modified)[^>]*>)[^<]*")
_WORDS = "words"  # the page that holds the words of the lists
OWN_PAGES = (_WORDS, "help")  # made anew with the sheet; "help" is that of the template


@dataclass(frozen=True, kw_only=True)
class Written:
    """What is written. ``names``: headings; ``rows``: cells, None where blank; ``lists``: by heading, the
    words that a drop-down list offers; ``helps``: by heading, one line of help over it; ``pages``: more
    pages of text, by title.
    """

    title: str
    names: Sequence[str]
    rows: Sequence[Sequence[object]] = ()
    lists: Mapping[str, Sequence[str]] = field(default_factory=dict)
    helps: Mapping[str, str] = field(default_factory=dict)
    pages: Mapping[str, Sequence[Sequence[str]]] = field(default_factory=dict)


def workbook_bytes(given: Written) -> bytes:
    """The file. Raises TableError for more rows or longer cells than the format allows."""
    import openpyxl
    from openpyxl.styles import Alignment, Font

    above = 1 if given.helps else 0
    if len(given.rows) + 1 + above > _MOST_ROWS:
        raise TableError(f"more than {_MOST_ROWS} rows, which no .xlsx file holds; write .csv")
    book = openpyxl.Workbook()
    page = book.active
    page.title = given.title
    if above:
        for at, name in enumerate(given.names, start=1):
            cell = _write(page, 1, at, given.helps.get(name, ""))
            cell.font = Font(italic=True, size=9, color="00666666")
            cell.alignment = Alignment(wrap_text=True, vertical="top")
        page.row_dimensions[1].height = 64
    for at, name in enumerate(given.names, start=1):
        _write(page, 1 + above, at, name).font = Font(bold=True)
    for row, cells in enumerate(given.rows, start=2 + above):
        for at, value in enumerate(cells, start=1):
            if value is not None and value != "":
                _write(page, row, at, value)
    for at, name in enumerate(given.names):
        texts = [name, *(str(row[at]) for row in given.rows[:_LOOKED_AT] if row[at] is not None)]
        widest = max(len(text) for text in texts)
        letter = re.sub(r"[0-9]", "", cell_name(0, at))
        page.column_dimensions[letter].width = min(max(widest + 2, 18 if above else _NARROW), _WIDE)
    page.freeze_panes = cell_name(1 + above, 1 if given.names[:1] == ["id"] else 0)
    _add_lists(book, page, given, above)
    for title, lines in given.pages.items():
        more = book.create_sheet(title)
        for row, line in enumerate(lines, start=1):
            for at, text in enumerate(line, start=1):
                _write(more, row, at, text)
        for letter, width in zip("ABCD", (22, 26, 70, 40), strict=True):
            more.column_dimensions[letter].width = width
        more.freeze_panes = "A2"
    return _packed(book)


def _write(page: Any, row: int, column: int, value: object) -> Any:
    """One cell; text is text, even where it looks like a formula."""
    if not isinstance(value, str):
        return page.cell(row, column, value)
    if len(value) > _LONGEST:
        raise TableError(
            f"cell {cell_name(row - 1, column - 1)} ({shown(value)}) is longer than the {_LONGEST} "
            "characters that an .xlsx file holds; write .csv"
        )
    cell = page.cell(row, column)
    cell.value = _CONTROL.sub("\ufffd", value)
    cell.data_type = "s"
    if value[:1] in ("=", "+", "-", "@"):
        cell.quotePrefix = True  # it stays text when somebody edits it
    return cell


def _add_lists(book: Any, page: Any, given: Written, above: int) -> None:
    from openpyxl.worksheet.datavalidation import DataValidation

    wanted = [name for name in given.names if given.lists.get(name)]
    if not wanted:
        return
    words = book.create_sheet(_WORDS)
    words.sheet_state = "hidden"
    last = min(len(given.rows) + 1 + above + _ROOM, _MOST_ROWS)
    for at, name in enumerate(wanted):
        listed = [name, *given.lists[name]]
        for row, word in enumerate(listed, start=1):
            _write(words, row, at + 1, word)
        letter = re.sub(r"[0-9]", "", cell_name(0, at))
        choice = DataValidation(
            type="list", formula1=f"={_WORDS}!${letter}$2:${letter}${len(listed)}", allow_blank=True
        )
        choice.showErrorMessage = False  # other words are read, too: the list only helps
        choice.promptTitle = name[:32]
        choice.prompt = given.helps.get(name, "choose a word, or leave it blank")[:255]
        choice.showInputMessage = bool(given.helps)
        column = re.sub(r"[0-9]", "", cell_name(0, [*given.names].index(name)))
        choice.add(f"{column}{2 + above}:{column}{last}")
        page.add_data_validation(choice)


class _Package(zipfile.ZipFile):
    """A package without the times at which its parts were written."""

    def writestr(self, name: Any, data: Any, *_: Any) -> None:
        if name == "docProps/core.xml":
            data = _TIMES.sub(rb"\g<1>1980-01-01T00:00:00Z", data)
        super().writestr(zipfile.ZipInfo(name, _MOMENT), data, zipfile.ZIP_DEFLATED)


def _packed(book: Any) -> bytes:
    """The file, made in memory: openpyxl by itself leaves a file for each page elsewhere, for good when it is killed."""
    from openpyxl.writer.excel import ExcelWriter, WorksheetWriter

    class InMemory(ExcelWriter):  # type: ignore[misc]
        def write_worksheet(self, ws: Any) -> None:
            ws._drawing = ()  # there are none
            page = WorksheetWriter(ws, io.BytesIO())
            page.write()
            ws._rels = page._rels
            self._archive.writestr(ws.path[1:], page.out.getvalue())
            self.manifest.append(ws)

    out = io.BytesIO()
    with _Package(out, "w") as package:
        InMemory(book, package).write_data()
    return out.getvalue()
