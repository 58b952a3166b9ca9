"""One page of an .xlsx file."""

from __future__ import annotations

import io
import re
import zipfile
from typing import Any

from scarfdate.errors import TableError
from scarfdate.reading.pages import LONGEST_WHOLE as LONGEST_WHOLE
from scarfdate.reading.pages import Page, chosen

EXTRA = 'pip install "scarfdate[spreadsheet]"'
_CARE = re.compile(
    rb"<(?:\w+:)?(?:mergeCell|f)[ >/]"
)  # of a page that has merged cells or formulas


def xlsx_page(content: bytes, name: str, sheet: str | int | None) -> Page:
    """The page of a workbook that is meant. Raises TableError for what is no workbook."""
    try:
        import openpyxl
    except ImportError:
        raise TableError(f"{name}: spreadsheets need one more package: {EXTRA}") from None
    try:
        careful = _checked(content, name)
        book = openpyxl.load_workbook(
            io.BytesIO(content), read_only=not careful, data_only=True, keep_links=False
        )
        pages = book.worksheets
        titles = [page.title for page in pages]
        place = chosen(titles, name, sheet)
        page = pages[place]
        if not careful:
            page.reset_dimensions()  # what a file says of its own size need not be so
        cells = [list(row) for row in page.iter_rows(values_only=True)]
        others = [title for at, title in enumerate(titles) if at != place
                  and pages[at].sheet_state == "visible"]  # fmt: skip
        found = Page(title=titles[place], cells=cells, others=others)
        if careful:
            found.merged = [
                (one.min_row - 1, one.min_col - 1, one.max_row - 1, one.max_col - 1)
                for one in page.merged_cells.ranges
            ]
            found.merged.sort()
            found.formulas = _unworked(openpyxl, content, titles[place], found)
    except TableError:
        raise
    except Exception as error:  # a broken package fails in as many ways as it has parts
        raise TableError(
            f"{name}: not a spreadsheet that can be read ({type(error).__name__}); save it anew as .xlsx or CSV"
        ) from None
    return found


def _checked(content: bytes, name: str) -> bool:
    """Whether any page has merged cells or formulas; refuses what is too long once unpacked."""
    careful = False
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        unpacked_size(packed, name)
        for part in packed.infolist():
            if "worksheets/" in part.filename and not careful:
                careful = _CARE.search(packed.read(part)) is not None
    return careful


def unpacked_size(packed: zipfile.ZipFile, name: str) -> None:
    """Refuse a package that is too long once unpacked."""
    size = sum(part.file_size for part in packed.infolist())
    if size > LONGEST_WHOLE:
        raise TableError(
            f"{name}: {size} bytes once unpacked, more than the {LONGEST_WHOLE} allowed; save it as CSV"
        )


def _unworked(openpyxl: Any, content: bytes, title: str, page: Page) -> dict[tuple[int, int], str]:
    """The formulas that have no stored value."""
    book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, keep_links=False)
    found = {}
    for row in book[title].iter_rows():
        for cell in row:
            if getattr(cell, "data_type", "") != "f":
                continue
            place = cell.row - 1, cell.column - 1
            if page.at(*place) is None:
                text = cell.value
                found[place] = text if isinstance(text, str) else str(getattr(text, "text", "="))
    return found
