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

from collections.abc import Iterator, Mapping, Set
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np

from scarfdate.conventions import MARKETS, Array
from scarfdate.errors import WordError, shown
from scarfdate.tables.knots import ANY
from scarfdate.tables.sheet import Basis
from scarfdate.tables.words import plain
from scarfdate.words.phrases import Phrases

ORIGIN, OTHER = "origin", "other"
_FOREIGN = "foreign-country"  # rules for a country that is not the market's own
_HOME = {"us": "usa", "canada": "canada"}
IN_USE = "in-use"  # the value of a guard that says how long a number stays on labels
AFTER_OPENING = "only-after-opening"  # words that name a country only behind "made in"


@dataclass(frozen=True, slots=True)
class Entry:
    """What one printed phrase is: a mark, its value, the language, and where it is at home."""

    mark: str
    value: str
    language: str
    markets: tuple[str, ...]


class Months(NamedTuple):
    """Names of months in plain letters, in full, and what is short for them."""

    full: frozenset[str]
    short: frozenset[str]


Form = tuple[str, Entry]  # words with noughts for a number, and the mark that they are


@dataclass(frozen=True, eq=False)
class Forms:
    """All forms of a table; known by what it is and not by what it holds, so that it is found quickly."""

    rows: tuple[Form, ...] = ()


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
        """Year of issue and its standard deviation: never outside what the anchors support.

        Of a number beyond the last anchor (`is_beyond`), the year and deviation of that: it is the first
        year in which the number can have been given.
        """
        return (
            float(np.interp(number, self.numbers, self.years)),
            float(np.interp(number, self.numbers, self.spread)),
        )

    def is_beyond(self, number: float) -> bool:
        """Whether a number is larger than that of the last anchor, so that its year is open to the right."""
        return bool(number > self.numbers[-1])


Knots = tuple[Array, Array, Array]  # years, share on full labels, share on brief ones (0 to 1)


@dataclass(frozen=True, kw_only=True)
class LabelRules:
    """Everything that a label is read and weighed by.

    ``titles`` and ``homes`` are by mark and value; ``names`` is the clue (family, word) that a value
    names; ``shown`` is by mark and market.
    """

    phrases: Phrases[Entry]
    months: Months
    forms: Forms  # words beside a number that are a mark together
    states: frozenset[str]  # the two letters of American states
    signs: Mapping[str, str]  # what stands for a printed sign in square brackets, and what it is
    described: Mapping[
        str, str
    ]  # those that are words for what is there: "zip code", and of what mark
    titles: Mapping[tuple[str, str], str]
    homes: Mapping[str, tuple[str, ...]]
    names: Mapping[tuple[str, str], tuple[str, str]]
    rules: tuple[LabelRule, ...]
    shown: Mapping[tuple[str, str], Knots]
    style: tuple[Array, Array]
    series: Mapping[str, Series]
    use: Mapping[str, tuple[Array, Array]]  # by series, and for any other
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

    def habit_of(self, mark: str) -> str:
        """How long a number of this mark stays on labels, in words; "" where no table says."""
        return next(
            (rule.means for rule in self._by_mark.get(mark, ()) if rule.value == IN_USE), ""
        )

    def in_use(self, series: str) -> tuple[Array, Array]:
        """Years after the issue of a number, and how much it is in use then, 0 to 1."""
        return self.use.get(series) or self.use[ANY]

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
            months=Months(frozenset(), frozenset()),
            forms=Forms(),
            states=frozenset(),
            signs={},
            described={},
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

    def signs_among(self, inside: str) -> set[str]:
        """What the signs are that stand in brackets."""
        padded = f" {inside} "
        return {
            kind
            for word in ("", *inside.split(" "))
            for sign, kind in self._signs_by_word.get(word, ())
            if sign in padded
        }

    @cached_property
    def _signs_by_word(self) -> dict[str, list[tuple[str, str]]]:
        """Signs and what they are, by their first word; "" for Japanese, which has no blanks between words."""
        found: dict[str, list[tuple[str, str]]] = {}
        for sign, kind in self.signs.items():
            word, spaced = (sign.split(" ")[0], f" {sign} ") if sign.isascii() else ("", sign)
            found.setdefault(word, []).append((spaced, kind))
        return found
