"""Rows of a dealer's book understood one by one: what is known, by what, what was seen, what was paid.

Every row that cannot teach has its reason. A cell that cannot be read costs the row only where the row would
teach something wrong without it; a price or a sale date is blanked, with a remark.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping, Sequence

import pandas as pd

from scarfdate.answer.frame import Columns
from scarfdate.conventions import CHANNEL
from scarfdate.errors import shown
from scarfdate.model.model import compiled
from scarfdate.reading.cells import column_name, is_blank, read_observation
from scarfdate.records.circularity import Circularity
from scarfdate.records.column_names import SOLD, WAYS, unknown_way, way_of
from scarfdate.records.columns_map import ColumnsMap
from scarfdate.records.days import days, sale_date
from scarfdate.records.known_years import Known, known_years
from scarfdate.records.money import currency_of, is_code, price
from scarfdate.records.row import Notes, Row
from scarfdate.records.sold_files import SoldTable
from scarfdate.tables.priors import Priors
from scarfdate.tables.words import plain

_BLOCK = 4096  # rows whose clues are read at a time
_OPEN_FIRST = 1  # first year of an open start: no piece is older


class RowReader:
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
        self.priors, self.using = priors, using
        self.today, self.copies = today, copies
        self.notes = Notes()
        headers = {
            column_name(field): own for own, fields in using.columns.items() for field in fields
        }
        self.circularity = Circularity(priors, admit, headers, self.notes)

    def rows(self, table: SoldTable, places: Mapping[str, tuple[int, ...]]) -> list[Row]:
        """All rows, in their order, each with what is wrong with it."""
        names = list(dict.fromkeys((*places, *self.using.constants)))
        read = [
            Row(at + 1, {name: self._raw(table, name, places.get(name, ()), at) for name in names})
            for at in range(len(table.places))
        ]
        alike = [self._key(row) for row in read]  # before anything is blanked
        for row in read:
            self._way(row)
            self._sale(row)
            self._known(row)
            self.circularity.apply(row)
        self._read_clues(read)
        self._twice(read, alike)
        return read

    def _raw(self, table: SoldTable, name: str, places: Sequence[int], at: int) -> object:
        """A cell in our words: columns joined, their words exchanged, blanks filled."""
        cells = [table.columns[place][at] for place in places]
        if len(cells) > 1:
            joined = "; ".join(str(cell) for cell in cells if cell is not None)
            cells = [joined or None]
        cell = cells[0] if cells else None
        words = self.using.words.get(name)
        if words and isinstance(cell, (str, int, float)):
            cell = words.get(plain(str(cell)), cell) if len(str(cell)) < 200 else cell
        if is_blank(cell):
            cell = self.using.constants.get(name)
        if name in self.priors.shares and self.priors.vocabulary.says_nothing(name, cell):
            return None
        if name in ("id", "maker", "label_text", "sold_channel") and isinstance(cell, (int, float)):
            cell = str(int(cell) if isinstance(cell, float) and cell.is_integer() else cell)
        return cell

    @staticmethod
    def _key(row: Row) -> tuple[str, ...]:
        return tuple(f"{name}={cell!s}".casefold() for name, cell in row.cells.items()
                     if name != "id" and cell is not None)  # fmt: skip

    # ------------------------------------------------------------------------- known, and how

    def _way(self, row: Row) -> None:
        cell = row.cells.get("known_by")
        if cell is None:
            row.wrong.append(("no-date", f"known_by is blank: how is the date known? {_ways()}"))
            return
        row.way = way_of(cell)
        if not row.way:
            row.wrong.append(("unreadable", f"known_by: {unknown_way(cell)}"))

    def _known(self, row: Row) -> None:
        cells = [row.cells.get(name) for name in ("known", "known_from", "known_to")]
        known = known_years(*cells)
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

    # ------------------------------------------------------------------------------ the sale

    def _sale(self, row: Row) -> None:
        row.sold_on = self._day(row, "sold_on")
        listed = self._day(row, "listed_on")
        if row.sold_on is not None and row.sold_on > self.today:
            row.wrong.append(("future", f"sold on {row.sold_on}, which lies after {self.today}; "
                              "mend the date"))  # fmt: skip
        words = self.using.words.get("sold_currency", {})
        stated = self.using.currency
        if (cell := row.cells.get("sold_currency")) is not None:
            own, problem = currency_of(str(cell)[:80], words)
            if problem:
                self.notes.add(f"sold_currency was not read: {problem}", row.number, cell)
            stated = own or stated
        code = stated if is_code(stated) else ""
        for name in ("sold_price", "costs"):
            if (cell := row.cells.get(name)) is None:
                continue
            money = price(cell, self.using.decimal, words, code, free=name == "costs")
            if money.problem:
                self.notes.add(f"{name} was not read: {money.problem}", row.number, cell)
            elif stated and not code and money.currency not in ("", stated):
                self.notes.add(f"{name} was not read: in another currency than sold_currency says",
                               row.number, cell)  # fmt: skip
            elif name == "sold_price":
                row.price, row.currency = money.amount, money.currency or stated
                self._sign_alone(row)
            elif row.currency and money.currency and money.currency != row.currency:
                self.notes.add(
                    "costs was not read: in another currency than the price", row.number, cell
                )
            else:
                row.costs, row.currency = money.amount, row.currency or money.currency
        self._days(row, listed)

    def _sign_alone(self, row: Row) -> None:
        if row.currency and not is_code(row.currency):
            self.notes.add(f"the sign {row.currency} is that of several currencies; state currency, "
                           "or [words.sold_currency], in the map of columns", row.number)  # fmt: skip

    def _day(self, row: Row, name: str) -> datetime.date | None:
        cell = row.cells.get(name)
        if cell is None:
            return None
        day, problem = sale_date(cell, self.using.date_order)
        if problem:
            self.notes.add(f"{name} was not read: {problem}", row.number, cell)
        return day

    def _days(self, row: Row, listed: datetime.date | None) -> None:
        cell = row.cells.get("days_to_sell")
        if cell is not None:
            row.days_to_sell, problem = days(cell)
            if problem:
                self.notes.add(f"days_to_sell was not read: {problem}", row.number, cell)
        if row.sold_on is None or listed is None:
            return
        between = (row.sold_on - listed).days
        if between < 0:
            self.notes.add("listed_on lies after sold_on and is not used", row.number)
        elif math.isnan(row.days_to_sell):
            row.days_to_sell = float(between)
        elif between != row.days_to_sell:
            self.notes.add("days_to_sell differs from the days between listed_on and sold_on; "
                           "it stands as it was written", row.number)  # fmt: skip

    # ----------------------------------------------------------------------- clues and copies

    def clue_names(self, rows: Sequence[Row]) -> list[str]:
        """The columns of clues and notes of a table, in its order, and those that labels filled."""
        names = dict.fromkeys(name for row in rows for name in row.cells)
        return [name for name in names if name not in SOLD]

    def _read_clues(self, rows: Sequence[Row]) -> None:
        """What `date_table` would refuse of each row, and what it finds odd."""
        names = self.clue_names(rows)
        frame = clue_frame(rows, names)
        channels = self.priors.century.channels
        channel = CHANNEL if CHANNEL in channels else next(iter(channels))
        model = compiled(self.priors, channel, self.today.year)
        columns = Columns(model, frame)
        for start in range(0, len(frame), _BLOCK):
            columns.model = compiled(self.priors, channel, self.today.year)  # a new one when full
            block = columns.block(start, min(start + _BLOCK, len(frame)))
            for at, errors in block.errors.items():
                rows[start + at].wrong += [("unreadable", error) for error in errors]
            for at, warnings in block.warnings.items():
                for warning in dict.fromkeys(warnings):
                    self.notes.add(warning, start + at + 1)

    def _twice(self, rows: Sequence[Row], alike: Sequence[tuple[str, ...]]) -> None:
        """Second rows of one piece, and copies of a row, among those that could teach."""
        ids: dict[str, int] = {}
        seen: dict[tuple[str, ...], int] = {}
        copies = 0
        for row, key in zip(rows, alike, strict=True):
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


def clue_frame(rows: Sequence[Row], names: Sequence[str]) -> pd.DataFrame:
    """The clues of some rows as `date_table` takes them, None where nothing was seen."""
    cells = {name: pd.Series([row.cells.get(name) for row in rows], dtype=object) for name in names}
    return pd.DataFrame(cells, index=pd.RangeIndex(len(rows)))


def _ways() -> str:
    return f"allowed: {', '.join(WAYS)}"


def _rows(count: int) -> str:
    return "1 row" if count == 1 else f"{count} rows"
