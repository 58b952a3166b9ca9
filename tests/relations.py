"""Metamorphic relations: what may be done to a piece, a table or records without the answer changing.

Each relation draws a case by a seed, asks the front door twice, and gives the largest difference of numbers; texts that
must be equal are asserted. ``bound``: the difference that is allowed, 0 for "to the bit". They are run by
``tests/test_metamorphic.py``, some cases each, and by ``python -m tests.stress``, many.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pandas as pd

import scarfdate
from scarfdate import Priors, date_scarf, date_table, load_priors
from scarfdate.density.intervals import Intervals, compressed
from scarfdate.density.smooth import smooth_density
from scarfdate.tables.folder import read_folder
from scarfdate.tables.priors import priors_of_files
from scarfdate.tables.schema import shipped_folder
from tests.random_scarves import random_clues, row_of

AS_OF = 2026
EXACT, ROUNDED = 0.0, 1e-12
WEIGHED = (
    1e-6  # surprises and chances of a table are summed in single precision (see test_properties)
)
Rng = np.random.Generator
Clues = dict[str, Any]


@dataclass(frozen=True)
class Relation:
    """One thing that changes nothing. ``dear``: whether a case takes a second or more."""

    name: str
    calls: str
    bound: float
    largest: Callable[[Rng], float]
    dear: bool = False


RELATIONS: list[Relation] = []


def relation(
    calls: str, bound: float, dear: bool = False
) -> Callable[[Callable[[Rng], float]], Callable[[Rng], float]]:
    def kept(largest: Callable[[Rng], float]) -> Callable[[Rng], float]:
        words = (largest.__doc__ or "").rstrip(".")
        RELATIONS.append(Relation(words, calls, bound, largest, dear))
        return largest

    return kept


# ------------------------------------------------------------------ cases


@cache
def priors() -> Priors:
    return load_priors()


def piece(rng: Rng) -> Clues:
    """A piece that can be written down, likely or not; or one drawn from the tables."""
    if rng.random() < 0.5:
        return random_clues(priors(), rng, AS_OF)
    return dict(scarfdate.simulate(priors(), 1, rng, as_of=AS_OF).scarves()[0].to_dict())


def pieces(rng: Rng, most: int = 9) -> pd.DataFrame:
    """The same as a table of text cells, as a file gives it, with an id a row."""
    rows = [row_of(piece(rng)) for _ in range(int(rng.integers(2, most)))]
    cells = [{n: _cell(value) for n, value in row.items() if n != "id"} for row in rows]
    return pd.DataFrame([{"id": f"p{at}"} | row for at, row in enumerate(cells)], dtype=object)


def _cell(value: object) -> object:
    if isinstance(value, Mapping):
        return json.dumps(value)
    if isinstance(value, float):
        return f"{value:.4g}"  # as a person writes it, and as an answer quotes it
    return value if value is None else str(value)


def dated(seen: Mapping[str, object], known: Priors | None = None) -> Any:
    return date_scarf(dict(seen), priors=known, as_of=AS_OF)


def apart(one: object, two: object) -> float:
    """The largest difference of two arrays; NaN beside NaN is none."""
    a, b = np.asarray(one, dtype=float), np.asarray(two, dtype=float)
    assert a.shape == b.shape
    assert np.array_equal(np.isnan(a), np.isnan(b))
    return float(np.nanmax(np.abs(a - b), initial=0.0))


def table_apart(one: pd.DataFrame, two: pd.DataFrame) -> float:
    """The largest difference of two answers of date_table, whose texts must be equal."""
    assert list(one.columns) == list(two.columns)
    numbers = one.select_dtypes("number").columns
    for name in one.columns.difference(numbers):
        assert one[name].fillna("").tolist() == two[name].fillna("").tolist(), name
    return apart(one[numbers].to_numpy(float), two[numbers].to_numpy(float))


def answers(frame: pd.DataFrame) -> pd.DataFrame:
    return date_table(frame, as_of=AS_OF)


def shuffled(seen: Clues, rng: Rng) -> Clues:
    names = list(seen)
    return {names[at]: seen[names[at]] for at in rng.permutation(len(names))}


def reworded(seen: Clues, rng: Rng) -> Clues:
    """Other words for the same: synonyms of all languages that the tables know, and American spellings."""
    same = dict(seen)
    for name, word in seen.items():
        others = _synonyms().get((name, word)) if isinstance(word, str) else None
        if others:
            same[name] = str(rng.choice(others))
    return same


@cache
def _synonyms() -> dict[tuple[str, str], list[str]]:
    """By family and value: every word that the vocabulary reads as it."""
    table = pd.read_csv(shipped_folder() / "vocabulary.csv", dtype=str).query(
        "reading == 'synonym'"
    )
    return {key: list(of["word"]) for key, of in table.groupby(["family", "means"])}


# ------------------------------------------------------------------ clues that tell nothing


@relation("date_scarf, explain", ROUNDED)
def an_uninformative_clue(rng: Rng) -> float:
    """A clue with equal weights over all of its values."""
    seen = piece(rng)
    free = [n for n in _plain_families() if n not in seen and f"{n}_method" not in seen]
    if not free:
        return 0.0
    name = str(rng.choice(free))
    values = priors().vocabulary.values[name]
    more = {**seen, name: dict.fromkeys(values, 1 / len(values))}
    one, two = dated(seen), dated(more)
    largest = apart(one.probability, two.probability)
    largest = max(largest, abs(one.period_probability - two.period_probability))
    largest = max(largest, apart([*one.grade.values()], [*two.grade.values()]))
    if len(seen) <= 8:
        told = [scarfdate.explain(s, "before 1960", as_of=AS_OF) for s in (seen, more)]
        parts = {**told[1].share}
        # decibans are some ten times a natural logarithm, of chances that may be 1e-12
        largest = max(largest, abs(parts.pop(name, 0.0)) * 1e-3)
        largest = max(largest, *(abs(parts[n] - told[0].share[n]) * 1e-3 for n in parts))
    return largest


@cache
def _plain_families() -> tuple[str, ...]:
    kinds = priors().families.items()
    return tuple(n for n, f in kinds if f.kind == "shares" and n not in ("label", "label_make"))


FLAT = ("uv_glow", "palette")  # one of the making, one of the style


@cache
def flat_priors() -> Priors:
    """The shipped tables, but two families say the same in every year, grade and market."""
    files = read_folder(shipped_folder(), [])
    for name in FLAT:
        path = f"shares/{name}.csv"
        table = pd.read_csv(shipped_folder() / path, dtype=str, keep_default_na=False)
        values = list(priors().vocabulary.values[name])
        table[values] = [table.iloc[0][values]] * len(table)
        files[path] = table.to_csv(index=False).encode()
    return priors_of_files(files, "flat tables")


@relation("date_scarf", ROUNDED)
def a_flat_table(rng: Rng) -> float:
    """A value of a family whose table is the same in every year."""
    seen = {n: v for n, v in piece(rng).items() if not n.startswith(FLAT) and n != "methods"}
    name = str(rng.choice(FLAT))
    word = str(rng.choice(priors().vocabulary.values[name]))
    known = flat_priors()
    return apart(dated(seen, known).probability, dated({**seen, name: word}, known).probability)


# ------------------------------------------------------------------ tables turned round, split, renamed, retyped


@relation("date_table", WEIGHED)
def rows_permuted(rng: Rng) -> float:
    """Rows in another order."""
    frame = pieces(rng)
    order = rng.permutation(len(frame))
    return table_apart(answers(frame).iloc[order], answers(frame.iloc[order]))


@relation("date_table", WEIGHED)
def a_table_split_in_two(rng: Rng) -> float:
    """A table split in two, and its answers put together."""
    frame = pieces(rng)
    at = int(rng.integers(1, len(frame)))
    parts = pd.concat([answers(frame.iloc[:at]), answers(frame.iloc[at:])])
    return table_apart(answers(frame), parts)


@relation("date_table", EXACT)
def ids_renamed(rng: Rng) -> float:
    """Ids renamed, and another index."""
    frame = pieces(rng)
    other = frame.assign(id=[f"lot {n}" for n in rng.permutation(1000)[: len(frame)]])
    other.index = pd.Index(rng.permutation(len(frame)) + 7)
    return table_apart(answers(frame), answers(other).reset_index(drop=True))


@relation("date_table", EXACT)
def columns_in_another_order(rng: Rng) -> float:
    """Columns in another order, and blank ones beside them."""
    frame = pieces(rng)
    names = [*rng.permutation(frame.columns)]
    more = frame[names].assign(**{n: None for n in ("fibre", "momme") if n not in frame})
    return table_apart(answers(frame), answers(more))


@relation("date_table", EXACT)
def other_types_of_columns(rng: Rng) -> float:
    """Cells as objects, strings, categories; numbers as text, floats, nullable whole numbers."""
    frame = pieces(rng)
    other = frame.copy()
    for name in frame.columns:
        numbers = pd.to_numeric(frame[name], errors="coerce")
        whole = numbers.notna().equals(frame[name].notna())
        if name.endswith("_year") and whole:
            other[name] = numbers.astype("Int64")
        elif name in ("momme", "stitches_per_inch", "width_cm", "height_cm") and whole:
            other[name] = numbers.astype("float64" if rng.random() < 0.5 else "Float64")
        else:
            other[name] = frame[name].astype(str(rng.choice(["object", "string", "category"])))
    return table_apart(answers(frame), answers(other))


@relation("date_table", EXACT)
def headings_of_other_languages(rng: Rng) -> float:
    """Columns headed in English, German, French, Italian or Spanish."""
    frame = pieces(rng)
    heads = pd.read_csv(shipped_folder() / "headings.csv", dtype=str)
    heads = heads[heads["heading"].str.fullmatch(r"[^()]+")]
    others = {c: list(of["heading"]) for c, of in heads.groupby("column") if c in frame}
    named = {c: str(rng.choice(words)) for c, words in others.items()}
    return table_apart(answers(frame), answers(frame.rename(columns=named)))


# ------------------------------------------------------------------ the same in other words and units


@relation("date_scarf, date_table", EXACT)
def words_of_other_languages(rng: Rng) -> float:
    """Words of other languages and spellings for the same value."""
    seen = piece(rng)
    other = reworded(seen, rng)
    one, two = dated(seen), dated(other)
    frame = [pd.DataFrame([row_of(s)], dtype=object) for s in (seen, other)]
    years = [date_table(f, as_of=AS_OF, with_years=True)[1] for f in frame]
    return max(apart(one.probability, two.probability), apart(*years))


@relation("date_scarf, date_table", EXACT)
def other_units(rng: Rng) -> float:
    """Sides in inches, feet, millimetres or as one size; stitches a centimetre; grams a square metre."""
    seen = {n: v for n, v in piece(rng).items() if n not in _MEASURED and n != "methods"}
    wide, high = (float(side) for side in rng.integers(8, 40, 2) + rng.integers(0, 2, 2) / 2)
    stitches, weight = float(rng.integers(2, 10)), float(rng.integers(4, 40))
    a, b = round(wide * 2.54, 2), round(high * 2.54, 2)
    first = {"width_cm": a, "height_cm": b, "stitches_per_inch": stitches * 2.54, "momme": weight}
    sizes: list[Clues] = [
        {"size": f"{wide:g} x {high:g} in"},
        {"size": f'{wide:g}" by {high:g}"'},
        {"size": f"{a} x {b} cm"},
        {"size": f"{a * 10:.1f} x {b * 10:.1f} mm"},
        {"size": f"{a} x {b} cm".replace(".", ",")},
        {"width_in": wide, "height_in": high},
        {"width_cm": f"{wide:g} in", "height_cm": f"{b} cm"},
    ]
    other = {"stitches_per_cm": stitches, "grams_per_square_metre": round(weight * 4.340, 2)}
    each = [{**seen, **size, **other} for size in sizes]
    years = dated({**seen, **first}).probability
    table = pd.DataFrame([row_of(one) for one in each], dtype=object)
    _, rows = date_table(table, as_of=AS_OF, with_years=True)
    _, plain = date_table(pd.DataFrame([row_of({**seen, **first})]), as_of=AS_OF, with_years=True)
    found = [apart(years, dated(one).probability) for one in each]
    return max(*found, *(apart(plain[0], row) for row in rows))


_MEASURED = (
    *("width_cm", "height_cm", "width_in", "height_in", "size", "fringe"),
    *("momme", "grams_per_square_metre", "stitches_per_inch", "stitches_per_cm"),
)


@relation("date_table", EXACT)
def a_unit_said_once(rng: Rng) -> float:
    """A unit in every cell, or once for the table."""
    sides = rng.integers(8, 40, (5, 2))
    bare = pd.DataFrame({"size": [f"{a} x {b}" for a, b in sides], "fibre": "silk"})
    said = bare.assign(size=bare["size"] + " in")
    with_unit = date_table(bare, as_of=AS_OF, unit="in", with_years=True)[1]
    return apart(with_unit, date_table(said, as_of=AS_OF, with_years=True)[1])


LABEL = ("ALL SILK", "MADE IN ITALY", "RN 60000", "DRY CLEAN ONLY", "HAND ROLLED")


@relation("read_label, date_scarf", EXACT)
def a_label_typed_otherwise(rng: Rng) -> float:
    """A label with other spaces, line ends and letters, and its lines in another order."""
    lines = [str(line) for line in rng.permutation(LABEL)[: int(rng.integers(1, 6))]]
    text = "\n".join(lines)
    others = [
        "\r\n".join(lines), "\n\n".join(f"  {line}  " for line in lines), text.replace(" ", "   "),
        text.lower(), text.title(), "\n".join(map(str, rng.permutation(lines))),
    ]  # fmt: skip
    marks = {(mark.mark, mark.value) for mark in scarfdate.read_label(text).marks}
    years = dated({"label_text": text}).probability
    for other in others:
        read = scarfdate.read_label(other)
        assert {(mark.mark, mark.value) for mark in read.marks} == marks, other
    return max(apart(years, dated({"label_text": other}).probability) for other in others)


# ------------------------------------------------------------------ why, what next, what to write, what to pay


@relation("explain", ROUNDED)
def explained_in_other_words(rng: Rng) -> float:
    """Shares of the clues, with other words, an id and another order."""
    seen = dict(list(piece(rng).items())[:8])
    seen.pop("methods", None)
    other = {"id": "lot 9", **shuffled(reworded(seen, rng), rng)}
    one, two = (scarfdate.explain(s, "before 1960", as_of=AS_OF) for s in (seen, other))
    assert set(one.clues) == set(two.clues)
    pairs = [
        (of[n], too[n]) for of, too in ((one.share, two.share), (one.alone, two.alone)) for n in of
    ]
    assert abs(sum(two.share.values()) - two.decibans) < 1e-8
    return max((abs(a - b) * 1e-3 for a, b in pairs), default=0.0)  # decibans, as above


@relation("next_checks", EXACT)
def next_looks(rng: Rng) -> float:
    """What to look at next, with other words, an id and another order."""
    seen = piece(rng)
    other = {"id": "lot 9", **shuffled(reworded(seen, rng), rng)}
    one, two = (scarfdate.next_checks(s, as_of=AS_OF) for s in (seen, other))
    assert [str(look) for look in one.looks] == [str(look) for look in two.looks]
    return apart([look.bits for look in one.looks], [look.bits for look in two.looks])


@relation("Dating.for_listing", EXACT)
def a_line_for_a_listing(rng: Rng) -> float:
    """The line for a listing, in each language, with other words, an id and another order."""
    seen = piece(rng)
    one, two = dated(seen), dated({"id": "lot 9", **shuffled(reworded(seen, rng), rng)})
    for language in ("en", "de", "fr", "it"):
        assert one.for_listing(language) == two.for_listing(language)
    return 0.0


@relation("compare", ROUNDED)
def two_pieces_compared(rng: Rng) -> float:
    """Which of two is older, asked the other way round."""
    a, b = dated(piece(rng)), dated(piece(rng))
    one, two = scarfdate.compare(a, b), scarfdate.compare(b, a)
    first = [one.first_before, one.same_year, one.second_before]
    assert abs(sum(first) - 1) < ROUNDED
    return apart(first, [two.second_before, two.same_year, two.first_before])


@relation("appraise", EXACT, dear=True)
def what_it_may_bring(rng: Rng) -> float:
    """What a piece may bring, with other words, an id and another order; the price asked as text."""
    seen = piece(rng)
    other = {"id": "lot 9", **shuffled(reworded(seen, rng), rng)}
    costs = {"postage": 4.0, "fee_percent": 10, "currency": "EUR"}
    one = scarfdate.appraise(seen, 12.5, costs, as_of=AS_OF)
    two = scarfdate.appraise(other, "EUR 12.50", costs, as_of=AS_OF)
    return apart(
        [*vars_of(one.price), *vars_of(one.gain)], [*vars_of(two.price), *vars_of(two.gain)]
    )


def vars_of(spread: Any) -> list[float]:
    return [float(x) for n in spread.__dataclass_fields__ for x in np.ravel(getattr(spread, n))]


# ------------------------------------------------------------------ records


@cache
def records() -> Any:
    """Simulated records of known years, as a sold book would hold them."""
    drawn = scarfdate.simulate(priors(), 60, np.random.default_rng(5), as_of=AS_OF)
    years = drawn.truth_frame()["year"].astype(str)
    return drawn.frame().assign(known=years.to_numpy(), known_by="receipt")


@relation("score", ROUNDED, dear=True)
def scores_of_records(rng: Rng) -> float:
    """Scores, with the records in another order."""
    sold = scarfdate.read_sold(records())
    order = rng.permutation(len(sold))
    one = scarfdate.score(None, sold, as_of=AS_OF, draws=100)
    two = scarfdate.score(None, sold.take(order), as_of=AS_OF, draws=100)
    means = [[each.mean for each in found.means.values()] for found in (one, two)]
    each = [apart(np.asarray(one.each[n])[order], two.each[n]) for n in one.each]
    return max(apart(*means), *each)


@relation("read_sold", EXACT)
def a_book_with_a_map(rng: Rng) -> float:
    """A sold book whose columns have other names, with a map of them, rows in another order."""
    book = records().iloc[rng.permutation(60)[:20]]
    named = {name: f"Col {at}" for at, name in enumerate(rng.permutation(book.columns))}
    columns = {name: theirs for name, theirs in named.items() if name != "truth"}
    one = scarfdate.read_sold(book)
    two = scarfdate.read_sold(book.rename(columns=named), columns=columns)
    assert (
        one.clues.fillna("").astype(str).equals(two.clues.fillna("").astype(str)[one.clues.columns])
    )
    return max(apart(one.known_from, two.known_from), apart(one.known_to, two.known_to))


def learned_apart(route: str, rng: Rng) -> float:
    """Learned numbers from records in two orders."""
    sold = scarfdate.read_sold(records())
    order = rng.permutation(len(sold))
    one, two = (
        scarfdate.learn(r, route=route, as_of=AS_OF, draws=10) for r in (sold, sold.take(order))
    )
    theirs = [
        {
            n: _numbers(files.files[n])
            for n in files.files
            if n.endswith(("slips.csv", "families.csv")) or "shares/" in n
        }
        for files in (one, two)
    ]
    assert theirs[0].keys() == theirs[1].keys()
    return max(apart(theirs[0][n], theirs[1][n]) for n in theirs[0])


def _numbers(content: bytes) -> np.ndarray[Any, Any]:
    import io

    table = pd.read_csv(io.BytesIO(content))
    return table.select_dtypes("number").to_numpy(float)


@relation("learn(route='counts')", 1e-6, dear=True)
def learned_by_counts(rng: Rng) -> float:
    """Tables learned by counts, with the records in another order (in per cent, written with seven digits)."""
    return learned_apart("counts", rng)


@relation("learn(route='trust')", 1e-6, dear=True)
def learned_trust(rng: Rng) -> float:
    """Exponents of trust, with the records in another order (written with six digits)."""
    return learned_apart("trust", rng)


@relation("build_priors: densities", 1e-9)
def a_density_of_records(rng: Rng) -> float:
    """A smooth density, with the records in another order, and each twice for a weight of two."""
    first = rng.integers(0, 40, 60)
    last = np.minimum(first + rng.integers(0, 12, 60), 49)
    order = rng.permutation(60)

    def density(a: Any, b: Any, weight: Any = None) -> Any:
        held: Intervals = compressed(a, b, weight)
        return smooth_density(held, 50, smoothing=30.0).density

    one = density(first, last, np.full(60, 2.0))
    again = density(first[order], last[order], np.full(60, 2.0))
    twice = density(np.tile(first, 2), np.tile(last, 2))
    return max(apart(one, again), apart(one, twice))
