"""Rows of museum records gathered into arrays, a row at a time, and the bad ones counted.

Near-identical records (one gift catalogued as dozens of rows) form a clump and count once together;
records without a date are counted, for they are not missing at random.
"""

from __future__ import annotations

from array import array
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache, partial
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scarfdate.errors import Fault, TableError
from scarfdate.reading.faults import FaultLog
from scarfdate.records.arrays import (
    OPEN_END,
    OPEN_START,
    Mask,
    Records,
    Words,
    counted_once,
    frozen,
    groups,
    ranks,
)
from scarfdate.records.cells import (
    NO_YEAR,
    REMEMBERED,
    clue_of,
    is_text,
    size_of,
    span_of,
    year_of,
)
from scarfdate.records.column_names import MUSEUM
from scarfdate.records.columns_map import ColumnsMap
from scarfdate.records.record_files import open_rows
from scarfdate.tables.priors import Priors

_LONGEST_ID = 200  # characters
_CHUNK = 2**14  # rows whose ids are packed together
_NOT_STATED = "not stated"
_TEXTS = ("source", "object_type", "date_text", "medium_text", "country", "licence")


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
            if not is_text(text):
                return -1
            word = " ".join(text.split()) or self._blank
            code = self.words.setdefault(word, len(self.words))
            if word != text and len(self._codes) >= 4 * REMEMBERED:
                return code  # spellings of one word are remembered, but not without end
            self._codes[text] = code
        return code

    def done(self, kept: NDArray[np.intp]) -> Words:
        """The kept rows, and only the words that stand in them, in the order in which they do."""
        codes, used = pd.factorize(np.frombuffer(self.rows, dtype=np.int32)[kept])
        words = list(self.words)
        self.rows, self._codes = array("i"), {}
        return Words(frozen(codes.astype(np.int32)), tuple(words[code] for code in used))


class RecordsBuilder:
    """Arrays that grow by a row, and the counts of what was wrong."""

    def __init__(self, using: ColumnsMap, this_year: int, priors: Priors) -> None:
        self.using, self.this_year, self.priors = using, this_year, priors
        self._clue_of = lru_cache(maxsize=REMEMBERED)(partial(clue_of, priors))
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
        names, rows = open_rows(path, self.using, self.log, self.priors)
        clues = names[len(MUSEUM) :]
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
            if min(codes) < 0 or not is_text(record_id):
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
            span = span_of(begin, end, date_text)
            acquired, problem = year_of(got_in, True)
            if acquired is not None and acquired > self.this_year:
                acquired, problem = None, "a year that is yet to come"
            if problem:
                self.log.add(file, line, "year_acquired", problem, got_in, "this cell was not used")
            first, stated_last = span.first, span.last
            last, odd = stated_last, False
            if acquired is not None and first != NO_YEAR:
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
                side, problem = size_of(text, unit)
                if problem:
                    self.log.add(file, line, name, problem, text, "this cell was not used")
                sizes[name].append(side)
            for family, column, text in zip(clues, extra, seen, strict=True):
                word, problem = self._clue_of(family, text)
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
        dated = once & (first != NO_YEAR)
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
            name: frozen(np.frombuffer(held, dtype=np.int32)[kept])
            for name, held in self._years.items()
        }
        flags = {
            name: np.frombuffer(held, dtype=np.bool_)[kept] for name, held in self._flags.items()
        }
        sizes = {name: frozen(np.frombuffer(held)[kept]) for name, held in self._sizes.items()}
        columns = [*(ranks(text[name]) for name in _TEXTS[:4]), years["acquired"]]
        clump, weight = counted_once(groups(columns))
        parts: dict[str, Any] = {**text, **years, **sizes, "kind": self._kinds.done(kept)}
        return Records(
            **parts,
            record_id=frozen(ids[kept]),
            open_start=frozen(years["first"] == OPEN_START),
            open_end=frozen(years["stated_last"] == OPEN_END),
            approximate=frozen(flags["approximate"]),
            from_text=frozen(flags["from_text"]),
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
                    f"{words[key[0]]} {key[1]}", f"the earlier one was kept: {self._place_text(seen[key])}",
                )  # fmt: skip
        return first

    def _place(self, row: int) -> tuple[str, int]:
        file = int(np.searchsorted(self._starts, row, side="right")) - 1
        return self._files[file], self._lines[row]

    def _place_text(self, row: int) -> str:
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
        head = f"no record with a date in {', '.join(self._files)}: {rows} rows ({counts})"
        return "\n  ".join([head, *map(str, self._faults()[:5])])


def _licences(source: Words, licence: Words) -> Mapping[str, Mapping[str, int]]:
    pairs, counts = np.unique(np.stack([source.codes, licence.codes]), axis=1, return_counts=True)
    of_source: dict[str, dict[str, int]] = defaultdict(dict)
    for (of, code), count in zip(pairs.T, counts, strict=True):
        of_source[source.words[of]][licence.words[code]] = int(count)
    return MappingProxyType({of: MappingProxyType(one) for of, one in of_source.items()})
