"""Rows of a dealer's book understood one by one: what is known, by what, what was seen, what was paid.

Every row that cannot teach has its reason. What was seen is read as `date_table` reads it, so that a record teaches by
the likelihood by which a piece is dated: of a doubted cell the weights over its words, of a cell that cannot be
read nothing, with a remark. Cells that cannot both be so cost the row; a price or a sale date is blanked, with a remark.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence

from scarfdate.columns.columns_map import ColumnsMap
from scarfdate.errors import shown
from scarfdate.reading.cells import column_name
from scarfdate.reading.observation import read_observation
from scarfdate.records.circularity import Circularity
from scarfdate.records.row import Row
from scarfdate.records.row_date import DateReader
from scarfdate.records.sheet_rows import SheetRows, alike, clue_frame
from scarfdate.records.sold_files import SoldTable
from scarfdate.tables.families import DESCRIPTION
from scarfdate.tables.priors import Priors


class RowReader(SheetRows):
    """Reads the rows of one table. ``admit``: circular ways that are let in; ``today``: the last day
    on which a piece can have been sold; ``copies``: whether rows that are alike stand for one piece each.
    """

    def __init__(
        self,
        priors: Priors,
        using: ColumnsMap,
        *,
        admit: Sequence[str],
        today: datetime.date,
        copies: bool,
    ) -> None:
        super().__init__(priors, using, today)
        self.copies = copies
        self.date = DateReader(today, self.notes, priors.date_words)
        headers = {
            column_name(field): own for own, fields in using.columns.items() for field in fields
        }
        self.circularity = Circularity(priors, admit, headers, self.notes)

    def rows(self, table: SoldTable, places: Mapping[str, tuple[int, ...]]) -> list[Row]:
        """All rows, in their order, each with what is wrong with it."""
        read = self.cells(Row, table, places)
        self._without_descriptions(read)
        keys = [alike(row, "id") for row in read]  # before anything is blanked
        self.in_plain_words(read)
        for row in read:
            self.date.way(row)
            self.sale.read(row)
            self.date.known(row)
            self.circularity.apply(row)
        self.read_clues(read, clue_frame(read, self.clue_names(read)), noted=False)
        self._twice(read, keys)
        return read

    def _without_descriptions(self, rows: Sequence[Row]) -> None:
        """Free words are read generously, and often say when the piece was made: what teaches is noted in columns."""
        described = [row for row in rows if row.cells.pop(DESCRIPTION, None) is not None]
        if described:
            self.notes.say(
                f"{_rows(len(described))} with a description: kept, and not read here; what is to teach stands in "
                "a column of its clue"
            )

    def _twice(self, rows: Sequence[Row], keys: Sequence[tuple[str, ...]]) -> None:
        """Second rows of one piece, and copies of a row, among those that could teach."""
        ids: dict[str, int] = {}
        seen: dict[tuple[str, ...], int] = {}
        copies = 0
        for row, key in zip(rows, keys, strict=True):
            if row.wrong:
                continue
            name = str(row.cells.get("id") or "").strip()
            earlier = seen.get(key)
            if earlier is not None and not self.copies:
                copies += 1
                row.wrong.append(("duplicate", f"a copy of row {earlier}: the same in all that is "
                                  "read but the id"))  # fmt: skip
            elif name and name in ids:
                row.wrong.append(("duplicate", f"id {shown(name)} stands in row {ids[name]}, too: a "
                                  "piece teaches once; give each piece an id of its own"))  # fmt: skip
            else:
                seen.setdefault(key, row.number)
                if name:
                    ids[name] = row.number
        if copies:
            self.notes.say(
                f"{_rows(copies)} {'is a copy' if copies == 1 else 'are copies'} of another row, the same "
                "in all that is read but the id, and left out; where they are pieces of their own, give each "
                "its sale date, or pass copies=True"
            )

    def about_all(self, rows: Sequence[Row]) -> None:
        """Remarks on the rows that teach, taken together."""
        n = len(rows)
        bare = [row.number for row in rows if not self.circularity.seen(row)]
        for number in bare:
            self.notes.add(
                "no clue is noted: such a record teaches only which years are offered", number
            )
        curated = sum(row.way == "museum-record" for row in rows)
        if curated:
            self.notes.say(
                f"{_rows(curated)} known by a museum's record: curators date by style and technique, "
                "too, and the shipped tables rest on such records already"
            )
        for name in self.priors.shares:
            words = {self._canonical(name, row.cells.get(name)) for row in rows} - {None}
            if n > 1 and len(words) == 1:
                title = self.priors.families[name].title
                self.notes.say(
                    f"every record that names {title} says {words.pop()}: "
                    f"the shares of {title} cannot be learned from these"
                )
        if n > 1 and len({(row.first, row.last) for row in rows}) == 1:
            self.notes.say(
                "every record is known to the same years: nothing can be learned of others"
            )

    def _canonical(self, name: str, cell: object) -> str | None:
        seen = None if cell is None else read_observation(self.priors, name, cell)
        return None if seen is None else str(seen)


def _rows(count: int) -> str:
    return "1 row" if count == 1 else f"{count} rows"
