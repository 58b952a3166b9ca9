"""`Priors`: everything that lies in a priors folder, checked as a whole and then frozen."""

from __future__ import annotations

import json
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any
from weakref import WeakValueDictionary

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import CHANNEL, FIRST_YEAR, Array
from scarfdate.errors import FileFault, PriorsError, ScarfdateError, WordError, shown
from scarfdate.files import as_path
from scarfdate.frozen import frozen
from scarfdate.tables.behind import behind
from scarfdate.tables.cache import Cache, of_the_package
from scarfdate.tables.century import Century
from scarfdate.tables.contents import FIELDS, Contents
from scarfdate.tables.descriptions import Descriptions
from scarfdate.tables.families import Family
from scarfdate.tables.folder import (
    DESCRIPTOR,
    check_format,
    check_listed,
    check_names,
    hash_of_files,
    is_dated_by,
    read_folder,
)
from scarfdate.tables.knots import KnotTable, MeasuredTable, SharesTable
from scarfdate.tables.listing import PHRASE_FILES, CautionWhen, ListingWords, NotSaid
from scarfdate.tables.lists import Check, KnownBy, Limit, Question
from scarfdate.tables.makers import Makers
from scarfdate.tables.noted import DoubtWord, Headings
from scarfdate.tables.noting import ConfusionTable
from scarfdate.tables.older import older_fault
from scarfdate.tables.schema import shipped_folder as shipped_folder
from scarfdate.tables.sets import TableSet
from scarfdate.tables.sheet import LONGEST_SHEET, read_sheet
from scarfdate.tables.sheet_words import SheetWords
from scarfdate.tables.word_list import WordList, word_list
from scarfdate.tables.wording import Wording
from scarfdate.tables.words import Vocabulary, plain
from scarfdate.words.date_phrases import DateWords
from scarfdate.years import checked_as_of

if TYPE_CHECKING:
    import pandas

    from scarfdate.tables.card import CardTables
    from scarfdate.tables.drawings import DrawingRow
    from scarfdate.tables.label import LabelRules
    from scarfdate.tables.medium import MediumRules
    from scarfdate.tables.practice import PracticeTables
    from scarfdate.tables.sorting import Keys
    from scarfdate.tables.worth_condition import ConditionTables
    from scarfdate.tables.worth_pooling import Pooling


@dataclass(frozen=True)
class _AsRead:
    """What the files gave, field by field: what differs from it was put in its place afterwards."""

    contents: Contents
    files: Mapping[str, bytes]
    hash: str
    folder: str

    @cached_property
    def packed(self) -> bytes:
        texts = {name: content.decode("latin-1") for name, content in self.files.items()}
        return zlib.compress(json.dumps(texts).encode("ascii"))


