"""Date records of museums, read from files of any size into arrays.

A record is an interval of years with what the museum says of the piece. Bad rows become faults with
their places, and the good ones are kept. Near-identical records (one gift catalogued as dozens of
rows) form a clump and count once together; records without a date are counted, for they are not
missing at random. Texts that repeat are kept once, and rows are never held as objects, so that a
million records fit into memory several times over.
"""

from __future__ import annotations

import datetime
import hashlib
import math
import re
from array import array
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from scarfdate import edtf, units
from scarfdate.errors import Fault, RangeError, ScarfdateError, TableError
from scarfdate.museum.columns_map import (
    OWN,
    ColumnsMap,
    FaultLog,
    columns_map,
    open_rows,
    read_columns_map,
)
from scarfdate.reading import read_observation
from scarfdate.tables.priors import load_priors

if TYPE_CHECKING:
    import pandas

__all__ = [
    "OPEN_END",
    "OPEN_START",
    "ColumnsMap",
    "Records",
    "Words",
    "compressed",
    "folds",
    "read_columns_map",
    "read_records",
]

Ints = NDArray[np.int32]
Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
Statement = Callable[[Floats, Floats, Mask], ArrayLike]

OPEN_START, OPEN_END = 0, 9999  # stand in `first` and `last` where nothing bounds that side
_NO_YEAR = -1  # in `first`, while reading: the record has no date
_REMEMBERED = 2**16  # distinct dates and numbers whose reading is remembered
_LONGEST_ID = 200  # characters
_CHUNK = 2**14  # rows whose ids are packed together; bytes hashed at a time are 64 times that
_NOT_STATED = "not stated"
_TEXTS = ("source", "object_type", "date_text", "medium_text", "country", "licence")


# ---------------------------------------------------------------------------------- what is had


@dataclass(frozen=True, slots=True, eq=False)
class Words:
    """A column of texts that repeat: ``words``, each once, and ``codes`` (n,) that index them.

    A blank is the word "".
    """

    codes: Ints
    words: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.codes)

    def __getitem__(self, row: int) -> str:
        return self.words[int(self.codes[row])]

    def texts(self) -> NDArray[np.object_]:
        """The column as (n,) texts."""
        return np.array(self.words, dtype=object)[self.codes]

    def is_word(self, word: str) -> Mask:
        """Which rows say ``word``, (n,)."""
        code = self.words.index(word) if word in self.words else -1
        same: Mask = self.codes == code
        return same

    def only(self, which: Any) -> Words:
        """The rows that a mask or an array of row numbers names."""
        return Words(_frozen(self.codes[which]), self.words)


