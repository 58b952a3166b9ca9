"""What keeps a date from teaching the clues that it was read from.

Which ways of knowing are circular, and why, stands at the head of `scarfdate.records.sold`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from scarfdate.clues.field import Field
from scarfdate.clues.kinds import fields_of, keywords
from scarfdate.clues.label_field import ORIGIN
from scarfdate.clues.shares_field import LABEL, NONE_SEEN
from scarfdate.clues.sides import DERIVED
from scarfdate.columns.names import SOLD
from scarfdate.errors import ScarfdateError, did_you_mean, shown
from scarfdate.reading.cells import column_name
from scarfdate.reading.observation import BY_LABEL
from scarfdate.records.row import Notes, Row
from scarfdate.tables.priors import Priors

ADMITTED = ("own-judgement", "label-law")  # refused unless they are admitted


class Circularity:
    """Refuses circular rows, or blanks the clues in question.

    ``admit``: of `ADMITTED`, what is let in. ``headers``: the table's own name of a column, as
    compared, to ours: people write in ``judged_by`` what stands above the column.
    """

    def __init__(
        self, priors: Priors, admit: Sequence[str], headers: Mapping[str, str], notes: Notes
    ) -> None:
        self.priors, self.admit, self.headers = priors, frozenset(admit), headers
        self.notes = notes
        # `known` and its kin are a clue of a stock sheet; here they are the date that is to teach
        aside = {"id", "note", "methods", *SOLD}
        self._clues = [name for name in keywords(priors) if name not in aside]
        self._fields = fields_of(priors)
        self._years = {column for one in self._fields if one.is_year for column in one.columns}
        self._label = {one.name for one in self._fields if one.of_label}
        self._texts = [one for one in self._fields if one.tells and one.of_label]
        # clues that the words of a label fill, too
        self._told = {name for one in self._texts for name in one.others} - self._label

    def apply(self, row: Row) -> None:
        """Blank in the row what its date would teach itself, or say why the row is refused."""
        if row.way in ("printed-date", "dated-event"):
            self._read_off_the_piece(row)
        elif row.way == "label-law":
            self._by_the_label(row)
        elif row.way == "own-judgement":
            self._judged(row)

    def _read_off_the_piece(self, row: Row) -> None:
        blanked = self._blank(row, self._years)
        blanked += [one.name for one in self._texts if self._without_its_year(row, one)]
        if blanked:
            self.notes.add(
                f"{row.way}: {', '.join(blanked)} not used as a clue here, because the date comes from it",
                row.number,
            )

    def _without_its_year(self, row: Row, one: Field) -> bool:
        """Blank words that show a year, and keep what they tell of other clues; whether there were any."""
        try:
            seen, _ = one.reads(*(row.cells.get(column) for column in one.columns))
        except ScarfdateError:
            return False  # refused with all else that cannot be read
        if seen is None or not one.prints_year(seen):
            return False
        for name, cells in one.fills(seen).items():
            other = self._fields.by_name.get(name)
            if other is not None and other.says_nothing(row.cells.get(name)):
                row.cells |= cells
        row.cells[one.name] = None
        return True

    def _by_the_label(self, row: Row) -> None:
        read_off = self._label_clues(row)
        worded = any(row.cells.get(one.name) is not None for one in self._texts)
        if not worded and self._word(row, LABEL) == NONE_SEEN:
            row.wrong.append(("contradictory", "known by label law, but label says none-seen; "
                              "mend one of them"))  # fmt: skip
            return
        if not read_off:
            return
        if "label-law" not in self.admit:
            row.wrong.append(("circular", "the date was read off the label, and the label is a clue "
                              f"({', '.join(read_off)}); admit=('label-law',) lets the record in "
                              "without it"))  # fmt: skip
            return
        self._teach_without(row, set(read_off))

    def _label_clues(self, row: Row) -> list[str]:
        """What of a record was, or may have been, read off its label."""
        names = [*sorted(self._label), ORIGIN]
        names += [one.name for one in self._fields
                  if one.method and self._word(row, one.method, "method") == BY_LABEL]  # fmt: skip
        names = list(dict.fromkeys(names))
        return [name for name in names if row.cells.get(name) is not None]

    def _word(self, row: Row, name: str, family: str = "") -> str:
        cell = row.cells.get(name)
        try:
            return (
                self.priors.vocabulary.canonical(family or name, cell)
                if isinstance(cell, str)
                else ""
            )
        except ScarfdateError:
            return ""

    def _judged(self, row: Row) -> None:
        refusal = "the date is an own judgement, read from the clues that it would teach"
        if "own-judgement" not in self.admit:
            row.wrong.append(("circular", f"{refusal}; admit=('own-judgement',) lets the record in "
                              "without the clues that judged_by names"))  # fmt: skip
            return
        cell = row.cells.get("judged_by")
        parts = [column_name(part) for part in re.split("[;,]", str(cell or "")) if part.strip()]
        named = [self.headers.get(part, part) for part in parts]
        if not named:
            row.wrong.append(("circular", f"{refusal}; judged_by is blank: name the clues it was "
                              "read from, such as 'fibre; hem'"))  # fmt: skip
            return
        away: set[str] = set()
        known = [*self._clues, *DERIVED]
        for name in named:
            if name not in known:
                row.wrong.append(("unreadable", f"judged_by: {shown(name)} is not the name of a clue; "
                                  f"{did_you_mean(name, known)}"))  # fmt: skip
            away |= self._group(name)
        if away & self._label:
            away |= {*self._label_clues(row)}
        texts = {one.name for one in self._texts}
        if away & (texts | self._told):
            away |= texts  # their words would tell the others again
        self._teach_without(row, away)

    def _group(self, name: str) -> set[str]:
        """The columns that go with a clue: they say the same, or only together say something."""
        if name in self._label:
            return {*self._label}
        one = self._fields.named(name)
        return {name} if one is None else {*one.columns, *one.derives}

    def _teach_without(self, row: Row, away: set[str]) -> None:
        blanked = self._blank(row, away | {f"{name}_method" for name in away})
        if blanked:
            self.notes.add(
                f"{row.way}: {', '.join(blanked)} left out, because the date was read from there",
                row.number,
            )
        if not self.seen(row):
            row.wrong.append(
                ("circular", "no clue is left that the date was not read from; add another clue")
            )

    def _blank(self, row: Row, names: set[str]) -> list[str]:
        blanked = sorted(name for name in names if row.cells.get(name) is not None)
        for name in blanked:
            row.cells[name] = None
        return blanked

    def seen(self, row: Row) -> list[str]:
        """Names of the clues that a row still has."""
        aside = ("unit", "fringe", "depicted_announced")
        return [n for n in self._clues if n not in aside and row.cells.get(n) is not None]
