"""A value of a shares family, together with what was measured on it.

The true value v has shares p(v | state). It is noted as o with the chance of the confusion table, and
after a slip as anything. What is measured (stitches of a hem, sides of a form, weight of a weave) has
a log-normal density given v, and after a slip of its own is spread evenly over what is possible:

    P(o, x | state) = sum over v of  p(v | state) N(o | v)  product over x of  f(x | v, state)
    N(o | v)        = (1 - slip) C(o | v) + slip / values
    f(x | v, state) = (1 - slip_x) normal(log x) + slip_x / log(high / low)

Weights w(o) make the sum of w(o) P(o, ...); a parent word is the sum over its children. A parent that
was not looked at is summed over, so that two sides alone work out the form.
"""

from __future__ import annotations

import math
from collections.abc import Hashable
from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.clue import Clue, Slip, normal_density
from scarfdate.knots import Array
from scarfdate.reading.cells import Observation
from scarfdate.tables.families import Family
from scarfdate.tables.priors import Priors

_ABOUT_EQUAL = 5  # cells: some 15 per cent

Key = tuple[Observation | None, tuple[int | None, ...]]


@dataclass(frozen=True)
class Measure:
    """A measured family over all years: centre and spread of log x, (values, grades, years)."""

    family: Family
    centre: Array
    spread: Array
    slip: float

    def cell(self, value: float) -> int:
        """The step of the geometric scale on which a measurement is read."""
        return round(math.log(value) / math.log(self.family.step))

    def cells(self, values: Array) -> NDArray[np.int64]:
        """`cell` of many measurements."""
        return np.rint(np.log(values) / math.log(self.family.step)).astype(np.int64)

    def value(self, cell: int) -> float:
        """The measurement that a cell stands for."""
        return float(self.family.step**cell)

    @property
    def folded(self) -> bool:
        """A ratio of the larger to the smaller: x and 1/x are the same measurement."""
        return self.family.low == 1

    def says(self, cell: int) -> str:
        """The measurement in a few words, no finer than it was read."""
        value = self.value(cell)
        number = f"{value:.0f}" if value >= 10 else f"{value:.2g}"
        before = f"{self.family.title} " if self.family.unit in ("cm", "momme") else ""
        of = "stitches " if self.family.unit.startswith("per ") else ""
        return f"{before}about {number} {of}{self.family.unit}".rstrip()

    def density(self, cell: int) -> Array:
        """f(x | value, grade, year) per unit of log x, (values, grades, years)."""
        usual = normal_density(math.log(self.value(cell)), self.centre, self.spread)
        if self.folded:
            usual = usual + normal_density(-math.log(self.value(cell)), self.centre, self.spread)
        return (1 - self.slip) * usual + self.slip / math.log(self.family.high / self.family.low)


class SharesClue(Clue):
    """A shares family and the families measured on it, as one clue."""

    def __init__(self, priors: Priors, name: str, years: NDArray[np.int64]) -> None:
        family = priors.families[name]
        self.priors = priors
        self.values = priors.vocabulary.values[name]
        self.trust = family.trust
        self.shares = priors.shares[name].every_year(years)  # (values, markets or 1, grades, years)
        measured = [other for other in priors.families.values() if other.parent == name]
        self.measures = tuple(
            Measure(
                other,
                *priors.measured[other.name].every_year(self.values, years),
                priors.slips[other.name],
            )
            for other in measured
        )
        shape = cast(tuple[int, int, int], self.shares.shape[1:])
        super().__init__(
            name, family.title, family.reads, (name, *(m.family.name for m in self.measures)), shape
        )
        self._confusion: dict[str, Array] = {}
        self._place = {value: place for place, value in enumerate(self.values)}

    def noted(self, method: str) -> Array:
        """N(o | v), (true values, noted values): confusion and slip together."""
        matrix = self._confusion.get(method)
        if matrix is None:
            slip = self.priors.slips[self.name]
            matrix = (1 - slip) * self.priors.confusion[self.name].matrix(method) + slip / len(
                self.values
            )
            self._confusion[method] = matrix
        return matrix

    def fits(self, seen: Observation) -> Array:
        """How well each true value fits what was noted, (values,)."""
        weight = np.zeros(len(self.values))
        for word, share in seen.terms:
            for value in self.priors.vocabulary.children(self.name, self._known(word)):
                weight[self._place[value]] += share
        return self.noted(seen.method) @ weight

    def likelihood(self, key: Hashable) -> Array:
        """P(what was noted and measured | market, grade, year)."""
        seen, cells = cast(Key, key)
        if seen is not None and not any(cell is not None for cell in cells):
            found = np.tensordot(self.fits(seen), self.shares, axes=1)
        else:
            found = np.asarray((self.value_fits(key) * self.shares).sum(axis=0))
        return found if self.trust == 1 else found**self.trust

    def value_fits(self, key: Hashable) -> Array:
        """P(what was noted and measured | value, grade, year), (values, 1, grades or 1, years or 1)."""
        seen, cells = cast(Key, key)
        fits = np.ones(len(self.values)) if seen is None else self.fits(seen)
        each = fits[:, None, None, None]
        for measure, cell in zip(self.measures, cells, strict=True):
            if cell is not None:
                each = each * measure.density(cell)[:, None]
        return each

    def slips(self, key: Hashable) -> tuple[Slip, ...]:
        """After a slip of the word any value is noted, after one of a measure any within its limits."""
        seen, cells = cast(Key, key)
        found = []
        if seen is not None:
            known = self.priors.vocabulary
            noted = sum(w * len(known.children(self.name, word)) for word, w in seen.terms)
            found.append(
                Slip(
                    self.name,
                    self._worded(seen),
                    self.priors.slips[self.name],
                    noted / len(self.values),
                    1.0,
                    (None, cells) if any(cell is not None for cell in cells) else None,
                )
            )
        for place, (measure, cell) in enumerate(zip(self.measures, cells, strict=True)):
            if cell is not None:
                others = (*cells[:place], None, *cells[place + 1 :])
                left = seen is not None or any(other is not None for other in others)
                family = measure.family
                found.append(
                    Slip(
                        family.name,
                        measure.says(cell),
                        measure.slip,
                        1 / math.log(family.high / family.low),
                        math.log(family.step),
                        (seen, others) if left else None,
                    )
                )
        return tuple(found)

    def says(self, key: Hashable) -> str:
        """For a sentence: the words, then the measures."""
        seen, cells = cast(Key, key)
        parts = []
        if seen is not None:
            parts.append(self._worded(seen))
        for measure, cell in zip(self.measures, cells, strict=True):
            # of a piece about as long as wide, the ratio of its sides is not worth a word
            if cell is not None and not (measure.folded and cell <= _ABOUT_EQUAL):
                parts.append(measure.says(cell))
        return (
            " with ".join(parts) if len(parts) < 3 else f"{parts[0]} with {' and '.join(parts[1:])}"
        )

    def _worded(self, seen: Observation) -> str:
        return f"{self.title} {_spoken(seen)}" if self.name not in str(seen) else _spoken(seen)

    def _known(self, word: str) -> str:
        # a scarf read under other priors may hold a word that these do not know
        return self.priors.vocabulary.canonical(self.name, word)


def _spoken(seen: Observation) -> str:
    words = [word for word, _ in sorted(seen.terms, key=lambda term: -term[1])]
    return " or ".join(words[:2]) + (" or other" if len(words) > 2 else "")
