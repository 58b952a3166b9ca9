"""Rows of museum records gathered into arrays, a row at a time, and the bad ones counted.

Near-identical records (one gift catalogued as dozens of rows) form a clump and count once together;
records without a date are counted, for they are not missing at random.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import lru_cache, partial
from pathlib import Path

from scarfdate.columns.columns_map import ColumnsMap
from scarfdate.columns.names import MUSEUM, SCARF_LIKE
from scarfdate.errors import TableError
from scarfdate.records.arrays import (
    OPEN_END,
    OPEN_START,
)
from scarfdate.records.cells import (
    NO_YEAR,
    OTHER,
    REMEMBERED,
    clue_of,
    form_of,
    is_text,
    size_of,
    span_of,
    year_of,
)
from scarfdate.records.gathered import CHUNK, TEXTS, Column, Gathered
from scarfdate.records.record_files import lists_of_file, open_rows
from scarfdate.tables.priors import Priors

_LONGEST_ID = 200  # characters


class RecordsBuilder(Gathered):
    """Judges the rows of files, and gathers those that are records."""

    def __init__(self, using: ColumnsMap, this_year: int, priors: Priors) -> None:
        super().__init__()
        self.using, self.this_year, self.priors = using, this_year, priors
        self._span_of = lru_cache(maxsize=REMEMBERED)(partial(span_of, priors))
        self._year_of = lru_cache(maxsize=REMEMBERED)(partial(year_of, priors.date_words))
        sized = priors.families.get("long_side")
        if sized is not None:
            self.usual_side = float(sized.usual_high)
        self._longest = math.inf if sized is None else sized.high
        self._too_long = f"a side of over {self._longest:g} cm"
        self._clue_of = lru_cache(maxsize=REMEMBERED)(partial(clue_of, priors))

    def read(self, path: Path, source: str) -> None:
        """All rows of one file; ``source`` of those that state none."""
        file = str(path)
        self._files.append(file)
        self._starts.append(len(self._lines))
        rows_before = self.rows, self.log.rows_lost
        names, rows = open_rows(path, self.using, self.log, self.priors)
        clues = names[len(MUSEUM) :]
        for family in clues:
            self._clues.setdefault(family, Column())
        self._level_clues()
        try:
            self._read(file, source, rows, clues)
        finally:
            self._level_clues()
        if rows_before == (self.rows, self.log.rows_lost):
            raise TableError(f"{path}: there is not one record in it{lists_of_file(path)}")

    def _level_clues(self) -> None:
        """Blanks for the clues that a file does not have: files need not have the same."""
        for column in self._clues.values():
            column.rows.extend([column.code("")] * (len(self._lines) - len(column.rows)))

    def _read(
        self, file: str, named: str, rows: Iterator[tuple[int, Sequence[str]]], clues: Sequence[str]
    ) -> None:
        columns, years, flags, sizes = self._columns, self._years, self._flags, self._sizes
        of = [columns[name] for name in TEXTS]
        extra = [self._clues[family] for family in clues]
        unit, widest = self.using.size_unit, self.using.widest_years
        for line, cells in rows:
            (source, record_id, object_type, date_text, begin, end, medium_text, country, width,
             height, got_in, licence, *seen) = cells  # fmt: skip
            self.rows += 1
            codes = [
                column.code(text)
                for column, text in zip(
                    of, (source.strip() or named, object_type, date_text, medium_text, country, licence),
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
            span = self._span_of(begin, end, date_text)
            acquired, problem = self._year_of(got_in, True)
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
            if span.unread:
                self.log.add(file, line, "date_text", "a date that is not understood", date_text,
                             "write its years into year_begin and year_end, or 1950/1959")  # fmt: skip
                self.unread_dates[" ".join(date_text.split())] += 1
                self.left_out["date not understood"] += 1
                continue
            if self.this_year < first or self.this_year < last < OPEN_END:
                if first > self.this_year or last != span.text_last:
                    late = "year_begin" if first > self.this_year else "year_end"
                    self.log.add(file, line, "date_text" if span.from_text else late,
                                 "a year that is yet to come", first if late == "year_begin" else last,
                                 "mend it; leave an open end blank")  # fmt: skip
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
            self.apart += span.apart
            for name, text in (("width_cm", width), ("height_cm", height)):
                side, problem = size_of(text, unit)
                step = "this cell was not used"
                if side > self._longest and self._kinds.words.get(SCARF_LIKE) == kind:
                    side, problem = math.nan, self._too_long
                    step += '; of an export in millimetres say size_unit = "mm" in the map'
                if problem:
                    self.log.add(file, line, name, problem, text, step)
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
            if len(self._waiting) == CHUNK:
                self._pack_ids()

    def _new_kind(self, object_type: str) -> int:
        kind = self.using.listed(object_type)
        if kind is None:
            kind = self.using.unlisted
            if self.using.by_words and form_of(self.priors, object_type) not in ("", OTHER):
                kind = SCARF_LIKE
        return -1 if kind is None else self._kinds.code(kind)
