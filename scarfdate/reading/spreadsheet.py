"""The rows of a sheet of an .xlsx file."""

from __future__ import annotations

import io
import zipfile
from typing import Any

from scarfdate.errors import TableError, did_you_mean, shown
from scarfdate.reading.json_text import cell_text

LONGEST_WHOLE = 256 * 2**20  # bytes of what has to be read whole: JSON, an unpacked spreadsheet
EXTRA = 'pip install "scarfdate[spreadsheet]"'


def sheet_rows(
    content: bytes, name: str, sheet: str | int | None
) -> tuple[list[list[object]], list[int]]:
    """The rows of one sheet that are not blank, all of one width, and the number of each."""
    try:
        import openpyxl
    except ImportError:
        raise TableError(f"{name}: spreadsheets need one more package: {EXTRA}") from None
    rows: list[list[object]] = []
    places: list[int] = []
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            size = sum(part.file_size for part in packed.infolist())
        if size > LONGEST_WHOLE:
            raise TableError(
                f"{name}: {size} bytes once unpacked, more than the {LONGEST_WHOLE} allowed; save it as CSV"
            )
        book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)
        page = _page(book.worksheets, name, sheet)
        page.reset_dimensions()  # what a file says of its own size need not be so
        for place, cells in enumerate(page.iter_rows(values_only=True), start=1):
            if any(cell_text(cell).strip() for cell in cells):
                rows.append(list(cells))
                places.append(place)
    except TableError:
        raise
    except Exception as error:  # a broken package fails in as many ways as it has parts
        raise TableError(
            f"{name}: not a spreadsheet that can be read ({type(error).__name__}); save it anew as .xlsx or CSV"
        ) from None
    if not rows:
        raise TableError(f"{name}: the sheet is empty")
    width = max(map(len, rows))
    return [row + [None] * (width - len(row)) for row in rows], places


def _page(pages: Any, name: str, sheet: str | int | None) -> Any:
    titles = [page.title for page in pages]
    if not titles:
        raise TableError(f"{name}: the spreadsheet has no sheet of cells")
    if sheet is None:
        return pages[0]
    if isinstance(sheet, int) and not isinstance(sheet, bool) and 1 <= sheet <= len(titles):
        return pages[sheet - 1]
    if isinstance(sheet, str) and sheet in titles:
        return pages[titles.index(sheet)]
    raise TableError(
        f"{name}: there is no sheet {shown(sheet)}; {did_you_mean(str(sheet), titles)} "
        f"(or a number from 1 to {len(titles)})"
    )
