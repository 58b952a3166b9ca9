"""The files ``label_*.csv`` read into `LabelRules`, held against each other and against the vocabulary."""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from scarfdate.conventions import Array
from scarfdate.errors import did_you_mean
from scarfdate.tables.checked import Row, Table
from scarfdate.tables.families import Family
from scarfdate.tables.knots import ANY
from scarfdate.tables.label import (
    ORIGIN,
    OTHER,
    Entry,
    Form,
    Forms,
    Knots,
    LabelRule,
    LabelRules,
    Months,
    Postcode,
    Series,
)
from scarfdate.tables.words import Vocabulary
from scarfdate.words.phrases import Phrases, label_tokens, plain_label

_NUMBER = {"0", "0,00", "0000", "000000", "yyyy"}  # what stands for a number among words
_CODE = 2  # letters of the code of a country


def read_label_rules(
    tables: Mapping[str, Table], vocabulary: Vocabulary, families: Mapping[str, Family]
) -> LabelRules:
    """All files, checked against each other and the vocabulary."""
    titles, homes, names = _values(tables["label_values.csv"], vocabulary)
    rules = _rules(tables["label_rules.csv"])
    phrases = Phrases[Entry](misprints=True)
    signs: dict[str, str] = {}
    described: dict[str, str] = {}
    forms = _words(tables["label_words.csv"], phrases, signs, described)
    _origins(vocabulary, phrases)
    year = families.get("printed_year")
    return LabelRules(
        phrases=phrases,
        months=_months(tables["date_words.csv"]),
        forms=Forms(tuple(forms)),
        states=frozenset(
            row["value"] for row in tables["label_words.csv"].rows if row["mark"] == "state"
        ),
        signs=MappingProxyType(signs),
        described=MappingProxyType(described),
        titles=MappingProxyType(titles),
        homes=MappingProxyType(homes),
        names=MappingProxyType(names),
        rules=rules,
        shown=MappingProxyType(_shown(tables["label_shown.csv"])),
        style=_line(tables["label_style.csv"], "year", "full"),
        series=MappingProxyType(_numbers(tables["label_numbers.csv"])),
        use=MappingProxyType(_use(tables["label_use.csv"])),
        printed=(year.low, year.high) if year is not None else (math.inf, math.inf),
        postcodes=tuple(row.read_as(Postcode) for row in tables["label_postcodes.csv"].rows),
        markets=MappingProxyType(dict(vocabulary.words("market"))),
    )


def _months(table: Table) -> Months:
    """The months of all languages; one that begins another name of its month in its language is short for it."""
    rows = [
        (row["language"], row["first"], plain_label(row["phrase"]))
        for row in table.rows
        if row["role"] == "month"
    ]
    short = {
        name
        for language, month, name in rows
        for other_language, other_month, other in rows
        if (language, month) == (other_language, other_month)
        and other != name
        and other.startswith(name)
    }
    return Months(frozenset(name for *_, name in rows) - short, frozenset(short))


def _words(
    table: Table, phrases: Phrases[Entry], signs: dict[str, str], described: dict[str, str]
) -> list[Form]:
    """Phrases and signs into their places; what has a nought for a number is returned."""
    forms: list[Form] = []
    for row in table.rows:
        mark, phrase = row["mark"], row["phrase"]
        if mark == "sign":
            signs[plain_label(phrase).strip("[] ")] = row["value"]
            if row["language"] != "sign":
                described[phrase.strip("[] ")] = row["value"].partition("/")[0]
            continue
        tokens = label_tokens(plain_label(phrase))
        if not tokens:
            table.fault(row, "phrase", "has no word that can be read", phrase)
            continue
        entry = Entry(mark, row["value"], row["language"], row["markets"])
        if _NUMBER & {*phrase.split()}:
            forms.append((plain_label(phrase), entry))
        elif not phrases.add(tokens, entry):
            table.fault(row, "phrase", "stands there twice", phrase)
    return forms


