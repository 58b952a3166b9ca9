"""Dated records of museums as arrays: what is had once the files are read.

Texts that repeat are kept once, and rows are never held as objects, so that a million records fit
into memory several times over.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from scarfdate.columns.names import SCARF_LIKE
from scarfdate.errors import FileFault, RangeError, shown
from scarfdate.frozen import frozen as frozen_mapping

Ints = NDArray[np.int32]
Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

OPEN_START, OPEN_END = 0, 9999  # stand in `first` and `last` where nothing bounds that side


@dataclass(frozen=True, slots=True, eq=False)
class Words:
    """A column of texts that repeat: ``words``, each once, and ``codes`` (n,) that index them.

    A blank is the word "".
    """

    codes: Ints
    words: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.codes)

    def __reduce__(self) -> tuple[object, ...]:
        # an array comes out of a pickle writable
        return (_again, (Words, [self.codes, self.words]))

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
        return Words(frozen(self.codes[which]), self.words)


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
    that begin after they were acquired, ``apart``: those whose years and date text have no year in common, both kept
    as the years state; ``unread_dates``: date texts that were
    not understood, the commonest first, with the number of records; ``faults``: some of each sort, with file,
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
    apart: int
    unread_dates: Mapping[str, int]
    faults: tuple[FileFault, ...]
    fault_counts: Mapping[str, int]
    licences: Mapping[str, Mapping[str, int]]
    hash: str

    def __len__(self) -> int:
        return len(self.first)

    def __reduce__(self) -> tuple[object, ...]:
        return (_again, (Records, [getattr(self, column.name) for column in fields(self)]))

    def __repr__(self) -> str:
        return (
            f"Records({len(self)} dated records in {self.effective} clumps, "
            f"{sum(self.left_out.values())} rows left out, hash {self.hash[:12]})"
        )

    def told(self) -> list[str]:
        """How the reading went, in sentences: what is a record here, what was left out and why, and what to look at."""
        out = ", ".join(f"{count} {reason}" for reason, count in self.left_out.items())
        said = [
            f"{self.rows} rows: {len(self)} dated records in {self.effective} clumps"
            + (f"; left out: {out}." if out else "; none left out.")
        ]
        kinds = Counter(
            dict(zip(self.kind.words, np.bincount(self.kind.codes).tolist(), strict=True))
        )
        listed = ", ".join(f"{count} {kind}" for kind, count in kinds.most_common())
        others = Counter(self.object_type.texts()[~self.kind.is_word(SCARF_LIKE)].tolist())
        if not kinds[SCARF_LIKE]:
            listed += f"; none of them counts as {SCARF_LIKE}: say in [kinds] of a map which object types do"
        said.append(f"Kinds of object: {listed}.")
        if others:
            said.append(f"Counted as no scarf, the commonest first: {_commonest(others)}.")
        if self.unread_dates:
            count = sum(self.unread_dates.values())
            said.append(
                f"{_records(count)} with a date that is not understood, the commonest first: "
                f"{_commonest(self.unread_dates)}."
            )
        if self.apart:
            said.append(f"{_records(self.apart)} with years and a date text that have no year in common; "
                        "the years count.")  # fmt: skip
        if self.odd:
            said.append(
                f"{_records(self.odd)} made after they were acquired, by their years; kept as stated."
            )
        return said

    @property
    def effective(self) -> int:
        """How many clumps there are: the records that count."""
        return int(self.clump.max()) + 1 if len(self) else 0

    @property
    def gift(self) -> NDArray[np.int64]:
        """Number shared by what one source got in one year, (n,): records that one hand dated.

        A record without a year of acquisition goes with its clump alone.
        """
        alone = -1 - self.clump.astype(np.int64)
        together = self.source.codes.astype(np.int64) * 10_000 + self.acquired
        return np.where(self.acquired > 0, together, alone)

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
                part[column.name] = frozen(value[rows])
        part["clues"] = frozen_mapping({name: one.only(rows) for name, one in self.clues.items()})
        part["clump"], part["weight"] = counted_once(part["clump"])
        return replace(self, **part)

    def to_frame(self) -> pd.DataFrame:
        """The records as a frame, one row a record; <NA> where a side is open or nothing is known."""
        columns: dict[str, Any] = {}
        for column in fields(self):
            value = getattr(self, column.name)
            if isinstance(value, Words):
                columns[column.name] = value.texts()
            elif column.name in ("first", "last", "stated_last", "acquired"):
                unknown = OPEN_END if column.name.endswith("last") else 0
                columns[column.name] = nullable_years(value, unknown)
            elif isinstance(value, np.ndarray):
                text = column.name == "record_id"
                columns[column.name] = value.astype(object) if text else value.copy()
        columns |= {name: words.texts() for name, words in self.clues.items()}
        return pd.DataFrame(columns)


def _again(kind: Any, values: Sequence[Any]) -> Any:
    """A pickled value of ours once more, its arrays read-only."""
    return kind(*(frozen(one) if isinstance(one, np.ndarray) else one for one in values))


def nullable_years(years: Ints, unknown: int) -> Any:
    """Years as pandas holds them, <NA> where they are ``unknown``."""
    array = pd.array(years, dtype="Int32")
    array[years == unknown] = pd.NA
    return array


def ranks(column: Words) -> NDArray[np.int64]:
    """Codes in the order of the words, (n,): the same however the rows lie."""
    rank = np.empty(len(column.words), dtype=np.int64)
    rank[sorted(range(len(rank)), key=column.words.__getitem__)] = np.arange(len(rank))
    return rank[column.codes]


def alike(columns: Sequence[NDArray[Any]]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """A row of each kind of rows that are equal in all columns of whole numbers, and the kind of each row, (n,).

    Kinds ascend with the columns in turn. Beside its answer it needs some thirty bytes a row.
    """
    group = np.zeros(len(columns[0]), dtype=np.int64)
    kinds = 1
    for column in columns:
        low = int(column.min(initial=0))
        width = int(column.max(initial=0)) - low + 1
        if kinds * width >= 2**62:  # more than one whole number holds: count those that are there
            distinct, group = np.unique(group, return_inverse=True)
            kinds = len(distinct)
        group *= width
        group += column
        group -= low
        kinds *= width
    order = np.argsort(group, kind="stable")
    group = group[order]
    new = np.concatenate(([True], group[1:] != group[:-1]))[: len(group)]
    first, number = order[new], np.cumsum(new, dtype=np.int32)
    del group
    kind = np.empty(len(order), dtype=np.intp)
    kind[order] = number - np.int32(1)
    return first, kind


def counted_once(group: NDArray[Any]) -> tuple[Ints, Floats]:
    """Group numbers from 0 without gaps, and 1 / size of the group, (n,) each."""
    there = np.bincount(group) > 0
    number = (np.cumsum(there, dtype=np.int32) - np.int32(1))[group]
    return frozen(number), frozen(1 / np.bincount(number)[number])


def frozen(values: NDArray[Any]) -> NDArray[Any]:
    """The same array, now read-only."""
    values.flags.writeable = False
    return values


_NAMED = 6  # texts that a sentence names


def _records(count: int) -> str:
    return "1 record" if count == 1 else f"{count} records"


def _commonest(texts: Mapping[str, int]) -> str:
    """The commonest texts in quotes, with how often each is there."""
    most = Counter(texts).most_common()
    named = ", ".join(f"{shown(text)} ({count})" for text, count in most[:_NAMED])
    return named + (f" and {len(most) - _NAMED} more" if len(most) > _NAMED else "")