@dataclass(frozen=True, slots=True, eq=False)
class Records:
    """Dated records as arrays (n,), one place a record, in the order of the files.

    ``first``, ``last``: the years of making allowed, both in; ``last`` is cut at the year of
    acquisition. `OPEN_START` and `OPEN_END` stand there where nothing bounds a side. ``stated_last``:
    the last year before that cut. ``open_start``, ``open_end``: the museum named no year on that
    side. ``approximate``: the date text says of itself that it is ("ca."). ``from_text``: the years
    were read off the date text, as no others were given. ``acquired``: year the museum got it, 0 if
    not known. ``width_cm``, ``height_cm``: NaN if not known. ``clues``: family to words of the
    vocabulary, or weights over words as JSON, where the export has such columns.

    ``clump``: number shared by records of equal source, object type, date text, medium text and
    year of acquisition; ``weight``: 1 / size of the clump, so that each clump counts once.

    The rest tells how the reading went and stays as it is in a part (`only`). ``rows``: rows that
    said anything and could be taken apart, and all that could not; ``left_out``: how many of them
    are no record here, by reason; ``undated``: records without a date, by kind; ``odd``: records
    that begin after they were acquired, kept as stated; ``faults``: some of each sort, with file,
    row and column; ``fault_counts``: all of them, by sort; ``licences``: source to licence to
    number of records; ``hash``: SHA-256 of the files, as `scarfdate.files.hash_of` has it.
    """

    source: Words
    record_id: NDArray[Any]
    object_type: Words
    kind: Words
    date_text: Words
    medium_text: Words
    country: Words
    licence: Words
    first: Ints
    last: Ints
    stated_last: Ints
    open_start: Mask
    open_end: Mask
    approximate: Mask
    from_text: Mask
    acquired: Ints
    width_cm: Floats
    height_cm: Floats
    clues: Mapping[str, Words]
    clump: Ints
    weight: Floats
    rows: int
    left_out: Mapping[str, int]
    undated: Mapping[str, int]
    odd: int
    faults: tuple[Fault, ...]
    fault_counts: Mapping[str, int]
    licences: Mapping[str, Mapping[str, int]]
    hash: str

    def __len__(self) -> int:
        return len(self.first)

    def __repr__(self) -> str:
        return (
            f"Records({len(self)} dated records in {self.effective} clumps, "
            f"{sum(self.left_out.values())} rows left out, hash {self.hash[:12]})"
        )

    @property
    def effective(self) -> int:
        """How many clumps there are: the records that count."""
        return int(self.clump.max()) + 1 if len(self) else 0

    def only(self, which: ArrayLike) -> Records:
        """The records that a mask (n,) or row numbers name; clumps and weights are counted anew."""
        rows = np.asarray(which)
        if rows.dtype == bool and rows.shape != self.first.shape:
            raise RangeError(f"a mask must have {len(self)} places, got shape {rows.shape}")
        part: dict[str, Any] = {}
        for column in fields(self):
            value = getattr(self, column.name)
            if isinstance(value, Words):
                part[column.name] = value.only(rows)
            elif isinstance(value, np.ndarray):
                part[column.name] = _frozen(value[rows])
        part["clues"] = MappingProxyType({name: one.only(rows) for name, one in self.clues.items()})
        part["clump"], part["weight"] = _counted_once(part["clump"])
        return replace(self, **part)

    def to_frame(self) -> pandas.DataFrame:
        """The records as a frame, one row a record; <NA> where a side is open or nothing is known."""
        import pandas as pd

        columns: dict[str, Any] = {}
        for column in fields(self):
            value = getattr(self, column.name)
            if isinstance(value, Words):
                columns[column.name] = value.texts()
            elif column.name in ("first", "last", "stated_last", "acquired"):
                unknown = value == (OPEN_END if column.name.endswith("last") else 0)
                columns[column.name] = pd.array(np.where(unknown, 0, value), dtype="Int32")
                columns[column.name][unknown] = pd.NA
            elif isinstance(value, np.ndarray):
                text = column.name == "record_id"
                columns[column.name] = value.astype(object) if text else value.copy()
        columns |= {name: words.texts() for name, words in self.clues.items()}
        return pd.DataFrame(columns)


# ---------------------------------------------------------------------------------- what is done


def read_records(
    paths: str | Path | Iterable[str | Path],
    columns: ColumnsMap | Mapping[str, str | Sequence[str]] | None = None,
    *,
    this_year: int | None = None,
) -> Records:
    """All dated records of some files: CSV, TSV, JSON (a list, an object with a list, or lines).

    ``columns``: a map from `read_columns_map`, or our names to the export's; None where the files
    have our own names. ``this_year``: years after it are faults (default: the current one).

    A record has years of its own (a blank side is open), or else those that `scarfdate.edtf` reads
    off the date text, or else none. Left out, and counted: undated records; intervals wider than
    the map allows; object types that the map counts as nothing; second rows of one source and id;
    and bad rows, which are faults: begin after end, years after ``this_year`` (an end that the year
    of acquisition cuts, or that is the end of the decade or century in the date text, is cut and
    kept), years before 1, years that are no years, wrong numbers of cells, text that is not UTF-8.
    A bad size, clue or year of acquisition is a fault, too, but only that cell is lost.

    Raises TableError where a file is not there, or no file has a record with a date.
    """
    listed = [Path(paths)] if isinstance(paths, (str, Path)) else [Path(path) for path in paths]
    _check_paths(listed)
    using = columns_map(columns)
    year = datetime.date.today().year if this_year is None else this_year
    builder = _Builder(using, year)
    unread: list[str] = []
    for path in listed:
        try:
            builder.read(path)
        except TableError as error:
            unread.append(str(error))
            place = str(error).removeprefix(str(path)).lstrip(":, ")
            builder.log.add(str(path), None, None, "the file, or the rest of it, cannot be read",
                            None, place)  # fmt: skip
        except OSError as error:
            raise TableError(f"{path}: cannot be read ({error.strerror})") from None
    return builder.records(_hash_of_files(listed), unread)


