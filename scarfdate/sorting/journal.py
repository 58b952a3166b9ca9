"""The journal beside the sheet: what lies on the table, so that a killed kernel loses nothing.

It is written whole or not at all after every change. Before a row is written or taken off, the journal says which
and how many such rows there are; whether that was done before a kill is then read off the sheet.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from scarfdate.errors import ScarfdateError
from scarfdate.files import exchange, read_at_most
from scarfdate.formats import JOURNAL
from scarfdate.reading.table import printable
from scarfdate.sorting.piece import Piece

_ENDING = ".on-the-table.json"
_LONGEST = 2**26  # bytes; what is longer is no journal of a table


@dataclass(frozen=True, slots=True, kw_only=True)
class Filed:
    """A piece that was put into a tray: what was noted, the ``cells`` of its row, the number of the tray from 0."""

    piece: Piece
    cells: tuple[tuple[str, str], ...]
    tray: int

    def plain(self) -> dict[str, object]:
        """As JSON has it."""
        return {"piece": self.piece.plain(), "cells": dict(self.cells), "tray": self.tray}

    @classmethod
    def of_plain(cls, value: object) -> Filed:
        """From `plain`. Raises ScarfdateError where it is none."""
        if not isinstance(value, Mapping) or set(value) != {"piece", "cells", "tray"}:
            raise ScarfdateError("a piece put away has what was noted, its row and its tray")
        cells = value["cells"]
        texts = isinstance(cells, Mapping) and all(isinstance(one, str) for one in cells.values())
        if not texts or not _is_count(value["tray"]):
            raise ScarfdateError("a row is of text, a tray a number")
        return cls(
            piece=Piece.of_plain(value["piece"]), cells=tuple(cells.items()), tray=value["tray"]
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class OnTable:
    """What lies on the table: one piece or two, which is ``held``, what lies in the trays, the last ones put there."""

    pieces: tuple[Piece, ...] = (Piece(),)
    held: int = 0
    trays: tuple[int, ...] = ()
    filed: tuple[Filed, ...] = ()

    @property
    def piece(self) -> Piece:
        """The piece in hand."""
        return self.pieces[self.held]

    def with_piece(self, piece: Piece) -> OnTable:
        """The same with another piece in hand."""
        pieces = list(self.pieces)
        pieces[self.held] = piece
        return replace(self, pieces=tuple(pieces))

    def plain(self) -> dict[str, object]:
        """As JSON has it."""
        return {
            "pieces": [piece.plain() for piece in self.pieces],
            "held": self.held,
            "trays": list(self.trays),
            "filed": [one.plain() for one in self.filed],
        }

    @classmethod
    def of_plain(cls, value: object, trays: int) -> OnTable:
        """From `plain`, of so many trays. Raises ScarfdateError where it is none."""
        if not isinstance(value, Mapping) or set(value) != {"pieces", "held", "trays", "filed"}:
            raise ScarfdateError("it does not say what lies on the table")
        pieces, held, counts, filed = (value[n] for n in ("pieces", "held", "trays", "filed"))
        if (
            not isinstance(pieces, list)
            or not 1 <= len(pieces) <= 2
            or held not in range(len(pieces))
        ):
            raise ScarfdateError("one piece lies on the table, or two")
        if (
            not isinstance(counts, list)
            or not isinstance(filed, list)
            or not all(map(_is_count, counts))
        ):
            raise ScarfdateError("the trays are counts, what is in them a list")
        if len(counts) != trays:
            counts, filed = [0] * trays, []  # of tables with other eras
        return cls(
            pieces=tuple(map(Piece.of_plain, pieces)),
            held=int(held),
            trays=tuple(counts),
            filed=tuple(map(Filed.of_plain, filed)),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Pending:
    """A change of the sheet that is about to be made: the table ``then``, the ``cells`` of the row, whether it is
    ``added`` or taken off, and how ``many`` such rows the sheet had."""

    then: OnTable
    cells: tuple[tuple[str, str], ...]
    added: bool
    many: int


@dataclass(eq=False)
class Journal:
    """The file beside a stock sheet. ``trays``: how many trays there are."""

    sheet: Path
    trays: int
    _last: bytes | None = field(default=None, init=False)

    @property
    def path(self) -> Path:
        """Where it lies."""
        return self.sheet.with_name(f"{self.sheet.name}{_ENDING}")

    def read(self) -> tuple[OnTable, Pending | None]:
        """What lies on the table; and a change that was about to be made when the kernel was killed.

        Raises ScarfdateError where the file is not one of these.
        """
        name = printable(self.path.name)
        self._last = self._content()
        if self._last is None:
            return OnTable(trays=(0,) * self.trays), None
        try:
            value = json.loads(self._last)
            if not isinstance(value, Mapping) or "format" not in value:
                raise ScarfdateError("it is no journal of a sorting table")
            JOURNAL.checked(value["format"], "it")
            now = OnTable.of_plain(value.get("now"), self.trays)
            pending = value.get("pending")
            return now, None if pending is None else self._pending(pending)
        except (ValueError, TypeError, RecursionError, KeyError) as error:
            reason = error if isinstance(error, ScarfdateError) else "it is not whole"
            raise ScarfdateError(
                f"{name}, beside the sheet, cannot be read ({reason}); move it elsewhere, and begin anew"
            ) from None

    def _pending(self, value: Mapping[str, object]) -> Pending:
        cells, many = value["cells"], value["many"]
        if not isinstance(cells, Mapping) or not _is_count(many):
            raise ScarfdateError("it is not whole")
        then = OnTable.of_plain(value["then"], self.trays)
        return Pending(
            then=then, cells=tuple(cells.items()), added=bool(value["added"]), many=int(str(many))
        )

    def write(self, now: OnTable, pending: Pending | None = None) -> None:
        """Write what lies on the table, whole or not at all; the file goes away when nothing does.

        Raises ScarfdateError where it cannot be written, and where another table wrote it since.
        """
        empty = now == OnTable(trays=(0,) * self.trays) and pending is None
        content = None if empty else self._text(now, pending)
        try:
            kept = exchange(self.path, self._last, content)
        except OSError as error:
            raise ScarfdateError(
                f"what is in hand cannot be kept beside the sheet ({error.strerror})"
            ) from None
        if not kept:
            raise ScarfdateError(
                "another sorting table is open on this sheet; close one of them, for only one can keep "
                "what is in hand"
            )
        self._last = content

    def _text(self, now: OnTable, pending: Pending | None) -> bytes:
        value: dict[str, object] = {"format": JOURNAL.version, "now": now.plain()}
        if pending is not None:
            value["pending"] = {
                "then": pending.then.plain(),
                "cells": dict(pending.cells),
                "added": pending.added,
                "many": pending.many,
            }
        text = json.dumps(value, ensure_ascii=False, indent=1)
        return text.encode(errors="backslashreplace")  # half a letter is escaped, as JSON has it

    def _content(self) -> bytes | None:
        try:
            return read_at_most(self.path, _LONGEST)
        except FileNotFoundError:
            return None
        except OSError as error:
            raise ScarfdateError(
                f"{printable(self.path.name)}, beside the sheet, cannot be read ({error.strerror})"
            ) from None


def _is_count(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value < 10**9
