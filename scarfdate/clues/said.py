"""How a value of a shares family, and what was measured on it, stand in a sentence."""

from __future__ import annotations

from collections.abc import Sequence

from scarfdate.clues.clue import Noted
from scarfdate.clues.measured import Measure
from scarfdate.reading.observation import Observation
from scarfdate.tables.priors import Priors

_ABOUT_EQUAL = 5  # cells: some 15 per cent
_MUCH_LESS = 5  # times lighter than the leading word
_MOST = 0.7  # of the weight, which the words hold that are named; else none of them leads


class Said:
    """The words of one family (``wording.csv``), and of its ``measures``."""

    def __init__(self, priors: Priors, name: str, title: str, measures: Sequence[Measure]) -> None:
        self.priors, self.name, self.title, self.measures = priors, name, title, measures
        self._words: dict[str, str] = {}  # by the word noted: there are not many

    def all(self, seen: Observation | None, cells: Sequence[int | None], noted: Noted) -> str:
        """The word, and between brackets what was measured on it; a measure alone under its own name."""
        told: dict[str, Measure] = {}
        for measure, cell in zip(self.measures, cells, strict=True):
            own = noted.get(measure.family.name)
            # of a piece about as long as wide, the ratio of its sides is not worth a word
            if cell is not None and (own or not (measure.folded and cell <= _ABOUT_EQUAL)):
                told.setdefault(own or measure.says(cell), measure)
        measures = ", ".join(told)
        if seen is None:
            first = next(iter(told.values()), self.measures[0]) if self.measures else None
            return self.title if first is None else self.measure(first, measures)
        phrase, word = self.word(seen), seen.word
        if not told:
            return phrase
        if word and measures.endswith(f" {word}"):  # "90 cm square" says the form, too
            return self.measure(next(iter(told.values())), measures)
        return f"{phrase[:-1]}, {measures})" if phrase.endswith(")") else f"{phrase} ({measures})"

    def word(self, seen: Observation) -> str:
        """What was noted, without what was measured."""
        word = seen.word
        if word is None:
            words, more = _leading(seen)
            if len(words) == 1:
                return f"the {self.title} (perhaps {words[0]})"
            weights = dict(seen.terms)
            if more and sum(map(weights.__getitem__, words)) < _MOST * sum(weights.values()):
                return self.priors.wording.several(self.name, self.title)
            several = " or ".join(map(self._phrase, words))
            return f"{several} or another" if more else several
        return self._phrase(word)

    def _phrase(self, word: str) -> str:
        phrase = self._words.get(word)
        if phrase is None:
            phrase = self._words[word] = self.priors.wording.phrase(self.name, word, self.title)
        return phrase

    def measure(self, measure: Measure, text: str) -> str:
        """A measurement, given in words, under its own name."""
        return self.priors.wording.phrase(measure.family.name, text, measure.family.title)

    def is_reason(self, seen: Observation | None, cells: Sequence[int | None]) -> bool:
        """Not where every word that was noted is none, such as that of a missing label."""
        if seen is None or any(cell is not None for cell in cells):
            return True
        return any(self.priors.wording.is_reason(self.name, word) for word, _ in seen.terms)

    def supposes(self, seen: Observation) -> str:
        """The word, where it can stand by itself: "it is polyester"."""
        said = self.word(seen).removeprefix("the ")
        return f"it is {said}" if said == seen.word else ""


def _leading(seen: Observation) -> tuple[list[str], bool]:
    """The one or two words that weigh most, and whether there are more as heavy; what doubt spreads over all other
    words is no word of a sentence."""
    by_weight = sorted(seen.terms, key=lambda term: -term[1])
    words = [word for word, weight in by_weight if weight > by_weight[0][1] / _MUCH_LESS]
    return words[:2], len(words) > 2