def _origins(vocabulary: Vocabulary, phrases: Phrases[Entry]) -> None:
    """The countries, as the vocabulary has them; what ``label_words.csv`` says goes before."""
    parents = vocabulary.parents.get(ORIGIN, {})
    words = dict(vocabulary.words(ORIGIN))
    for word, means in words.items():
        if len(word) == _CODE and ".".join(word) not in words:
            continue  # "IT" in a column of countries is Italy, and on a label a word like any other
        if means and means not in parents and word != OTHER:
            phrases.add(label_tokens(plain_label(word)), Entry(ORIGIN, means, "", ()))


def _values(
    table: Table, vocabulary: Vocabulary
) -> tuple[
    dict[tuple[str, str], str], dict[str, tuple[str, ...]], dict[tuple[str, str], tuple[str, str]]
]:
    """Titles by mark and value, home markets by mark, and the clues that values name."""
    titles: dict[tuple[str, str], str] = {}
    homes: dict[str, tuple[str, ...]] = {}
    names: dict[tuple[str, str], tuple[str, str]] = {}
    for row in table.rows:
        key = (row["mark"], row["value"])
        if key in titles:
            table.fault(row, "value", "the mark stands there twice", " ".join(key))
        titles[key] = row["title"]
        if row["markets"]:
            homes[row["mark"]] = row["markets"]
        family, word = row["family"], row["word"]
        if family:
            values = vocabulary.values.get(family, ())
            if word not in values:
                step = did_you_mean(word, values)
                table.fault(row, "word", f"not a value of family {family}", word, step)
            names[key] = (family, word)
        elif word:
            table.fault(row, "family", "a word is of a family", "an empty cell", "name its family")
    return titles, homes, names


def _rules(table: Table) -> tuple[LabelRule, ...]:
    rules = []
    keys: set[tuple[str, ...]] = set()
    for row in table.rows:
        key = tuple(row[name] for name in ("mark", "value", "market", "fact"))
        if key in keys:
            table.fault(row, "fact", "the rule stands there twice", " ".join(filter(None, key)))
        keys.add(key)
        until = float(row["until"])
        if until < row["not_before"]:
            table.fault(row, "until", "lies before not_before", f"{until:g}")
        if not math.isnan(until) and row["role"] == "bound" and not row["stock_lag"] > 0:
            problem = "a rule with an end has a stock lag above 0 years"
            table.fault(row, "stock_lag", problem)
        before = 0.0 if math.isnan(row["before"]) else row["before"] / 100
        absence = row["absence"] == "yes"
        rules.append(row.read_as(LabelRule, before=before, absence=absence))
    return tuple(rules)


def _shown(table: Table) -> dict[tuple[str, str], Knots]:
    found: dict[tuple[str, str], list[tuple[float, float, float]]] = {}
    for row in table.rows:
        knot = (float(row["year"]), row["full"] / 100, row["brief"] / 100)
        found.setdefault((row["mark"], row["market"]), []).append(knot)
    if table.whole and (ANY, ANY) not in found:
        table.fault(None, "mark", "a row is missing for any mark in any market")
    return {key: tuple(np.array(rows).T) for key, rows in found.items()}


def _numbers(table: Table) -> dict[str, Series]:
    found: dict[str, list[Row]] = {}
    for row in table.rows:
        rows = found.setdefault(row["series"], [])
        if rows and row["year"] < rows[-1]["year"]:
            problem = "years rise with the numbers"
            table.fault(row, "year", problem, f"{row['year']} after {rows[-1]['year']}")
        rows.append(row)
    return {
        name: Series(
            **{
                into: np.array([float(row[column]) for row in rows])
                for into, column in (("numbers", "number"), ("years", "year"), ("spread", "spread"))
            },
            bases=tuple(row.basis for row in rows),
        )
        for name, rows in found.items()
    }


def _use(table: Table) -> dict[str, tuple[Array, Array]]:
    found: dict[str, list[tuple[float, float]]] = {}
    for row in table.rows:
        found.setdefault(row["series"], []).append((float(row["lag"]), row["weight"] / 100))
    if table.whole and ANY not in found:
        table.fault(None, "series", "rows are missing for any series")
    return {series: tuple(np.array(rows).T) for series, rows in found.items()}


def _line(table: Table, at: str, share: str) -> tuple[Array, Array]:
    """A share from per cent along a column."""
    rows = [(float(row[at]), 0.01 * row[share]) for row in table.rows]
    return tuple(np.array(rows or [(0.0, 0.0)]).T)
