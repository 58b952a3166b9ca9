"""The conditions of the pieces of a book: a column of words, and columns headed by a kind of fault."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from scarfdate.reading.cells import column_name
from scarfdate.records.row import Notes, Row
from scarfdate.records.sold_files import Opened
from scarfdate.tables.priors import Priors
from scarfdate.worth.condition import Condition
from scarfdate.worth.condition_columns import COLUMN, conditions_read, fault_headings


def fault_columns(opened: Opened, priors: Priors) -> list[int]:
    """The numbers of the columns that are nothing else and are headed by a kind of fault ("holes")."""
    kinds = fault_headings(priors)
    return [
        place
        for place, (name, own, remark) in enumerate(opened.placed.fate)
        if not own and remark != "ignored" and column_name(name) in kinds
    ]


def conditions(
    rows: Sequence[Row], opened: Opened, priors: Priors, notes: Notes
) -> list[Condition | None]:
    """The condition of each row, None where nobody looked; what is not understood is a remark."""
    if priors.condition is None:
        return [None] * len(rows)
    cells: dict[str, list[object]] = {COLUMN: [row.cells.get(COLUMN) for row in rows]}
    for place in fault_columns(opened, priors):
        cells[opened.placed.fate[place][0]] = opened.table.columns[place]
    found = conditions_read(pd.DataFrame(cells, dtype=object), priors)
    for row, (_, unread, _) in zip(rows, found, strict=True):
        if unread:
            cell = row.cells.get(COLUMN)
            notes.unread(f"condition: {', '.join(unread)!r} is not understood", row.number, cell)
    return [one.condition for one in found]
