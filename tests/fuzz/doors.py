"""What goes through which public call, and what must hold of the answer, by the names of ``scarfdate.__all__``.

A door draws its inputs, most of them from valid ones that are spoilt, and makes its calls through `Ask`.
"""

from __future__ import annotations

import io
import json
import math
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from hypothesis import strategies as st

import scarfdate
from scarfdate import Scarf
from scarfdate.clues.kinds import keywords
from scarfdate.distributed import partition_dater
from scarfdate.reading.files import read_table
from scarfdate.tables.priors import shipped_folder
from scarfdate.words import edtf
from tests.fuzz.hostile import (
    TEXTS,
    cells,
    files,
    frames,
    hostile_texts,
    mixed,
    names_of_keys,
    spoilt,
)
from tests.fuzz.oracle import Ask, holds
from tests.random_scarves import LINES, random_clues, row_of

Draw = Callable[[st.SearchStrategy[Any]], Any]
AS_OF = 2026
DATA = Path(scarfdate.__file__).parents[1] / "data"
PRIORS = scarfdate.load_priors()
FAMILIES = tuple(PRIORS.families)
WORDS = tuple(sorted({word for words in PRIORS.vocabulary.values.values() for word in words}))
CHANNELS = ("thrift", "estate", "museum", "rack")


@dataclass(frozen=True)
class Door:
    """``calls``: names of `scarfdate.__all__`; ``run`` draws and asks; ``few``: examples in the fast tests."""

    name: str
    calls: tuple[str, ...]
    run: Callable[[Draw, Ask], None]
    few: int


DOORS: dict[str, Door] = {}
# What is public and takes nothing of a person, each with the reason
NOT_FUZZED = {
    **dict.fromkeys(
        ("ScarfdateError", "WordError", "RangeError", "TableError", "PriorsError", "FileFault"),
        "an error: the library makes it, and every door reads its message",
    ),
    **dict.fromkeys(
        ("Edge", "Edges", "NextLooks", "Conflict", "Sensitivity", "Slopes", "Explanation", "Comparison", "Built",
         "Medium", "TablesCompared", "Scores", "BeforeAfter", "StockUnderstood", "Understood", "Screen",
         "Simulated", "Learned", "Priors", "Prices"),
        "the library alone makes it, and the door of the call that makes it reads it as text",
    ),
    "sorting_table": "the looks of Sorting in a notebook: what is pressed or typed there goes through the door 'sorting'",
}  # fmt: skip


def door(
    *calls: str, few: int = 6
) -> Callable[[Callable[[Draw, Ask], None]], Callable[[Draw, Ask], None]]:
    def add(run: Callable[[Draw, Ask], None]) -> Callable[[Draw, Ask], None]:
        DOORS[run.__name__] = Door(run.__name__, calls, run, few)
        return run

    return add


# --- what is drawn

seeds = st.integers(0, 2**32 - 1)
scarf_words = seeds.map(lambda seed: random_clues(PRIORS, np.random.default_rng(seed), AS_OF))
names = st.sampled_from((*keywords(PRIORS), "unit", "size", "known", "acquired", "note", "id"))
values = st.one_of(
    st.sampled_from(WORDS),
    spoilt(st.sampled_from((*WORDS, *LINES, "1960s", "35 x 35 in", "silk?"))),
)
columns = (
    *keywords(PRIORS),
    "id",
    "note",
    "Material",
    "condition",
    "asked_price",
    "sold_currency",
    "known",
    "known_by",
)
years = st.one_of(st.none(), st.just(AS_OF), st.integers(1880, 2100), cells)
channels = st.one_of(st.sampled_from(CHANNELS), st.sampled_from(CHANNELS), cells)
levels = st.one_of(st.just(0.8), st.floats(0, 1), cells)
claims = st.one_of(
    st.none(),
    spoilt(st.sampled_from(("1960s", "before 1970", "1960s rather than 1970s", "period piece", "1955-1964"))),
    st.tuples(st.integers(1800, 2100), st.integers(1800, 2100)), st.lists(st.integers(1870, 2030), max_size=4),
    st.tuples(cells, cells), cells,
)  # fmt: skip


@st.composite
def seen(draw: Any) -> dict[str, Any]:
    """What was seen of a scarf: mostly valid keywords, some of them spoilt."""
    made = dict(draw(scarf_words))
    for name in list(made):
        if draw(st.integers(0, 5)) == 0:
            made[name] = draw(cells | values)
    return made | draw(mixed(names, values)) if draw(st.booleans()) else made


@st.composite
def tables(draw: Any) -> pd.DataFrame:
    """A frame of scarves: rows that are valid, with cells spoilt, or anything at all."""
    if draw(st.booleans()):
        return draw(frames(columns, values))
    rows = [row_of(one) for one in draw(st.lists(scarf_words, min_size=1, max_size=3))]
    frame = pd.DataFrame(rows, dtype=object)
    for at in draw(st.lists(st.integers(0, frame.size - 1), max_size=4)) if frame.size else ():
        spoilt_cells = [draw(cells | values) for _ in range(len(frame))]
        frame.isetitem(at % frame.shape[1], pd.Series(spoilt_cells, frame.index, dtype=object))
    return frame


@cache
def demo(name: str, rows: int = 6) -> pd.DataFrame:
    """The first rows of a table of the invented demo."""
    return pd.read_csv(DATA / name, dtype=str, keep_default_na=False, nrows=rows)


@cache
def demo_files(name: str) -> dict[str, bytes]:
    return files(demo(name))


def sheet_bytes(*tables: str) -> st.SearchStrategy[bytes]:
    kinds = [content for table in tables for content in demo_files(table).values()]
    return spoilt(st.sampled_from(kinds)) | st.binary(max_size=200)


# --- what must hold


def probabilities(found: Any, kind: str) -> None:
    chances = np.asarray(found, dtype=float)
    holds(bool(np.isfinite(chances).all() and (chances >= 0).all()), f"{kind}: no chance", chances)
    holds(abs(chances.sum() - 1) < 1e-9, f"{kind}: chances do not sum to one", chances.sum())


