"""The stock sheet on disk: a row is added to it, or taken off it again; whatever else is in it stays as it is.

The file is read anew before each change, so that what another program wrote meanwhile is kept. Rows that are there
keep their bytes; only where the sheet lacks a column that a new row needs is it written anew, cell for cell.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from functools import cached_property
from pathlib import Path

from scarfdate.clues.sides import SIZE
from scarfdate.errors import ScarfdateError, TableError, shown
from scarfdate.files import check_new, exchange, in_short, read_at_most
from scarfdate.reading.table import printable
from scarfdate.sorting.sheet_text import SheetText, new_sheet, read_sheet_text
from scarfdate.tables.priors import Priors

_ENDING = ".csv"
_LONGEST = 64 * 2**20  # bytes: far more than the pieces of a life, and read in a second
_TRIES = 50  # at writing between the writes of another program


class StockSheet:
    """A CSV file with a row a piece. Every method raises ScarfdateError where the file is none or cannot be used.

    ``name``: the file's, for messages; ``columns``: the headings of a sheet that is not there yet.
    """

    def __init__(self, path: str | Path, priors: Priors, columns: tuple[str, ...]) -> None:
        if not isinstance(path, (str, os.PathLike)):
            raise TableError(f"the stock sheet is a {_ENDING} file, got {shown(path)}; name one")
        self.name = printable(str(path))
        if Path(path).suffix.casefold() != _ENDING:
            raise TableError(f"{self.name}: the stock sheet is a {_ENDING} file; name one")
        try:
            self.path = Path(path).resolve()  # of a link, the file that it names
            there = self.path.parent.is_dir()
        except (OSError, ValueError, RuntimeError) as error:
            raise TableError(f"{self.name}: no file can be called so ({in_short(error)})") from None
        if not there:
            folder = printable(str(self.path.parent))
            raise TableError(f"{self.name}: the folder {folder} is not there; make it first")
        if not os.access(self.path.parent, os.W_OK):
            raise TableError(f"{self.name}: its folder is write-protected; name a file elsewhere")
        self._priors, self._columns = priors, columns
        self._parsed: tuple[bytes, SheetText] | None = None
        self._added: list[tuple[bytes | None, bytes, Mapping[str, str]]] = []
        self._last = self._content()
        self._text(self._last)

    def ids(self, *, anew: bool = False) -> list[str]:
        """The numbers of the pieces on the sheet, in their order, as last seen or read ``anew``."""
        return self._text(self._content() if anew else self._last).column("id")

    def in_its_columns(
        self, cells: Mapping[str, str], sides: Mapping[str, str]
    ) -> Mapping[str, str]:
        """The cells with the sides one by one where the sheet has columns for them, and none for both."""
        place = self._text(self._content()).place
        if SIZE not in cells or SIZE in place or not sides or not sides.keys() <= place.keys():
            return cells
        return {**{name: cell for name, cell in cells.items() if name != SIZE}, **sides}

    def count(self, cells: Mapping[str, str]) -> int:
        """How many rows are just these cells, by our columns."""
        return len(self._text(self._content()).places(cells))

    def add(self, cells: Mapping[str, str]) -> str:
        """Write a row; returns what to tell the person, "" where nothing."""
        for _ in range(_TRIES):
            before = self._content()
            after = self._text(before).with_row(cells)
            if self._put(before, after):
                self._added.append((before, after, dict(cells)))
                return self._meanwhile(before, after)
        raise ScarfdateError(
            f"{self.name} is written by another program all the time; the row was not written"
        )

    def take_off(self, cells: Mapping[str, str]) -> str:
        """Take such a row off again, the last of several; returns what to tell the person, "" where nothing.

        Where nothing else was written since, the file is byte for byte what it was before the row.
        """
        before = self._content()
        added = self._added.pop() if self._added and self._added[-1][2] == cells else None
        if added and before == added[1]:
            after = added[0]
        else:
            text = self._text(before)
            if not text.places(cells):
                return (
                    f"{self.name} no longer has that row as it was written; nothing was taken off"
                )
            after = text.without_row(cells)
        if not self._put(before, after):
            return f"{self.name} was written by another program just now; the row is still there"
        return self._meanwhile(before, after)

    def _meanwhile(self, before: bytes | None, after: bytes | None) -> str:
        """That another program changed the file since it was last seen, if so."""
        last, self._last = self._last, after
        if before == last:
            return ""
        if before is None:
            return f"{self.name} was gone; it was begun anew"
        return f"{self.name} was changed by another program meanwhile; all of that is kept"

    def _content(self) -> bytes | None:
        """What is in the file, None where it is not there; refuses what never is to be written over."""
        check_new(self.path, force=True)
        try:
            content = read_at_most(self.path, _LONGEST + 1)
        except FileNotFoundError:
            return None
        except OSError as error:
            raise TableError(f"{self.name} cannot be read ({error.strerror})") from None
        if len(content) > _LONGEST:
            raise TableError(f"{self.name}: more than {_LONGEST} bytes; split the file")
        return content

    def _text(self, content: bytes | None) -> SheetText:
        if not content or not content.strip():
            return self._begun
        if self._parsed is None or self._parsed[0] != content:
            self._parsed = content, read_sheet_text(content, self.name, self._priors)
        return self._parsed[1]

    @cached_property
    def _begun(self) -> SheetText:
        return new_sheet(self._columns, self._priors)

    def _put(self, before: bytes | None, after: bytes | None) -> bool:
        """Write the file, whole or not at all; False where it is no longer what it was ``before``."""
        try:
            return exchange(self.path, before, after)
        except OSError as error:
            raise ScarfdateError(
                f"{shown(self.name)} cannot be written ({error.strerror}); the piece stays in hand"
            ) from None
