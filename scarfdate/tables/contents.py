"""Every table of a priors folder, each made of its files and held against those that it names."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Mapping
from functools import cached_property
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import Array
from scarfdate.errors import FileFault
from scarfdate.tables.century import Century, read_century
from scarfdate.tables.checked import Table
from scarfdate.tables.date_words import DATE_WORDS, read_date_words
from scarfdate.tables.descriptions import DESCRIPTIONS, Descriptions, read_descriptions
from scarfdate.tables.families import Family, read_families
from scarfdate.tables.folder import missing
from scarfdate.tables.knots import (
    KnotTable,
    MeasuredTable,
    SharesTable,
    UsualShares,
    read_knot_table,
)
from scarfdate.tables.listing import (
    OF_A_DESCRIPTION,
    OF_CONDITION,
    PHRASE_FILES,
    CautionWhen,
    ListingWords,
    NotSaid,
    check_said,
    read_listing,
    read_not_said,
)
from scarfdate.tables.lists import (
    FASHIONS,
    LIMITS,
    Check,
    KnownBy,
    Limit,
    Question,
    first_years,
    read_checks,
    read_fashions,
    read_known_by,
    read_limits,
    read_questions,
)
from scarfdate.tables.makers import Makers, read_makers
from scarfdate.tables.noted import DoubtWord, Headings, read_doubt, read_headings
from scarfdate.tables.noting import ConfusionTable, read_on_cloth, read_slip_values, read_slips
from scarfdate.tables.sets import TableSet, folders_of, of_clues
from scarfdate.tables.sheet_words import SHEET_WORDS, SheetWords, read_sheet_words
from scarfdate.tables.wording import WORDING, Wording, read_wording
from scarfdate.tables.words import Vocabulary, read_vocabulary
from scarfdate.words.date_phrases import DateWords

if TYPE_CHECKING:
    from scarfdate.tables.card import CardTables
    from scarfdate.tables.drawings import DrawingRow
    from scarfdate.tables.label import LabelRules
    from scarfdate.tables.medium import MediumRules
    from scarfdate.tables.practice import PracticeTables
    from scarfdate.tables.sorting import Keys
    from scarfdate.tables.worth_condition import ConditionTables
    from scarfdate.tables.worth_pooling import Pooling

SLIP_VALUES, LANGUAGES = "slip_values.csv", "word_languages.csv"
_NO_SLIPS = ("bounds",)  # kinds whose errors stand in another table, known_by.csv
_DECIDING = "worth/deciding.csv"
_ALL = 100  # per cent
WORDS = ("vocabulary.csv", "families.csv")  # the two by whose words all others are checked
_MEDIUM = ("vocabulary.csv", "medium_rules.csv", "medium_together.csv")

T = TypeVar("T")
# What was last read of each file: two folders of priors mostly differ in a file or two
_KEPT: dict[str, tuple[object, Any]] = {}


class Contents:
    """All tables of a folder, by the fields of `Priors`; each is made of its files when it is first asked for, and by
    readers that are loaded then: to date a piece few are needed.

    Faults of files are added to a list, so that all of them can be told at once.
    """

    def __init__(
        self, tables: Mapping[str, Table], files: Mapping[str, bytes], faults: list[FileFault]
    ) -> None:
        self._tables, self._files, self._faults = tables, files, faults
        self._reading = threading.RLock()

    def read(self, name: str) -> Any:
        """What is in one of `FIELDS`: for all threads the same object."""
        with self._reading:
            return getattr(self, name)

    def _kept(self, what: str, names: Iterable[str], read: Callable[[], T]) -> T:
        if self._faults:  # rows that do not fit another, faulty table are left out of theirs: no folder shares that
            return read()
        contents = [self._files.get(name) for name in names]
        return kept(what, contents, self._faults, read)

    def _there(self, name: str) -> Table | None:
        return self._tables.get(name)

    @cached_property
    def vocabulary(self) -> Vocabulary:
        """``vocabulary.csv``, with the languages of its words."""
        languages = self._there(LANGUAGES)
        names = (*WORDS[:1], *([] if languages is None else [LANGUAGES]))
        table = self._tables[WORDS[0]]
        return self._kept("words", names, lambda: read_vocabulary(table, languages))

    @cached_property
    def families(self) -> Mapping[str, Family]:
        """``families.csv``."""
        return read_families(self._tables["families.csv"])

    @cached_property
    def limits(self) -> tuple[Limit, ...]:
        """``law_limits.csv``."""
        table = self._there(LIMITS)
        return () if table is None else read_limits(table, self.vocabulary)

    @cached_property
    def fashions(self) -> Mapping[tuple[str, str], tuple[Array, Array]]:
        """``fashions.csv``; none in a folder without it."""
        table = self._there(FASHIONS)
        return {} if table is None else read_fashions(table, self.vocabulary)

    def _of_clues(self, folder: str) -> TableSet:
        first = first_years(self.limits, self.vocabulary)
        return of_clues(self._tables, folder, self.vocabulary, self.families, first)

    @cached_property
    def _usual(self) -> TableSet:
        return self._of_clues("")

    @cached_property
    def sets(self) -> Mapping[str, TableSet]:
        """The tables of clues that channels have of their own, by their folder."""
        return MappingProxyType({name: self._of_clues(name) for name in folders_of(self._tables)})

    @property
    def shares(self) -> Mapping[str, SharesTable]:
        """``shares/``."""
        return self._usual.shares

    @property
    def measured(self) -> Mapping[str, MeasuredTable]:
        """``measured/``."""
        return self._usual.measured

    @property
    def confusion(self) -> Mapping[str, ConfusionTable]:
        """``confusion/``; a word is noted as it is where there is no table."""
        return self._usual.confusion

    @cached_property
    def usual_shares(self) -> Mapping[str, Array]:
        """Of each value: as ``slip_values.csv`` states it, or the mean of its table."""
        table = self._there(SLIP_VALUES)
        stated = {} if table is None else read_slip_values(table, self.vocabulary)
        return UsualShares(self.shares, stated)

    @cached_property
    def _noting(self) -> tuple[Mapping[str, float], Mapping[str, float]]:
        kinds = self.families.items()
        slipping = tuple(name for name, family in kinds if family.kind not in _NO_SLIPS)
        return read_slips(self._tables["slips.csv"], slipping)

    @property
    def slips(self) -> Mapping[str, float]:
        """``slips.csv``: how often a note is a slip."""
        return self._noting[0]

    @property
    def altered(self) -> Mapping[str, float]:
        """``slips.csv``: what part of slips are altered pieces."""
        return self._noting[1]

    @cached_property
    def on_cloth(self) -> Mapping[str, NDArray[np.bool_]]:
        """``slips.csv``: which values are of a label on the cloth itself."""
        return read_on_cloth(self._tables["slips.csv"], [*self.families], self.vocabulary)

    @cached_property
    def known_by(self) -> Mapping[str, KnownBy]:
        """``known_by.csv``."""
        return read_known_by(self._tables["known_by.csv"])

    @cached_property
    def makers(self) -> Makers:
        """``makers.csv``."""
        return read_makers(self._tables["makers.csv"])

    @cached_property
    def lags(self) -> KnotTable:
        """``lags.csv``."""
        table = self._tables["lags.csv"]
        dated = table.names("@families of dated")
        return read_knot_table(table, (*dated, "depicted_announced"), knot="lag")

    @cached_property
    def reissues(self) -> KnotTable:
        """``reissue.csv``."""
        return _read_reissues(self._tables["reissue.csv"])

    @cached_property
    def century(self) -> Century:
        """All that is known before anything is seen."""
        return read_century(self._tables)

    @cached_property
    def allowances(self) -> Mapping[str, float]:
        """``allowances.csv``."""
        return _read_single(self._tables["allowances.csv"])

    @cached_property
    def medium(self) -> MediumRules:
        """``medium_rules.csv`` and ``medium_together.csv``."""
        from scarfdate.tables.medium_files import read_medium_rules

        return self._kept(
            "medium", _MEDIUM, lambda: read_medium_rules(self._tables, self.vocabulary)
        )

    @cached_property
    def label(self) -> LabelRules:
        """``label_*.csv``."""
        from scarfdate.tables.label_files import read_label_rules

        labels = sorted(name for name in self._tables if name.startswith("label_"))
        return self._kept(
            "label",
            (*WORDS, "date_words.csv", *labels),
            lambda: read_label_rules(self._tables, self.vocabulary, self.families),
        )

    @cached_property
    def doubt(self) -> tuple[DoubtWord, ...]:
        """``doubt.csv``."""
        return self._kept("doubt", ("doubt.csv",), lambda: read_doubt(self._tables["doubt.csv"]))

    @cached_property
    def date_words(self) -> DateWords:
        """``date_words.csv``."""
        table = self._tables[DATE_WORDS]
        return self._kept("date words", (DATE_WORDS,), lambda: read_date_words(table))

    @cached_property
    def headings(self) -> Headings:
        """``headings.csv``."""
        return read_headings(self._tables["headings.csv"])

    @cached_property
    def sheet_words(self) -> SheetWords | None:
        """``sheet_words.csv``."""
        table = self._there(SHEET_WORDS)
        return None if table is None else read_sheet_words(table)

    @cached_property
    def descriptions(self) -> Descriptions | None:
        """``descriptions.csv``."""
        table = self._there(DESCRIPTIONS)
        return None if table is None else read_descriptions(table)

    @cached_property
    def questions(self) -> Mapping[str, Question]:
        """``questions.csv``."""
        clues = {*self.families, *self.vocabulary.values}
        return read_questions(self._tables["questions.csv"], clues)

    @cached_property
    def not_said(self) -> NotSaid:
        """``worth/not_said.csv``, by which all that is said of condition is held."""
        said = read_not_said(self._tables[PHRASE_FILES[1]])
        for name in OF_CONDITION:
            if name in self._tables:
                check_said(self._tables[name], said)
        return said

    @cached_property
    def listing(self) -> ListingWords:
        """``listing.csv``."""
        return read_listing(self._tables["listing.csv"], self.vocabulary, self.not_said)

    @cached_property
    def phrases(self) -> ListingWords:
        """``worth/phrases.csv``."""
        table = self._tables[PHRASE_FILES[0]]
        return read_listing(table, self.vocabulary, self.not_said, OF_A_DESCRIPTION, self.families)

    @cached_property
    def caution_when(self) -> tuple[CautionWhen, ...]:
        """``worth/caution_when.csv``."""
        return tuple(row.read_as(CautionWhen) for row in self._tables[PHRASE_FILES[2]].rows)

    @cached_property
    def card(self) -> CardTables:
        """``card_*.csv``."""
        from scarfdate.tables.card import read_card

        eras, rows = self._tables["card_eras.csv"], self._tables["card_rows.csv"]
        return read_card(eras, rows, self.vocabulary, self.families)

    @cached_property
    def checks(self) -> tuple[Check, ...]:
        """``checks.csv``."""
        return read_checks(self._tables["checks.csv"], self.families, self.vocabulary)

    @cached_property
    def wording(self) -> Wording:
        """``wording.csv``."""
        table = self._there(WORDING)
        return Wording({}) if table is None else read_wording(table, self.vocabulary)

    @cached_property
    def drawings(self) -> Mapping[tuple[str, str], DrawingRow]:
        """``drawings.csv``."""
        from scarfdate.tables.drawings import DRAWINGS, read_drawings

        table = self._there(DRAWINGS)
        return MappingProxyType({}) if table is None else read_drawings(table, self.vocabulary)

    @cached_property
    def sorting_keys(self) -> Keys:
        """``sorting_keys.csv``."""
        from scarfdate.tables.sorting import SORTING_KEYS, read_sorting_keys

        table = self._there(SORTING_KEYS)
        return MappingProxyType({}) if table is None else read_sorting_keys(table, self.vocabulary)

    @cached_property
    def practice(self) -> PracticeTables | None:
        """``practice_*.csv``."""
        from scarfdate.tables.practice import LEVELS, PAIRS, read_practice

        levels, pairs = self._there(LEVELS), self._there(PAIRS)
        if levels is None or pairs is None:
            return None
        return read_practice(levels, pairs, self.vocabulary)

    @cached_property
    def says_little(self) -> frozenset[str]:
        """``information.csv``."""
        return _read_information(self._tables["information.csv"])

    @cached_property
    def condition(self) -> ConditionTables | None:
        """What a fault costs, and how it is said."""
        return _read_condition(self._tables, self._files, self._faults)

    @cached_property
    def pooling(self) -> Pooling | None:
        """``worth/pooling.csv``."""
        from scarfdate.tables.worth_pooling import POOLING, read_pooling

        table = self._there(POOLING)
        return None if table is None else read_pooling(table)

    @cached_property
    def deciding(self) -> Mapping[str, float] | None:
        """``worth/deciding.csv``."""
        table = self._there(_DECIDING)
        return None if table is None else _read_single(table)


# every table, in the order in which a folder of many faults tells of them
FIELDS = tuple(
    name
    for name, one in vars(Contents).items()
    if isinstance(one, (cached_property, property)) and not name.startswith("_")
)


def kept(what: str, same: object, faults: list[FileFault], read: Callable[[], T]) -> T:
    """What ``read()`` makes; what it made last if that was of the same contents, and without a fault."""
    contents, last = _KEPT.get(what, (None, None))
    made: T = last
    if contents == same:
        return made
    before = len(faults)
    made = read()
    if len(faults) == before:
        _KEPT[what] = same, made
    return made


def _read_condition(
    tables: Mapping[str, Table], files: Mapping[str, bytes], faults: list[FileFault]
) -> ConditionTables | None:
    """What is said of the condition of a piece; None in a folder that has none of it."""
    # it needs the schema, which takes longer to read than all that a date needs
    from scarfdate.tables.worth_condition import CONDITION, read_condition_tables

    there = [name for name in CONDITION if name in tables]
    if not there:
        return None
    if len(there) < len(CONDITION):
        for name in CONDITION:
            if name not in there:
                missing(name, faults)
        return None
    contents = tuple(files[name] for name in CONDITION)
    return kept("condition", contents, faults, lambda: read_condition_tables(tables))


def _read_single(table: Table) -> Mapping[str, float]:
    """Single numbers by what they are for; every word of the schema has a row."""
    found = {row["what"]: row["value"] for row in table.rows}
    for name in table.words("what") if table.whole else ():
        if name not in found:
            table.fault(None, "what", "a row is missing", name)
    return MappingProxyType(found)


def _read_reissues(table: Table) -> KnotTable:
    """``reissue.csv``: by family the chance, in per cent, of a design printed again by years since."""
    found = read_knot_table(table, ("chance",), key="family", knot="lag")
    for family, (knots, chances) in found.series.items() if table.whole else ():
        if np.interp(np.arange(knots[-1] + 1), knots, chances[:, 0]).sum() >= _ALL:
            table.fault(None, "chance", "all lags together make 100 or more", family)
    return found


def _read_information(table: Table) -> frozenset[str]:
    """The families of which a note may carry nothing about the decade."""
    return frozenset(
        row["family"]
        for row in table.rows
        if row["reaches_zero"] == "yes" and row["grade"] == "all"
    )
