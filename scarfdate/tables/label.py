"""The tables by which a label is read and weighed: the files ``label_*.csv``.

- ``label_words.csv``: a printed phrase and the mark that it is;
- ``label_values.csv``: what a mark is called, where it is at home, and the clue that a value names;
- ``label_rules.csv``: what a dated fact says of a mark in a market. Law and habit are columns of their
  own (enacted, in force; usual); ``not_before`` and ``until`` bound, a row of the role ``guard`` never
  does: it keeps a reader from a wrong conclusion;
- ``label_shown.csv``: how often a mark is shown on a full and on a brief label, by market and year;
- ``label_style.csv``: how many intact labels are full ones;
- ``label_numbers.csv``, ``label_use.csv``: the years of issue of number series, and their use after.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType

import numpy as np

from scarfdate.errors import did_you_mean
from scarfdate.knots import Array
from scarfdate.tables.families import Family
from scarfdate.tables.schema import Row, Table
from scarfdate.tables.sheet import Basis
from scarfdate.tables.vocabulary import Vocabulary

ANY = "any"
ORIGIN, OTHER = "origin", "other"
_FOREIGN = "foreign-country"  # rules for a country that is not the market's own
_HOME = {"us": "usa", "canada": "canada"}
AFTER_OPENING = "only-after-opening"  # words that name a country only behind "made in"
_JAPANESE = "\u3040-\u30ff\u3400-\u9fff"
_STEMS = 3  # letters that a word must have to be known by a part of it

# letters that Unicode does not take for a letter with an accent
_JOINED = {"ø": "o", "œ": "o", "æ": "a", "ß": "s"}


def _without_accents(first: int, last: int) -> dict[str, str]:
    """The plain small letter for each Latin letter with an accent among some characters."""
    bare = {chr(at): unicodedata.normalize("NFKD", chr(at))[0].lower() for at in range(first, last)}
    return {letter: plain for letter, plain in bare.items() if "a" <= plain <= "z"}


# what may be written in several ways, one character for one, so that places in the text stay right
_PLAIN = str.maketrans(
    {
        **{chr(code): chr(code + 32) for code in range(ord("A"), ord("Z") + 1)},
        **_without_accents(0xC0, 0x180),
        **_JOINED, "Ø": "o", "Œ": "o", "Æ": "a",
        **{chr(code): chr(code - 0xFEE0).lower() for code in range(0xFF01, 0xFF5F)},
        # Japanese letters of half width, with the sign that lengthens a vowel
        **{chr(code): unicodedata.normalize("NFKC", chr(code)) for code in (0xFF66, *range(0xFF70, 0xFF9E))},
        "’": "'", "`": "'", "´": "'", "\u3000": " ", "\xa0": " ", "–": "-", "‐": "-", "‑": "-", "—": "-",
    }
)  # fmt: skip

# An abbreviation with points, a word (with letters guessed as ?), digits, a Japanese character, a cut,
# or a sign. Nothing in it can match in two ways, so that it runs once over the text.
_TOKEN = re.compile(
    r"(?<![a-z])[a-z](?:\.[a-z]{1,3}(?![a-z]))+\.?"
    r"|[a-z?]+(?:'[a-z?]+)*|\d+|[" + _JAPANESE + r"]|\.{2,}|…|[®©™&/%#]"
)


def plain_label(text: str) -> str:
    """A label text in lower case, without accents, of the same length."""
    return text.translate(_PLAIN)


def label_tokens(plain: str) -> list[tuple[str, int, int]]:
    """The tokens of a plain text in order: (as compared, start, end)."""
    found = [(match[0], *match.span()) for match in _TOKEN.finditer(plain)]
    if "." in plain or "'" in plain:
        return [(_bare(token), start, end) for token, start, end in found]
    return found


def _bare(token: str) -> str:
    """A token without its points and apostrophes; two points or more are a cut."""
    if "." in token:
        return "…" if token.startswith("..") else token.replace(".", "")
    return token.replace("'", "") if "'" in token else token


@dataclass(frozen=True, slots=True)
class Entry:
    """What one printed phrase is: a mark, its value, the language, and where it is at home."""

    mark: str
    value: str
    language: str
    markets: tuple[str, ...]


@dataclass(slots=True)
class Step:
    """One step into the phrases: what may follow, and the entry that ends here."""

    after: dict[str, Step] = field(default_factory=dict)
    entry: Entry | None = None


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

    ``first`` is the root of the phrases; ``titles`` and ``homes`` by mark and value; ``names`` the
    clue (family, word) that a value names; ``shown`` by mark and market.
    """

    first: Mapping[str, Step]
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

    def title(self, mark: str, value: str) -> str:
        """What a mark is called in a sentence."""
        found = self.titles.get((mark, value))
        if found:
            return found
        general = self.titles.get((mark, ""), mark)
        spoken = value.replace("-", " ")
        return f"{general}: {spoken}" if spoken and not value.isdecimal() else general

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

    @cached_property
    def by_letter(self) -> dict[tuple[int, int, str], tuple[str, ...]]:
        """The words of all phrases by number of letters, place and letter, for letters guessed."""
        found: dict[tuple[int, int, str], list[str]] = {}
        for word in sorted(self.known_words):
            for at, letter in enumerate(word):
                found.setdefault((len(word), at, letter), []).append(word)
        return {key: tuple(words) for key, words in found.items()}

    @cached_property
    def by_end(self) -> dict[str, tuple[str, ...]]:
        """Words by each of their ends, for labels cut on the left."""
        return self._parts(lambda word: (word[at:] for at in range(1, len(word) - 1)))

    @cached_property
    def by_beginning(self) -> dict[str, tuple[str, ...]]:
        """Words by each of their beginnings of three letters or more, for labels cut on the right."""
        return self._parts(lambda word: (word[:at] for at in range(_STEMS, len(word))))

    @cached_property
    def by_deletion(self) -> dict[str, tuple[str, ...]]:
        """Words by what is left when one letter is taken out (and whole), for misprints."""
        return self._parts(
            lambda word: (word, *(word[:at] + word[at + 1 :] for at in range(len(word))))
        )

    def _parts(self, parts: object) -> dict[str, tuple[str, ...]]:
        found: dict[str, set[str]] = {}
        for word in self.known_words:
            for part in parts(word):  # type: ignore[operator]
                found.setdefault(part, set()).add(word)
        return {part: tuple(sorted(words)) for part, words in found.items()}

    @cached_property
    def known_words(self) -> set[str]:
        """Words of three letters or more of all phrases."""
        words: set[str] = set()
        steps = list(self.first.items())
        while steps:
            token, step = steps.pop()
            if len(token) >= _STEMS and token.isalpha() and token.isascii():
                words.add(token)
            steps += step.after.items()
        return words