def folds(records: Records, k: int, seed: int) -> Ints:
    """A part 0..k-1 for each record, (n,), whole clumps together; parts differ by one clump at most.

    Equal records get equal parts, in whatever order the files have them. Raises RangeError unless
    2 <= k <= number of clumps.
    """
    if not 2 <= k <= records.effective:
        raise RangeError(
            f"k: from 2 parts to as many as there are clumps ({records.effective}), got {k}"
        )
    part = np.random.default_rng(seed).permutation(records.effective) % k
    return part.astype(np.int32)[records.clump]


def compressed(records: Records, which: Statement, *, as_stated: bool = False) -> pandas.DataFrame:
    """Distinct intervals with their counts: all that a density needs, from which nobody is named.

    ``which`` says what kind of statement each interval is: a function of the stated first years,
    stated last years ((n,), NaN where a side is open) and a mask of those that say "ca.", such as
    `scarfdate.density.statements.kinds_of`; it gives (n,) numbers or words.

    Columns: kind, first, last (<NA>: open), statement, records, effective (the sum of weights, so
    that a clump counts once). With ``as_stated`` first and last are the stated years, and a column
    ``acquired`` has the year of acquisition where it cuts the interval short. Sorted.
    """
    import pandas as pd

    last = records.stated_last if as_stated else records.last
    cut = np.where(records.last < records.stated_last, records.acquired, 0)
    begin = np.where(records.open_start, np.nan, records.first)
    end = np.where(records.stated_last == OPEN_END, np.nan, records.stated_last)
    said, index = np.unique(np.asarray(which(begin, end, records.approximate)), return_inverse=True)
    if index.shape != records.first.shape:
        raise RangeError(f"which: {len(records)} kinds of statement are wanted, got {len(index)}")
    key: list[NDArray[Any]] = [
        _ranks(records.kind),
        records.first,
        last,
        index,
        *([cut] if as_stated else []),
    ]
    _, at, group = np.unique(_groups(key), return_index=True, return_inverse=True)

    def years(column: NDArray[Any], unknown: int) -> Any:
        array = pd.array(column, dtype="Int32")
        array[column == unknown] = pd.NA
        return array

    columns = {
        "kind": records.kind.texts()[at],
        "first": years(records.first[at], OPEN_START),
        "last": years(last[at], OPEN_END),
        **({"acquired": years(cut[at], 0)} if as_stated else {}),
        "statement": said[index[at]],
        "records": np.bincount(group, minlength=len(at)),
        "effective": np.bincount(group, records.weight, len(at)),
    }
    return pd.DataFrame(columns)


# ---------------------------------------------------------------------------------- one cell


class _Span(NamedTuple):
    """What a record's dates say; ``problem`` is "" where they can be."""

    first: int
    last: int
    approximate: bool = False
    from_text: bool = False
    problem: str = ""
    column: str = ""
    got: str = ""
    step: str = ""
    text_last: int | None = None  # the last year that the date text itself allows


