"""Arrays of museum records that grow by a row, and what becomes of them once all rows are in."""

from __future__ import annotations

import math
from array import array
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scarfdate.errors import FileFault, TableError
from scarfdate.frozen import frozen as frozen_mapping
from scarfdate.reading.faults import FaultLog
from scarfdate.records.arrays import (
    OPEN_END,
    OPEN_START,
    Mask,
    Records,
    Words,
    alike,
    counted_once,
    frozen,
    ranks,
)
from scarfdate.records.cells import (
    NO_YEAR,
    REMEMBERED,
    is_text,
)

CHUNK = 2**14  # rows whose ids are packed together
_NOT_STATED = "not stated"
TEXTS = ("source", "object_type", "date_text", "medium_text", "country", "licence")


class Column:
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


class Gathered:
    """Arrays that grow by a row, and the counts of what was wrong."""

    def __init__(self) -> None:
        self.log = FaultLog()
        self.rows = 0
        self.left_out: Counter[str] = Counter()
        self.unread_dates: Counter[str] = Counter()
        self.usual_side = math.inf  # cm
        self.apart = 0  # records whose years and date text disagree
        self._columns = {name: Column() for name in TEXTS}
        self._columns["licence"] = Column(blank=_NOT_STATED)
        self._clues: dict[str, Column] = {}
        self._kinds = Column()
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
        ids = ids[kept]
        self._kinds.rows = array("i", kind_of[types].tobytes())
        text = {name: column.done(kept) for name, column in self._columns.items()}
        clues = {family: column.done(kept) for family, column in self._clues.items()}
        del first, types, once, dated, self._id_hashes, self._lines
        years = _taken(self._years, np.dtype(np.int32), kept)
        flags = _taken(self._flags, np.dtype(np.bool_), kept)
        sizes = _taken(self._sizes, np.dtype(np.float64), kept)
        self._look_at_sizes(np.concatenate([*sizes.values()]))
        columns = [*(ranks(text[name]) for name in TEXTS[:4]), years["acquired"]]
        clump, weight = counted_once(alike(columns)[1])
        parts: dict[str, Any] = {**text, **years, **sizes, "kind": self._kinds.done(kept)}
        return Records(
            **parts,
            record_id=frozen(ids),
            open_start=frozen(years["first"] == OPEN_START),
            open_end=frozen(years["stated_last"] == OPEN_END),
            approximate=flags["approximate"],
            from_text=flags["from_text"],
            clues=frozen_mapping({name: one for name, one in clues.items() if any(one.words)}),
            clump=clump,
            weight=weight,
            rows=rows,
            left_out=frozen_mapping(self.left_out),
            undated=frozen_mapping(undated),
            odd=int(flags["odd"].sum()),
            apart=self.apart,
            unread_dates=frozen_mapping(dict(self.unread_dates.most_common())),
            faults=self._faults(),
            fault_counts=frozen_mapping(self.log.counts),
            licences=_licences(text["source"], text["licence"]),
            hash=digest,
        )

    def _look_at_sizes(self, sides: NDArray[np.float64]) -> None:
        """A fault where most sides are larger than a piece usually is."""
        stated = sides[~np.isnan(sides)]
        middle = float(np.median(stated)) if stated.size else 0.0
        if middle > self.usual_side:
            self.log.add(
                self._files[0], None, "width_cm", f"half of all sides are of {middle:.4g} cm or more", None,
                'of an export in millimetres say size_unit = "mm" in the map',
            )  # fmt: skip

    def _without_seconds(self, ids: NDArray[Any]) -> Mask:
        """Which rows are the first of their source and id; the others are faults."""
        first = np.ones(len(ids), dtype=bool)
        hashes = np.frombuffer(self._id_hashes, dtype=np.int64)
        ordered = np.sort(hashes)
        again = np.unique(ordered[1:][(ordered[1:] == ordered[:-1]) & (ordered[1:] != 0)])
        del ordered  # of ten million rows it is much
        suspects = np.flatnonzero(np.isin(hashes, again)) if again.size else again
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

    def _faults(self) -> tuple[FileFault, ...]:
        order = {file: place for place, file in enumerate(self._files)}
        return tuple(sorted(self.log.kept, key=lambda one: (order[one.file], one.row or 0)))

    def _nothing(self, unread: Sequence[str], rows: int) -> str:
        """What to say where not one record can be had."""
        if unread and not rows:
            return "; ".join(unread)
        counts = ", ".join(f"{count} {reason}" for reason, count in self.left_out.items())
        head = f"no record with a date in {', '.join(self._files)}: {rows} rows ({counts})"
        return "\n  ".join([head, *map(str, self._faults()[:5])])


def _taken(
    columns: dict[str, array[Any]], kind: np.dtype[Any], kept: NDArray[np.intp]
) -> dict[str, NDArray[Any]]:
    """The kept rows of some columns, which are emptied: of ten million rows none is held twice."""
    found = {}
    while columns:
        name, held = columns.popitem()
        found[name] = frozen(np.frombuffer(held, dtype=kind)[kept])
        del held
    return found


def _licences(source: Words, licence: Words) -> Mapping[str, Mapping[str, int]]:
    first, kind = alike([source.codes, licence.codes])
    of_source: dict[str, dict[str, int]] = defaultdict(dict)
    for row, count in zip(first.tolist(), np.bincount(kind).tolist(), strict=True):
        of_source[source[row]][licence[row]] = count
    return frozen_mapping({of: frozen_mapping(one) for of, one in of_source.items()})