def told(ask: Ask, found: Any, given: object = None) -> None:
    """A result can be said, as text and in a page, and without a number that is none."""
    if found is None:
        return
    for say in (str, repr, getattr(type(found), "_repr_html_", str)):
        text = ask(lambda say=say: say(found), given)
        if text is None:
            continue
        holds(len(text) > 0, f"{type(found).__name__} says nothing")
        text.encode(errors="surrogatepass")


def ordered(pair: tuple[float, float] | None, kind: str) -> None:
    holds(pair is None or pair[0] <= pair[1], f"{kind}: ends the wrong way round", pair)


def scarf_of(draw: Draw, ask: Ask) -> tuple[Scarf | None, dict[str, Any]]:
    given = draw(seen())
    return ask(lambda: Scarf(**given), given), given


# --- the doors


@door("Scarf", "date_scarf", "Dating", few=12)
def dating(draw: Draw, ask: Ask) -> None:
    scarf, given = scarf_of(draw, ask)
    as_of, channel, level = draw(years), draw(channels), draw(levels)
    plainly = ask(lambda: scarfdate.date_scarf(given, as_of=AS_OF), given)
    holds((plainly is None) or scarf is not None, "a mapping is dated that is no scarf", given)
    if scarf is None:
        return
    told(ask, scarf, given)
    kept = ask(scarf.to_json, given)
    if kept is not None:
        again = ask(lambda: Scarf.from_json(kept), given)
        holds(again == scarf, "a scarf is another one after to_json", kept)
    ask(scarf.to_row, given)
    found = ask(
        lambda: scarfdate.date_scarf(scarf, as_of=as_of, channel=channel, level=level), given
    )
    if found is None:
        return
    probabilities(found.probability, "dating")
    probabilities([*found.grade.values()], "grade")
    ordered(found.interval(), "interval")
    told(ask, found, given)
    ask(found.to_dict, given), ask(found.to_frame, given), ask(found.noted, given)
    other, second, level = draw(cells), draw(cells), draw(levels)
    for call in (
        found.interval,
        found.region,
        found.if_younger,
        found.at_least_years_old,
        found.for_listing,
        found.is_of,
    ):
        ask(lambda call=call: call(other), given)  # type: ignore[operator]
    chance = ask(lambda: found.between(second, other), given)
    holds(chance is None or -1e-12 <= chance <= 1 + 1e-9, "between: no chance", chance)
    ordered(ask(lambda: found.interval(level, kind="central"), given), "central")


@door("Scarf", few=10)
def scarf_json(draw: Draw, ask: Ask) -> None:
    valid = scarf_words.map(lambda one: json.dumps(Scarf(**one).to_dict()))
    text = draw(spoilt(valid) | cells)
    scarf = ask(lambda: Scarf.from_json(text), text)
    told(ask, scarf, text)
    mapping = draw(st.dictionaries(names_of_keys, cells, max_size=3))
    ask(lambda: Scarf.from_dict(mapping), mapping)


@door("explain", "edges", "conflict", "next_checks", "sensitivity", "compare", "draw", few=4)
def why(draw: Draw, ask: Ask) -> None:
    scarf, given = scarf_of(draw, ask)
    if scarf is None:
        return
    claim, as_of, channel = draw(claims), draw(years), draw(channels)
    found = ask(
        lambda: scarfdate.explain(scarf, claim, as_of=as_of, channel=channel), [given, claim]
    )
    if found is not None:
        parts = [found.decibans, *found.share.values()]
        holds(
            all(map(math.isfinite, parts)) or not math.isfinite(found.decibans),
            "explain: no number",
            parts,
        )
        told(ask, found, given)
    order, number, second, level = (
        draw(st.lists(cells, max_size=3) | cells),
        draw(cells),
        draw(seen()),
        draw(levels),
    )
    calls: dict[str, Callable[[], Any]] = {
        "edges": lambda: scarfdate.edges(scarf, as_of=as_of, channel=channel),
        "conflict": lambda: scarfdate.conflict(scarf, draws=number, as_of=AS_OF),
        "next_checks": lambda: scarfdate.next_checks(
            scarf, minutes=number, worth=number, at_stake=10, as_of=AS_OF
        ),
        "sensitivity": lambda: scarfdate.sensitivity(scarf, power=number, as_of=AS_OF),
        "shift": lambda: scarfdate.sensitivity(scarf, shift=number, as_of=AS_OF),
        "order": lambda: scarfdate.explain(scarf, order=order, as_of=AS_OF),
        "draw": lambda: scarfdate.draw(scarf),
    }
    told(ask, ask(calls[draw(st.sampled_from(sorted(calls)))], [given, number]), given)
    other = ask(lambda: scarfdate.date_scarf(second, as_of=AS_OF), second)
    mine = ask(lambda: scarfdate.date_scarf(scarf, as_of=AS_OF), given)
    if other is not None and mine is not None:
        between = ask(lambda: scarfdate.compare(mine, other, level), given)
        if between is not None:
            probabilities(
                [between.first_before, between.same_year, between.second_before], "compare"
            )
            told(ask, between, given)
    ask(lambda: scarfdate.compare(mine, number), given)  # type: ignore[arg-type]


@door("table_slopes", few=1)
def slopes(draw: Draw, ask: Ask) -> None:
    given, claim = draw(seen()), draw(claims)
    told(
        ask,
        ask(lambda: scarfdate.table_slopes(given, claim, as_of=AS_OF), [given, claim], base=20),
        given,
    )


@door(
    "date_table",
    "date_dataset",
    "conditions_of",
    "appraise_table",
    "appraise_lot",
    "LotAppraisal",
    few=6,
)
def frame(draw: Draw, ask: Ask) -> None:
    frame, unit = draw(tables()), draw(st.sampled_from((None, "cm", "in")) | cells)
    before = frame.copy()
    on_error = draw(st.sampled_from(("leave-out", "collect", "raise")) | cells)
    shown, cost = draw(st.none() | st.lists(cells, max_size=2) | cells), draw(cells)
    dated = ask(
        lambda: scarfdate.date_table(
            frame, unit=unit, on_error=on_error, with_years=True, as_of=AS_OF
        ),
        frame,
    )
    holds(_alike(frame, before), "a frame of the caller is changed")
    if dated is not None:
        table, chances = dated
        holds(
            len(table) == len(frame) and table.index.equals(frame.index), "another number of rows"
        )
        for row in chances[np.isfinite(chances).any(axis=1)]:
            probabilities(row, "table")
        first, last = (pd.to_numeric(table[name]).dropna() for name in ("year_from", "year_to"))
        holds(bool((first.to_numpy() <= last.to_numpy()).all()), "table: years the wrong way round")
    ask(lambda: scarfdate.date_table(frame, columns=shown, as_of=AS_OF), frame)
    ask(lambda: scarfdate.date_dataset(frame, as_of=AS_OF), frame, base=10)
    for one in ask(lambda: scarfdate.conditions_of(frame), frame) or ():
        told(ask, one)
    ask(lambda: scarfdate.appraise_table(frame, as_of=AS_OF, risk=cost), frame)
    bought = ask(lambda: scarfdate.appraise_lot(frame, cost, as_of=AS_OF), frame)
    told(ask, bought, frame)
    if bought is not None:
        ask(lambda: bought.profit(cost), frame)


