"""What the trade says of its scarves, counted: opinion, kept apart from records.

Descriptions by dealers, collectors and the press, coded into the vocabulary, become effective
counts of each value by decade. They carry what museums cannot (form, size, motif, better hems).
They are opinion: sellers date by the folk rules that this library weighs, so the counts are
common practice and never a test of dating. Four choices:

- **Sellers.** A row weighs ``min(1, cap / rows of its seller)``; objects and general statements are
  weighed and counted apart. How little the cap moves is in ``tests/museum/test_trade.py``.
- **Years.** A stated interval is spread evenly over its years. That is a way of counting an
  opinion, not a measurement: "1940-1960" is not known to be even, only not known better.
- **Words.** Weights over values are split as they stand. A parent word (floral, signed) is split in
  proportion to the shipped shares of its children in that decade, averaged evenly over the grades
  (and markets). Such mass says nothing about how the children divide: ``from_parents`` counts it.
- **Flags.** A ``revival`` row (a later piece in an older look) counts for making clues and not for
  style clues, whose tables are by the year of the look. Press of the years just after 2000 is sure
  of its date but shows what was in fashion, not what was in stock: kept, and counted in ``press``.
"""

from __future__ import annotations

import csv
import io
import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pandas as pd

from scarfdate.conventions import FIRST_YEAR, LEVEL
from scarfdate.errors import Fault, ScarfdateError, TableError, did_you_mean, shown
from scarfdate.files import hash_of, write_whole
from scarfdate.knots import Array
from scarfdate.reading import (
    LABEL_AGAINST_MAKE,
    Observation,
    checked_range,
    read_observation,
    read_side,
    read_yes,
)
from scarfdate.tables.priors import Priors, load_priors
from scarfdate.tables.sheet import Sheet, read_sheet

OBJECT, STATEMENT = "object", "general-statement"
FAMILIES = (
    "form", "motif", "palette", "layout", "hem", "signature", "fibre", "weave", "print_technique",
    "label", "label_make", "origin",
)  # fmt: skip
# Most rows that one seller counts for. Common practice in pooling: three agreeing rows show a
# habit, a fourth the same habit again; one row each would throw away what a large stock shows.
CAP = 3.0
# Years in which web articles of the sample are contemporary press (stated by its describers).
PRESS_YEARS = (2000, 2015)
PRESS_KIND = "article"
LAST_YEAR = 2029  # the last year of the last decade counted
DRAWS = 2000  # permutations: the 10 % point of chance is then good to about 0.7 points
# The claim that `hem_speaks_of` tests: "hand-rolled in every decade from the 1950s on".
_HAND_ROLLED_FROM = 1950
_DECADE = 10
_SEED = 2026
_TOLD = 3  # faults that an error about a wholly unreadable file repeats
_COLUMNS = ("seller_key", "year_begin", "year_end", "kind", "*")
_BASIS = "common practice"


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, eq=False)
class Trade:
    """Coded descriptions: the good rows, every fault of the others, and the hash of the file."""

    rows: tuple[TradeRow, ...]
    faults: tuple[Fault, ...]
    hash: str
    cap: float
    priors: Priors = field(repr=False)

    def of(self, kind: str) -> tuple[TradeRow, ...]:
        """The rows of one kind: "object" or "general-statement"."""
        if kind not in (OBJECT, STATEMENT):
            hint = did_you_mean(kind, (OBJECT, STATEMENT))
            raise ScarfdateError(f"kind: no kind {shown(kind)}; {hint}")
        return tuple(row for row in self.rows if row.kind == kind)


def decades() -> list[int]:
    """First years of the decades counted, 1880..2020; the first one holds all before it too."""
    return list(range(FIRST_YEAR, LAST_YEAR, _DECADE))


