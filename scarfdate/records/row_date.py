"""The date of a row of a dealer's book: which years are known, and by what."""

from __future__ import annotations

import datetime

from scarfdate.columns.names import WAYS, unknown_way, way_of
from scarfdate.records.known_years import Known, known_years
from scarfdate.records.row import Notes, Row
from scarfdate.words.date_phrases import DateWords

_OPEN_FIRST = 1  # first year of an open start: no piece is older


class DateReader:
    """Reads how and to which years a piece is dated; ``today``: the last day on which it can have been sold."""

    def __init__(self, today: datetime.date, notes: Notes, words: DateWords) -> None:
        self.today, self.notes, self.words = today, notes, words

    def way(self, row: Row) -> None:
        """How the date is known."""
        cell = row.cells.get("known_by")
        if cell is None:
            row.wrong.append(
                ("no-date", f"known_by is blank: how is the date known? allowed: {', '.join(WAYS)}")
            )
            return
        row.way = way_of(cell)
        if not row.way:
            row.wrong.append(("unreadable", f"known_by: {unknown_way(cell)}"))

    def known(self, row: Row) -> None:
        """The years in which it can have been made; the sale must have been read before."""
        cells = [row.cells.get(name) for name in ("known", "known_from", "known_to")]
        known = known_years(self.words, *cells)
        if known is None:
            row.wrong.append(
                (
                    "no-date",
                    "no year is given in which it was made; fill known, or known_from and known_to",
                )
            )
        elif known.problem:
            row.wrong.append(("unreadable", known.problem))
        else:
            self._bounded(row, known)

    def _bounded(self, row: Row, known: Known) -> None:
        """Cut at the year of the sale, or of today, what can be cut; refuse what cannot be."""
        first = _OPEN_FIRST if known.first is None else known.first
        year = self.today.year
        sold = year if row.sold_on is None else min(row.sold_on.year, year)
        last = sold if known.last is None else known.last
        row.first, row.last = first, max(last, first)
        if known.last is not None and first > last:
            row.wrong.append(("contradictory", f"known to be made from {first} to {last}: it begins "
                              "after it ends; exchange the years, or mend one"))  # fmt: skip
            return
        # the end of a decade ("202X") may lie ahead; a year that was written may not
        if first > year or (known.last is not None and last > year and last % 10 != 9):
            ahead = first if first > year else last
            row.wrong.append(("future", f"known to be made in {ahead}, which lies after {year}; "
                              "mend the year"))  # fmt: skip
            return
        if first > sold:
            row.wrong.append(("contradictory", f"sold in {sold}, before the first year in which it "
                              f"can have been made ({first}); mend one of them"))  # fmt: skip
            return
        if last > sold:
            row.last = sold
            self.notes.add("known years after the sale were cut off", row.number)
        if known.approximate:
            self.notes.add("known years that say 'about' are read as the years they name; "
                           "write an interval where they may be off", row.number)  # fmt: skip
