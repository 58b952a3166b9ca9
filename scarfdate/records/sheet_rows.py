"""Rows of a dealer's book as cells in our words, and what `date_table` would say of their clues."""

from __future__ import annotations

import datetime
import json
from collections.abc import Iterator, Mapping, Sequence
from typing import TypeVar

import pandas as pd

from scarfdate.answer.frame import Block, Columns
from scarfdate.clues.kinds import fields_of
from scarfdate.columns.columns_map import ColumnsMap
from scarfdate.columns.names import SOLD
from scarfdate.columns.placing import own_cell
from scarfdate.conventions import CHANNEL
from scarfdate.errors import ScarfdateError
from scarfdate.model.model import compiled
from scarfdate.records.row import Notes, Row
from scarfdate.records.row_sale import SaleReader
from scarfdate.records.sold_files import SoldTable
from scarfdate.tables.priors import Priors

_BLOCK = 4096  # rows whose clues are read at a time

AnyRow = TypeVar("AnyRow", bound=Row)


class SheetRows:
    """The cells of one table. ``today``: the last day on which a piece can have been sold."""

    def __init__(self, priors: Priors, using: ColumnsMap, today: datetime.date) -> None:
        self.priors, self.using, self.today = priors, using, today
        self.notes = Notes()
        self.sale = SaleReader(
            using, today, self.notes, priors.words_of_sheets, priors.date_words.months
        )

    def cells(
        self, made: type[AnyRow], table: SoldTable, places: Mapping[str, tuple[int, ...]]
    ) -> list[AnyRow]:
        """All rows, in their order, with their cells and nothing understood yet."""
        names = list(dict.fromkeys((*places, *self.using.constants)))
        rows = [
            made(
                at + 1, {name: self._cell(table, name, places.get(name, ()), at) for name in names}
            )
            for at in range(len(table.places))
        ]
        self.sale.settle(rows)
        return rows

    def _cell(self, table: SoldTable, name: str, places: Sequence[int], at: int) -> object:
        cells = [table.columns[place][at] for place in places]
        return own_cell(self.using, self.priors, name, cells)

    def clue_names(self, rows: Sequence[Row]) -> list[str]:
        """The columns of clues and notes of a table, in its order, and those that labels filled."""
        names = dict.fromkeys(name for row in rows for name in row.cells)
        return [name for name in names if name not in SOLD]

    def read_clues(self, rows: Sequence[Row], frame: pd.DataFrame, *, noted: bool) -> None:
        """What `date_table` finds odd in the clues of each row, and what of them it cannot read.

        ``frame``: the clues of the rows. ``noted``: doubt and alternatives are read, and what cannot be
        read is a remark; without it the row is left out as unreadable.
        """
        for start, block in self._blocks(frame, noted):
            for at, errors in block.errors.items():
                if not noted:
                    rows[start + at].wrong += [("unreadable", error) for error in errors]
                    continue
                for error in dict.fromkeys(errors):
                    cell, _, _ = error.partition("; allowed: ")
                    self.notes.unread(f"{cell}; it is left out", start + at + 1)
            for at, warnings in block.warnings.items():
                for warning in dict.fromkeys(warnings):
                    self.notes.add(warning, start + at + 1)

    def in_plain_words(self, rows: Sequence[Row]) -> None:
        """Write cells of doubt, of alternatives and with words of other clues in plain words, as `date_table` reads them
        ("silk?" as weights over words); what of them cannot be read is blank, and told."""
        frame = clue_frame(rows, self.clue_names(rows))
        odd = {start + at for start, block in self._blocks(frame, False) for at in block.errors}
        for at in sorted(odd):
            self._in_plain_words(rows[at])

    def _in_plain_words(self, row: Row) -> None:
        fields, others = fields_of(self.priors), dict[str, object]()
        for one in fields:
            columns = [name for name in one.columns if name not in SOLD]
            own = [row.cells.get(name) for name in columns]
            if len(columns) < len(one.columns) or all(cell is None for cell in own):
                continue  # a date is no clue of a book
            try:
                one.reads(*own)
                continue
            except ScarfdateError as error:
                found, told = one.as_noted(*own), [str(error).partition("; allowed: ")[0]]
            row.cells |= {name: None for name in columns if name in row.cells}
            if found is not None:
                told = [one.told_unread(own, found.unread)] if found.unread else []
                if found.value is not None:
                    row.cells |= {
                        n: _plain(cell) for n, cell in found.value.cells(one.name).items()
                    }
                others = {**found.others, **others}
                for name in found.others:
                    self.notes.add(f"{one.name}: words of {name} are read there", row.number)
                for remark in found.odd:
                    self.notes.add(remark, row.number)
            for remark in told:
                self.notes.unread(f"{remark}; it is left out", row.number)
        for name, cell in others.items():
            if name in fields.by_name and fields.by_name[name].says_nothing(row.cells.get(name)):
                row.cells[name] = cell

    def _blocks(self, frame: pd.DataFrame, noted: bool) -> Iterator[tuple[int, Block]]:
        """A block of rows at a time as they are read for the model, with the place of the first."""
        channels = self.priors.century.channels
        channel = CHANNEL if CHANNEL in channels else next(iter(channels))
        columns = Columns(compiled(self.priors, channel, self.today.year), frame, noted=noted)
        for start in range(0, len(frame), _BLOCK):
            columns.model = compiled(self.priors, channel, self.today.year)  # a new one when full
            yield start, columns.block(start, min(start + _BLOCK, len(frame)))


def _plain(cell: object) -> object:
    """A cell as it can be written into a table: weights over words as JSON."""
    return json.dumps(cell, ensure_ascii=False) if isinstance(cell, dict) else cell


def alike(row: Row, *aside: str) -> tuple[str, ...]:
    """What a row says, as copies of it would say it, columns ``aside`` not counted."""
    return tuple(f"{name}={cell!s}".casefold() for name, cell in row.cells.items()
                 if name not in aside and cell is not None)  # fmt: skip


def clue_frame(rows: Sequence[Row], names: Sequence[str]) -> pd.DataFrame:
    """The clues of some rows as `date_table` takes them, None where nothing was seen."""
    cells = {name: pd.Series([row.cells.get(name) for row in rows], dtype=object) for name in names}
    return pd.DataFrame(cells, index=pd.RangeIndex(len(rows)))
