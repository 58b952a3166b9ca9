"""Descriptions by the trade, counted: opinion, kept apart from records.

Descriptions by dealers, collectors and the press, coded into the vocabulary, become effective
counts of each value by decade. They carry what museums cannot (form, size, motif, better hems).
They are opinion: sellers date by the folk rules that this library weighs, so the counts are
common practice and never a test of dating. Four choices:

- **Sellers.** A row weighs ``min(1, cap / rows of its seller)``; objects and general statements are
  weighed and counted apart. The cap is ``seller_cap`` of ``allowances.csv``; how little it moves is in
  ``tests/building/test_trade.py``.
- **Years.** A stated interval is spread evenly over its years. That is a way of counting an
  opinion, not a measurement: "1940-1960" is not known to be even, only not known better.
- **Words.** Weights over values are split as they stand. A parent word (floral, signed) is split in
  proportion to the shipped shares of its children in that decade, averaged evenly over the grades
  (and markets). Such mass says nothing about how the children divide: ``from_parents`` counts it.
- **Flags.** A ``revival`` row (a later piece in an older look) counts for making clues and not for
  style clues, whose tables are by the year of the look. Articles of the years ``press_from`` to
  ``press_to`` (``allowances.csv``) are contemporary press, sure of its date; but it shows what was in
  fashion, not what was in stock: kept, and counted in ``press``.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import TypeVar

from scarfdate.conventions import FIRST_YEAR
from scarfdate.errors import FileFault, ScarfdateError, TableError, did_you_mean, shown
from scarfdate.files import hash_of, read_at_most
from scarfdate.reading.cells import LABEL_AGAINST_MAKE, checked_range, read_side, read_yes
from scarfdate.reading.observation import Observation, read_observation
from scarfdate.tables.checked import Row, Table, check
from scarfdate.tables.column import Column
from scarfdate.tables.priors import Priors
from scarfdate.tables.schema import TableSchema, Words
from scarfdate.tables.sheet import LONGEST_SHEET, read_sheet

T = TypeVar("T")
OBJECT, STATEMENT = "object", "general-statement"
FAMILIES = (
    "form", "motif", "palette", "layout", "hem", "signature", "fibre", "weave", "print_technique",
    "label", "label_make", "origin",
)  # fmt: skip
PRESS_KIND = "article"
LAST_YEAR = 2029  # the last year of the last decade counted
DECADE = 10
_FAULTS_SHOWN = 3  # faults that an error about a wholly unreadable file repeats
_DECLARED = TableSchema(
    file="*",
    title="Coded trade descriptions",
    description="One description of a piece, or one general statement, a row.",
    lines=(
        Column(name="seller_key"),
        Column(name="year_begin", type="year", low=1000, high=2300),
        Column(name="year_end", type="year", low=1000, high=2300),
        Column(name="kind", type="word", words=(OBJECT, STATEMENT)),
        Column(name="*", blank=True),
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class TradeRow:
    """One description. ``weight`` in (0, 1] is its seller's; ``line`` counts from 1, the header."""

    line: int
    seller: str
    first_year: int
    last_year: int
    kind: str
    revival: bool
    press: bool
    seen: Mapping[str, Observation]
    long_side: float | None  # cm
    weight: float = 1.0


@dataclass(frozen=True, eq=False, kw_only=True)
class Trade:
    """Coded descriptions: the good rows, every fault of the others, and the hash of the file."""

    rows: tuple[TradeRow, ...]
    faults: tuple[FileFault, ...]
    hash: str
    cap: float
    priors: Priors = field(repr=False)

    @property
    def families(self) -> tuple[str, ...]:
        """Those of `FAMILIES` that the priors have shares of."""
        return tuple(family for family in FAMILIES if family in self.priors.shares)

    def of(self, kind: str) -> tuple[TradeRow, ...]:
        """The rows of one kind: "object" or "general-statement"."""
        if kind not in (OBJECT, STATEMENT):
            hint = did_you_mean(kind, (OBJECT, STATEMENT))
            raise ScarfdateError(f"kind: {shown(kind)} is not a kind of description; {hint}")
        return tuple(row for row in self.rows if row.kind == kind)