@dataclass(frozen=True, eq=False, kw_only=True)
class Priors:
    """Every table about scarves, read-only.

    ``files``: the contents of the files behind it, by name; ``hash``: their SHA-256; ``folder``: where they lay.
    """

    vocabulary: Vocabulary
    families: Mapping[str, Family]
    shares: Mapping[str, SharesTable]
    measured: Mapping[str, MeasuredTable]
    confusion: Mapping[str, ConfusionTable]
    slips: Mapping[str, float]
    altered: Mapping[str, float]
    on_cloth: Mapping[str, NDArray[np.bool_]]  # values of a label that can be no other piece's
    usual_shares: Mapping[str, Array]  # how common each value is, of whatever year and channel
    known_by: Mapping[str, KnownBy]
    makers: Makers
    lags: KnotTable
    reissues: KnotTable
    century: Century
    allowances: Mapping[str, float]
    sets: Mapping[str, TableSet]
    medium: MediumRules
    doubt: tuple[DoubtWord, ...]
    date_words: DateWords
    headings: Headings
    sheet_words: SheetWords | None  # None where a folder has none; `words_of_sheets` has
    descriptions: Descriptions | None  # None where a folder has none; `words_of_descriptions` has
    questions: Mapping[str, Question]  # by the words that each is asked in
    listing: ListingWords  # of a line
    phrases: ListingWords  # of a description, beside those of a line
    not_said: NotSaid
    caution_when: tuple[CautionWhen, ...]
    card: CardTables
    label: LabelRules
    checks: tuple[Check, ...]
    limits: tuple[Limit, ...]
    fashions: Mapping[
        tuple[str, str], tuple[Array, Array]
    ]  # by family and narrower word: knots, and levels of 0 to 1; none in a folder without the file
    wording: Wording  # how a sentence names what was noted
    drawings: Mapping[
        tuple[str, str], DrawingRow
    ]  # by family and word; none in a folder without the file
    sorting_keys: Keys  # of the sorting table; none in a folder without the file
    practice: PracticeTables | None  # None in a folder without levels and pairs
    says_little: frozenset[str]  # families whose information about the decade may be none
    condition: ConditionTables | None  # None where a folder says nothing of what a fault costs
    pooling: Pooling | None  # None where a folder says nothing of how prices are learned
    deciding: Mapping[str, float] | None  # None where a folder says nothing of decisions
    hash: str
    folder: str
    files: Mapping[str, bytes] = field(repr=False)
    _as_read: _AsRead = field(repr=False)
    _compiled: dict[object, object] = field(default_factory=dict, repr=False)

    def __repr__(self) -> str:
        return f"Priors({self.folder!r}, {len(self.families)} families, hash {self.hash[:12]})"

    @property
    def words_of_sheets(self) -> SheetWords:
        """The words of ``sheet_words.csv``; the shipped ones where the folder has none."""
        own = self.sheet_words or load_priors().sheet_words
        assert own is not None  # of the shipped tables
        return own

    @property
    def words_of_descriptions(self) -> Descriptions:
        """``descriptions.csv``; the shipped one where the folder has none."""
        own = self.descriptions or load_priors().descriptions
        assert own is not None  # of the shipped tables
        return own

    def in_channel(self, channel: str) -> Priors:
        """The same priors with the tables that a channel has of its own (`Channel.tables`)."""
        name = self.century.channel(channel).tables
        return self.with_set(name) if name else self

    def with_set(self, name: str) -> Priors:
        """The same priors with one of ``sets`` in the place of the usual tables, where there is such a set.

        Raises WordError for what is no text.
        """
        if not isinstance(name, str):
            raise WordError(f"name: text is allowed, got {shown(name)}")
        own = self.sets.get(name)
        if own is None:
            return self
        confusion = {
            family: self.confusion[family].with_own(table)
            for family, table in own.confusion.items()
        }
        return self._with(
            shares=frozen({**self.shares, **own.shares}),
            measured=frozen({**self.measured, **own.measured}),
            confusion=frozen({**self.confusion, **confusion}),
        )

    def offered_in(self, market: str, channel: str) -> Priors:
        """The same priors for pieces that were first sold in one market, where they turn up in a channel.

        ``market``: us, canada, europe, elsewhere, or a word that is read as one of them. Raises WordError for
        another market or channel.
        """
        century = self.century
        where = self.label.market(market)
        return self._with(century=century.offered_in(where, century.channel(channel)))

    def _with(self, **tables: object) -> Priors:
        """The same priors with other tables in the place of some."""
        made = object.__new__(Priors)  # by `replace` every table would be read
        made.__dict__.update(self.__dict__, **tables, _compiled={})
        return made

    if not TYPE_CHECKING:  # or any name would be one of its own

        def __getattr__(self, name: str) -> object:
            """A table that nobody has asked for yet."""
            if name not in FIELDS:
                raise AttributeError(f"Priors has no {name}")
            found = self.__dict__[name] = self._as_read.contents.read(name)
            return found

    @property
    def changed(self) -> tuple[str, ...]:
        """The tables that were put in the place of those read, by name: ``hash`` does not speak for them."""
        own, read = self.__dict__, self._as_read
        changed = [n for n in FIELDS if n in own and own[n] is not read.contents.read(n)]
        return (*changed, *(n for n in ("hash", "files") if own[n] is not getattr(read, n)))

    def behind(self, result: object) -> str:
        """Whether these tables are behind a result that was kept, and how to have it again, in a sentence or two.

        ``result``: a dating, what its ``to_dict`` gave, or the hash of its tables (the 12 letters on a card or a
        screen suffice). Raises ScarfdateError for anything else, and for a result of a newer format.
        """
        return behind(result, self.hash, self.files)

    def words(self, clue: str | None = None) -> WordList:
        """Every word that may be written for a clue, or for None every clue and how it is written.

        What people ask for that is no clue ("reissue", "label style") has an answer instead of words. Raises
        WordError for what is neither.
        """
        return word_list(
            self.families,
            self.vocabulary,
            self.makers.names,
            clue,
            self.questions,
            self.drawings,
            self.checks,
        )

    def question(self, words: str) -> Question | None:
        """What to say to words that are no clue, where people often ask for that (``questions.csv``).

        Raises WordError for what is no text.
        """
        if not isinstance(words, str):
            raise WordError(f"words: text is allowed, got {shown(words)}")
        return self.questions.get(plain(words.replace("_", " ")))

    def year_prior_table(
        self, channel: str = CHANNEL, *, as_of: int | None = None
    ) -> pandas.DataFrame:
        """What is known of the year before anything is seen: one row a year, and what it is made of.

        Columns as in `Century.year_table`: what museums record, how the channel differs, their
        product ``prior`` (sums to one), each with an 80 % interval year by year, and ``survival``,
        which dating does not use. Raises WordError for an unknown channel.
        """
        import pandas as pd

        years = np.arange(FIRST_YEAR, checked_as_of(as_of) + 1)
        table = self.century.year_table(self.century.channel(channel), years)
        return pd.DataFrame(table, index=pd.Index(years, name="year"))

    def plot_year(self, channel: str = CHANNEL, *, as_of: int | None = None, ax: Any = None) -> Any:
        """Both factors of P(year) and their product with its interval; returns the matplotlib axis.

        The first year, which stands for all before it, is told in the legend and not drawn.
        """
        from scarfdate.show import plot

        return plot.year_prior(self.year_prior_table(channel, as_of=as_of), channel, ax)

    def __reduce__(self) -> tuple[object, tuple[object, ...]]:
        # the contents go along, for the folder may hold others by then; what was compiled does not
        read = self._as_read
        moved = ("folder",) if self.folder is not read.folder else ()
        own = {name: getattr(self, name) for name in (*self.changed, *moved)}
        folder = read.folder
        place = "" if folder == str(shipped_folder()) else folder
        return (_restored, (read.hash, place, read.packed, own))

    def __copy__(self) -> Priors:
        return self

    def __deepcopy__(self, memo: dict[int, object]) -> Priors:
        return self  # nothing in it can be changed