def read_trade(path: Path | str, priors: Priors, cap: float = CAP) -> Trade:
    """Read coded descriptions: one row each, its values in the words of ``priors``.

    Needed columns: ``seller_key``, ``year_begin``, ``year_end`` (whole years, ends in), ``kind``;
    read where they are there: every shares family, ``width_cm``, ``height_cm``, ``revival``,
    ``source_kind``. ``cap``: most rows that one seller counts for among the rows of one kind (> 0).

    A row with a fault is left out whole, and all its faults are in ``Trade.faults``. Raises
    TableError where no row can be read, ScarfdateError for a cap that is not a positive number.
    """
    if not (math.isfinite(cap) and cap > 0):
        raise ScarfdateError(f"cap: a number above 0 is allowed, got {shown(cap)}")
    path = Path(path)
    try:
        content = path.read_bytes()
    except OSError as error:
        raise TableError(f"{path.name}: cannot be read: {error.strerror}") from None
    faults: list[Fault] = []
    sheet = read_sheet(path.name, content, _COLUMNS, faults, provenance=())
    rows = []
    for line, cells in sheet.rows:
        before = len(faults)
        row = _row(sheet, line, cells, priors)
        if len(faults) == before:
            rows.append(row)
    if not rows:
        told = "; ".join(map(str, faults[:_TOLD]))
        raise TableError(f"{path.name}: no row can be read: {told}")
    found = tuple(_weighted(rows, cap))
    return Trade(found, tuple(faults), hash_of([(path.name, content)]), cap, priors)


def _row(sheet: Sheet, line: int, cells: Mapping[str, str], priors: Priors) -> TradeRow:
    first, last = sheet.year(line, "year_begin"), sheet.year(line, "year_end")
    if first and last and (last < first or last > LAST_YEAR):
        what = "ends before it begins" if last < first else f"ends after {LAST_YEAR}"
        sheet.fault(line, "year_end", f"an interval that {what}", f"{first}-{last}")
    kind = sheet.word(line, "kind", (OBJECT, STATEMENT))
    seller = sheet.text(line, "seller_key")
    seen: dict[str, Observation] = {}
    for name in priors.shares:
        try:
            observation = read_observation(priors, name, cells.get(name))
        except ScarfdateError as error:
            sheet.fault(line, name, str(error).removeprefix(f"{name}: "))
        else:
            if observation is not None:
                seen[name] = observation
    if "label_make" in seen and "label" in seen and seen["label"].word == "none-seen":
        sheet.fault(line, "label_make", LABEL_AGAINST_MAKE.removeprefix("label_make: "))
    sides = [_side(sheet, line, name, cells, priors) for name in ("width_cm", "height_cm")]
    long_side = max((side for side in sides if side is not None), default=None)
    revival = None
    try:
        revival = read_yes("revival", cells.get("revival"))
    except ScarfdateError as error:
        sheet.fault(line, "revival", str(error).removeprefix("revival: "))
    press = cells.get("source_kind") == PRESS_KIND and PRESS_YEARS[0] <= first <= PRESS_YEARS[1]
    known = MappingProxyType(seen)
    return TradeRow(line, seller, first, last, kind, bool(revival), press, known, long_side)


def _side(
    sheet: Sheet, line: int, name: str, cells: Mapping[str, str], priors: Priors
) -> float | None:
    """One side in cm; one side alone is read as the longer, as `Scarf` does."""
    try:
        side = read_side(name, cells.get(name), "cm")
        if side is not None:
            checked_range(priors.families["long_side"], side)
    except ScarfdateError as error:
        sheet.fault(line, name, str(error).removeprefix(f"{name}: "))
        return None
    return side


def _weighted(rows: Sequence[TradeRow], cap: float) -> Iterable[TradeRow]:
    count = Counter((row.kind, row.seller) for row in rows)
    for row in rows:
        yield replace(row, weight=min(1.0, cap / count[row.kind, row.seller]))


# --- counting -------------------------------------------------------------------------------------