@door(few=2)
def in_parts(draw: Draw, ask: Ask) -> None:
    """`scarfdate.distributed`: a part is refused as the whole is, or answered in its rows."""
    frame, cut = draw(tables()), draw(st.integers(0, 3))
    given = {
        "as_of": draw(years),
        "channel": draw(channels),
        "level": draw(levels),
        "unit": draw(cells),
    }
    given |= {"on_error": draw(cells), "columns": draw(cells)}
    name = draw(st.sampled_from(sorted(given)))
    ask(lambda: partition_dater(**{name: given[name]}), given)  # type: ignore[arg-type]
    dater = partition_dater(as_of=AS_OF, columns=["edtf", "not_read"])
    whole = ask(lambda: dater(frame), frame)
    part = ask(lambda: dater.beside(frame.iloc[cut:]), frame)
    holds(
        (whole is None) is (part is None),
        "a part is refused and the whole is not, or the other way",
    )
    if whole is not None and part is not None:
        answers = part[["edtf", "not_read"]]
        holds(answers.equals(whole.iloc[cut:]), "a part is dated otherwise than the whole", answers)


def _alike(one: pd.DataFrame, other: pd.DataFrame) -> bool:
    return (
        list(map(repr, one.columns)) == list(map(repr, other.columns)) and one.shape == other.shape
    )


@door("describe", "describe_table", "Listing", few=4)
def listings(draw: Draw, ask: Ask) -> None:
    scarf, given = scarf_of(draw, ask)
    condition, language = (
        draw(cells | values),
        draw(st.sampled_from(("en", "de", "fr", "it")) | cells),
    )
    if scarf is not None:
        told(
            ask,
            ask(
                lambda: scarfdate.describe(
                    scarf, condition=condition, language=language, as_of=AS_OF
                ),
                given,
            ),
            given,
        )
    frame = draw(tables())
    for one in (
        ask(lambda: scarfdate.describe_table(frame, language=language, as_of=AS_OF), frame) or ()
    ):
        told(ask, one, frame)


@door("plot_pile", "compare_priors", few=1)
def piles(draw: Draw, ask: Ask) -> None:
    frame, sort = draw(tables()), draw(st.sampled_from(("year", "doubt", "width", None)) | cells)
    labels = draw(st.none() | st.lists(cells, max_size=4) | cells)
    axes = ask(
        lambda: scarfdate.plot_pile(frame, sort=sort, names=labels, as_of=AS_OF), frame, base=10
    )
    if axes is not None:
        from matplotlib import pyplot

        ask(lambda: axes.figure.savefig(io.BytesIO()), frame, base=20)
        pyplot.close("all")
    told(
        ask,
        ask(lambda: scarfdate.compare_priors(PRIORS, PRIORS, frame, as_of=AS_OF), frame, base=10),
        frame,
    )


@door("dry_run", few=8)
def sheets(draw: Draw, ask: Ask) -> None:
    content = draw(sheet_bytes("stock.csv", "book.csv"))
    sheet, encoding = (
        draw(st.none() | cells),
        draw(st.sampled_from((None, None, "utf-8", "cp1252", "utf-16", "idna")) | cells),
    )
    told(ask, ask(lambda: scarfdate.dry_run(io.BytesIO(content)), content), content)
    ask(lambda: scarfdate.dry_run(io.BytesIO(content), sheet=sheet, encoding=encoding), content)
    table = ask(lambda: read_table(io.BytesIO(content)), content)
    if table is not None and table.size < 5_000:
        ask(lambda: scarfdate.date_table(table, as_of=AS_OF), content)
    name = draw(hostile_texts)
    if "\0" not in name and name.strip(". /"):
        ask(lambda: scarfdate.dry_run(name), name)


@door("date_file", "FileDated", few=4)
def long_files(draw: Draw, ask: Ask) -> None:
    content = draw(sheet_bytes("stock.csv", "book.csv"))
    source = ask.folder / f"long{draw(st.sampled_from(('.csv', '.jsonl', '.parquet', '.xlsx')))}"
    out = ask.folder / f"dated{draw(st.sampled_from(('.csv', '.jsonl', '.parquet', '.json')))}"
    source.write_bytes(content)
    asked = {"unit": draw(st.sampled_from((None, "cm")) | cells), "force": True, "as_of": AS_OF}
    if draw(st.integers(0, 2)) == 0:
        name = draw(
            st.sampled_from(("memory", "answers", "on_error", "encoding", "columns", "level"))
        )
        asked[name] = draw(cells)
    told(
        ask,
        ask(lambda: scarfdate.date_file(source, out, **asked), [content, asked], base=8),
        content,
    )
    path = draw(cells)
    ask(lambda: scarfdate.date_file(path, out, as_of=AS_OF), path)