def load_priors(path: str | Path | None = None) -> Priors:
    """The shipped priors, or a folder of your own.

    A folder with a ``datapackage.json`` stands alone: every file that it lists must be there. A
    folder without one holds single files that replace the shipped ones of the same name.

    Raises PriorsError, which carries every fault found with its file, row and column.
    """
    if path is None:
        return _shipped()
    folder = as_path(path, "priors")
    if not folder.is_dir():
        is_file = folder.exists()
        problem = "this is a file, not a folder" if is_file else "there is no such folder"
        step = "name the folder that it lies in" if is_file else "check the path"
        raise PriorsError(str(path), [FileFault(str(path), None, None, problem, "", step)])
    faults: list[FileFault] = []
    shipped_here = folder == shipped_folder()
    own = files = read_folder(folder, faults, links=shipped_here)
    check_format(own, str(path))
    vast = [read_sheet(name, one, faults) for name, one in own.items() if len(one) > LONGEST_SHEET]
    if vast:  # nothing else of such a folder is worth reading
        raise PriorsError(str(path), faults)
    if DESCRIPTOR in files:
        check_listed(files, folder, faults)
    else:
        shipped = read_folder(shipped_folder(), faults, links=True)
        check_names(files, shipped, faults)
        if not files:
            faults.append(FileFault(str(path), None, None, "the folder holds no priors file"))
            raise PriorsError(str(path), faults)  # of the shipped tables there is nothing to say
        files = {**shipped, **files}
    try:
        return priors_of_files(files, str(path), faults, of_the_package() if shipped_here else None)
    except PriorsError as error:
        raise PriorsError(str(path), [*older_fault(own, error.faults), *error.faults]) from None