def decades() -> list[int]:
    """First years of the decades counted, 1880..2020; the first one holds all before it too."""
    return list(range(FIRST_YEAR, LAST_YEAR, DECADE))


def read_trade(path: Path | str, priors: Priors, cap: float | None = None) -> Trade:
    """Read coded descriptions: one row each, its values in the words of ``priors``.

    Needed columns: ``seller_key``, ``year_begin``, ``year_end`` (whole years, ends in), ``kind``;
    read where they are there: every shares family, ``width_cm``, ``height_cm``, ``revival``,
    ``source_kind``. ``cap``: most rows that one seller counts for among the rows of one kind (> 0), by
    default ``seller_cap`` of the priors.

    A row with a fault is left out whole, and all its faults are in ``Trade.faults``. Raises
    TableError where no row can be read, ScarfdateError for a cap that is not a positive number.
    """
    if cap is None:
        cap = priors.allowances["seller_cap"]
    if not (math.isfinite(cap) and cap > 0):
        raise ScarfdateError(f"cap: a number above 0 is allowed, got {shown(cap)}")
    path = Path(path)
    try:
        content = read_at_most(path, LONGEST_SHEET + 1)
    except OSError as error:
        raise TableError(f"{path.name}: cannot be read: {error.strerror}") from None
    faults: list[FileFault] = []
    table = check(read_sheet(path.name, content, faults), _DECLARED, Words({}))
    rows = []
    for cells in table.every:
        before = len(faults)
        row = _row(table, cells, priors)
        if cells.whole and len(faults) == before:
            rows.append(row)
    if not rows:
        first = "; ".join(map(str, faults[:_FAULTS_SHOWN]))
        raise TableError(f"{path.name}: no row can be read: {first}")
    faults.sort(key=lambda fault: fault.row or 0)
    return Trade(
        rows=tuple(_weighted(rows, cap)),
        faults=tuple(faults),
        hash=hash_of([(path.name, content)]),
        cap=cap,
        priors=priors,
    )


def _row(table: Table, cells: Row, priors: Priors) -> TradeRow:
    first, last = cells["year_begin"], cells["year_end"]
    if last < first or last > LAST_YEAR:
        what = "ends before it begins" if last < first else f"ends after {LAST_YEAR}"
        table.fault(cells, "year_end", f"an interval that {what}", f"{first}-{last}")
    found = {
        name: _cell(table, cells, name, partial(read_observation, priors, name))
        for name in priors.shares
    }
    seen = {name: observation for name, observation in found.items() if observation is not None}
    if "label_make" in seen and "label" in seen and seen["label"].word == "none-seen":
        table.fault(cells, "label_make", LABEL_AGAINST_MAKE.removeprefix("label_make: "))
    # one side alone is read as the longer, as `Scarf` does
    sides = [
        _cell(table, cells, name, partial(_side, priors, name))
        for name in ("width_cm", "height_cm")
    ]
    long_side = max((side for side in sides if side is not None), default=None)
    revival = _cell(table, cells, "revival", partial(read_yes, "revival"))
    press_from, press_to = (priors.allowances[name] for name in ("press_from", "press_to"))
    return TradeRow(
        line=cells.line,
        seller=cells["seller_key"],
        first_year=first,
        last_year=last,
        kind=cells["kind"],
        revival=bool(revival),
        press=cells.get("source_kind", "") == PRESS_KIND and press_from <= first <= press_to,
        seen=seen,
        long_side=long_side,
    )


def _cell(table: Table, cells: Row, name: str, read: Callable[[object], T | None]) -> T | None:
    """What a cell says; a fault of the table, and None, where it cannot be read."""
    try:
        return read(cells.get(name, None))
    except ScarfdateError as error:
        table.fault(cells, name, str(error).removeprefix(f"{name}: "))
        return None


def _side(priors: Priors, name: str, cell: object) -> float | None:
    """One side in cm."""
    side = read_side(name, cell, "cm")
    if side is not None:
        checked_range(priors.families["long_side"], side)
    return side


def _weighted(rows: Sequence[TradeRow], cap: float) -> Iterable[TradeRow]:
    count = Counter((row.kind, row.seller) for row in rows)
    for row in rows:
        yield replace(row, weight=min(1.0, cap / count[row.kind, row.seller]))
