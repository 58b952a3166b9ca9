"""How the values of a shares family are noted: N(o | v) of `scarfdate.clues.shares`."""

from __future__ import annotations

import numpy as np

from scarfdate.conventions import Array
from scarfdate.reading.observation import Observation
from scarfdate.tables.priors import Priors


class Noting:
    """How the values of a shares family are noted: confused by eye, and by a slip taken for what is common."""

    def __init__(self, priors: Priors, name: str, slip: float | None = None) -> None:
        self.priors, self.name = priors, name
        self.slip = priors.slips[name] if slip is None else slip
        self.values = priors.vocabulary.values[name]
        self.place = {value: place for place, value in enumerate(self.values)}
        self._matrices: dict[str, Array] = {}

    def matrix(self, method: str) -> Array:
        """N(o | v), (true values, noted values): confusion and slip together."""
        matrix = self._matrices.get(method)
        if matrix is None:
            confused = self.priors.confusion[self.name].matrix(method)
            by_slip = self.priors.usual_shares[self.name]
            matrix = (1 - self.slip) * confused + self.slip * by_slip
            self._matrices[method] = matrix
        return matrix

    def weight(self, seen: Observation) -> Array:
        """The weights of what was noted, (values,): a parent word is all its children."""
        weight = np.zeros(len(self.values))
        for word, share in seen.terms:
            weight[self._places(word)] += share
        return weight

    def fits(self, seen: Observation) -> Array:
        """How well each true value fits what was noted, (values,)."""
        return self.matrix(seen.method) @ self.weight(seen)

    def rightly(self, seen: Observation) -> Array:
        """Of `fits` what is noted as it is, and by no slip, (values,)."""
        return np.asarray(self.rightly_by_word(seen).sum(axis=0))

    def rightly_by_word(self, seen: Observation) -> Array:
        """The same for each of the words that were noted, (terms, values)."""
        confused = self.priors.confusion[self.name].matrix(seen.method)
        found = np.zeros((len(seen.terms), len(self.values)))
        for row, (word, share) in zip(found, seen.terms, strict=True):
            places = self._places(word)
            row[places] = share * confused[np.ix_(places, places)].sum(axis=1)
        return (1 - self.slip) * found

    def by_slip(self, seen: Observation) -> float:
        """P(what was noted | a slip)."""
        return float(self.priors.usual_shares[self.name] @ self.weight(seen))

    def _places(self, word: str) -> list[int]:
        return [self.place[value] for value in self.priors.vocabulary.children(self.name, word)]
