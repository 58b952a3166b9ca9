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
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pandas as pd

from scarfdate.conventions import FIRST_YEAR, Array
from scarfdate.errors import Fault, ScarfdateError, TableError, did_you_mean, shown
from scarfdate.files import hash_of
from scarfdate.reading.cells import LABEL_AGAINST_MAKE, checked_range, read_side, read_yes
from scarfdate.reading.observation import Observation, read_observation
from scarfdate.tables.column import Column
from scarfdate.tables.priors import Priors
from scarfdate.tables.schema import Row, Table, TableSchema, Words, check
from scarfdate.tables.sheet import read_sheet

OBJECT, STATEMENT = "object", "general-statement"
FAMILIES = (
    "form", "motif", "palette", "layout", "hem", "signature", "fibre", "weave", "print_technique",
    "label", "label_make", "origin",
)  # fmt: skip
PRESS_KIND = "article"
LAST_YEAR = 2029  # the last year of the last decade counted
_DECADE = 10
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
    faults: tuple[Fault, ...]
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
    return list(range(FIRST_YEAR, LAST_YEAR, _DECADE))


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
        content = path.read_bytes()
    except OSError as error:
        raise TableError(f"{path.name}: cannot be read: {error.strerror}") from None
    faults: list[Fault] = []
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
    seen: dict[str, Observation] = {}
    for name in priors.shares:
        try:
            observation = read_observation(priors, name, cells.get(name, None))
        except ScarfdateError as error:
            table.fault(cells, name, str(error).removeprefix(f"{name}: "))
        else:
            if observation is not None:
                seen[name] = observation
    if "label_make" in seen and "label" in seen and seen["label"].word == "none-seen":
        table.fault(cells, "label_make", LABEL_AGAINST_MAKE.removeprefix("label_make: "))
    sides = [_side(table, cells, name, priors) for name in ("width_cm", "height_cm")]
    long_side = max((side for side in sides if side is not None), default=None)
    revival = None
    try:
        revival = read_yes("revival", cells.get("revival", None))
    except ScarfdateError as error:
        table.fault(cells, "revival", str(error).removeprefix("revival: "))
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


def _side(table: Table, cells: Row, name: str, priors: Priors) -> float | None:
    """One side in cm; one side alone is read as the longer, as `Scarf` does."""
    try:
        side = read_side(name, cells.get(name, None), "cm")
        if side is not None:
            checked_range(priors.families["long_side"], side)
    except ScarfdateError as error:
        table.fault(cells, name, str(error).removeprefix(f"{name}: "))
        return None
    return side


def _weighted(rows: Sequence[TradeRow], cap: float) -> Iterable[TradeRow]:
    count = Counter((row.kind, row.seller) for row in rows)
    for row in rows:
        yield replace(row, weight=min(1.0, cap / count[row.kind, row.seller]))


def trade_counts(trade: Trade, family: str, kind: str = OBJECT) -> pd.DataFrame:
    """Effective counts of each value of a shares family by decade.

    Columns: ``decade`` (its first year), one column a value (sums of weights; over all decades and
    values they add up to the weights of the rows that state the family), ``rows`` and ``sellers``
    (whose interval touches the decade: a wide one is counted in several), ``press`` (effective
    count from contemporary press), ``from_parents`` (effective count known by a parent word only).

    Raises ScarfdateError for a family that has no shares table.
    """
    values = values_of(trade, family)
    rows, years, cells, parents = by_decade(trade, family, kind)
    total = [row.weight for row in rows] * years.T  # (decades, rows)
    press = np.array([row.press for row in rows], dtype=float)
    frame = pd.DataFrame(cells.sum(axis=0), columns=list(values))
    frame.insert(0, "decade", decades())
    frame["rows"] = (years > 0).sum(axis=0)
    frame["sellers"] = [len(sellers_of(rows, years[:, place])) for place in range(len(frame))]
    frame["press"] = total @ press
    frame["from_parents"] = parents.sum(axis=0)
    return frame


