"""What words of one family have years of their own: by dated facts (``law_limits.csv``) and fashions (``fashions.csv``)."""

from __future__ import annotations

import math
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.clue import Asked
from scarfdate.clues.noting import Noting
from scarfdate.conventions import Array
from scarfdate.reading.observation import Observation
from scarfdate.tables.knots import log_interpolate
from scarfdate.tables.lists import Limit

_OF_ALL = "museum records"  # how many a row rests on, whatever the word
_FAR = 25.0  # years: a fact farther from an edge has not set it


class LimitedWords:
    """The words of ``noting`` with years of their own. A value's are in its shares, and bounded by facts; a narrower
    word has those of its value, within what its facts and its fashion leave of them."""

    def __init__(self, noting: Noting, years: NDArray[np.int64]) -> None:
        self.noting, self.years = noting, years
        self.limits = [one for one in noting.priors.limits if one.family == noting.name]

    def first(self, seen: Observation) -> Limit | None:
        """The fact that sets the first year of what was noted: of wider words and weights that of the first of them."""
        name, known = self.noting.name, self.noting.priors.vocabulary
        each = [
            [one for one in self.limits if one.sets(name, value) or one.sets(name, word)]
            for word, _ in seen.terms
            for value in known.children(name, word)
        ]
        if not all(each):
            return None
        return min(
            (max(limits, key=lambda limit: limit.not_before) for limits in each),
            key=lambda limit: (limit.not_before, limit.value),
        )

    def nearest(self, word: str | None, asked: Asked) -> str:
        """The fact on a word that may have set an edge of the plausible years; "" for none."""
        best, fact = _FAR, ""
        for limit in self.limits:
            if limit.value != word:
                continue
            ends = (limit.not_before, limit.usual_from) if asked.earliest else (limit.until,)
            for end in ends:
                if abs(end - asked.year) < best:
                    best, fact = abs(end - asked.year), str(limit)
        return fact

    def source(self, seen: Observation | None, source: str) -> str:
        """Of the sources of a row of shares, which is of all words, what is not of another word alone.

        A fact is of the words that it limits, and of those that it is named after.
        """
        known, name = self.noting.priors.vocabulary, self.noting.name
        words = [] if seen is None else [word for word, _ in seen.terms]
        own = {value for word in words for value in known.children(name, word)}
        means = dict(known.words(name))

        def of_another(part: str) -> bool:
            fact = part.removeprefix("fact ")
            told = {one.value for one in self.limits if one.fact == fact}
            if told & {*words}:
                return False
            told &= {
                *self.noting.values
            }  # a blend is of its parts, and a fact of one part is not of the other
            told |= {value for value in self.noting.values if f"-{value}-" in f"-{fact}-"}
            told |= (
                {means[word] for word in fact.split("-") if means.get(word)}
                if fact != part
                else set()
            )
            each = {value for word in told for value in known.children(name, word)}
            return fact != part and bool(each) and not each & own

        parts = source.split("; ")
        left = [part for part in parts if not of_another(part)]
        if left != parts:  # beside a fact of another word nothing tells of which word a report is
            left = [part for part in left if part.startswith("fact ") or _OF_ALL in part]
        return "; ".join(left)

    def cannot_be(self, seen: Observation) -> Array | None:
        """Of `Noting.rightly` what the years of narrower words rule out, (values, years); None for nothing."""
        if not any(word in self._can_be for word, _ in seen.terms):
            return None
        found = np.zeros((len(self.noting.values), len(self.years)))
        for part, (word, _) in zip(self.noting.rightly_by_word(seen), seen.terms, strict=True):
            if word in self._can_be:
                found += part[:, None] * (1 - self._can_be[word])
        return found

    @cached_property
    def _can_be(self) -> dict[str, Array]:
        """What of its usual level a narrower word can have in each year, 0 to 1, (years,)."""
        priors, name = self.noting.priors, self.noting.name
        used_up = priors.allowances["old_name_years"]
        found: dict[str, Array] = {}
        for limit in self.limits:
            if limit.value not in priors.vocabulary.narrower[name]:
                continue
            can_be = np.ones(len(self.years))
            if limit.sets(name, limit.value):
                can_be[self.years < limit.not_before] = 0.0
            if not math.isnan(limit.until):
                can_be *= np.exp(-np.maximum(self.years - limit.until, 0) / used_up)
            found[limit.value] = found.get(limit.value, np.ones(len(self.years))) * can_be
        for (family, word), (knots, levels) in priors.fashions.items():
            if family == name:
                level = log_interpolate(knots, levels, self.years.astype(float))[0]
                found[word] = found.get(word, np.ones(len(self.years))) * level
        return found