@door("read_sold", "read_book", "shelf", "Book", "Shelf", "SoldRecords", few=3)
def books(draw: Draw, ask: Ask) -> None:
    content = draw(sheet_bytes("sold.csv", "book.csv"))
    mapped = draw(
        st.sampled_from((None, DATA / "sold_columns" / "thrackwindle.toml", {"known": "When"}))
        | cells
    )
    admit, day = (
        draw(st.just(()) | st.lists(cells, max_size=2) | cells),
        draw(st.just("2026-01-01") | cells),
    )
    told(
        ask,
        ask(lambda: scarfdate.read_sold(io.BytesIO(content), columns=mapped, admit=admit), content),
        content,
    )
    coin, places = draw(st.sampled_from((None, "EUR")) | cells), draw(cells)
    book = ask(
        lambda: scarfdate.read_book(io.BytesIO(content), closed_on=day, currency=coin), content
    )
    told(ask, book, content)
    if book is not None:
        told(ask, ask(lambda: scarfdate.shelf(book, as_of=AS_OF), content, base=10), content)
        ask(lambda: book.take(places))
    frame = draw(
        frames(
            (
                "known",
                "known_by",
                "sold_price",
                "sold_on",
                "paid",
                "asked",
                "sold_for",
                "condition",
                *FAMILIES,
            ),
            values,
        )
    )
    for call in (scarfdate.read_sold, scarfdate.read_book, scarfdate.dry_run):
        ask(lambda call=call: call(frame), frame)  # type: ignore[operator]


@cache
def sold() -> scarfdate.SoldRecords:
    """Invented pieces of known years."""
    made = scarfdate.simulate(None, 20, np.random.default_rng(5), as_of=AS_OF)
    year = made.truth_frame()["year"].to_numpy()
    frame = made.frame()[["fibre", "hem", "motif"]].assign(
        known_from=year, known_to=year, known_by="receipt"
    )
    return scarfdate.read_sold(frame, as_of=AS_OF, copies=True)


@door("learn", "learn_prices", "score", "before_after", "cross_validate", few=1)
def lessons_of_records(draw: Draw, ask: Ask) -> None:
    records = draw(st.just(sold()) | cells)
    route, draws = draw(st.just("counts") | cells), draw(st.just(50) | cells)
    channel, level = draw(channels), draw(levels)
    learned = ask(
        lambda: scarfdate.learn(records, route=route, draws=draws, channel=channel, as_of=AS_OF),
        base=30,
    )
    told(ask, learned)
    groups = draw(st.none() | st.lists(cells, max_size=20) | cells)
    found = ask(
        lambda: scarfdate.score(
            PRIORS, records, level=level, groups=groups, draws=draws, as_of=AS_OF
        ),
        base=30,
    )
    told(ask, found)
    if found is not None:
        holds(
            all(0 <= one.share.value <= 1 for one in found.coverage if hasattr(one, "share")),
            "score: no share",
        )
    old, folds, book = draw(st.just(PRIORS) | cells), draw(st.just(2) | cells), draw(cells)
    told(ask, ask(lambda: scarfdate.before_after(old, PRIORS, records, as_of=AS_OF), base=30))
    ask(
        lambda: scarfdate.cross_validate(records, lambda some: PRIORS, folds=folds, as_of=AS_OF),
        base=60,
    )
    ask(lambda: scarfdate.learn_prices(book, draws=draws), base=30)


@door("read_label", "Label", few=12)
def labels(draw: Draw, ask: Ask) -> None:
    lines = st.lists(st.sampled_from(LINES), max_size=5).map("\n".join)
    text = draw(spoilt(lines) | cells | st.binary(max_size=60))
    market = draw(st.none() | st.sampled_from(("us", "canada", "europe", "elsewhere")) | cells)
    found = ask(lambda: scarfdate.read_label(text, market), text)
    told(ask, found, text)
    if found is not None:
        (
            ask(lambda: found.bounds(market), text),
            ask(lambda: found.facts(market), text),
            ask(found.to_frame, text),
        )


@door("read_medium", few=12)
def mediums(draw: Draw, ask: Ask) -> None:
    valid = (
        "silk twill, screen printed",
        "Cotton, printed; hand-rolled hem",
        "silk and/or rayon (probably)",
        "Seide, bedruckt",
    )
    text = draw(spoilt(st.sampled_from(valid)) | cells)
    told(ask, ask(lambda: scarfdate.read_medium(text), text), text)


@door("Scarf", few=15)
def dates(draw: Draw, ask: Ask) -> None:
    valid = ("1962", "1958/1969", "196X", "1962-05-17", "[1958..1969,1984]", "ca. 1968", "late 1960s", "1st quarter 20th century",
             "between 1958 and 1969", "before 1950", "1958-69", "1984?", "../1960", "mid-19th century or later")  # fmt: skip
    text = draw(spoilt(st.sampled_from(valid)) | cells)
    for call in (edtf.read, edtf.is_approximate, edtf.stretches):
        found = ask(lambda call=call: call(text), text)  # type: ignore[operator]
        if call is edtf.read and found is not None and None not in found:
            ordered(found, "date")
    first, last = draw(cells | st.integers(1800, 2100)), draw(cells | st.integers(1800, 2100))
    ask(lambda: edtf.interval_text(first, last), [first, last])
    ask(lambda: Scarf(known=text, known_by="receipt", acquired=first), [text, first])


@door("dry_run", "read_sold", few=4)
def maps(draw: Draw, ask: Ask) -> None:
    shipped = [path.read_text(encoding="utf-8") for path in sorted(DATA.glob("*/*.toml"))]
    text = draw(
        spoilt(
            st.sampled_from(shipped),
            (*TEXTS, "[words.fibre]", '["Drawer"]', "inf", "2020-01-01", '"""', "unit = 3"),
        )
    )
    path = ask.folder / "map.toml"
    path.write_bytes(text.encode(errors="surrogatepass"))
    frame = demo("sold.csv", 3)
    told(ask, ask(lambda: scarfdate.dry_run(frame, columns=path), text), text)
    keys = st.sampled_from(
        (
            "columns",
            "words",
            "constants",
            "ignore",
            "unit",
            "decimal",
            "date_order",
            "currency",
            "sheet",
        )
    )
    given = draw(
        st.dictionaries(
            keys | names_of_keys,
            st.dictionaries(names | names_of_keys, cells | values, max_size=3) | cells,
            max_size=4,
        )
    )
    ask(lambda: scarfdate.read_sold(frame, columns=given), given)


CSV_NAMES = sorted(
    path.relative_to(shipped_folder()).as_posix() for path in shipped_folder().rglob("*.csv")
)
SMALL_NAMES = [name for name in CSV_NAMES if (shipped_folder() / name).stat().st_size < 25_000]