def long_side_counts(trade: Trade, kind: str = OBJECT) -> pd.DataFrame:
    """Long sides by decade and form: the natural log of cm, weighted.

    Columns ``decade``, ``given`` (a value of form, or "any": all sizes, form stated or not),
    ``count`` (effective), ``mean_log_cm`` and ``sd_log_cm`` (unbiased for weights; NaN below two
    rows), ``rows``, ``sellers``, ``press``. Handkerchiefs and shawls together have no one size:
    read "any" as a check only.
    """
    rows = [row for row in trade.of(kind) if row.long_side is not None]
    logs = np.log([row.long_side or math.nan for row in rows])
    press = np.array([row.press for row in rows], dtype=float)
    years = _years(rows)
    forms = values_of(trade, "form")
    table = []
    for place, decade in enumerate(decades()):
        of_form = np.zeros((len(rows), len(forms)))
        for number, row in enumerate(rows):
            if "form" in row.seen:
                of_form[number] = _terms(trade, "form", row.seen["form"])[0][place]
        for given, part in (("any", np.ones(len(rows))), *zip(forms, of_form.T, strict=True)):
            weight = np.array([row.weight for row in rows]) * years[:, place] * part
            if not weight.any():
                continue
            count, squares = weight.sum(), (weight**2).sum()
            mean = float(weight @ logs / count)
            # reliability weights: with one row the divisor is 0, and there is no spread
            divisor = count - squares / count
            several = (weight > 0).sum() > 1 and divisor > 0
            spread = math.sqrt(weight @ (logs - mean) ** 2 / divisor) if several else math.nan
            table.append(
                (decade, given, count, mean, spread, int((weight > 0).sum()),
                 len(sellers_of(rows, weight)), float(weight @ press))
            )  # fmt: skip
    columns = ["decade", "given", "count", "mean_log_cm", "sd_log_cm", "rows", "sellers", "press"]
    return pd.DataFrame(table, columns=columns)


def values_of(trade: Trade, family: str) -> tuple[str, ...]:
    """The values of a shares family, in its order. Raises ScarfdateError where it has no table."""
    if family not in trade.priors.shares:
        hint = did_you_mean(family, list(trade.priors.shares))
        raise ScarfdateError(f"family: {shown(family)} has no shares table; {hint}")
    return trade.priors.shares[family].values


def sellers_of(rows: Sequence[TradeRow], weight: Array) -> set[str]:
    """Whose rows have any weight; ``weight`` (rows,)."""
    return {row.seller for row, load in zip(rows, weight, strict=True) if load > 0}


def _years(rows: Sequence[TradeRow]) -> Array:
    """Each row's interval spread evenly over its years, by decade: (rows, decades), sums of 1."""
    starts = np.array(decades())
    spread = np.zeros((len(rows), len(starts)))
    for place, row in enumerate(rows):
        begin = starts.copy()
        begin[0] = min(row.first_year, FIRST_YEAR)  # the first decade holds all before it
        inside = np.minimum(row.last_year, starts + _DECADE - 1) - np.maximum(row.first_year, begin)
        spread[place] = np.maximum(inside + 1, 0) / (row.last_year - row.first_year + 1)
    return spread


def _shares_by_decade(trade: Trade, family: str) -> Array:
    """The shares of the priors by decade, (decades, values): even means over years, grades, markets."""
    years = np.arange(FIRST_YEAR, LAST_YEAR + 1)
    shares = trade.priors.shares[family].every_year(years)  # (values, markets, grades, years)
    each = shares.mean(axis=(1, 2)).reshape(len(shares), -1, _DECADE)
    return np.asarray(each.mean(axis=2).T)


def _terms(trade: Trade, family: str, seen: Observation) -> tuple[Array, float]:
    """One observation over values by decade, (decades, values), and how much was parent words."""
    values = values_of(trade, family)
    split = np.zeros((len(decades()), len(values)))
    of_parents = 0.0
    for word, weight in seen.terms:
        children = trade.priors.vocabulary.children(family, word)
        places = [values.index(child) for child in children]
        if len(places) == 1:
            split[:, places] += weight
            continue
        shares = _shares_by_decade(trade, family)[:, places]
        split[:, places] += weight * shares / shares.sum(axis=1, keepdims=True)
        of_parents += weight
    return split, of_parents


def by_decade(trade: Trade, family: str, kind: str) -> tuple[list[TradeRow], Array, Array, Array]:
    """Rows that state a family; years (rows, decades), counts (rows, decades, values), parents."""
    values = values_of(trade, family)
    style = trade.priors.families[family].reads == "style"
    rows = [row for row in trade.of(kind) if family in row.seen and not (style and row.revival)]
    years = _years(rows)
    cells = np.zeros((*years.shape, len(values)))
    parents = np.zeros(years.shape)
    known: dict[Observation, tuple[Array, float]] = {}
    for place, row in enumerate(rows):
        seen = row.seen[family]
        if seen not in known:
            known[seen] = _terms(trade, family, seen)
        split, of_parents = known[seen]
        load = row.weight * years[place]
        cells[place] = load[:, None] * split
        parents[place] = load * of_parents
    return rows, years, cells, parents