@cache
def _shipped_phrases() -> Mapping[str, bytes]:
    return {name: (shipped_folder() / name).read_bytes() for name in PHRASE_FILES}


def checked_priors(priors: Priors | None) -> Priors:
    """The priors given, the shipped ones for None; ScarfdateError for anything else."""
    if priors is None:
        return load_priors()
    if not isinstance(priors, Priors):
        raise ScarfdateError(
            f"priors: tables as load_priors gives them are allowed, got {shown(priors)}; "
            "write load_priors(folder) for a folder of your own"
        )
    return priors


def folder_files(priors: Priors) -> dict[str, bytes]:
    """The contents of every file behind some priors, by name, as they were read."""
    return dict(priors.files)


@cache
def _shipped() -> Priors:
    return load_priors(shipped_folder())


@cache
def _shipped_hash() -> str:
    return hash_of_files(read_folder(shipped_folder(), [], links=True))


# by the hash of their files, for as long as anybody holds them
_RESTORED: WeakValueDictionary[str, Priors] = WeakValueDictionary()


def _unpacked(packed: bytes) -> dict[str, bytes]:
    """Contents by name, as `_AsRead.packed` made them: each byte a letter."""
    texts = json.loads(zlib.decompress(packed))
    return {name: text.encode("latin-1") for name, text in texts.items()}


def _restored(hash_: str, folder: str, packed: bytes, own: Mapping[str, object]) -> Priors:
    """Priors out of a pickle: from the contents that lie in it, read but once in a process."""
    if hash_ == _shipped_hash():
        found = _shipped()
    else:
        known = _RESTORED.get(hash_)
        where = folder or "the tables that came with another version"
        found = known or priors_of_files(_unpacked(packed), where)
        _RESTORED[hash_] = found
    changed = dict(own)
    if folder and folder != found.folder:
        changed.setdefault("folder", folder)
    return replace(found, **changed, _compiled={}) if changed else found  # type: ignore[arg-type]


def priors_of_files(
    files: Mapping[str, bytes],
    folder: str,
    faults: Sequence[FileFault] = (),
    cache: Cache | None = None,
) -> Priors:
    """Priors from the contents of files, checked as a folder is; ``folder``: where they are to lie. Phrases of
    descriptions that are not among them are the shipped ones: folders of before there were any have none.

    Raises PriorsError with every fault in them, after those that are known already.
    """
    check_format(files, folder)
    files = {**_shipped_phrases(), **files}
    kept = None if cache is None or faults else cache.tables(files)
    if kept is not None:
        contents = Contents(kept, files, [])  # without a fault when it was put there
    else:
        from scarfdate.tables.whole import read_contents  # all that checks tables

        contents = read_contents(files, folder, [*faults], cache)
    dated_by = frozen({name: content for name, content in files.items() if is_dated_by(name)})
    read = _AsRead(contents, dated_by, hash_of_files(files), folder)
    made = object.__new__(Priors)  # its tables stand in `contents` until somebody asks
    made.__dict__.update(hash=read.hash, folder=folder, files=dated_by, _as_read=read, _compiled={})
    return made