def trade_counts(trade: Trade, family: str, kind: str = OBJECT) -> pd.DataFrame:
    """Effective counts of each value of a shares family by decade.

    Columns: ``decade`` (its first year), one column a value (sums of weights; over all decades and
    values they add up to the weights of the rows that state the family), ``rows`` and ``sellers``
    (whose interval touches the decade: a wide one is counted in several), ``press`` (effective
    count from contemporary press), ``from_parents`` (effective count known by a parent word only).

    Raises ScarfdateError for a family that has no shares table.
    """
    values = _values(trade, family)
    rows, years, cells, parents = _spread(trade, family, kind)
    total = [row.weight for row in rows] * years.T  # (decades, rows)
    press = np.array([row.press for row in rows], dtype=float)
    frame = pd.DataFrame(cells.sum(axis=0), columns=list(values))
    frame.insert(0, "decade", decades())
    frame["rows"] = (years > 0).sum(axis=0)
    frame["sellers"] = [len(_sellers(rows, years[:, place])) for place in range(len(frame))]
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
    forms = _values(trade, "form")
    found = []
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
            # reliability weights: with one row the divisor is 0, and there is no spread to tell
            divisor = count - squares / count
            several = (weight > 0).sum() > 1 and divisor > 0
            spread = math.sqrt(weight @ (logs - mean) ** 2 / divisor) if several else math.nan
            found.append(
                (decade, given, count, mean, spread, int((weight > 0).sum()),
                 len(_sellers(rows, weight)), float(weight @ press))
            )  # fmt: skip
    columns = ["decade", "given", "count", "mean_log_cm", "sd_log_cm", "rows", "sellers", "press"]
    return pd.DataFrame(found, columns=columns)


def against_shares(trade: Trade, families: Sequence[str] = FAMILIES) -> pd.DataFrame:
    """Where the trade's shares differ from the shipped ones (even mean over grades and markets).

    Columns: ``family``, ``decade``, ``value``, ``size`` (effective count),
    ``trade`` and ``shipped`` (per cent), ``z`` (Freeman-Tukey deviate: about standard normal where
    both agree, and bearable where the shipped share is near nothing), largest first. A difference
    is one of two opinions; mass from parent words pulls z to 0.
    """
    found = []
    for family in families:
        rows, years, cells, _ = _spread(trade, family, OBJECT)
        load = np.array([row.weight for row in rows])[:, None] * years
        shipped = _shipped(trade, family)
        for place, decade in enumerate(decades()):
            size = load[:, place].sum()
            if size == 0:
                continue
            share = cells[:, place].sum(axis=0) / size
            z = np.sqrt(size * share) + np.sqrt(size * share + 1)
            z -= np.sqrt(4 * size * shipped[place] + 1)
            for value, *numbers in zip(
                _values(trade, family), share, shipped[place], z, strict=True
            ):
                found.append(
                    (family, decade, value, size, *(100 * n for n in numbers[:2]), numbers[2])
                )
    frame = pd.DataFrame(
        found, columns=["family", "decade", "value", "size", "trade", "shipped", "z"]
    )
    return frame.sort_values("z", key=np.abs, ascending=False, ignore_index=True)


def _values(trade: Trade, family: str) -> tuple[str, ...]:
    if family not in trade.priors.shares:
        hint = did_you_mean(family, list(trade.priors.shares))
        raise ScarfdateError(f"family: {shown(family)} has no shares table; {hint}")
    return trade.priors.shares[family].values


def _sellers(rows: Sequence[TradeRow], weight: Array) -> set[str]:
    return {row.seller for row, load in zip(rows, weight, strict=True) if load > 0}


def _years(rows: Sequence[TradeRow]) -> Array:
    """Each row's interval spread evenly over its years, by decade: (rows, decades), sums of 1."""
    starts = np.array(decades())
    found = np.zeros((len(rows), len(starts)))
    for place, row in enumerate(rows):
        begin = starts.copy()
        begin[0] = min(row.first_year, FIRST_YEAR)  # the first decade holds all before it
        inside = np.minimum(row.last_year, starts + _DECADE - 1) - np.maximum(row.first_year, begin)
        found[place] = np.maximum(inside + 1, 0) / (row.last_year - row.first_year + 1)
    return found