@door("load_priors", "compare_priors", "upgrade_priors", few=3)
def priors_folders(draw: Draw, ask: Ask) -> None:
    folder = ask.folder / "tables"
    shutil.rmtree(folder, ignore_errors=True)
    spoilt_files = draw(st.lists(st.sampled_from(SMALL_NAMES), min_size=1, max_size=2, unique=True))
    if (
        whole := draw(st.integers(0, 19)) == 0
    ):  # with its descriptor it stands alone, and a file may be missing
        shutil.copytree(shipped_folder(), folder)
        (folder / draw(st.sampled_from(CSV_NAMES))).unlink()
    size = 0
    for name in spoilt_files:
        content = draw(_spoilt_table(name))
        size += len(content)
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)
    made = ask(lambda: scarfdate.load_priors(folder), base=15 if whole else 3)
    if made is not None:
        scarf = {"fibre": "silk", "hem": "hand-rolled", "label_text": "PURE SILK"}
        found = ask(lambda: scarfdate.date_scarf(scarf, priors=made, as_of=AS_OF), base=5)
        if found is not None:
            probabilities(found.probability, "dating by spoilt tables")
            told(ask, found)
    # what is there is the new one, or no folder of an older format
    ask(lambda: scarfdate.upgrade_priors(folder, ask.folder / "upgraded"), base=15)
    shutil.rmtree(ask.folder / "upgraded", ignore_errors=True)
    path = draw(cells)
    ask(lambda: scarfdate.load_priors(path))
    ask(lambda: scarfdate.upgrade_priors(path, ask.folder / "upgraded"))


def _spoilt_table(name: str) -> st.SearchStrategy[bytes]:
    """A shipped table with its bytes, or a cell, a row or a column spoilt."""
    content = (shipped_folder() / name).read_bytes()
    rows = [line.split(",") for line in content.decode("utf-8").splitlines()]
    places = st.tuples(
        st.integers(1, len(rows) - 1),
        st.floats(0, 0.999),
        st.sampled_from(TEXTS) | st.sampled_from(("0", "-1", "50", "1e9")),
    )

    def changed(steps: list[tuple[int, float, str]], kind: str) -> bytes:
        made = [list(row) for row in rows]
        for line, share, put in steps:
            if kind == "cell":
                made[line][int(share * len(made[line]))] = put
            elif kind == "row":
                made.insert(line, made[int(share * len(rows))])
            elif kind == "lost":
                del made[line % len(made)]
            else:
                at = int(share * len(rows[0]))
                made = [row[:at] + row[at + 1 :] for row in made]
        return "\n".join(",".join(row) for row in made).encode(errors="surrogatepass")

    cell = st.builds(
        changed,
        st.lists(places, min_size=1, max_size=3),
        st.sampled_from(("cell", "cell", "row", "lost", "column")),
    )
    return spoilt(st.just(content)) | cell | cell


@door("load_priors", "simulate", "WordList", "draw_clue", "Drawing", few=4)
def words(draw: Draw, ask: Ask) -> None:
    clue, value = draw(st.sampled_from(FAMILIES) | cells), draw(st.sampled_from(WORDS) | cells)
    told(ask, ask(lambda: PRIORS.words(clue), clue), clue)
    ask(lambda: PRIORS.question(value) if isinstance(value, str) else None, value)
    drawn = ask(lambda: scarfdate.draw_clue(clue, value), [clue, value])
    told(ask, drawn)
    if drawn is not None:
        path = ask.folder / "drawn.svg"
        ask(lambda: drawn.save(path, force=True))
        ask(lambda: drawn.save(value), value) if not isinstance(value, str) else None
    channel, as_of = draw(channels), draw(years)
    for call in (PRIORS.year_prior_table, lambda channel, as_of: PRIORS.in_channel(channel)):
        ask(lambda call=call: call(channel, as_of=as_of))  # type: ignore[operator]
    number, share = draw(st.integers(0, 5) | cells), draw(st.floats(0, 1) | cells)
    if (
        isinstance(number, int) and number > 5
    ):  # who asks for millions of pieces gets and waits for them
        number = 5
    rng = draw(st.just(np.random.default_rng(1)) | cells)
    made = ask(
        lambda: scarfdate.simulate(None, number, rng, channel=channel, as_of=as_of, looked_at=share)
    )
    if made is not None:
        for one in made.scarves():
            ask(lambda one=one: scarfdate.date_scarf(one, as_of=as_of))  # type: ignore[operator]


@door("read_costs", "Costs", few=8)
def costs(draw: Draw, ask: Ask) -> None:
    text = (DATA / "costs.toml").read_text(encoding="utf-8")
    path = ask.folder / "costs.toml"
    content = draw(spoilt(st.just(text))).encode(errors="surrogatepass")
    path.write_bytes(content)
    fields = (
        "currency",
        "fee_percent",
        "fee_fixed",
        "postage",
        "minutes",
        "hourly_rate",
        "days_at_most",
        "cleared_at",
    )
    given = draw(
        st.dictionaries(
            st.sampled_from(fields) | names_of_keys, cells | st.floats(0, 50), max_size=4
        )
    )
    for found in (
        ask(lambda: scarfdate.read_costs(path), content),
        ask(lambda: scarfdate.read_costs(given), given),
    ):
        told(ask, found)
        if found is not None:
            net = ask(lambda found=found: found.net(np.array([0.0, 10.0])))  # type: ignore[operator]
            holds(net is None or bool(np.isfinite(net).all()), "costs: no number", given)
    cell = draw(cells)
    ask(lambda: scarfdate.read_costs(cell), cell)
    known = {n: value for n, value in given.items() if isinstance(n, str) and n in fields}
    ask(lambda: scarfdate.Costs(**known), known)