_PLAIN_YEAR = re.compile(r"\+?([0-9]{1,4})(?:\.0*)?")
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_BEFORE_OUR_ERA = re.compile(r"-.*[0-9]|.*[0-9 ](?:b\.? ?c\.?(?: ?e\.?)?)", re.DOTALL)
_NOT_FINITE = ("nan", "inf", "infinity", "+inf", "-inf", "+infinity", "-infinity")


@lru_cache(maxsize=_REMEMBERED)
def _year(text: str, end: bool) -> tuple[int | None, str]:
    """The year in a cell (its last with ``end``), None if blank; and what is wrong with it."""
    bare = text.strip()
    if not bare:
        return None, ""
    if bare.casefold() in _NOT_FINITE:
        return None, "not a finite number"
    if plain_year := _PLAIN_YEAR.fullmatch(bare):
        year = int(plain_year[1])
        if year == 0:
            return None, "there is no year 0"
        if year < 100:
            return None, "a year of one or two digits may be short for one of any century"
        return year, ""
    if _NUMBER.fullmatch(bare):
        if bare.startswith("-"):
            return None, "a year before the common era"
        if not math.isfinite(float(bare)):
            return None, "not a finite number"
        return None, "not a whole year of four digits at most"
    if _BEFORE_OUR_ERA.fullmatch(bare.casefold()):
        return None, "a year before the common era"
    try:
        found = edtf.read(bare)[1 if end else 0]
    except ScarfdateError:
        return None, "text that is no year"
    if found is None:
        return None, "text that leaves this side open"
    return max(found, 1), ""


@lru_cache(maxsize=_REMEMBERED)
def _span(begin: str, end: str, date_text: str) -> _Span:
    """The interval that a record states; `_NO_YEAR` where it states none."""
    step = "write a year such as 1957, or leave the cell blank"
    first, problem = _year(begin, False)
    if problem:
        return _Span(_NO_YEAR, OPEN_END, problem=problem, column="year_begin", got=begin, step=step)
    last, problem = _year(end, True)
    if problem:
        return _Span(_NO_YEAR, OPEN_END, problem=problem, column="year_end", got=end, step=step)
    said: tuple[int | None, int | None] | None = None
    approximate = False
    if date_text:
        # words that edtf does not know say nothing; the years, if there are any, stand
        with suppress(ScarfdateError):
            said, approximate = edtf.read(date_text), edtf.is_approximate(date_text)
    from_text = first is None and last is None
    if from_text:
        if said is None:
            return _Span(_NO_YEAR, OPEN_END)
        first, last = said
        first = None if first is None else max(first, 1)
    if first is not None and last is not None and first > last:
        return _Span(_NO_YEAR, OPEN_END, problem="it begins after it ends", column="year_begin",
                     got=f"{first} to {last}", step="exchange the years, or mend one")  # fmt: skip
    return _Span(
        OPEN_START if first is None else first,
        OPEN_END if last is None else last,
        approximate,
        from_text,
        text_last=said[1] if said else None,
    )


@lru_cache(maxsize=_REMEMBERED)
def _size(text: str, unit: str) -> tuple[float, str]:
    """A side in cm, NaN if blank; and what is wrong with it."""
    bare = text.strip()
    if not bare:
        return math.nan, ""
    if bare.casefold() in _NOT_FINITE:
        return math.nan, "not a finite number"
    try:
        return units.read_length(float(bare) if _NUMBER.fullmatch(bare) else bare, unit), ""
    except ScarfdateError:
        return math.nan, "a size that is no length"


@lru_cache(maxsize=_REMEMBERED)
def _clue(family: str, text: str) -> tuple[str, str]:
    """A clue in the words of the vocabulary; and what is wrong with it."""
    try:
        seen = read_observation(load_priors(), family, text)
    except ScarfdateError as error:
        return "", str(error)
    if seen is None:
        return "", ""
    return (seen.word or text.strip()), ""


def _is_text(text: str) -> bool:
    """Whether a text is whole: no bytes that were not UTF-8, no NUL."""
    return "\0" not in text and (
        text.isascii() or not any("\ud800" <= letter <= "\udfff" for letter in text)
    )


