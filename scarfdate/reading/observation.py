"""What was seen of a family of words: a word, or weights over words, and how it was seen."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from scarfdate.conventions import METHOD
from scarfdate.errors import RangeError, ScarfdateError, shown
from scarfdate.reading.cells import Observed, as_float, is_blank
from scarfdate.tables.priors import Priors

_LONGEST_WEIGHTS = 4000  # characters of JSON in a cell; weights over a whole family are shorter
_WEIGHT_SLACK = 0.011  # three times 0.33 is what people write for thirds
BY_LABEL = "label"  # the method by which a word was read that a label prints
_ROUNDING = 1e-12
_PER_CENT = 100


@dataclass(frozen=True, slots=True)
class Observation(Observed):
    """What was seen in one shares family.

    ``terms`` are canonical words (values or parent words) with weights that sum to one, in the order
    of the words; a value seen for certain is one term of weight one. ``method`` is how it was seen.
    ``parts``: what a cell names side by side, "70 % wool, 30 % silk", with its per cent (nan where none is stated);
    it is said in listings and weighs nothing, so that two that differ in it alone are equal.
    """

    terms: tuple[tuple[str, float], ...]
    method: str = METHOD
    parts: tuple[tuple[str, float], ...] = field(default=(), compare=False)

    @property
    def word(self) -> str | None:
        """The one word, or None where there are weights over several."""
        return self.terms[0][0] if len(self.terms) == 1 else None

    def cells(self, name: str) -> dict[str, object]:
        """The word or the weights, and the method where it is not the usual one."""
        found: dict[str, object] = {name: self.word if self.word is not None else dict(self.terms)}
        return found if self.method == METHOD else found | {f"{name}_method": self.method}

    def __str__(self) -> str:
        if self.word is not None:
            return self.word
        parts = sorted(self.terms, key=lambda term: -term[1])
        return " or ".join(f"{word} ({weight:.0%})" for word, weight in parts)


def read_observation(
    priors: Priors, family: str, cell: object, method: object = None
) -> Observation | None:
    """A cell of a shares family: a word, weights over words (a mapping or JSON text), or nothing.

    Raises WordError or ScarfdateError naming family, value and the nearest allowed words.
    """
    how = METHOD if method is None else read_method(priors, family, method)
    if isinstance(cell, str):
        text = cell.strip()
        if text.startswith("{"):
            return _weights(priors, family, _parsed(family, cell), how)
        word = priors.vocabulary.canonical(family, text)
        return _seen(priors, family, ((word, 1.0),), how) if word else None
    if isinstance(cell, Mapping):
        return _weights(priors, family, cell, how)
    if is_blank(cell):
        return None
    raise ScarfdateError(
        f"{family}: a word or weights over words are allowed, got {shown(cell)}; "
        'write a word such as "silk", or {"silk": 0.8, "polyester": 0.2}'
    )


def read_method(priors: Priors, family: str, method: object) -> str:
    """How a family was looked at; the default where nothing is said."""
    if is_blank(method):
        return METHOD
    if not isinstance(method, str):
        raise ScarfdateError(f"{family}_method: a word is allowed, got {shown(method)}")
    word = priors.vocabulary.canonical("method", method) or METHOD
    priors.confusion[family].matrix(word)  # refuses a method that this family has no table for
    return word


def _seen(
    priors: Priors, family: str, terms: tuple[tuple[str, float], ...], method: str
) -> Observation:
    """The words with how they were seen. What kind of rayon it is, or what is mixed in, nobody feels: it was read."""
    narrower = priors.vocabulary.narrower[family]
    if method == METHOD and any(word in narrower for word, _ in terms):
        known = priors.confusion.get(family)
        method = BY_LABEL if known is not None and BY_LABEL in known.matrices else METHOD
    return Observation(terms, method)


def _parsed(family: str, text: str) -> Mapping[str, object]:
    if len(text) > _LONGEST_WEIGHTS:
        raise ScarfdateError(
            f"{family}: weights of more than {_LONGEST_WEIGHTS} characters: {shown(text)}"
        )

    def once(pairs: list[tuple[str, object]]) -> dict[str, object]:
        if len({key for key, _ in pairs}) < len(pairs):
            raise ScarfdateError(f"{family}: a word has two weights in {shown(text)}")
        return dict(pairs)

    try:
        return dict(json.loads(text, object_pairs_hook=once))
    except ScarfdateError:
        raise
    except (ValueError, TypeError, RecursionError):
        raise ScarfdateError(
            f"{family}: weights that cannot be read, got {shown(text)}; "
            'write them as {"silk": 0.8, "polyester": 0.2}'
        ) from None


def _weights(
    priors: Priors, family: str, cell: Mapping[str, object], method: str
) -> Observation | None:
    summed: dict[str, float] = {}
    for text, weight in cell.items():
        word = priors.vocabulary.canonical(family, text) if isinstance(text, str) else ""
        if not word:
            raise ScarfdateError(f"{family}: a weight belongs to a word, got {shown(text)}")
        number = as_float(weight)
        if number is None or not 0 <= number <= _PER_CENT:
            raise RangeError(
                f"{family}: the weight of {shown(text)} must lie between 0 and 1 (or be 0 to 100 "
                f"per cent), got {shown(weight)}"
            )
        summed[word] = summed.get(word, 0.0) + number
    total = math.fsum(summed.values())
    scale = _PER_CENT if total > 2 else 1  # people write per cent, too
    if abs(total / scale - 1) > _WEIGHT_SLACK:
        raise RangeError(
            f"{family}: weights must sum to 1 (or to 100), got {total:g}; "
            "give each value its weight, and every value you thought possible"
        )
    # weights that sum to one stay as they are to the last digit, so that they can be read again
    by = 1.0 if abs(total - 1) < _ROUNDING else total
    terms = tuple(sorted((word, weight / by) for word, weight in summed.items() if weight > 0))
    return _seen(priors, family, terms, method)