@door("appraise", "Appraisal", "Condition", "Fault", "load_prices", few=4)
def worth(draw: Draw, ask: Ask) -> None:
    scarf, given = scarf_of(draw, ask)
    money, condition = draw(st.floats(0, 500) | cells), draw(st.none() | cells | values)
    risk, season, sold_by = (
        draw(st.just(0.2) | levels),
        draw(st.sampled_from((None, "winter")) | cells),
        draw(st.none() | cells),
    )
    if scarf is not None:
        found = ask(lambda: scarfdate.appraise(scarf, money, condition=condition, as_of=AS_OF, risk=risk, season=season,
                                               sale_channel=sold_by, offer=money), [given, condition])  # fmt: skip
        told(ask, found, given)
        if found is not None:
            ask(lambda: found.profit(money), given), ask(found.to_dict, given)
    text = draw(
        spoilt(
            st.sampled_from(
                ("2 small pulls near edge", "faint stain corner; tear 3 cm", "no faults", "Loch")
            )
        )
        | cells
    )
    read = ask(lambda: scarfdate.Condition.read(text), text)
    told(ask, read, text)
    if read is not None:
        holds(0 <= read.kept <= 1, "condition: no share", read.kept)
        ordered(ask(lambda: read.interval(risk)), "condition")
        ask(lambda: read.words(season)), ask(lambda: read.grade_in(season)), ask(read.mending)
    fault = ask(lambda: scarfdate.Fault(text, money, sold_by, season), text)
    told(ask, fault, text)
    ask(lambda: scarfdate.Condition([fault, money], stated=text), text)  # type: ignore[arg-type]
    folder = ask.folder / "prices"
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(DATA / "prices", folder)
    for path in draw(
        st.lists(
            st.sampled_from(sorted(path.name for path in folder.iterdir())), max_size=2, unique=True
        )
    ):
        (folder / path).write_bytes(draw(spoilt(st.just((folder / path).read_bytes()))))
    prices = ask(lambda: scarfdate.load_prices(folder), base=5)
    if prices is not None and scarf is not None:
        told(
            ask, ask(lambda: scarfdate.appraise(scarf, 9, prices=prices, as_of=AS_OF), given), given
        )


bets = st.one_of(
    spoilt(st.sampled_from(("1960s 6, 1970s 4", "1955-1972", "1960s", "60s 10", "all on 1920s"))),
    st.dictionaries(st.sampled_from((1960, 1970)) | names_of_keys, st.sampled_from((4, 6, 10)) | cells, max_size=2),
    st.tuples(st.integers(1870, 2030), st.integers(1870, 2030)), cells,
)  # fmt: skip


@cache
def played() -> bytes:
    """A progress file of two rounds, one of them open."""
    from tempfile import TemporaryDirectory

    with TemporaryDirectory() as folder:
        path = Path(folder) / "mine.json"
        made = scarfdate.practice(3, progress=path, as_of=AS_OF)
        first = made.round()
        while not first.over:
            first.bet("1960s 6, 1970s 4")
        made.round().bet("1955-1972")
        return path.read_bytes()


@door("practice", "Practice", few=3)
def practice(draw: Draw, ask: Ask) -> None:
    path = ask.folder / "mine.json"
    content = draw(spoilt(st.just(played())))
    path.write_bytes(content)
    made = ask(lambda: scarfdate.practice(progress=path), content, base=5)
    if made is not None:
        told(ask, made, content), told(ask, ask(made.summary, content), content)
    seed, level, clues, pieces = (
        draw(seeds | cells),
        draw(st.sampled_from((None, "hems")) | cells),
        draw(st.none() | cells),
        draw(st.just("drawn") | cells | tables()),
    )
    rounds, bet = draw(st.just(2) | cells), draw(st.sampled_from(("chips", "interval")) | cells)
    made = ask(
        lambda: scarfdate.practice(
            seed, level, clues, pieces=pieces, rounds=rounds, bet=bet, as_of=AS_OF
        ),
        base=5,
    )
    if made is None:
        return
    one = ask(made.round)
    for _ in range(8):
        if one is None or one.over:
            break
        laid = draw(bets)
        told(ask, ask(lambda laid=laid: one.bet(laid), laid))  # type: ignore[misc]
        if not one.over:
            ask(lambda: one.bet("1960s"))
    told(ask, ask(made.summary))


keys = st.one_of(st.sampled_from(("Enter", "Escape", "Backspace", "ArrowUp", "ArrowDown", " ", "=", "/", "Tab", "#")),
                 st.sampled_from("abcdefghijklmnopqrstuvwxyz0123."), hostile_texts, cells)  # fmt: skip


@cache
def journal() -> bytes:
    """What lies beside a sheet while a piece is in hand."""
    from tempfile import TemporaryDirectory

    with TemporaryDirectory() as folder:
        table = scarfdate.Sorting(f"{folder}/stock.csv", as_of=AS_OF)
        table.choose("hem", "hand-rolled"), table.note("note", "as it came"), table.next_piece()
        table.choose("fibre", "silk")
        return Path(f"{folder}/stock.csv.on-the-table.json").read_bytes()


@door("Sorting", few=3)
def sorting(draw: Draw, ask: Ask) -> None:
    sheet = ask.folder / "stock.csv"
    beside = ask.folder / "stock.csv.on-the-table.json"
    sheet.unlink(missing_ok=True), beside.unlink(missing_ok=True)
    kind = draw(st.sampled_from(("none", "sheet", "journal", "both")))
    if kind in ("sheet", "both"):
        sheet.write_bytes(draw(spoilt(st.just(demo_files("stock.csv")["csv"]))))
    if kind in ("journal", "both"):
        beside.write_bytes(draw(spoilt(st.just(journal()))))
    unit = draw(st.sampled_from((None, "cm")) | cells)
    table = ask(lambda: scarfdate.Sorting(sheet, as_of=AS_OF, unit=unit), base=5)
    if table is None:
        return
    for key in draw(st.lists(keys, max_size=12)):
        ask(lambda key=key: table.press(key), key)  # type: ignore[operator]
    clue, text = draw(st.sampled_from(FAMILIES) | cells), draw(values | cells)
    calls = (table.choose, table.note, lambda one, two: table.doubt(two, one), lambda one, two: table.method(two, one),
             lambda one, two: table.type(two), lambda one, two: table.to_tray(two), lambda one, two: table.clear(one),
             lambda one, two: table.open(one), lambda one, two: table.drawing(two), lambda one, two: table.undo())  # fmt: skip
    for call in draw(st.lists(st.sampled_from(calls), max_size=4)):
        ask(lambda call=call: call(clue, text), [clue, text])  # type: ignore[operator]
    screen = ask(table.screen)
    if screen is not None:
        json.dumps(screen.to_dict())
        probabilities([bar.chance for bar in screen.piece.answer.bars], "sorting")
        holds(
            all(len(one) <= 3_000 for one in screen.messages),
            "sorting: a message without a bound",
            screen.messages,
        )
    ask(table.close)