# ---------------------------------------------------------------------------------- many rows


class _Column:
    """Texts to numbers, as they come."""

    def __init__(self, *, blank: str = "") -> None:
        self._codes: dict[str, int] = {}
        self._blank = blank
        self.words: dict[str, int] = {}
        self.rows = array("i")

    def code(self, text: str) -> int:
        """The number of a text, whose spare blanks make no difference; -1 if it is not whole."""
        code = self._codes.get(text)
        if code is None:
            if not _is_text(text):
                return -1
            word = " ".join(text.split()) or self._blank
            code = self.words.setdefault(word, len(self.words))
            if word != text and len(self._codes) >= 4 * _REMEMBERED:
                return code  # spellings of one word are remembered, but not without end
            self._codes[text] = code
        return code

    def done(self, kept: NDArray[np.intp]) -> Words:
        """The kept rows, and only the words that stand in them, in the order in which they do."""
        codes = np.frombuffer(self.rows, dtype=np.int32)[kept]
        used, place, again = np.unique(codes, return_index=True, return_inverse=True)
        order = np.argsort(place, kind="stable")
        rank = np.empty(len(used), dtype=np.int32)
        rank[order] = np.arange(len(used), dtype=np.int32)
        words = list(self.words)
        self.rows, self._codes = array("i"), {}
        return Words(_frozen(rank[again]), tuple(words[code] for code in used[order]))


