"""A page of a spreadsheet, whatever program wrote it: its cells, merged ranges, and formulas without a value.

Merged cells are filled downwards below the headings, because a word written once beside three rows holds for
all three. A formula that was never worked out is read where it only points at another cell; otherwise its
text stays in the cell, so that it is told and never blank.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from scarfdate.errors import TableError, did_you_mean, shown
from scarfdate.reading.header import IsName, header_place
from scarfdate.reading.json_text import cell_text

_POINTER = re.compile(r"(?:of:)?=\+?\[?\.?\$?([A-Za-z]{1,3})\$?([0-9]{1,7})\]?")
_LONGEST_CHAIN = 20  # formulas that point at formulas
_ROOMY = 2**18  # places that any file may fill: a stray cell some way down is no fault
_PLACES_A_BYTE = 4
_NAMED = 5  # places that one remark names


@dataclass
class Room:
    """How many places a file may fill: in proportion to its bytes, so that a small one cannot claim all memory.

    ``size``: bytes once unpacked. A program leaves out blank cells, and writes at least four bytes for any other.
    """

    name: str
    size: int
    places: int = 0

    def take(self, places: int) -> None:
        """Raises TableError where there is no room for so many places more."""
        self.places += places
        if self.places > _ROOMY + _PLACES_A_BYTE * self.size:
            raise TableError(
                f"{self.name}: {self.places} places and more for {self.size} bytes: a cell stands far outside the "
                "table, or nearly every record has names of its own; take out stray cells, or save it as CSV"
            )


@dataclass(kw_only=True)
class Page:
    """One page. ``cells``: rows of cells, None where blank; ``merged``: ranges as (first row, first column,
    last row, last column), from 0; ``formulas``: place to the text of a formula without a stored value;
    ``others``: titles of the other pages.
    """

    title: str
    cells: list[list[object]]
    merged: Sequence[tuple[int, int, int, int]] = ()
    formulas: Mapping[tuple[int, int], str] = field(default_factory=dict)
    others: Sequence[str] = ()

    def at(self, row: int, column: int) -> object:
        """A cell, None outside the page."""
        cells = self.cells[row] if row < len(self.cells) else []
        return cells[column] if column < len(cells) else None


def chosen(titles: Sequence[str], name: str, sheet: str | int | None) -> int:
    """The number from 0 of the page that is meant: the first, or ``sheet`` by title or number from 1."""
    if not titles:
        raise TableError(f"{name}: the spreadsheet has no sheet of cells")
    if sheet is None:
        return 0
    if isinstance(sheet, str) and sheet in titles:
        return titles.index(sheet)
    number = int(sheet) if isinstance(sheet, str) and re.fullmatch(r"[0-9]{1,4}", sheet) else sheet
    if isinstance(number, int) and not isinstance(number, bool) and 1 <= number <= len(titles):
        return number - 1
    raise TableError(
        f"{name}: there is no sheet {shown(sheet)}; {did_you_mean(sheet, titles)} "
        f"(or a number from 1 to {len(titles)})"
    )


def page_rows(
    page: Page, room: Room, is_name: IsName | None
) -> tuple[list[list[object]], list[int], list[str]]:
    """The headings and the rows below them that are not blank, all of one width, the number of each, remarks.

    Raises TableError for a page without cells, or one that has no room.
    """
    name = room.name
    remarks: list[str] = []
    if page.others:
        more = ", ".join(map(shown, page.others[:8])) + (", …" if len(page.others) > 8 else "")
        remarks.append(f"sheet {shown(page.title)} was read; not read: {more} (--sheet NAME)")
    _fill_formulas(page, room, remarks)
    filled = [at for at, row in enumerate(page.cells) if any(cell_text(c).strip() for c in row)]
    if not filled:
        raise TableError(f"{name}: the sheet {shown(page.title)} is empty{_elsewhere(page)}")
    texts = [[cell_text(cell) for cell in page.cells[at]] for at in filled[:60]]
    header = filled[header_place(texts, is_name)]
    _fill_merged(page, header, room, remarks)
    filled = [at for at in range(header, len(page.cells))
              if any(cell_text(cell).strip() for cell in page.cells[at])]  # fmt: skip
    if len(filled) == 1:
        raise TableError(f"{name}: sheet {shown(page.title)}: there is a header and not one row "
                         f"under it{_elsewhere(page)}")  # fmt: skip
    if header:
        remarks.append(f"the headings were found in row {header + 1}")
    width = max(len(page.cells[at]) for at in filled)
    room.take(width * len(filled))
    rows = [page.cells[at] + [None] * (width - len(page.cells[at])) for at in filled]
    return rows, [at + 1 for at in filled], remarks


def _elsewhere(page: Page) -> str:
    if not page.others:
        return ""
    return f"; other sheets: {', '.join(map(shown, page.others[:8]))} (name one with --sheet)"


def _fill_formulas(page: Page, room: Room, remarks: list[str]) -> None:
    followed: list[str] = []
    left: list[str] = []
    for (row, column), text in page.formulas.items():
        found, place, steps = None, (row, column), 0
        while steps < _LONGEST_CHAIN and place in page.formulas:
            pointer = _POINTER.fullmatch(page.formulas[place].strip())
            if pointer is None:
                break
            place, steps = (int(pointer[2]) - 1, column_number(pointer[1])), steps + 1
            found = page.at(*place) if place not in page.formulas else None
        room.take(max(row - len(page.cells), 0) + column)
        while len(page.cells) <= row:
            page.cells.append([])
        cells = page.cells[row]
        cells += [None] * (column + 1 - len(cells))
        cells[column] = text if found is None else found
        (left if found is None else followed).append(cell_name(row, column))
    if followed:
        remarks.append(f"formulas without a stored value were followed in {_places(followed)}")
    if left:
        remarks.append(
            f"formulas without a stored value stand in {_places(left)} and say nothing; open the file in a "
            "spreadsheet program and save it, or write the values"
        )


def _fill_merged(page: Page, header: int, room: Room, remarks: list[str]) -> None:
    down: list[str] = []
    across: list[str] = []
    for top, left, bottom, right in page.merged:
        if top <= header:
            continue
        value = page.at(top, left)
        if value is None or not cell_text(value).strip():
            continue
        if bottom > top:
            room.take(min(bottom, len(page.cells)) - top)
            for row in range(top + 1, min(bottom + 1, len(page.cells))):
                cells = page.cells[row]
                cells += [None] * (left + 1 - len(cells))
                cells[left] = value
            down.append(f"{cell_name(top, left)}:{cell_name(bottom, left)}")
        if right > left:
            across.append(f"{cell_name(top, left)}:{cell_name(top, right)}")
    if down:
        remarks.append(f"merged cells were filled downwards: {_places(down)}")
    if across:
        remarks.append(
            f"cells merged across columns were read as the first column alone: {_places(across)}"
        )


def column_number(letters: str) -> int:
    """The number from 0 of a column: A is 0, AA is 26."""
    number = 0
    for letter in letters.upper():
        number = number * 26 + ord(letter) - 64
    return number - 1


def cell_name(row: int, column: int) -> str:
    """A place from 0 as a spreadsheet names it: (0, 0) is A1."""
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return f"{letters}{row + 1}"


def _places(names: Sequence[str]) -> str:
    more = len(names) - _NAMED
    return ", ".join(names[:_NAMED]) + (f" and {more} more" if more > 0 else "")