def _shipped(trade: Trade, family: str) -> Array:
    """The shipped shares by decade, (decades, values): even means over years, grades, markets."""
    years = np.arange(FIRST_YEAR, LAST_YEAR + 1)
    shares = trade.priors.shares[family].every_year(years)  # (values, markets, grades, years)
    each = shares.mean(axis=(1, 2)).reshape(len(shares), -1, _DECADE)
    return np.asarray(each.mean(axis=2).T)


def _terms(trade: Trade, family: str, seen: Observation) -> tuple[Array, float]:
    """One observation over values by decade, (decades, values), and how much was parent words."""
    values = _values(trade, family)
    split = np.zeros((len(decades()), len(values)))
    of_parents = 0.0
    for word, weight in seen.terms:
        children = trade.priors.vocabulary.children(family, word)
        places = [values.index(child) for child in children]
        if len(places) == 1:
            split[:, places] += weight
            continue
        shares = _shipped(trade, family)[:, places]
        split[:, places] += weight * shares / shares.sum(axis=1, keepdims=True)
        of_parents += weight
    return split, of_parents


def _spread(trade: Trade, family: str, kind: str) -> tuple[list[TradeRow], Array, Array, Array]:
    """Rows that state a family; years (rows, decades), counts (rows, decades, values), parents."""
    values = _values(trade, family)
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


# --- written tables -------------------------------------------------------------------------------