class _Builder:
    """Arrays that grow by a row, and the counts of what was wrong."""

    def __init__(self, using: ColumnsMap, this_year: int) -> None:
        self.using, self.this_year = using, this_year
        self.log = FaultLog()
        self.rows = 0
        self.left_out: Counter[str] = Counter()
        self._columns = {name: _Column() for name in _TEXTS}
        self._columns["licence"] = _Column(blank=_NOT_STATED)
        self._clues: dict[str, _Column] = {}
        self._kinds = _Column()
        self._kind_of: dict[int, int] = {}  # number of an object type -> of its kind, -1 if none
        self._years = {name: array("i") for name in ("first", "last", "stated_last", "acquired")}
        self._flags = {name: array("b") for name in ("approximate", "from_text", "odd")}
        self._sizes = {name: array("d") for name in ("width_cm", "height_cm")}
        self._ids: list[NDArray[Any]] = []
        self._waiting: list[str] = []
        self._id_hashes = array("q")
        self._lines = array("q")
        self._files: list[str] = []
        self._starts: list[int] = []  # the first row of each file

    def read(self, path: Path) -> None:
        """All rows of one file."""
        file = str(path)
        self._files.append(file)
        self._starts.append(len(self._lines))
        rows_before = self.rows, self.log.rows_lost
        names, rows = open_rows(path, self.using, self.log)
        clues = names[len(OWN) :]
        for family in clues:
            self._clues.setdefault(family, _Column())
        self._level_clues()
        try:
            self._read(file, path.stem, rows, clues)
        finally:
            self._level_clues()
        if rows_before == (self.rows, self.log.rows_lost):
            raise TableError(f"{path}: there is not one record in it")

    def _level_clues(self) -> None:
        """Blanks for the clues that a file does not have: files need not have the same."""
        for column in self._clues.values():
            column.rows.extend([column.code("")] * (len(self._lines) - len(column.rows)))

    def _read(
        self, file: str, stem: str, rows: Iterator[tuple[int, Sequence[str]]], clues: Sequence[str]
    ) -> None:
        columns, years, flags, sizes = self._columns, self._years, self._flags, self._sizes
        of = [columns[name] for name in _TEXTS]
        extra = [self._clues[family] for family in clues]
        unit, widest = self.using.size_unit, self.using.widest_years
        for line, cells in rows:
            (source, record_id, object_type, date_text, begin, end, medium_text, country, width,
             height, got_in, licence, *seen) = cells  # fmt: skip
            self.rows += 1
            codes = [
                column.code(text)
                for column, text in zip(
                    of, (source.strip() or stem, object_type, date_text, medium_text, country, licence),
                    strict=True,
                )
            ]  # fmt: skip
            record_id = record_id.strip()
            if min(codes) < 0 or not _is_text(record_id):
                self.log.add(file, line, None, "text that is not UTF-8, or has a NUL in it", None,
                             "save the file as UTF-8")  # fmt: skip
                self.left_out["bad row"] += 1
                continue
            if len(record_id) > _LONGEST_ID:
                self.log.add(file, line, "record_id", f"an id of more than {_LONGEST_ID} characters",
                             record_id)  # fmt: skip
                self.left_out["bad row"] += 1
                continue
            kind = self._kind_of.get(codes[1])
            if kind is None:
                kind = self._kind_of[codes[1]] = self._new_kind(object_type)
            if kind < 0:
                self.left_out["object type not listed"] += 1
                continue
            span = _span(begin, end, date_text)
            acquired, problem = _year(got_in, True)
            if acquired is not None and acquired > self.this_year:
                acquired, problem = None, "a year that is yet to come"
            if problem:
                self.log.add(file, line, "year_acquired", problem, got_in, "this cell was not used")
            first, stated_last = span.first, span.last
            last, odd = stated_last, False
            if acquired is not None and first != _NO_YEAR:
                odd = first > acquired
                last = last if odd else min(last, acquired)
            if span.problem:
                self.log.add(file, line, span.column, span.problem, span.got, span.step)
                self.left_out["bad row"] += 1
                continue
            if self.this_year < first or self.this_year < last < OPEN_END:
                if first > self.this_year or last != span.text_last:
                    late = "year_begin" if first > self.this_year else "year_end"
                    self.log.add(file, line, "date_text" if span.from_text else late,
                                 "a year that is yet to come", max(first, last) if last < OPEN_END
                                 else first, "mend it; leave an open end blank")  # fmt: skip
                    self.left_out["bad row"] += 1
                    continue
                last = self.this_year
            ends = [end for end in (stated_last, last) if end < OPEN_END]
            if first > OPEN_START and any(end - first > widest for end in ends):
                self.left_out["too wide"] += 1
                continue
            # --- from here on the row is kept, unless another has its id
            for column, code in zip(of, codes, strict=True):
                column.rows.append(code)
            years["first"].append(first)
            years["last"].append(last)
            years["stated_last"].append(stated_last)
            years["acquired"].append(acquired or 0)
            flags["approximate"].append(span.approximate)
            flags["from_text"].append(span.from_text)
            flags["odd"].append(odd)
            for name, text in (("width_cm", width), ("height_cm", height)):
                side, problem = _size(text, unit)
                if problem:
                    self.log.add(file, line, name, problem, text, "this cell was not used")
                sizes[name].append(side)
            for family, column, text in zip(clues, extra, seen, strict=True):
                word, problem = _clue(family, text)
                if problem:
                    self.log.add(file, line, family, "a clue that the vocabulary does not know", text,
                                 problem)  # fmt: skip
                column.rows.append(column.code(word))
            self._id_hashes.append(hash((codes[0], record_id)) if record_id else 0)
            self._lines.append(line)
            self._waiting.append(record_id)
            if len(self._waiting) == _CHUNK:
                self._pack_ids()

    def _new_kind(self, object_type: str) -> int:
        kind = self.using.kind(object_type)
        return -1 if kind is None else self._kinds.code(kind)

    def _pack_ids(self) -> None:
        self._ids.append(np.array(self._waiting, dtype=np.dtypes.StringDType()))
        self._waiting = []

    def records(self, digest: str, unread: Sequence[str]) -> Records:
        """What was read, once second rows and undated ones are out of it."""
        self._pack_ids()
        ids = np.concatenate(self._ids)
        self._ids = []
        first = np.frombuffer(self._years["first"], dtype=np.int32)
        types = np.frombuffer(self._columns["object_type"].rows, dtype=np.int32)
        once = self._without_seconds(ids)
        dated = once & (first != _NO_YEAR)
        count = len(self._columns["object_type"].words)
        kind_of = np.array([self._kind_of.get(code, -1) for code in range(count)], dtype=np.int32)
        kind_words = list(self._kinds.words)
        counts = np.bincount(kind_of[types[once & ~dated]], minlength=len(kind_words))
        undated = {
            word: int(count) for word, count in zip(kind_words, counts, strict=True) if count
        }
        if undated:
            self.left_out["undated"] = sum(undated.values())
        if self.log.rows_lost:
            self.left_out["bad row"] += self.log.rows_lost
        rows = self.rows + self.log.rows_lost
        if not dated.any():
            raise TableError(self._nothing(unread, rows))
        kept = np.flatnonzero(dated)
        self._kinds.rows = array("i", kind_of[types].tobytes())
        text = {name: column.done(kept) for name, column in self._columns.items()}
        clues = {family: column.done(kept) for family, column in self._clues.items()}
        years = {
            name: _frozen(np.frombuffer(held, dtype=np.int32)[kept])
            for name, held in self._years.items()
        }
        flags = {
            name: np.frombuffer(held, dtype=np.bool_)[kept] for name, held in self._flags.items()
        }
        sizes = {name: _frozen(np.frombuffer(held)[kept]) for name, held in self._sizes.items()}
        columns = [*(_ranks(text[name]) for name in _TEXTS[:4]), years["acquired"]]
        clump, weight = _counted_once(_groups(columns))
        parts: dict[str, Any] = {**text, **years, **sizes, "kind": self._kinds.done(kept)}
        return Records(
            **parts,
            record_id=_frozen(ids[kept]),
            open_start=_frozen(years["first"] == OPEN_START),
            open_end=_frozen(years["stated_last"] == OPEN_END),
            approximate=_frozen(flags["approximate"]),
            from_text=_frozen(flags["from_text"]),
            clues=MappingProxyType({name: one for name, one in clues.items() if any(one.words)}),
            clump=clump,
            weight=weight,
            rows=rows,
            left_out=MappingProxyType(dict(self.left_out)),
            undated=MappingProxyType(undated),
            odd=int(flags["odd"].sum()),
            faults=self._faults(),
            fault_counts=MappingProxyType(dict(self.log.counts)),
            licences=_licences(text["source"], text["licence"]),
            hash=digest,
        )

    def _without_seconds(self, ids: NDArray[Any]) -> Mask:
        """Which rows are the first of their source and id; the others are faults."""
        first = np.ones(len(ids), dtype=bool)
        hashes = np.frombuffer(self._id_hashes, dtype=np.int64)
        order = np.argsort(hashes, kind="stable")
        same = (hashes[order][1:] == hashes[order][:-1]) & (hashes[order][1:] != 0)
        suspects = np.unique(np.concatenate([order[:-1][same], order[1:][same]]))
        sources = self._columns["source"].rows
        words = list(self._columns["source"].words)
        seen: dict[tuple[int, str], int] = {}
        for row in suspects.tolist():  # equal hashes are no proof: the ids themselves are compared
            key = sources[row], str(ids[row])
            if seen.setdefault(key, row) != row:
                first[row] = False
                self.left_out["duplicate"] += 1
                self.log.add(
                    *self._place(row), "record_id", "the same source and id as an earlier row",
                    f"{words[key[0]]} {key[1]}", f"the earlier one was kept: {self._told(seen[key])}",
                )  # fmt: skip
        return first

    def _place(self, row: int) -> tuple[str, int]:
        file = int(np.searchsorted(self._starts, row, side="right")) - 1
        return self._files[file], self._lines[row]

    def _told(self, row: int) -> str:
        file, line = self._place(row)
        return f"row {line} of {file}"

    def _faults(self) -> tuple[Fault, ...]:
        order = {file: place for place, file in enumerate(self._files)}
        return tuple(sorted(self.log.kept, key=lambda one: (order[one.file], one.row or 0)))

    def _nothing(self, unread: Sequence[str], rows: int) -> str:
        """What to say where not one record can be had."""
        if unread and not rows:
            return "; ".join(unread)
        counts = ", ".join(f"{count} {reason}" for reason, count in self.left_out.items())
        told = [f"no record with a date in {', '.join(self._files)}: {rows} rows ({counts})"]
        told += [str(fault) for fault in self._faults()[:5]]
        return "\n  ".join(told)