def read_label_rules(
    tables: Mapping[str, Table], vocabulary: Vocabulary, families: Mapping[str, Family]
) -> LabelRules:
    """All seven files, checked against each other and the vocabulary."""
    titles, homes, names = _values(tables["label_values.csv"], vocabulary)
    rules = _rules(tables["label_rules.csv"])
    first: dict[str, Step] = {}
    signs: dict[str, str] = {}
    _words(tables["label_words.csv"], first, signs)
    _origins(vocabulary, first)
    year = families.get("printed_year")
    return LabelRules(
        first=first,
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
    )


def _words(table: Table, first: dict[str, Step], signs: dict[str, str]) -> None:
    for row in table.rows:
        mark, phrase = row["mark"], row["phrase"]
        if mark == "sign":
            signs[plain_label(phrase).strip("[] ")] = row["value"]
            continue
        tokens = [token for token, _, _ in label_tokens(plain_label(phrase))]
        if not tokens:
            table.fault(row, "phrase", "has no word that can be read", phrase)
            continue
        entry = Entry(mark, row["value"], row["language"], row["markets"])
        if not _grow(first, tokens, entry):
            table.fault(row, "phrase", "stands there twice", phrase)


def _grow(first: dict[str, Step], tokens: Sequence[str], entry: Entry) -> bool:
    """Put a phrase in; False where it is there already."""
    step = first.setdefault(tokens[0], Step())
    for token in tokens[1:]:
        step = step.after.setdefault(token, Step())
    if step.entry is not None:
        return False
    step.entry = entry
    return True


def _origins(vocabulary: Vocabulary, first: dict[str, Step]) -> None:
    """The countries, as the vocabulary has them; what ``label_words.csv`` says goes before."""
    parents = vocabulary.parents.get(ORIGIN, {})
    for word, means in vocabulary.words(ORIGIN):
        tokens = [token for token, _, _ in label_tokens(plain_label(word))]
        if means and means not in parents and tokens and word != OTHER:
            _grow(first, tokens, Entry(ORIGIN, means, "", ()))


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
