"""Drawn tables of shares, and the bits about the decade that each of them carries.

What is drawn, and why: `scarfdate.building.information`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from scarfdate.building.decade_bits import (
    LEAST_WORTH,
    TARGETS,
    Real,
    knot_weights,
    made_and_read,
    targets,
    weighed,
)
from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import GRADES, MARKETS, METHOD, ZERO_SHARE, Array
from scarfdate.model.model import Model
from scarfdate.tables.knots import ANY, Key


class Shares:
    """A family of shares. Drawn rows are (values, knots, number)."""

    def __init__(self, model: Model, clue: SharesClue) -> None:
        self.table = model.priors.shares[clue.name]
        self.worth = max(model.priors.families[clue.name].worth, LEAST_WORTH)
        self.noted = clue.noted(METHOD).T
        self.shares = clue.shares
        self.markets: Sequence[str] = MARKETS if self.table.by_market else (ANY,)
        weight = made_and_read(model, clue.reads)[:, None]
        if self.table.by_market:
            weight = weight * model.market[:, None]
        self.weight = weight  # (grades, markets or 1, decades, years)
        self.light = weight.astype(np.float32)
        between = knot_weights(self.table.series, model)
        self.between = {key: weights.astype(np.float32) for key, weights in between.items()}

    def bits(self) -> Array:
        """Under the table as it is, (targets,)."""
        joint = np.einsum("gkdy,vkgy->gvd", self.weight, self.shares, optimize=True)
        joint = targets(self.noted @ joint)[..., None]
        return np.asarray((weighed(joint) / joint.sum(axis=(1, 2)))[:, 0])

    def drawn(self, rng: np.random.Generator, number: int) -> Array:
        """Under drawn tables, (targets, number)."""
        rows = {
            key: self._draw(rng, (shares / shares.sum(axis=1, keepdims=True)).T, number)
            for key, (_, shares) in self.table.series.items()
        }
        joint = targets(self._joint(rows, TARGETS[-1]))
        return np.asarray(weighed(joint) / joint.sum(axis=(1, 2), dtype=float))

    def still(self, rng: np.random.Generator, target: Sequence[int], number: int) -> Array:
        """Under drawn tables that do not depend on the year, for the grades of a target, (number,)."""
        grades = list(target)
        average = np.einsum(
            "gkdy,vkgy->v", self.weight[grades], self.shares[:, :, grades], optimize=True
        )
        average /= average.sum()
        rows = {}
        for key in sorted({self.table.key_of(GRADES[g], k) for g in grades for k in self.markets}):
            same = np.repeat(average[:, None], len(self.table.series[key][0]), axis=1)
            rows[key] = self._draw(rng, same, number)
        joint = self._joint(rows, grades).sum(axis=0)
        return np.asarray(weighed(joint) / joint.sum(axis=(0, 1), dtype=float))

    def _draw(self, rng: np.random.Generator, shares: Array, number: int) -> Real:
        counts = np.broadcast_to((self.worth * shares)[..., None], (*shares.shape, number))
        rows = rng.standard_gamma(counts.astype(np.float32), dtype=np.float32)
        rows /= rows.sum(axis=0)
        return rows

    def _joint(self, rows: Mapping[Key, Real], grades: Sequence[int]) -> Real:
        """P(grade, noted, decade) for drawn rows, (grades, values, decades, number)."""
        joint: list[Real] = [np.zeros((), np.float32)] * len(grades)
        readers: dict[Key, list[tuple[int, int, int]]] = {}
        for place, g in enumerate(grades):
            for k, market in enumerate(self.markets):
                key = self.table.key_of(GRADES[g], market)
                readers.setdefault(key, []).append((place, g, k))
        for key, places in readers.items():
            every = self.between[key] @ np.log(np.maximum(rows[key], np.float32(ZERO_SHARE)))
            np.exp(every, out=every)  # (values, years, number)
            every /= every.sum(axis=0)
            for place, g, k in places:
                joint[place] = joint[place] + self.light[g, k] @ every
        noted = self.noted.astype(np.float32)
        return np.stack([np.tensordot(noted, each, axes=1) for each in joint])
