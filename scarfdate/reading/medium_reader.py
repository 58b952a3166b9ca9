"""One medium text read from left to right into clues, by the rules of `scarfdate.tables.medium`.

1. Phrases give readings (family, words); connecting words join, doubt, deny or set them aside.
2. Readings that are not about the cloth itself go: a lining, a trimming, the thread on a ground.
3. What is left of a family becomes one word, or weights over words.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType
from typing import NamedTuple

from scarfdate.tables.medium import Act, MediumRules, Node, Phrase, Reading, tokens
from scarfdate.tables.vocabulary import Vocabulary

Clue = str | Mapping[str, float]
_LONGEST_PERCENT = 8  # digits; a longer number is no percentage
_MOST_GROUPS = 32  # different statements of one family; a text with more says nothing of it
_SILENT = ("skip", "and", "stop")  # words that are not named among what was found
_TIGHT = ","  # a comma with no blank behind it begins another part of the piece (Joconde)


class Found(NamedTuple):
    """A phrase of the text, ``text[start:end]``, the phrase of the rule, and what the rule gives.

    ``gives`` maps family to word or weights as written in the rule; a connecting word stands under "".
    """

    start: int
    end: int
    phrase: str
    gives: Mapping[str, str]


def phrases_in(
    text: str, first: Mapping[str, Node]
) -> Iterator[tuple[str, int, int, Phrase | None]]:
    """The text cut into known phrases, the longest first, and single tokens that no phrase knows.

    Yields (token, start, end, phrase or None). Linear: a phrase is of a few tokens at most.
    """
    # tokens read ahead of a phrase that then came to nothing go back in line
    line: list[tuple[str, int, int]] = []
    coming = tokens(text)
    while True:
        if not line:
            token = next(coming, None)
            if token is None:
                return
            line.append(token)
        node = first.get(line[0][0])
        last, length, depth = None, 1, 1
        while node is not None:
            if node.phrase is not None:
                last, length = node.phrase, depth
            if not node.after:
                break
            if depth == len(line):
                token = next(coming, None)
                if token is None:
                    break
                line.append(token)
            node = node.after.get(line[depth][0])
            depth += 1
        yield line[0][0], line[0][1], line[length - 1][2], last
        del line[:length]


@dataclass(slots=True)
class _Said:
    """One reading where it stands in the text."""

    reading: Reading
    clause: int  # between two commas, "and"s, stops
    part: int  # of the piece: between two tight commas
    choice: int  # readings joined by "or" share a number
    denied: bool
    sure: float  # 1, or less where the text doubts
    per_cent: float = math.nan
    ground: _Said | None = None  # what it lies on as a decoration


@dataclass(frozen=True, slots=True)
class _Group:
    """What one statement says of a family: words with weights, and every value meant."""

    words: frozenset[str]
    values: frozenset[str]
    terms: tuple[tuple[str, float], ...]


class MediumReader:
    """The state while one text is read from left to right."""

    def __init__(self, rules: MediumRules, vocabulary: Vocabulary) -> None:
        self.rules, self.vocabulary = rules, vocabulary
        self.found: list[Found] = []
        self.unread: list[str] = []
        self.clues: dict[str, Clue] = {}
        self.methods: dict[str, str] = {}
        self._said: dict[str, list[_Said]] = {}
        self._clause = self._part = self._choices = 0
        self._aside: dict[int, set[str]] = {}  # clause -> families of a lining or trimming
        self._live: dict[str, list[_Said]] = {}  # family -> readings since the last full stop
        self._last: list[_Said] = []  # what the phrase just before gave
        self._before: list[_Said] = []  # the same, over commas
        self._or = self._not = False
        self._doubt = math.nan
        self._ground = ""
        self._grounded = False  # whether anything lies on a ground
        self._number = self._share = math.nan

    def read(self, text: str) -> None:
        """Read all of ``text``: to be called once."""
        for token, start, end, phrase in phrases_in(text, self.rules.first):
            if phrase is None:
                self._unknown(token)
                continue
            act = phrase.act
            if act is None or act.name not in _SILENT:
                self.found.append(Found(start, end, phrase.text, phrase.gives))
            if act is not None:
                self._act(act, token == _TIGHT and end < len(text) and not text[end].isspace())
            for family, method, _ in phrase.methods:
                self.methods[family] = method
            if phrase.readings:
                self._readings(phrase.readings)
        for family, said in self._said.items():
            clue = self._clue(family, said)
            if clue is not None:
                self.clues[family] = clue

    def _unknown(self, token: str) -> None:
        if token[0].isdecimal():
            self._number = math.nan
            if len(token) <= _LONGEST_PERCENT:
                with suppress(ValueError):  # "1⁄2", folded from one sign
                    self._number = float(token.replace(",", "."))
            return
        if not token[0].isalpha():
            return  # a sign without a meaning here
        self.unread.append(token)
        self._last, self._before = [], []
        self._or = self._not = False
        self._doubt = self._number = math.nan

    def _act(self, act: Act, tight: bool) -> None:
        name = act.name
        if name == "skip":
            pass
        elif name == "leading":
            self._per_cent(act.family)
        elif name == "doubt-last":
            for said in self._last:
                said.sure = min(said.sure, act.amount)
        elif name == "doubt-next":
            self._doubt = act.amount
        elif name == "or":
            self._or = bool(self._before)
        elif name == "ground":
            self._ground = act.family
        elif name in ("part", "part-next"):
            self._clause += name == "part-next"
            self._aside.setdefault(self._clause, set()).add(act.family)
        self._not = name == "not"
        self._number = math.nan
        if name in ("and", "stop"):
            self._clause += 1
            self._part += tight
            self._last, self._or, self._doubt, self._ground = [], False, math.nan, ""
            if name == "stop":
                self._before = []
                self._live.clear()

    def _per_cent(self, family: str) -> None:
        if math.isnan(self._number):
            return
        for said in self._last:
            if said.reading.family == family and math.isnan(said.per_cent):
                said.per_cent = self._number  # "viscose 53 %"
                return
        self._share = self._number  # "53 % viscose"

    def _readings(self, readings: Iterable[Reading]) -> None:
        joined = {said.reading.family: said.choice for said in self._before} if self._or else {}
        new = []
        for reading in readings:
            family = reading.family
            self._choices += 1
            said = _Said(
                reading,
                self._clause,
                self._part,
                joined.get(family, self._choices),
                self._not,
                1.0 if math.isnan(self._doubt) else self._doubt,
            )
            live = self._live.setdefault(family, [])
            if family == self._ground:
                for earlier in live:
                    earlier.ground = said
                self._grounded = True
                live.clear()
                self._ground = ""
            if family in self.rules.leading and not math.isnan(self._share):
                said.per_cent, self._share = self._share, math.nan
            live.append(said)
            new.append(said)
            self._said.setdefault(family, []).append(said)
        self._last = self._before = new
        self._or = self._not = False
        self._doubt = self._number = math.nan

    def _clue(self, family: str, said: list[_Said]) -> Clue | None:
        said = self._of_the_cloth(family, said)
        if not said:
            return None
        alike = said[0].reading
        if all(
            one.reading.terms == alike.terms and one.sure == 1 and not one.denied for one in said
        ):
            return alike.clue  # the common case, and what the rest would come to
        leading = self._leading(family, said)
        if leading:
            return leading
        groups = list(dict.fromkeys(self._groups(family, said)))
        if len(groups) > _MOST_GROUPS:
            return None
        groups = self._narrowed(family, self._yielding(family, groups))
        if len(groups) > 1 and family in self.rules.several:
            return self.rules.several[family]
        return self._worded(family, groups)

    def _of_the_cloth(self, family: str, said: list[_Said]) -> list[_Said]:
        """Without linings, trimmings, threads on a ground and further parts, where the cloth is named."""
        if not (self._aside or self._part or self._grounded):
            return said
        # the core that a thread is wound on is no ground
        kept = [one for one in said if one.ground is None or self._is_aside(one.ground)]
        if self._cloth_is_named:
            kept = [one for one in kept if not self._is_aside(one)]
        if not kept:
            return []
        if self._part and self._first_part_is_whole:
            first = min(one.part for one in kept)
            kept = [one for one in kept if one.part == first]
        return kept

    def _is_aside(self, one: _Said) -> bool:
        return bool(self._aside.get(one.clause, set()) & {one.reading.family, ""})

    @cached_property
    def _cloth_is_named(self) -> bool:
        """Whether anything is said outside linings and trimmings; "silk ribbon" alone is a cloth."""
        return any(not self._is_aside(one) for said in self._said.values() for one in said)

    @cached_property
    def _first_part_is_whole(self) -> bool:
        """Whether what stands before the first tight comma names more than one family.

        "soie, taffetas,coton, toile" tells of two parts of a piece; "soie,coton" is a mere list.
        """
        first = min((said[0].part for said in self._said.values()), default=0)
        return sum(said[0].part == first for said in self._said.values()) > 1

    def _leading(self, family: str, said: list[_Said]) -> str:
        """By percentages, where stated: the word that leads, else what several are called."""
        least = self.rules.leading.get(family)
        if least is None or all(math.isnan(one.per_cent) for one in said):
            return ""
        shares: dict[str, float] = {}
        for one in said:
            if one.denied or len(one.reading.terms) > 1:
                return ""
            word = one.reading.terms[0][0]
            shares.setdefault(word, 0.0)
            if not math.isnan(one.per_cent):
                shares[word] += one.per_cent
        most = max(shares, key=lambda word: shares[word])
        if shares[most] >= least or len(shares) == 1:
            return most
        return self.rules.several.get(family, "")

    def _groups(self, family: str, said: list[_Said]) -> Iterator[_Group]:
        choices: dict[int, list[_Said]] = {}
        for one in said:
            choices.setdefault(one.choice, []).append(one)
        for some in choices.values():
            weights: dict[str, float] = {}
            values: set[str] = set()
            for one in some:
                meant, terms = one.reading.values, one.reading.terms
                if one.denied:
                    meant = frozenset(self.vocabulary.values[family]) - meant
                    terms = self._even(family, meant)
                values |= meant
                for word, weight in terms:
                    weights[word] = max(weights.get(word, 0.0), weight)
            words = frozenset(weights)
            if not words:
                continue  # the denial of everything
            total = math.fsum(weights.values())
            sure = min(one.sure for one in some)
            scaled = {word: sure * weight / total for word, weight in weights.items()}
            others = [value for value in self.vocabulary.values[family] if value not in values]
            if sure < 1 and others:
                # what else it may be is not said, so the rest of the weight is spread evenly
                scaled.update((value, (1 - sure) / len(others)) for value in others)
            yield _Group(words, frozenset(values), tuple(sorted(scaled.items())))

    def _yielding(self, family: str, groups: list[_Group]) -> list[_Group]:
        """Without what gives way to another word of the same text: metal thread to silk."""
        kept = groups
        for row in self.rules.together.get(family, ()):
            # no words stand for any word
            left = [
                group
                for group in kept
                if not (
                    (not row.words or group.words <= row.words)
                    and any(
                        other is not group
                        and not (group.words & other.words)
                        and (not row.beside or other.words & row.beside)
                        for other in kept
                    )
                )
            ]
            kept = left or kept
        return kept

    def _narrowed(self, family: str, groups: list[_Group]) -> list[_Group]:
        """One statement inside another leaves the narrower; two that overlap, what they share."""
        kept: list[_Group] = []
        for group in sorted(groups, key=lambda one: (len(one.values), len(one.terms), one.terms)):
            for place, other in enumerate(kept):
                shared = group.values & other.values
                if shared == other.values:
                    break
                if shared and len(group.words) == len(other.words) == 1:
                    terms = self._even(family, shared)
                    words = frozenset(word for word, _ in terms)
                    kept[place] = _Group(words, shared, terms)
                    break
            else:
                kept.append(group)
        return kept

    def _even(self, family: str, values: frozenset[str]) -> tuple[tuple[str, float], ...]:
        """Even weights over values; their parent word where they have one."""
        if len(values) > 1:
            for parent, children in self.vocabulary.parents[family].items():
                if values == frozenset(children):
                    return ((parent, 1.0),)
        return tuple((value, 1 / len(values)) for value in sorted(values))

    def _worded(self, family: str, groups: list[_Group]) -> Clue | None:
        """The mean of all statements, as one word where one word says it."""
        weights: dict[str, float] = {}
        for group in groups:
            for word, weight in group.terms:
                weights[word] = weights.get(word, 0.0) + weight / len(groups)
        if not weights:
            return None
        if len(weights) == 1:
            return next(iter(weights))
        return MappingProxyType(dict(sorted(weights.items())))
