"""A museum's medium text read from left to right into statements, by the rules of `scarfdate.tables.medium`.

Phrases give statements (family, words); connecting words between them join, doubt, deny or set them
aside. What the statements of a family come to: `scarfdate.reading.medium_clues`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import NamedTuple

from scarfdate.tables.medium import Act, MediumRules, Phrase, Reading
from scarfdate.tables.noted import LIKE
from scarfdate.words.phrases import Token, medium_tokens

_LONGEST_PERCENT = 8  # digits; a longer number is no percentage
_SILENT = ("skip", "and", "stop")  # words that are not listed among the phrases read
_TIGHT = ","  # a comma with no blank behind it begins another part of the piece (Joconde)


class MediumPhrase(NamedTuple):
    """A phrase of the text, ``text[start:end]``, the phrase of the rule, and what the rule gives.

    ``gives`` maps family to word or weights as written in the rule; a connecting word stands under "".
    """

    start: int
    end: int
    phrase: str
    gives: Mapping[str, str]


@dataclass(slots=True)
class Statement:
    """One reading where it stands in the text.

    ``clause``: between two commas, "and"s, stops. ``part`` of the piece: between two tight commas.
    ``choice``: statements joined by "or" share a number. ``sure``: 1, or less where the text doubts.
    ``ground``: what it lies on as a decoration.
    """

    reading: Reading
    clause: int
    part: int
    choice: int
    denied: bool
    sure: float
    per_cent: float = math.nan
    ground: Statement | None = None


@dataclass(slots=True)
class Text:
    """What a text states, by family; which families of a clause are of a lining or trimming ("" for all)."""

    statements: dict[str, list[Statement]] = field(default_factory=dict)
    asides: dict[int, set[str]] = field(default_factory=dict)
    methods: dict[str, str] = field(default_factory=dict)
    phrases: list[MediumPhrase] = field(default_factory=list)
    unread: list[str] = field(default_factory=list)
    has_parts: bool = False
    has_ground: bool = False

    def is_aside(self, one: Statement) -> bool:
        """Whether a statement is of a lining, a trimming or the like."""
        return bool(self.asides.get(one.clause, set()) & {one.reading.family, ""})


@dataclass(slots=True)
class _Next:
    """What connecting words ask of the next phrase, until an unknown word or a stop ends it."""

    joined: bool = False  # by "or" to the one before
    denied: bool = False
    sure: float = 1.0
    number: float = math.nan  # digits just before, that may be a percentage


class MediumReader:
    """The place in a text that is reached, and what waits there for the next phrase."""

    def __init__(self, rules: MediumRules) -> None:
        self.rules, self.text, self.next = rules, Text(), _Next()
        self.clause = self.part = self.choices = 0
        self.place = 0, 0  # of the word that no phrase begins with
        self.ground = ""  # the family of which the next word is a ground for those before
        self.share = math.nan  # per cent of the next word
        self.open: dict[str, list[Statement]] = {}  # by family, since the last full stop
        self.last: list[Statement] = []  # what the phrase just before states
        self.before: list[Statement] = []  # the same, over commas
        self.like = False  # the next phrase says what it is like

    def read(self, text: str) -> Text:
        """Read all of ``text``: to be called once."""
        tokens, at = self._tokens(text), 0
        while at < len(tokens):
            match = self.rules.tree.longest(tokens, at)
            token, start, behind = tokens[at]
            if match is None:
                at += 1
                self.place = start, behind
                self._unknown(token)
                continue
            phrase, length, _ = match
            at += length
            end, act = tokens[at - 1][2], phrase.act
            if act is None or act.name not in _SILENT:
                self.text.phrases.append(MediumPhrase(start, end, phrase.text, phrase.gives))
            tight = token == _TIGHT and end < len(text) and not text[end].isspace()
            self._take(phrase, tight=tight)
        return self.text

    def _tokens(self, text: str) -> Sequence[Token]:
        """The words and signs of a text in order."""
        return list(medium_tokens(text))

    def _take(self, phrase: Phrase, *, tight: bool) -> None:
        """Do what a phrase asks. ``tight``: no blank stands behind it."""
        if phrase.act is not None:
            self._connect(phrase.act, tight=tight)
        for family, method, _ in phrase.methods:
            self.text.methods[family] = method
        if phrase.readings:
            self._state(phrase.readings)

    def _unknown(self, token: str) -> None:
        if token[0].isdecimal():
            self.next.number = math.nan
            if len(token) <= _LONGEST_PERCENT:
                with suppress(ValueError):  # "1⁄2", folded from one sign
                    self.next.number = float(token.replace(",", "."))
        elif token[0].isalpha():  # a sign without a meaning here is passed over
            self.text.unread.append(token)
            self.last, self.before, self.next = [], [], _Next()

    def _state(self, readings: Iterable[Reading]) -> None:
        """Note what a phrase states, with what was asked of it."""
        if self.like:
            self.like, readings = False, self._not_certain(readings)
            if not readings:
                self.last, self.next = [], _Next()
                return
        asked, self.next = self.next, _Next()
        choices = {one.reading.family: one.choice for one in self.before} if asked.joined else {}
        new = []
        for reading in readings:
            family = reading.family
            self.choices += 1
            choice = choices.get(family, self.choices)
            one = Statement(reading, self.clause, self.part, choice, asked.denied, asked.sure)
            earlier = self.open.setdefault(family, [])
            if family == self.ground:
                for other in earlier:
                    other.ground = one
                earlier.clear()
                self.ground, self.text.has_ground = "", True
            if family in self.rules.leading and not math.isnan(self.share):
                one.per_cent, self.share = self.share, math.nan
            earlier.append(one)
            new.append(one)
            self.text.statements.setdefault(family, []).append(one)
        self.last = self.before = new

    def _not_certain(self, readings: Iterable[Reading]) -> Sequence[Reading]:
        """Those of which nothing is certain yet: "polyester, feels like silk" is polyester."""
        certain = {
            family
            for family, some in self.text.statements.items()
            if any(one.sure == 1 and not one.denied for one in some)
        }
        return [one for one in readings if one.family not in certain]

    # --- connecting words

    def _connect(self, act: Act, *, tight: bool) -> None:
        take = _ACTS.get(act.name)
        if take is not None:
            take(self, act)
        self.next.denied, self.next.number = act.name == "not", math.nan
        if act.name in ("and", "stop"):
            self.clause += 1
            self.part += tight
            self.text.has_parts = self.part > 0
            self.last, self.next, self.ground = [], _Next(), ""
        if act.name == "stop":
            self.before = []
            self.open.clear()

    def _per_cent(self, act: Act) -> None:
        number = self.next.number
        if math.isnan(number):
            return
        for one in self.last:
            if one.reading.family == act.family and math.isnan(one.per_cent):
                one.per_cent = number  # "viscose 53 %"
                return
        self.share = number  # "53 % viscose"

    def _doubt_last(self, act: Act) -> None:
        for one in self.last:
            one.sure = min(one.sure, act.amount)

    def _doubt_next(self, act: Act) -> None:
        self.next.sure = act.amount

    def _like_next(self, act: Act) -> None:
        self.like, self.next.sure = True, act.amount

    def _or(self, act: Act) -> None:
        self.next.joined = bool(self.before)

    def _ground(self, act: Act) -> None:
        self.ground = act.family

    def _aside(self, act: Act) -> None:
        self.clause += act.name == "part-next"
        self.text.asides.setdefault(self.clause, set()).add(act.family)


_ACTS: Mapping[str, Callable[[MediumReader, Act], None]] = {
    "leading": MediumReader._per_cent,
    "doubt-last": MediumReader._doubt_last,
    "doubt-next": MediumReader._doubt_next,
    LIKE: MediumReader._like_next,
    "or": MediumReader._or,
    "ground": MediumReader._ground,
    "part": MediumReader._aside,
    "part-next": MediumReader._aside,
}
