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
from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from functools import cached_property
from types import MappingProxyType

import numpy as np

from scarfdate.conventions import MARKETS
from scarfdate.errors import Fault, WordError, did_you_mean, shown
from scarfdate.knots import Array
from scarfdate.tables.families import Family
from scarfdate.tables.sheet import Basis, Sheet, read_sheet
from scarfdate.tables.vocabulary import Vocabulary, plain
from scarfdate.words.phrases import Phrases, label_tokens, plain_label

LABEL_FILES = (
    "label_words.csv", "label_values.csv", "label_rules.csv", "label_shown.csv",
    "label_style.csv", "label_numbers.csv", "label_use.csv", "label_postcodes.csv",
)  # fmt: skip
ANY = "any"
ROLES = ("bound", "guard")
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


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True)
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
    files: Mapping[str, bytes],
    vocabulary: Vocabulary,
    families: Mapping[str, Family],
    faults: list[Fault],
) -> LabelRules:
    """All files, checked against each other and the vocabulary."""
    titles, homes, names = _values(files, vocabulary, families, faults)
    marks = tuple(dict.fromkeys(mark for mark, _ in titles))
    rules = _rules(files, marks, faults)
    phrases = Phrases[Entry](misprints=True)
    signs: dict[str, str] = {}
    _words(files, marks, phrases, signs, faults)
    _origins(vocabulary, phrases)
    year = families.get("printed_year")
    return LabelRules(
        phrases,
        MappingProxyType(signs),
        MappingProxyType(titles),
        MappingProxyType(homes),
        MappingProxyType(names),
        rules,
        MappingProxyType(_shown(files, marks, faults)),
        _line(read_sheet("label_style.csv", files["label_style.csv"], ("year", "full"), faults), "year", "full", 0.01),
        MappingProxyType(_numbers(files, faults)),
        _line(read_sheet("label_use.csv", files["label_use.csv"], ("lag", "weight"), faults), "lag", "weight", 0.01),
        (year.low, year.high) if year is not None else (math.inf, math.inf),
        _postcodes(files, vocabulary, marks, faults),
        MappingProxyType(dict(vocabulary.words("market"))),
    )  # fmt: skip


FREE = ("label-part", "founded", "city", "state", "opening", "sign", AFTER_OPENING, "care-words")
PREFIXES = ("number-rn", "number-wpl", "number-ca", "copyright-sign", "copyright-words",
             "patent-number", "design-patent-number")  # fmt: skip


def _words(
    files: Mapping[str, bytes],
    marks: Sequence[str],
    phrases: Phrases[Entry],
    signs: dict[str, str],
    faults: list[Fault],
) -> None:
    columns = ("phrase", "language", "mark", "value", "markets")
    sheet = read_sheet("label_words.csv", files["label_words.csv"], columns, faults)
    known = (*marks, *FREE, *PREFIXES)
    for line, row in sheet.rows:
        sheet.basis(line)
        mark = sheet.word(line, "mark", known)
        phrase = sheet.text(line, "phrase")
        markets = _markets(sheet, line, row["markets"])
        if mark == "sign":
            signs[plain_label(phrase).strip("[] ")] = row["value"]
            continue
        tokens = label_tokens(plain_label(phrase))
        if not tokens:
            sheet.fault(line, "phrase", "has no word that can be read", phrase)
            continue
        entry = Entry(mark, row["value"], row["language"], markets)
        if not phrases.add(tokens, entry):
            sheet.fault(line, "phrase", "stands there twice", phrase)


def _origins(vocabulary: Vocabulary, phrases: Phrases[Entry]) -> None:
    """The countries, as the vocabulary has them; what ``label_words.csv`` says goes before."""
    parents = vocabulary.parents.get(ORIGIN, {})
    for word, means in vocabulary.words(ORIGIN):
        if means and means not in parents and word != OTHER:
            phrases.add(label_tokens(plain_label(word)), Entry(ORIGIN, means, "", ()))


def _markets(sheet: Sheet, line: int, text: str) -> tuple[str, ...]:
    found = tuple(filter(None, map(str.strip, text.split("|"))))
    for market in found:
        if market not in MARKETS:
            sheet.fault(line, "markets", "not a market", market, did_you_mean(market, MARKETS))
    return found


def _values(
    files: Mapping[str, bytes],
    vocabulary: Vocabulary,
    families: Mapping[str, Family],
    faults: list[Fault],
) -> tuple[
    dict[tuple[str, str], str], dict[str, tuple[str, ...]], dict[tuple[str, str], tuple[str, str]]
]:
    columns = ("mark", "value", "title", "markets", "family", "word")
    sheet = read_sheet("label_values.csv", files["label_values.csv"], columns, faults)
    titles: dict[tuple[str, str], str] = {}
    homes: dict[str, tuple[str, ...]] = {}
    names: dict[tuple[str, str], tuple[str, str]] = {}
    for line, row in sheet.rows:
        sheet.basis(line)
        key = (sheet.text(line, "mark"), row["value"])
        if key in titles:
            sheet.fault(line, "value", "the mark stands there twice", " ".join(key))
        titles[key] = sheet.text(line, "title")
        found = _markets(sheet, line, row["markets"])
        if found:
            homes[key[0]] = found
        if row["family"]:
            family = sheet.word(line, "family", tuple(families))
            if row["word"] not in vocabulary.values.get(family, ()):
                step = did_you_mean(row["word"], vocabulary.values.get(family, ()))
                sheet.fault(line, "word", f"not a value of family {family}", row["word"], step)
            names[key] = (family, row["word"])
    return titles, homes, names