def write_trade_tables(trade: Trade, folder: Path | str) -> list[Path]:
    """Write the counts as tables, each whole or not at all; returns their paths.

    ``<family>.csv`` for each of `FAMILIES`, ``long_side.csv``, and ``statements.csv`` (general
    statements of all families, one row a family, decade and value). No seller and no label text is
    in them, only how many sellers there are. Raises OSError where the folder cannot be written.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    tables = {family: _object_table(trade, family) for family in FAMILIES}
    tables["long_side"] = _long_side_table(trade)
    tables["statements"] = _statement_table(trade)
    paths = []
    for name, rows in tables.items():
        text = io.StringIO()
        csv.writer(text, lineterminator="\n").writerows(rows)
        paths.append(folder / f"{name}.csv")
        write_whole(paths[-1], text.getvalue().encode("utf-8"))
    return paths


def _object_table(trade: Trade, family: str) -> list[list[object]]:
    values = _values(trade, family)
    rows = _spread(trade, family, OBJECT)[0]
    source = _source(trade, rows)
    out: list[list[object]] = [["decade", *values, "rows", "sellers", "basis", "source", "note"]]
    for line in trade_counts(trade, family).to_dict("records"):
        note = _note(press=line["press"], from_parents=line["from_parents"])
        counts = [_digits(line[value], 1) for value in values]
        out.append([line["decade"], *counts, line["rows"], line["sellers"], _BASIS, source, note])
    return out


def _long_side_table(trade: Trade) -> list[list[object]]:
    frame = long_side_counts(trade)
    source = _source(trade, [row for row in trade.of(OBJECT) if row.long_side is not None])
    header = [*frame.columns[:-1], "basis", "source", "note"]
    out: list[list[object]] = [header]
    for line in frame.to_dict("records"):
        numbers = [_digits(line[name], 3) for name in ("mean_log_cm", "sd_log_cm")]
        out.append(
            [line["decade"], line["given"], _digits(line["count"], 1), *numbers, line["rows"],
             line["sellers"], _BASIS, source, _note(press=line["press"])]
        )  # fmt: skip
    return out


def _statement_table(trade: Trade) -> list[list[object]]:
    source = _source(trade, trade.of(STATEMENT)).replace("descriptions", "general statements")
    columns = [
        "family",
        "decade",
        "value",
        "effective",
        "rows",
        "sellers",
        "basis",
        "source",
        "note",
    ]
    out: list[list[object]] = [[*columns]]
    for family in FAMILIES:
        rows, _, cells, _ = _spread(trade, family, STATEMENT)
        for place, decade in enumerate(decades()):
            for column, value in enumerate(_values(trade, family)):
                load = cells[:, place, column]
                effective = _digits(load.sum(), 2)
                if float(effective) > 0:
                    behind = [int((load > 0).sum()), len(_sellers(rows, load))]
                    out.append([family, decade, value, effective, *behind, _BASIS, source, ""])
    return out


def _source(trade: Trade, rows: Sequence[TradeRow]) -> str:
    sellers = len({row.seller for row in rows})
    of = f"{len(rows)} row{'s' * (len(rows) != 1)} of {sellers} seller{'s' * (sellers != 1)}"
    return f"coded trade descriptions: {of}; SHA-256 of the file {trade.hash[:16]}"


def _note(*, press: float, from_parents: float = 0.0) -> str:
    parts = {
        "of contemporary press: fashion rather than stock": press,
        "of parent words, split by the shipped shares": from_parents,
    }
    told = {what: _digits(count, 1) for what, count in parts.items()}
    return "; ".join(f"{count} {what}" for what, count in told.items() if float(count) > 0)


def _digits(number: float, digits: int) -> str:
    # rounded in two steps, so that the last bit of a sum never decides between 0.2 and 0.3
    return "" if math.isnan(number) else f"{round(float(number), 9):.{digits}f}"


# --- of what does a hem speak? --------------------------------------------------------------------


def hem_speaks_of(
    trade: Trade, rng: np.random.Generator | None = None, draws: int = DRAWS
) -> pd.DataFrame:
    """Bits that the hem shares with the decade, with stand-ins for grade, and with form.

    Of objects that state hem and fibre, weighted. ``hem``: "all hems" (every value, all decades) or
    "hand-rolled, from 1950" (that hem or not, the part of each interval from 1950 on). ``about``:

    - "decade": where the stated interval lies. Wide intervals blur it, so the bits are a low count.
    - "silk": silk or not. The best hint of grade here, and a poor one: silk has its own history.
    - "grade hints": how many (0, 1, 2 or 3) of silk, signed, and an intact label not stamped on
      the cloth (a stamped one marks bandannas). Silence counts as none, though it is not absence.
    - "form": its likeliest value or not stated: the rival explanation, as fringes go with shawls.

    Columns further: ``rows``, ``sellers``, ``effective``, ``bits`` (plug-in mutual information),
    ``chance`` (its mean with hems dealt out anew among the rows), ``chance_low``, ``chance_high``
    (80 % of such deals), ``beyond_chance`` (bits - chance), ``p`` (share of deals with as many
    bits). Bits inside the interval of chance say nothing. Rows of one seller are alike, and a deal
    does not know it: p is somewhat too small. Sellers name a hem where it sells, so that silk and
    hand-rolled hems are also named together. ``rng`` makes the deals; None: the same every time.

    Raises ScarfdateError where fewer than two objects state both.
    """
    rng = np.random.default_rng(_SEED) if rng is None else rng
    rows = [row for row in trade.of(OBJECT) if "hem" in row.seen and "fibre" in row.seen]
    if len(rows) < 2:
        raise ScarfdateError(
            f"two or more objects must state both hem and fibre, got {len(rows)}; "
            "give more descriptions"
        )
    chosen = replace(trade, rows=tuple(rows))
    _, years, hem, _ = _spread(chosen, "hem", OBJECT)
    fibre = _spread(chosen, "fibre", OBJECT)[2]
    weight = np.array([row.weight for row in rows])
    late = np.array(decades()) >= _HAND_ROLLED_FROM
    found = []
    for name, inside in (
        ("all hems", np.ones_like(late)),
        (f"hand-rolled, from {_HAND_ROLLED_FROM}", late),
    ):
        load = weight * years[:, inside].sum(axis=1)
        kept = load > 0
        if kept.sum() < 2:
            continue  # one row has nothing to be compared with
        load, some = load[kept], [row for row, keep in zip(rows, kept, strict=True) if keep]
        silk = _profile(fibre[kept][:, inside])[:, [_values(trade, "fibre").index("silk")]]
        seen = _profile(hem[kept][:, inside])
        if name != "all hems":
            one = seen[:, [_values(trade, "hem").index("hand-rolled")]]
            seen = np.hstack([one, 1 - one])
        abouts = {
            "decade": years[kept][:, inside] / years[kept][:, inside].sum(axis=1, keepdims=True),
            "silk": np.hstack([silk, 1 - silk]),
            "grade hints": _hints(silk, some),
            "form": _forms(some),
        }
        for about, profile in abouts.items():
            bits = _bits(load, seen, profile)
            deals = np.array(
                [_bits(load, seen[rng.permutation(len(seen))], profile) for _ in range(draws)]
            )
            low, high = np.quantile(deals, [(1 - LEVEL) / 2, (1 + LEVEL) / 2])
            p = (1 + (deals >= bits - 1e-12).sum()) / (1 + draws)
            sizes = (len(some), len({row.seller for row in some}), load.sum())
            chance = deals.mean()
            found.append((name, about, *sizes, bits, chance, low, high, bits - chance, p))
    columns = "hem about rows sellers effective bits chance chance_low chance_high beyond_chance p"
    return pd.DataFrame(found, columns=columns.split())


def _profile(cells: Array) -> Array:
    """Shares of each value in each row, (rows, values), from counts (rows, decades, values)."""
    each = cells.sum(axis=1)
    return np.asarray(each / each.sum(axis=1, keepdims=True))


def _hints(silk: Array, rows: Sequence[TradeRow]) -> Array:
    """Chance of 0, 1, 2 and 3 hints of a better grade in each row, (rows, 4)."""
    found = np.zeros((len(rows), 4))
    for place, row in enumerate(rows):
        signature, label, make = (row.seen.get(k) for k in ("signature", "label", "label_make"))
        signed = signature is not None and signature.word != "none"
        labelled = label is not None and label.word == "intact"
        stamped = make is not None and make.word == "stamped-on-cloth"
        sure = int(signed) + int(labelled and not stamped)
        found[place, sure : sure + 2] = 1 - silk[place, 0], silk[place, 0]
    return found


def _forms(rows: Sequence[TradeRow]) -> Array:
    """The likeliest form of each row, or that none is stated, as ones and zeros."""
    words = []
    for row in rows:
        terms = row.seen["form"].terms if "form" in row.seen else (("", 1.0),)
        words.append(max(terms, key=lambda term: term[1])[0])
    known = sorted(set(words))
    return np.eye(len(known))[[known.index(word) for word in words]]


def _bits(weight: Array, one: Array, other: Array) -> float:
    """Mutual information in bits of two sets of profiles, (rows, a) and (rows, b), weighted."""
    joint = (one * weight[:, None]).T @ other / weight.sum()
    apart = np.outer(joint.sum(axis=1), joint.sum(axis=0))
    some = joint > 0
    return float((joint[some] * np.log2(joint[some] / apart[some])).sum())


if __name__ == "__main__":
    import argparse

    parser = argparse.ArgumentParser(
        prog="python -m scarfdate.museum.trade", description="Write the counts of the trade."
    )
    parser.add_argument("descriptions", type=Path)
    parser.add_argument("--out", type=Path, required=True, help="a folder, such as priors/trade")
    parser.add_argument("--cap", type=float, default=CAP, help="most rows a seller counts for")
    given = parser.parse_args()
    trade = read_trade(given.descriptions, load_priors(), given.cap)
    for fault in trade.faults:
        print(fault)
    write_trade_tables(trade, given.out)
