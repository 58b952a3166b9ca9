"""What the statements of a medium text come to: of each family one word, or weights over words.

Statements that are not about the cloth itself go: a lining, a trimming, the thread on a ground. The
others yield to each other, narrow each other, or stand side by side.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType

from scarfdate.reading.medium_reader import Statement, Text
from scarfdate.tables.medium import MediumRules
from scarfdate.tables.words import Vocabulary

Clue = str | Mapping[str, float]
_MOST_CHOICES = 32  # different ones of one family; a text with more says nothing of it


@dataclass(frozen=True, slots=True)
class _Choice:
    """What one or several statements joined by "or" say: words with weights, and every value meant."""

    words: frozenset[str]
    values: frozenset[str]
    terms: tuple[tuple[str, float], ...]


class MediumClues:
    """The clues of one text, by family."""

    def __init__(self, rules: MediumRules, vocabulary: Vocabulary, text: Text) -> None:
        self.rules, self.vocabulary, self.text = rules, vocabulary, text

    def all(self) -> dict[str, Clue]:
        """Family to clue; a family of which the text says nothing is not there."""
        clues = {family: self._clue(family) for family in self.text.statements}
        return {family: clue for family, clue in clues.items() if clue is not None}

    def _clue(self, family: str) -> Clue | None:
        statements = self._of_the_cloth(self.text.statements[family])
        if not statements:
            return None
        alike = statements[0].reading
        if all(
            one.reading.terms == alike.terms and one.sure == 1 and not one.denied
            for one in statements
        ):
            return alike.clue  # the common case, and what the rest would come to
        leading = self._leading(family, statements)
        if leading:
            return leading
        choices = list(dict.fromkeys(self._choices(family, statements)))
        if len(choices) > _MOST_CHOICES:
            return None
        choices = self._narrowed(family, self._yielding(family, choices))
        if len(choices) > 1 and family in self.rules.several:
            return self.rules.several[family]
        return _mean(choices)

    # --- which statements are of the cloth

    def _of_the_cloth(self, statements: list[Statement]) -> list[Statement]:
        """Without linings, trimmings, threads on a ground and further parts, where the cloth is named."""
        text = self.text
        if not (text.asides or text.has_parts or text.has_ground):
            return statements
        # the core that a thread is wound on is no ground
        kept = [one for one in statements if one.ground is None or text.is_aside(one.ground)]
        if self._cloth_is_named:
            kept = [one for one in kept if not text.is_aside(one)]
        if kept and text.has_parts and self._first_part_is_whole:
            first = min(one.part for one in kept)
            kept = [one for one in kept if one.part == first]
        return kept

    @cached_property
    def _cloth_is_named(self) -> bool:
        """Whether anything stands outside linings and trimmings; "silk ribbon" alone is a cloth."""
        return any(not self.text.is_aside(one) for some in self._families for one in some)

    @cached_property
    def _first_part_is_whole(self) -> bool:
        """Whether what stands before the first tight comma names more than one family.

        "soie, taffetas,coton, toile" is of two parts of a piece; "soie,coton" is a mere list.
        """
        first = min((some[0].part for some in self._families), default=0)
        return sum(some[0].part == first for some in self._families) > 1

    @property
    def _families(self) -> Sequence[list[Statement]]:
        return list(self.text.statements.values())

    # --- what they come to

    def _leading(self, family: str, statements: list[Statement]) -> str:
        """By percentages, where stated: the word that leads, else what several are called."""
        least = self.rules.leading.get(family)
        if least is None or all(math.isnan(one.per_cent) for one in statements):
            return ""
        shares: dict[str, float] = {}
        for one in statements:
            if one.denied or one.sure < 1 or len(one.reading.terms) > 1:
                return ""
            word = one.reading.terms[0][0]
            shares.setdefault(word, 0.0)
            if not math.isnan(one.per_cent):
                shares[word] += one.per_cent
        most = max(shares, key=lambda word: shares[word])
        if shares[most] >= least or len(shares) == 1:
            return most
        return self.rules.several.get(family, "")

    def _choices(self, family: str, statements: list[Statement]) -> Iterator[_Choice]:
        joined: dict[int, list[Statement]] = {}
        # "silk? rayon?": where each is doubted one of them is meant, and not a mixture of all
        doubted = all(one.sure < 1 for one in statements)
        for one in statements:
            joined.setdefault(0 if doubted else one.choice, []).append(one)
        for some in joined.values():
            choice = self._choice(family, some)
            if choice is not None:
                yield choice

    def _choice(self, family: str, statements: list[Statement]) -> _Choice | None:
        every = self.vocabulary.values[family]
        weights: dict[str, float] = {}
        values: set[str] = set()
        narrower: set[str] = (
            set()
        )  # values of which a kind is named: it may be another kind of them
        for one in statements:
            meant, terms = one.reading.values, one.reading.terms
            if all(word in self.vocabulary.narrower[family] for word, _ in terms):
                narrower |= meant
            if one.denied:
                meant = frozenset(every) - meant
                terms = self._even(family, meant)
            values |= meant
            for word, weight in terms:
                weights[word] = max(weights.get(word, 0.0), weight)
        words = frozenset(weights)
        if not words:
            return None  # the denial of everything
        total = math.fsum(weights.values())
        sure = min(one.sure for one in statements)
        scaled = {word: sure * weight / total for word, weight in weights.items()}
        others = [value for value in every if value not in values or value in narrower]
        if sure < 1 and others:
            # what else it may be is not said, so the rest of the weight is spread evenly
            scaled.update((value, (1 - sure) / len(others)) for value in others)
        return _Choice(words, frozenset(values), tuple(sorted(scaled.items())))

    def _yielding(self, family: str, choices: list[_Choice]) -> list[_Choice]:
        """Without what gives way to another word of the same text: metal thread to silk."""
        for row in self.rules.together.get(family, ()):
            # no words stand for any word
            stays = [
                choice
                for choice in choices
                if (row.words and not choice.words <= row.words)
                or not any(
                    other is not choice
                    and not (choice.words & other.words)
                    and (not row.beside or other.words & row.beside)
                    for other in choices
                )
            ]
            choices = stays or choices
        return choices

    def _narrowed(self, family: str, choices: list[_Choice]) -> list[_Choice]:
        """One choice inside another leaves the narrower; two that overlap, what they share."""
        kept: list[_Choice] = []
        for choice in sorted(choices, key=lambda one: (len(one.values), len(one.terms), one.terms)):
            for place, other in enumerate(kept):
                shared = choice.values & other.values
                if shared == other.values:
                    break
                if shared and len(choice.words) == len(other.words) == 1:
                    terms = self._even(family, shared)
                    kept[place] = _Choice(frozenset(word for word, _ in terms), shared, terms)
                    break
            else:
                kept.append(choice)
        return kept

    def _even(self, family: str, values: frozenset[str]) -> tuple[tuple[str, float], ...]:
        """Even weights over values; their parent word where they have one."""
        if len(values) > 1:
            for parent, children in self.vocabulary.parents[family].items():
                if values == frozenset(children):
                    return ((parent, 1.0),)
        return tuple((value, 1 / len(values)) for value in sorted(values))


def _mean(choices: Sequence[_Choice]) -> Clue | None:
    """The mean of all choices, as one word where one word says it."""
    weights: dict[str, float] = {}
    for choice in choices:
        for word, weight in choice.terms:
            weights[word] = weights.get(word, 0.0) + weight / len(choices)
    if len(weights) <= 1:
        return next(iter(weights), None)
    return MappingProxyType(dict(sorted(weights.items())))