def _rules(
    files: Mapping[str, bytes], marks: Sequence[str], faults: list[Fault]
) -> tuple[LabelRule, ...]:
    years = ("enacted", "in_force", "not_before", "usual", "until")
    columns = (
        "mark", "value", "market", "role", *years, "stock_lag", "before", "absence", "means",
        "fact", "status",
    )  # fmt: skip
    sheet = read_sheet("label_rules.csv", files["label_rules.csv"], columns, faults)
    rules = []
    keys: set[tuple[str, ...]] = set()
    for line, row in sheet.rows:
        basis = sheet.basis(line)
        key = tuple(row[name] for name in ("mark", "value", "market", "fact"))
        if key in keys:
            sheet.fault(line, "fact", "the rule stands there twice", " ".join(filter(None, key)))
        keys.add(key)
        found = {name: sheet.optional_number(line, name) for name in years}
        for name, year in found.items():
            if year < 1000 or year > 2300:
                sheet.fault(line, name, "a year lies between 1000 and 2300", f"{year:g}")
        role = sheet.word(line, "role", ROLES)
        if found["until"] < found["not_before"]:
            sheet.fault(line, "until", "lies before not_before", f"{found['until']:g}")
        lag, before = (
            sheet.optional_number(line, "stock_lag"),
            sheet.optional_number(line, "before"),
        )
        if not math.isnan(found["until"]) and role == "bound" and not lag > 0:
            sheet.fault(line, "stock_lag", "a rule with an end has a stock lag above 0 years")
        if before < 0 or before > 100:
            sheet.fault(line, "before", "must lie between 0 and 100", f"{before:g}")
        rules.append(
            LabelRule(
                sheet.word(line, "mark", marks),
                row["value"],
                sheet.word(line, "market", (ANY, *MARKETS)),
                role,
                found["enacted"],
                found["in_force"],
                found["not_before"],
                found["usual"],
                found["until"],
                lag,
                0.0 if math.isnan(before) else before / 100,
                row["absence"] == "yes",
                row["means"],
                row["fact"],
                row["status"],
                basis.basis,
            )
        )
    return tuple(rules)


def _postcodes(
    files: Mapping[str, bytes], vocabulary: Vocabulary, marks: Sequence[str], faults: list[Fault]
) -> tuple[Postcode, ...]:
    columns = ("country", "digits", "mark", "prefix", "language")
    sheet = read_sheet("label_postcodes.csv", files["label_postcodes.csv"], columns, faults)
    found: dict[tuple[str, int], Postcode] = {}
    for line, row in sheet.rows:
        sheet.basis(line)
        country = sheet.word(line, "country", vocabulary.values.get(ORIGIN, ()))
        digits = sheet.number(line, "digits", low=1, high=9)
        if (country, digits) in found:
            sheet.fault(line, "digits", "the code stands there twice", f"{country} {digits:g}")
        elif not math.isnan(digits):
            mark = sheet.word(line, "mark", marks)
            found[country, int(digits)] = Postcode(
                mark, country, int(digits), row["prefix"], row["language"]
            )
    return tuple(found.values())


def _shown(
    files: Mapping[str, bytes], marks: Sequence[str], faults: list[Fault]
) -> dict[tuple[str, str], Knots]:
    columns = ("mark", "market", "year", "full", "brief")
    sheet = read_sheet("label_shown.csv", files["label_shown.csv"], columns, faults)
    found: dict[tuple[str, str], list[tuple[float, float, float]]] = {}
    for line, _ in sheet.rows:
        sheet.basis(line)
        key = sheet.word(line, "mark", (*marks, ANY)), sheet.word(line, "market", (ANY, *MARKETS))
        knot = float(sheet.year(line))
        if key in found and knot <= found[key][-1][0]:
            sheet.fault(line, "year", "years rise from row to row", f"{knot:g}")
        full, brief = (sheet.number(line, name, low=0, high=100) for name in ("full", "brief"))
        found.setdefault(key, []).append((knot, full / 100, brief / 100))
    if sheet.rows and (ANY, ANY) not in found:
        sheet.fault(None, "mark", "a row is missing for any mark in any market")
    return {key: tuple(np.array(rows).T) for key, rows in found.items()}


def _numbers(files: Mapping[str, bytes], faults: list[Fault]) -> dict[str, Series]:
    columns = ("series", "number", "year", "spread")
    sheet = read_sheet("label_numbers.csv", files["label_numbers.csv"], columns, faults)
    found: dict[str, list[tuple[float, float, float]]] = {}
    bases: dict[str, list[Basis]] = {}
    for line, _ in sheet.rows:
        rows = found.setdefault(sheet.text(line, "series"), [])
        bases.setdefault(sheet.text(line, "series"), []).append(sheet.basis(line))
        row = (
            sheet.number(line, "number", low=0),
            float(sheet.year(line)),
            sheet.number(line, "spread", low=0.1, high=50),
        )
        if rows and (row[0] <= rows[-1][0] or row[1] < rows[-1][1]):
            sheet.fault(line, "number", "numbers and years rise from row to row", f"{row[0]:g}")
        rows.append(row)
    return {name: _series(rows, bases[name]) for name, rows in found.items()}


def _series(rows: list[tuple[float, float, float]], bases: list[Basis]) -> Series:
    numbers, years, spread = np.array(rows).T
    return Series(numbers, years, spread, tuple(bases))


def _line(sheet: Sheet, at: str, value: str, factor: float) -> tuple[Array, Array]:
    rows = []
    for line, _ in sheet.rows:
        sheet.basis(line)
        rows.append((sheet.number(line, at), factor * sheet.number(line, value, low=0, high=100)))
        if len(rows) > 1 and rows[-1][0] <= rows[-2][0]:
            sheet.fault(line, at, "rises from row to row", f"{rows[-1][0]:g}")
    return tuple(np.array(rows or [(0.0, 0.0)]).T)