def _ranks(column: Words) -> NDArray[np.int64]:
    """Codes in the order of the words, (n,): the same however the rows lie."""
    rank = np.empty(len(column.words), dtype=np.int64)
    rank[sorted(range(len(rank)), key=column.words.__getitem__)] = np.arange(len(rank))
    return rank[column.codes]


def _groups(columns: Sequence[NDArray[Any]]) -> NDArray[np.int64]:
    """A number for each row, (n,), equal where all columns are, ascending with them in turn."""
    group = np.zeros(len(columns[0]), dtype=np.int64)
    for column in columns:
        _, group = np.unique(group * (int(column.max()) + 1) + column, return_inverse=True)
    return group


def _counted_once(group: NDArray[Any]) -> tuple[Ints, Floats]:
    """Group numbers from 0 without gaps, and 1 / size of the group, (n,) each."""
    _, number, size = np.unique(group, return_inverse=True, return_counts=True)
    return _frozen(number.astype(np.int32)), _frozen(1 / size[number])


def _licences(source: Words, licence: Words) -> Mapping[str, Mapping[str, int]]:
    pairs, counts = np.unique(np.stack([source.codes, licence.codes]), axis=1, return_counts=True)
    found: dict[str, dict[str, int]] = defaultdict(dict)
    for (of, code), count in zip(pairs.T, counts, strict=True):
        found[source.words[of]][licence.words[code]] = int(count)
    return MappingProxyType({of: MappingProxyType(said) for of, said in found.items()})


