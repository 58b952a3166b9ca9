"""One page of an .ods file: the table of ``content.xml`` (OpenDocument 1.2, part 1, sections 9.1 and 19)."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from xml.etree import ElementTree

from scarfdate.errors import TableError
from scarfdate.reading.package import unpacked_size
from scarfdate.reading.pages import Page, Room, chosen

_TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
_TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"
_MOST_ROWS, _MOST_COLUMNS = 2**20, 2**14
_BLANKS = 64  # in a row that are told by their number: as many bytes as it takes to say a number, and some


def ods_page(content: bytes, name: str, sheet: str | int | None) -> tuple[Page, Room]:
    """The page of an OpenDocument spreadsheet that is meant, and its room. Raises TableError for what is none."""
    try:
        unpacked_size(content, name)
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            text = packed.read("content.xml")
        tables = [*ElementTree.fromstring(text).iter(f"{_TABLE}table")]
        titles = [table.get(f"{_TABLE}name", f"Sheet{at}") for at, table in enumerate(tables, 1)]
        place = chosen(titles, name, sheet)
        others = [title for at, title in enumerate(titles) if at != place]
        page = Page(title=titles[place], cells=[], others=others)
        room = Room(name, len(text))
        _read(tables[place], page, room)
    except TableError:
        raise
    except Exception as error:  # a broken package fails in as many ways as it has parts
        raise TableError(
            f"{name}: not a spreadsheet that can be read ({type(error).__name__}); save it anew as .ods or CSV"
        ) from None
    return page, room


def _read(table: ElementTree.Element, page: Page, room: Room) -> None:
    merged: list[tuple[int, int, int, int]] = []
    formulas: dict[tuple[int, int], str] = {}
    waiting = 0  # blank rows, which count only where a row with cells follows
    for row in _rows(table):
        cells: list[object] = []
        top = len(page.cells) + waiting
        for cell in row:
            if cell.tag not in (f"{_TABLE}table-cell", f"{_TABLE}covered-table-cell"):
                continue
            at = len(cells)
            value = None if cell.tag.endswith("covered-table-cell") else _value(cell)
            down = _count(cell, "number-rows-spanned")
            right = _count(cell, "number-columns-spanned")
            if down > 1 or right > 1:
                merged.append((top, at, top + down - 1, at + right - 1))
            formula = cell.get(f"{_TABLE}formula")
            if value is None and formula:
                formulas[top, at] = formula
            repeated = _count(cell, "number-columns-repeated")
            if at + repeated > _MOST_COLUMNS and value is None:
                break  # the blank rest of the row
            room.take(min(repeated, _MOST_COLUMNS - at))
            cells += [value] * min(repeated, _MOST_COLUMNS - at)
        while cells and cells[-1] is None:
            cells.pop()
        repeated = _count(row, "number-rows-repeated")
        if not cells and not any(place[0] == top for place in formulas):
            waiting += repeated
            continue
        if top + repeated > _MOST_ROWS:
            raise ValueError("more rows than the format allows")
        room.take(waiting + (repeated - 1) * len(cells))
        page.cells += [[] for _ in range(waiting)]
        page.cells += [list(cells) for _ in range(repeated)]
        waiting = 0
    page.merged, page.formulas = merged, formulas


def _rows(table: ElementTree.Element) -> Iterator[ElementTree.Element]:
    """The rows, those in groups and of repeated headings too, but none of a table inside a cell."""
    for part in table:
        if part.tag == f"{_TABLE}table-row":
            yield part
        elif part.tag in (f"{_TABLE}table-rows", f"{_TABLE}table-header-rows",
                          f"{_TABLE}table-row-group"):  # fmt: skip
            yield from _rows(part)


def _count(element: ElementTree.Element, name: str) -> int:
    return max(1, int(element.get(f"{_TABLE}{name}", "1")))


def _value(cell: ElementTree.Element) -> object:
    """The value of a cell: a number, or text; None where it is blank."""
    kind = cell.get(f"{_OFFICE}value-type")
    if kind in ("float", "currency", "percentage"):
        number = float(cell.get(f"{_OFFICE}value", "nan"))
        return int(number) if number.is_integer() and abs(number) < 2**53 else number
    if kind == "date":
        return cell.get(f"{_OFFICE}date-value", "").removesuffix("T00:00:00") or None
    if kind == "boolean":
        return cell.get(f"{_OFFICE}boolean-value") == "true"
    text = "\n".join(_written(part) for part in cell if part.tag == f"{_TEXT}p")
    return text or None


def _written(part: ElementTree.Element) -> str:
    """The text of a paragraph, with its blanks and tabs."""
    words = [part.text or ""]
    for inner in part:
        if inner.tag == f"{_TEXT}s":
            words.append(" " * min(int(inner.get(f"{_TEXT}c", "1")), _BLANKS))
        elif inner.tag == f"{_TEXT}tab":
            words.append("\t")
        elif inner.tag == f"{_TEXT}line-break":
            words.append("\n")
        elif inner.tag != f"{_OFFICE}annotation":
            words.append(_written(inner))
        words.append(inner.tail or "")
    return "".join(words)