@door("write_template", "write_lessons", "build_priors", "pocket_card", "PocketCard", few=1)
def writers(draw: Draw, ask: Ask) -> None:
    out, only = (
        draw(cells.filter(lambda one: not isinstance(one, (str, bytes)))),
        draw(st.lists(cells, min_size=1, max_size=2)),
    )
    ask(lambda: scarfdate.write_template(out), out)
    ask(lambda: scarfdate.write_template(ask.folder / "sheet.xlsx"))
    ask(
        lambda: scarfdate.write_lessons(ask.folder / "pages", only), only
    )  # names that are no lessons: nothing is run
    records = ask.folder / "records.jsonl"
    content = draw(spoilt(st.just((DATA / "museum_export" / "objects.jsonl").read_bytes()[:3_000])))
    records.write_bytes(content)
    last, licence = draw(years), draw(cells)
    ask(lambda: scarfdate.build_priors([records], ask.folder / "built", columns=licence, last_year=last, licence=licence),
        content, base=60)  # fmt: skip
    clues, channel, pieces = (
        draw(st.just(["fibre", "hem"]) | cells),
        draw(channels),
        draw(st.just(1_000) | cells),
    )
    card = ask(
        lambda: scarfdate.pocket_card(channel=channel, clues=clues, pieces=pieces, as_of=AS_OF),
        base=60,
    )
    told(ask, card)
    if card is not None:
        piece = draw(seen())
        ask(lambda: card.era(piece), piece)


@cache
def calls() -> dict[str, tuple[Callable[..., Any], dict[str, Any]]]:
    """Public calls that end soon, and methods of what they return, with arguments that are right."""
    scarf, frame = Scarf(fibre="silk", hem="hand-rolled"), demo("box.csv")
    dating, rng, records = (
        scarfdate.date_scarf(scarf, as_of=AS_OF),
        np.random.default_rng(1),
        sold(),
    )
    bought, label = scarfdate.appraise(scarf, 9, as_of=AS_OF), scarfdate.read_label("PURE SILK")
    given = {"as_of": AS_OF, "channel": "thrift", "priors": None}
    of = {"scarf": scarf, **given}
    book = scarfdate.read_book(io.BytesIO(demo_files("book.csv")["csv"]))
    table = {"frame": frame, **given}
    return {
        "Scarf": (Scarf, {"fibre": "silk", "methods": {}, "priors": None}),
        "from_dict": (Scarf.from_dict, {"values": {"fibre": "silk"}, "priors": None}),
        "under": (scarf.under, {"priors": PRIORS}),
        "date_scarf": (scarfdate.date_scarf, {**of, "level": 0.8}),
        "interval": (dating.interval, {"level": 0.8, "kind": "central"}),
        "region": (dating.region, {"level": 0.8}),
        "between": (dating.between, {"first": 1950, "last": 1960}),
        "at_least_years_old": (dating.at_least_years_old, {"n": 20}),
        "for_listing": (dating.for_listing, {"language": "en"}),
        "is_of": (dating.is_of, {"scarf": scarf}),
        "explain": (scarfdate.explain, {**of, "claim": "1960s", "order": ("fibre",)}),
        "edges": (scarfdate.edges, of),
        "conflict": (scarfdate.conflict, {**of, "draws": 20, "rng": rng}),
        "next_checks": (scarfdate.next_checks, {**of, "minutes": 5.0, "harmless": True, "worth": 9.0, "at_stake": 5.0}),
        "sensitivity": (scarfdate.sensitivity, {**of, "level": 0.8, "power": 1.5, "shift": 5}),
        "compare": (scarfdate.compare, {"a": dating, "b": dating, "level": 0.8}),
        "compare_priors": (scarfdate.compare_priors, {"old": PRIORS, "new": PRIORS, "table": frame[:1], "as_of": AS_OF, "level": 0.8, "channel": "thrift"}),
        "draw": (scarfdate.draw, {"scarf": scarf, "priors": None}),
        "draw_clue": (scarfdate.draw_clue, {"clue": "hem", "value": "raw", "priors": None}),
        "describe": (scarfdate.describe, {**of, "dating": None, "condition": "faint stain", "language": "en"}),
        "describe_table": (scarfdate.describe_table, {**table, "language": "en", "unit": None}),
        "date_table": (scarfdate.date_table, {**table, "level": 0.8, "unit": None, "on_error": "collect", "columns": None, "with_years": False}),
        "appraise": (scarfdate.appraise, {**of, "asking": 9, "costs": None, "prices": None, "condition": None, "risk": 0.2, "sale_channel": None, "season": None, "offer": None}),
        "profit": (bought.profit, {"asking": 9}),
        "appraise_table": (scarfdate.appraise_table, {**table, "costs": None, "prices": None, "risk": 0.2, "sale_channel": None, "season": None}),
        "appraise_lot": (scarfdate.appraise_lot, {**table, "price": 9, "costs": None, "prices": None, "risk": 0.2, "sale_channel": None, "season": None}),
        "conditions_of": (scarfdate.conditions_of, {"frame": frame, "priors": None}),
        "Condition": (scarfdate.Condition, {"faults": (), "stated": None, "not_read": (), "priors": None}),
        "Condition.read": (scarfdate.Condition.read, {"text": "faint stain", "priors": None}),
        "Fault": (scarfdate.Fault, {"kind": "stain", "size_mm": None, "place": None, "count": 1, "spreading": None, "size": None, "degree": "faint", "counted": True, "sure": 1.0, "mended": 0.0}),
        "Costs": (scarfdate.Costs, {"currency": "EUR", "postage": 4.0, "minutes": 3.0}),
        "read_costs": (scarfdate.read_costs, {"source": {"postage": 4}}),
        "load_prices": (scarfdate.load_prices, {"folder": None}),
        "load_priors": (scarfdate.load_priors, {"path": None}),
        "samples": (scarfdate.load_prices().one_draw, {"place": 1}),
        "in_currency": (scarfdate.load_prices().in_currency, {"currency": "EUR"}),
        "words": (PRIORS.words, {"clue": "hem"}),
        "in_channel": (PRIORS.in_channel, {"channel": "estate"}),
        "with_set": (PRIORS.with_set, {"name": "expert"}),
        "question": (PRIORS.question, {"words": "age"}),
        "year_prior_table": (PRIORS.year_prior_table, {"channel": "thrift", "as_of": AS_OF}),
        "dry_run": (scarfdate.dry_run, {"source": frame, "columns": None, "priors": None, "admit": (), "sheet": None, "as_of": None, "copies": False, "encoding": None, "unit": None}),
        "read_sold": (scarfdate.read_sold, {"source": pd.DataFrame({"known": ["1965"], "known_by": ["receipt"], "fibre": ["silk"]}), "columns": None, "priors": None, "admit": (), "sheet": None, "as_of": None, "copies": False}),
        "read_book": (scarfdate.read_book, {"source": demo("book.csv"), "columns": None, "priors": None, "currency": "EUR", "closed_on": None, "as_of": None, "sheet": None}),
        "take": (book.take, {"places": [0]}),
        "records.take": (records.take, {"places": [0]}),
        "shelf": (scarfdate.shelf, {"book": book, **given, "level": 0.8}),
        "read_label": (scarfdate.read_label, {"text": "PURE SILK", "market": "us", "priors": None}),
        "bounds": (label.bounds, {"market": "us"}),
        "facts": (label.facts, {"market": "us", "role": "bound"}),
        "against": (label.against, {"given": {"fibre": "silk"}}),
        "read_medium": (scarfdate.read_medium, {"text": "silk", "priors": None}),
        "simulate": (scarfdate.simulate, {"priors": None, "n": 2, "rng": rng, "channel": "thrift", "as_of": AS_OF, "looked_at": 0.6}),
        "score": (scarfdate.score, {"priors": PRIORS, "records": records, "channel": "thrift", "as_of": AS_OF, "level": 0.8, "groups": None, "rng": rng, "draws": 50}),
        "before_after": (scarfdate.before_after, {"old": PRIORS, "new": PRIORS, "held_out": records, "channel": "thrift", "as_of": AS_OF, "level": 0.8, "groups": None, "rng": rng, "draws": 50}),
        "cross_validate": (scarfdate.cross_validate, {"records": records, "learn": lambda some: PRIORS, "priors": None, "folds": 2, "channel": "thrift", "as_of": AS_OF, "level": 0.8, "groups": None, "rng": rng, "draws": 50}),
        "learn": (scarfdate.learn, {"records": records, "priors": None, "route": "no such", "channel": "thrift", "as_of": AS_OF, "all_that_turned_up": False, "rng": rng, "draws": 50}),
        "learn_prices": (scarfdate.learn_prices, {"records": None, "priors": None, "route": "laplace", "pooling": True, "tails": None, "channel_of_finding": "thrift", "draws": 50, "invented": True, "rng": rng}),
        "practice": (scarfdate.practice, {"seed": 1, "level": None, "clues": None, "pieces": "drawn", "rounds": 2, "bet": "chips", "progress": None, "channel": "thrift", "priors": None, "as_of": AS_OF}),
        "pocket_card": (scarfdate.pocket_card, {"priors": None, "channel": "no such", "clues": None, "as_of": AS_OF, "rng": rng, "pieces": 1_000}),
        "write_lessons": (scarfdate.write_lessons, {"out": "pages", "only": ["no such lesson"], "force": False}),
    }  # fmt: skip