def _frozen(values: NDArray[Any]) -> NDArray[Any]:
    values.flags.writeable = False
    return values


# ---------------------------------------------------------------------------------- whole files


def _check_paths(paths: Sequence[Path]) -> None:
    if not paths:
        raise TableError("no file of records: got an empty list; name at least one")
    seen: set[Path] = set()
    for path in paths:
        if path.is_dir():
            raise TableError(f"{path}: is a folder, not a file; name the files in it")
        if not path.is_file():
            raise TableError(f"{path}: there is no such file; check the path")
        whole = path.resolve()
        if whole in seen:
            raise TableError(f"{path}: the file is named twice; its records would count twice")
        seen.add(whole)


def _hash_of_files(paths: Sequence[Path]) -> str:
    """What `scarfdate.files.hash_of` gives for the files, a piece at a time."""
    names = Counter(path.name for path in paths)
    digest = hashlib.sha256()
    for path in sorted(
        paths, key=lambda one: (one.name, _tie(one) if names[one.name] > 1 else b"")
    ):
        digest.update(path.name.encode() + b"\0")
        for piece in _pieces(path):
            digest.update(piece)
        digest.update(b"\0")
    return digest.hexdigest()


def _tie(path: Path) -> bytes:
    """An order for files of one name that does not hang on their folders."""
    digest = hashlib.sha256()
    for piece in _pieces(path):
        digest.update(piece)
    return digest.digest()


def _pieces(path: Path) -> Iterator[bytes]:
    """The bytes of a file with one kind of line end."""
    with path.open("rb") as stream:
        held = b""
        while piece := stream.read(64 * _CHUNK):
            piece = held + piece
            held = piece[-1:] if piece.endswith(b"\r") else b""
            yield piece.removesuffix(b"\r").replace(b"\r\n", b"\n")
        yield held
