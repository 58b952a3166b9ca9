"""The tables by which a label is read and weighed: the files ``label_*.csv``.

- ``label_words.csv``: a printed phrase and the mark that it is;
- ``label_values.csv``: what a mark is called, where it is at home, and the clue that a value names;
- ``label_rules.csv``: what a dated fact says of a mark in a market. Law and habit are columns of their
  own (enacted, in force; usual); ``not_before`` and ``until`` bound, a row of the role ``guard`` never
  does: it keeps a reader from a wrong conclusion;
- ``label_shown.csv``: how often a mark is shown on a full and on a brief label, by market and year;
- ``label_style.csv``: how many intact labels are full ones;
- ``label_numbers.csv``, ``label_use.csv``: the years of issue of number series, and their use after;
- ``label_postcodes.csv``: how many digits a country's postal code has, and what tells the country.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Set
from dataclasses import dataclass, replace
from functools import cached_property
from types import MappingProxyType

import numpy as np

from scarfdate.conventions import MARKETS, Array
from scarfdate.errors import WordError, did_you_mean, shown
from scarfdate.tables.schema import Row, Table
from scarfdate.tables.sheet import Basis
from scarfdate.tables.words import Family, Vocabulary, plain
from scarfdate.words.phrases import Phrases, label_tokens, plain_label

ANY = "any"
ORIGIN, OTHER = "origin", "other"
_FOREIGN = "foreign-country"  # rules for a country that is not the market's own
_HOME = {"us": "usa", "canada": "canada"}
AFTER_OPENING = "only-after-opening"  # words that name a country only behind "made in"


@dataclass(frozen=True, slots=True)
class Entry:
    """What one printed phrase is: a mark, its value, the language, and where it is at home."""

    mark: str
    value: str
    language: str
    markets: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelRule:
    """What one dated fact says of a mark (any value where ``value`` is blank) in a market.

    Years are NaN where the fact gives none. ``before`` is the share, 0 to 1, of the usual level in
    the years before ``usual``; ``stock_lag`` the mean of years for which the old form is used up.
    ``absence``: whether the rule makes labels bear the mark, so that its absence counts.
    """

    mark: str
    value: str
    market: str
    role: str
    enacted: float
    in_force: float
    not_before: float
    usual: float
    until: float
    stock_lag: float
    before: float
    absence: bool
    means: str
    fact: str
    status: str
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Postcode:
    """A mark that is a country's postal code of so many digits, and what tells the country.

    A town of the country always does; ``prefix``: letters before a hyphen, such as "D-"; ``language``:
    where a town that nobody knows stands behind the code, the one language of the label.
    """

    mark: str
    country: str
    digits: int
    prefix: str
    language: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """Anchors of a number series: numbers rising, years of issue, and a standard deviation of each."""

    numbers: Array
    years: Array
    spread: Array
    bases: tuple[Basis, ...]

    def issued(self, number: float) -> tuple[float, float]:
        """Year of issue and its standard deviation: never outside what the anchors support."""
        return (
            float(np.interp(number, self.numbers, self.years)),
            float(np.interp(number, self.numbers, self.spread)),
        )


Knots = tuple[Array, Array, Array]  # years, share on full labels, share on brief ones (0 to 1)


@dataclass(frozen=True, kw_only=True)
class LabelRules:
    """Everything that a label is read and weighed by.

    ``titles`` and ``homes`` are by mark and value; ``names`` is the clue (family, word) that a value
    names; ``shown`` is by mark and market.
    """

    phrases: Phrases[Entry]
    signs: Mapping[str, str]  # what stands for a printed sign in square brackets, and what it is
    titles: Mapping[tuple[str, str], str]
    homes: Mapping[str, tuple[str, ...]]
    names: Mapping[tuple[str, str], tuple[str, str]]
    rules: tuple[LabelRule, ...]
    shown: Mapping[tuple[str, str], Knots]
    style: tuple[Array, Array]
    series: Mapping[str, Series]
    use: tuple[Array, Array]
    printed: tuple[float, float]  # years that a notice can bear
    postcodes: tuple[Postcode, ...]
    markets: Mapping[str, str]  # every word for a market, and the market

    def title(self, mark: str, value: str) -> str:
        """What a mark is called in a sentence."""
        found = self.titles.get((mark, value))
        if found:
            return found
        general = self.titles.get((mark, ""), mark)
        spoken = value.replace("-", " ")
        return f"{general}: {spoken}" if spoken and not value.isdecimal() else general

    def clue_word(self, mark: str, value: str) -> str:
        """The word of a clue that a value of a mark names, such as the country of a city; "" for none."""
        return self.names.get((mark, value), ("", ""))[1]

    def of(self, mark: str, value: str, market: str) -> Iterator[LabelRule]:
        """The rules that a mark sets off in a market."""
        for rule in self._by_mark.get(mark, ()):
            if rule.value in ("", value) and rule.market in (ANY, market):
                yield rule

    def set_off(self, mark: str, value: str, market: str) -> tuple[LabelRule, ...]:
        """All rules that a mark with this value sets off in a market, guards with them.

        A number counts by its kind; a country without a rule of its own, where it is not the market's
        own, as any foreign one.
        """
        kind = value
        if mark == "rn":
            kind = "fur" if value.startswith("fur") else "six-digits" if len(value) > 5 else ""
        found = [
            rule
            for rule in self.of(mark, kind, market)
            if kind != "fur" or mark != "rn" or rule.value == "fur" or rule.role == "guard"
        ]
        own = any(rule.value == kind for rule in found if rule.role == "bound")
        if mark == ORIGIN and not own and value != _HOME.get(market):
            found += self.of(ORIGIN, _FOREIGN, market)
        return tuple(dict.fromkeys(found))

    def market(self, word: object) -> str:
        """The market that a word means; WordError where it means none."""
        market = self.markets.get(plain(word), "") if isinstance(word, str) else ""
        if not market:
            known = ", ".join(MARKETS)
            raise WordError(f"market: no market {shown(word)} is known; allowed: {known}")
        return market

    def of_marks(self, marks: Set[str]) -> LabelRules:
        """What a label with these marks needs of the rules, once it is read."""
        return replace(
            self,
            phrases=Phrases(),
            signs={},
            names={},
            shown={},
            titles={key: title for key, title in self.titles.items() if key[0] in marks},
            homes={mark: home for mark, home in self.homes.items() if mark in marks},
            rules=tuple(rule for rule in self.rules if rule.mark in marks),
            series={
                n: s for n, s in self.series.items() if n in marks or n.partition("-")[0] in marks
            },
            postcodes=(),
            markets=dict(self.markets),
        )

    def counted(self, market: str) -> list[str]:
        """Marks whose absence from an intact label counts in a market."""
        return list(
            dict.fromkeys(r.mark for r in self.rules if r.absence and r.market in (ANY, market))
        )

    @cached_property
    def _by_mark(self) -> dict[str, list[LabelRule]]:
        found: dict[str, list[LabelRule]] = {}
        for rule in self.rules:
            found.setdefault(rule.mark, []).append(rule)
        return found

    @cached_property
    def signs_in_words(self) -> tuple[tuple[str, str], ...]:
        """What stands in brackets for signs; Japanese has no blanks between words."""
        return tuple(
            (f" {sign} " if sign.isascii() else sign, kind) for sign, kind in self.signs.items()
        )


def read_label_rules(
    tables: Mapping[str, Table], vocabulary: Vocabulary, families: Mapping[str, Family]
) -> LabelRules:
    """All files, checked against each other and the vocabulary."""
    titles, homes, names = _values(tables["label_values.csv"], vocabulary)
    rules = _rules(tables["label_rules.csv"])
    phrases = Phrases[Entry](misprints=True)
    signs: dict[str, str] = {}
    _words(tables["label_words.csv"], phrases, signs)
    _origins(vocabulary, phrases)
    year = families.get("printed_year")
    return LabelRules(
        phrases=phrases,
        signs=MappingProxyType(signs),
        titles=MappingProxyType(titles),
        homes=MappingProxyType(homes),
        names=MappingProxyType(names),
        rules=rules,
        shown=MappingProxyType(_shown(tables["label_shown.csv"])),
        style=_line(tables["label_style.csv"], "year", "full"),
        series=MappingProxyType(_numbers(tables["label_numbers.csv"])),
        use=_line(tables["label_use.csv"], "lag", "weight"),
        printed=(year.low, year.high) if year is not None else (math.inf, math.inf),
        postcodes=_postcodes(tables["label_postcodes.csv"]),
        markets=MappingProxyType(dict(vocabulary.words("market"))),
    )


def _words(table: Table, phrases: Phrases[Entry], signs: dict[str, str]) -> None:
    for row in table.rows:
        mark, phrase = row["mark"], row["phrase"]
        if mark == "sign":
            signs[plain_label(phrase).strip("[] ")] = row["value"]
            continue
        tokens = label_tokens(plain_label(phrase))
        if not tokens:
            table.fault(row, "phrase", "has no word that can be read", phrase)
            continue
        entry = Entry(mark, row["value"], row["language"], row["markets"])
        if not phrases.add(tokens, entry):
            table.fault(row, "phrase", "stands there twice", phrase)


def _origins(vocabulary: Vocabulary, phrases: Phrases[Entry]) -> None:
    """The countries, as the vocabulary has them; what ``label_words.csv`` says goes before."""
    parents = vocabulary.parents.get(ORIGIN, {})
    for word, means in vocabulary.words(ORIGIN):
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
        rules.append(
            LabelRule(
                mark=row["mark"],
                value=row["value"],
                market=row["market"],
                role=row["role"],
                enacted=float(row["enacted"]),
                in_force=float(row["in_force"]),
                not_before=float(row["not_before"]),
                usual=float(row["usual"]),
                until=until,
                stock_lag=row["stock_lag"],
                before=0.0 if math.isnan(row["before"]) else row["before"] / 100,
                absence=row["absence"] == "yes",
                means=row["means"],
                fact=row["fact"],
                status=row["status"],
                basis=row.basis.basis,
            )
        )
    return tuple(rules)


def _postcodes(table: Table) -> tuple[Postcode, ...]:
    return tuple(
        Postcode(
            mark=row["mark"], country=row["country"], digits=row["digits"],
            prefix=row["prefix"], language=row["language"],
        )
        for row in table.rows
    )  # fmt: skip


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
    return {name: _series(rows) for name, rows in found.items()}


def _series(rows: list[Row]) -> Series:
    return Series(
        numbers=np.array([float(row["number"]) for row in rows]),
        years=np.array([float(row["year"]) for row in rows]),
        spread=np.array([row["spread"] for row in rows]),
        bases=tuple(row.basis for row in rows),
    )


def _line(table: Table, at: str, share: str) -> tuple[Array, Array]:
    """A share from per cent along a column."""
    rows = [(float(row[at]), 0.01 * row[share]) for row in table.rows]
    return tuple(np.array(rows or [(0.0, 0.0)]).T)
