"""What a reading of sold records understood, row by row and column by column, as text and frames."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass

import pandas as pd

from scarfdate.columns.understood import cell_in_words
from scarfdate.reading.cells import as_typed
from scarfdate.records.row import BY_RULE, Row, Unread
from scarfdate.show import page

_SHOWN = 60  # characters of a cell that are repeated


@dataclass(frozen=True, eq=False)
class Understood:
    """What a reading of sold records would understand; nothing is refused here.

    ``rows``: one row a row of the table: row, place, known, known_by, clues, price, sold_on, channel,
    days_to_sell, left_out (the reason, "" where it can teach), remarks. ``columns``: one row a column
    of the table: column, read_as ("" where it is not read), remark. ``notes``: remarks on all.
    """

    rows: pd.DataFrame
    columns: pd.DataFrame
    notes: tuple[str, ...]

    @property
    def unread(self) -> int:
        """How many rows, and kinds of cells of the others, cannot be read or hold what cannot be."""
        kinds = [text.partition(":")[0] for text in self.rows["left_out"].tolist() if text]
        notes = sum(isinstance(note, Unread) for note in self.notes)
        return sum(kind not in BY_RULE for kind in kinds) + notes

    def to_string(self, rows: int | None = None) -> str:
        """All of it as plain text: columns, then a line or two for each row, then the remarks.

        ``rows``: how many rows are told; None: all.
        """
        width = max(map(len, self.columns["column"]), default=0)
        lines = [
            f"{column[:40]:<{min(width, 40)}}  {read_as or '-'}"
            + (f"  ({remark})" if remark else "")
            for column, read_as, remark in zip(
                *(self.columns[name].tolist() for name in ("column", "read_as", "remark")),
                strict=True,
            )
        ]
        for one in self.rows.iloc[:rows].to_dict("records"):
            sale = [
                one["price"] and f"sold for {one['price']}",
                one["sold_on"] and f"on {one['sold_on']}",
                one["channel"] and f"at {one['channel']}",
                one["days_to_sell"] and f"after {one['days_to_sell']} days",
            ]
            known = f"{one['known'] or 'no year'} by {one['known_by'] or '?'}"
            parts = [known, one["clues"] or "no clue", " ".join(filter(None, sale))]
            lines += ["", f"row {one['row']} ({one['place']}): " + " | ".join(filter(None, parts))]
            lines += [f"    LEFT OUT, {one['left_out']}"] if one["left_out"] else []
            lines += [f"    {one['remarks']}"] if one["remarks"] else []
        return "\n".join([*lines, "", *(f"- {note}" for note in self.notes)]).strip()

    def _repr_html_(self) -> str:
        return page.view(str(self))

    def __str__(self) -> str:
        return self.to_string()


def understood(
    rows: Sequence[Row],
    places: Sequence[str],
    names: Sequence[str],
    remarks: Mapping[int, Sequence[str]],
    fate: Sequence[tuple[str, str, str]],
    notes: tuple[str, ...],
) -> Understood:
    """From the rows of a table, where each stands, the names of its clues and what became of columns."""
    shown = [
        {
            "row": row.number,
            "place": places[row.number - 1],
            "known": _years(row) if row.last else "",
            "known_by": row.way,
            "clues": "; ".join(
                f"{name} {_quoted(row.cells[name])}"
                for name in names
                if row.cells.get(name) is not None and not name.startswith("note")
            ),
            "price": "" if math.isnan(row.price) else f"{row.price:.2f} {row.currency}".strip(),
            "sold_on": "" if row.sold_on is None else row.sold_on.isoformat(),
            "channel": _short(row.cells.get("sold_channel")),
            "days_to_sell": "" if math.isnan(row.days_to_sell) else f"{row.days_to_sell:g}",
            "left_out": f"{row.kind}: {row.reason}" if row.wrong else "",
            "remarks": "; ".join(remarks.get(row.number, [])),
        }
        for row in rows
    ]
    return Understood(
        pd.DataFrame(shown), pd.DataFrame(fate, columns=["column", "read_as", "remark"]), notes
    )


def _years(row: Row) -> str:
    if row.first == row.last:
        return str(row.last)
    return f"{'..' if row.first == 1 else row.first}/{row.last}"


def _quoted(cell: object) -> str:
    """A cell in quotes, as she wrote it; a number without. A bare None would read as a program's."""
    text = _short(cell)
    if isinstance(cell, str) and cell.startswith("{"):
        with suppress(ValueError, TypeError, AttributeError):  # where it is weights over words
            text = cell_in_words(cell)
    return text if text.replace(".", "", 1).isdecimal() else f"“{text}”"


def _short(cell: object) -> str:
    text = " ".join(as_typed(cell).split())
    return "".join(letter if letter.isprintable() else "?" for letter in text[:_SHOWN])
