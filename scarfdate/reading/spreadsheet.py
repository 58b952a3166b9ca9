"""One page of an .xlsx file."""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from scarfdate.errors import TableError, shown
from scarfdate.plain import read_at_most
from scarfdate.reading.package import LONGEST_WHOLE, unpacked_size
from scarfdate.reading.pages import Page, Room, chosen, column_number

EXTRA = 'pip install "scarfdate[spreadsheet]"'
_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_RANGE = re.compile(r"\$?([A-Za-z]{1,3})\$?([0-9]{1,7}):\$?([A-Za-z]{1,3})\$?([0-9]{1,7})")
_FORMULA = re.compile(rb"<(?:\w+:)?f[ >/]")
_CARE = re.compile(
    rb"<(?:\w+:)?(?:mergeCell|f)[ >/]"
)  # of a page that has merged cells or formulas


def xlsx_page(content: bytes, name: str, sheet: str | int | None) -> tuple[Page, Room]:
    """The page of a workbook that is meant, and its room. Raises TableError for what is no workbook.

    Cells are taken one row at a time, so that what a file says of its own size never counts, only what is there.
    """
    try:
        import openpyxl  # noqa: F401
    except ImportError:
        raise TableError(f"{name}: spreadsheets need one more package: {EXTRA}") from None
    try:
        room = Room(name, unpacked_size(content, name))
        book = _book(content, data_only=True)
        pages = book.worksheets
        titles = [page.title for page in pages]
        place = chosen(titles, name, sheet)
        cells = []
        for row in _rows(pages[place], values_only=True):
            room.take(max(len(row), 1))
            cells.append(list(row))
        others = [title for at, title in enumerate(titles) if at != place
                  and pages[at].sheet_state == "visible"]  # fmt: skip
        found = Page(title=titles[place], cells=cells, others=others)
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            part = packed.read(pages[place]._worksheet_path)  # where in the package it lies
        if _CARE.search(part):
            found.merged = sorted(_merged(part))
            _cover(found, room)
            found.formulas = _unworked(content, titles[place], found, room)
    except TableError:
        raise
    except Exception as error:  # a broken package fails in as many ways as it has parts
        raise TableError(
            f"{name}: not a spreadsheet that can be read ({type(error).__name__}); save it anew as .xlsx or CSV"
        ) from None
    return found, room


def lost_if_written_over(path: Path) -> str:
    """What a workbook holds that no sheet of plain cells in its place would: "2 pages, such as 'a' and the formulas".

    "" for nothing, and for what is no workbook.
    """
    from scarfdate.reading.workbook import OWN_PAGES

    try:
        content = read_at_most(path, LONGEST_WHOLE)
        unpacked_size(content, path.name)
        book = _book(content, data_only=True)
        titles = [title for title in book.sheetnames[1:] if title not in OWN_PAGES]
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            parts = [packed.read(page._worksheet_path) for page in book.worksheets]
    except Exception:  # as many as there are broken files; nobody can open it
        return ""
    count = "the page" if len(titles) == 1 else f"{len(titles)} pages, such as"
    lost = [f"{count} {shown(titles[0])}"] if titles else []
    lost += ["the formulas"] if any(map(_FORMULA.search, parts)) else []
    return " and ".join(lost)


def _book(content: bytes, *, data_only: bool) -> Any:
    """The workbook, opened without a word of the styles and extensions that openpyxl leaves out: only cells count."""
    import openpyxl

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)
        return openpyxl.load_workbook(
            io.BytesIO(content), read_only=True, data_only=data_only, keep_links=False
        )


def _rows(page: Any, **how: Any) -> Iterator[Any]:
    page.reset_dimensions()  # what a file says of its own size need not be so
    return iter(page.iter_rows(**how))


def _merged(part: bytes) -> Iterator[tuple[int, int, int, int]]:
    """Merged ranges: first row, first column, last row, last column, from 0."""
    for one in ElementTree.fromstring(part).iter(f"{_MAIN}mergeCell"):
        ends = _RANGE.fullmatch(one.get("ref", ""))
        if ends:
            yield int(ends[2]) - 1, column_number(ends[1]), int(ends[4]) - 1, column_number(ends[3])


def _cover(page: Page, room: Room) -> None:
    """Blank what lies under a merged cell: a program may have kept what stood there before."""
    for top, left, bottom, right in page.merged:
        for row in range(top, min(bottom + 1, len(page.cells))):
            cells = page.cells[row]
            first = left + 1 if row == top else left
            last = min(right + 1, len(cells))
            room.take(1 + max(last - first, 0))
            cells[first:last] = [None] * max(last - first, 0)


def _unworked(content: bytes, title: str, page: Page, room: Room) -> dict[tuple[int, int], str]:
    """The formulas that have no stored value."""
    book = _book(content, data_only=False)
    found = {}
    for row in _rows(book[title]):
        room.take(max(len(row), 1))
        for cell in row:
            if getattr(cell, "data_type", "") != "f":
                continue
            place = cell.row - 1, cell.column - 1
            if page.at(*place) is None:
                text = cell.value
                found[place] = text if isinstance(text, str) else str(getattr(text, "text", "="))
    return found
