"""The slider of doubt as weights over words, as a `Scarf` takes them.

Of n words, at doubt d (0 to 1), the word noted keeps 1 - d (1 - 1/n). The rest goes to the other words: the part
1 - d by how often each is taken for the word noted (how common it is, times the chance by the confusion table that
it is noted so; where nobody takes one word for another, by how common it is), the part d evenly. So at 0 the word
is certain, in between what looks like it comes next, and at 1 all words weigh the same, which is exactly as if
nobody had looked.
"""

from __future__ import annotations

import numpy as np

from scarfdate.conventions import METHOD, Array
from scarfdate.errors import RangeError, shown
from scarfdate.reading.cells import as_float
from scarfdate.tables.priors import Priors

_DIGITS = 4  # of a weight: a cell that a person can read


def checked_doubt(value: object) -> float:
    """A number from 0 to 1. Raises RangeError."""
    number = as_float(value)
    if number is None or not 0 <= number <= 1:
        raise RangeError(f"doubt: a number from 0 to 1 is allowed, got {shown(value)}")
    return number


def doubted(
    priors: Priors, family: str, word: str, doubt: float, method: str = ""
) -> dict[str, float]:
    """The weight of each word, those of no weight left out; they sum to one but for rounding.

    ``word``: a value of the family, or a wider word, which keeps what its values would keep together; a narrower
    word that is doubted is the value that it is of, or each of them. ``method``: how it was looked at, "" for the usual way.
    """
    vocabulary = priors.vocabulary
    values = vocabulary.values[family]
    kept: tuple[str, ...] = (word,)
    if doubt and word in vocabulary.narrower[family]:
        kept = vocabulary.children(family, word)
    own = [values.index(value) for value in vocabulary.children(family, word)]
    others = [place for place in range(len(values)) if place not in own]
    if not doubt or not others:
        return {word: 1.0}
    sure = 1 - doubt * (1 - len(kept) / (len(others) + len(kept)))
    common = priors.usual_shares[family]
    taken = common * priors.confusion[family].matrix(method or METHOD)[:, own].sum(axis=1)
    alike = _shares(taken[others]) if taken[others].any() else _shares(common[others])
    rest = (1 - sure) * ((1 - doubt) * alike + doubt / len(others))
    weights = [*(sure / len(kept) for _ in kept), *rest.tolist()]
    words = [*kept, *(values[place] for place in others)]
    rounded = (round(weight, _DIGITS) for weight in weights)
    return {word: weight for word, weight in zip(words, rounded, strict=True) if weight}


def _shares(some: Array) -> Array:
    total = some.sum()
    return some / total if total > 0 else np.full(len(some), 1 / len(some))