@door("conflict", "learn_prices", "simulate", few=10)
def arguments(draw: Draw, ask: Ask) -> None:
    """One argument of a call that is right, or two, made anything at all."""
    call, given = calls()[draw(st.sampled_from(sorted(calls())))]
    spoiled = dict(given)
    for name in draw(st.lists(st.sampled_from(sorted(given)), min_size=1, max_size=2)):
        # a text that is a path could be one that is there
        spoiled[name] = draw(
            cells.filter(lambda one: not isinstance(one, (str, bytes)))
            if name in ("out", "progress")
            else cells
        )
    told(ask, ask(lambda: call(**spoiled), spoiled, base=20))


COMMANDS = (
    "show fibre=silk hem=hand-rolled width_cm=90", "show stock.csv --id V002 --listing de", "words hem", "words",
    "date stock.csv --sentences", "date stock.csv --out out.csv --force", "dry-run stock.csv --rows 3", "template t.xlsx --force",
    "explain fibre=silk hem=fringed --claim 1960s", "explain stock.csv --id V002 --conflict", "next fibre=silk --minutes 5",
    "compare fibre=silk fibre=polyester", "label PURE_SILK MADE_IN_ITALY --market us", "appraise fibre=silk --asking 12",
    "appraise stock.csv --lot 80 --costs costs.toml", "describe fibre=silk --language de --as html", "shelf book.csv --closed-on 2026-09-30",
    "describe stock.csv --out d.json --force", "practice --seed 3 --rounds 1", "simulate --n 3 --seed 1", "check-priors .",
    "score book.csv", "date - --quiet",
)  # fmt: skip


@door("Scarf", "date_table", "appraise", few=3)
def command(draw: Draw, ask: Ask) -> None:
    import contextlib

    from click.testing import CliRunner

    from scarfdate.cli import cli

    line = draw(st.sampled_from(COMMANDS)).split()
    said = [each.replace("_", " ") if each.isupper() else each for each in line]
    for at, put in draw(
        st.lists(st.tuples(st.integers(1, 8), spoilt(st.sampled_from(said))), max_size=3)
    ):
        said = [*said[:at], put, *said[at + 1 :]] if put not in ("lessons", "learn") else said
    typed = draw(spoilt(st.just(demo_files("stock.csv")["csv"])))
    (ask.folder / "stock.csv").write_bytes(demo_files("stock.csv")["csv"])
    (ask.folder / "book.csv").write_bytes(demo_files("book.csv")["csv"])
    shutil.copy(DATA / "costs.toml", ask.folder)

    def run() -> Any:
        with contextlib.chdir(ask.folder):
            return CliRunner().invoke(cli, said, input=typed, catch_exceptions=False)

    run_ = ask(run, [*said, typed], base=8)
    if run_ is not None:
        holds(run_.exit_code in (0, 1, 2, 130, 141), "command: another exit code", run_.exit_code)
        holds("Traceback" not in run_.output, "command: a traceback", run_.output)
