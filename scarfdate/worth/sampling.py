"""How samples of prices, days and returns are drawn: what is shared between pieces, and what is a piece's own."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import GRADES, Array
from scarfdate.worth.coefficients import (
    ASKED,
    BASE,
    CHANNEL,
    CONDITION,
    DECADE,
    GRADE,
    MAKER,
    SEASON,
    SIZE,
    YEAR,
    Coefficients,
)
from scarfdate.worth.pieces import VALUED, Pieces
from scarfdate.worth.price_samples import PriceSamples, own_generators, strata
from scarfdate.worth.reference import Reference

# the rows of uniform numbers that a piece has of its own, one number in each n-th of the unit interval
_CELL, _RESIDUAL, _DAYS, _KEPT, _AREA = range(5)

_SAMPLERS = 8  # that are kept: one a season, and as many again

Places = NDArray[np.intp]


class Sampler:
    """Draws ``n`` samples of pieces from coefficients; ``seed`` names the random numbers.

    ``channel``, ``season``: None where they are drawn as the book has them. What all pieces share is worked out once.
    """

    def __init__(
        self,
        price: Coefficients,
        days: Coefficients | None,
        returns: Coefficients | None,
        reference: Reference,
        *,
        n: int,
        seed: int,
        channel: str | None,
        season: str | None,
        year: int | None,
    ) -> None:
        self.price, self.days, self.returns = price, days, returns
        self.reference, self.n, self.seed = reference, n, seed
        self._tables: dict[tuple[object, ...], Array] = {}
        rng = np.random.default_rng([self.seed, 1])
        channels = _levels(rng, channel, self.reference.channels, self.n)
        seasons = _levels(rng, season, self.reference.seasons, self.n)
        of_year = self.reference.year if year is None else str(year)
        common = self._row(self.price, BASE) + (self.reference.log_index or 0.0)
        common = common + self._leveled(self.price, CHANNEL, channels)
        common = common + self._leveled(self.price, SEASON, seasons) + self._year(of_year)
        self.common = common
        self.nu = self._cycled(self.price.shape["nu"])
        self.sigma = self._cycled(self.price.shape["sigma"])
        self.area, self.elasticity = self._row(self.price, SIZE), self._row(self.price, CONDITION)
        self.of_days = None
        if self.days is not None:
            of_days = self._row(self.days, BASE) + self._leveled(self.days, CHANNEL, channels)
            self.of_days = of_days + self._leveled(self.days, SEASON, seasons)
        self.returned = self._returned(channels)

    def of(self, pieces: Pieces, *, invented: bool, alone: bool) -> PriceSamples:
        """Samples of the pieces; ``alone``: of each as if it were the only one."""
        shape = (len(pieces), self.n)
        log_price, log_fair, location, uniform = (np.empty(shape) for _ in range(4))
        cell = np.empty(shape, np.intp)
        value = {name: np.empty(shape, np.intp) for name in pieces.values}
        where = _Where(pieces)
        tables = {name: self._family(self.price, name, pieces.values[name].words) for name in value}
        decade = self._decades(self.price, pieces.decades)
        grade = self._family(self.price, GRADE, GRADES)
        days_decade = self._decades(self.days, pieces.decades)
        of_fibre = pieces.values.get(VALUED[0])
        days_fibre = self._family(self.days, VALUED[0], of_fibre.words if of_fibre else ())
        makers = {name: self._maker(name) for name in set(pieces.maker)}
        every = np.arange(self.n)
        for i, own in enumerate(own_generators(pieces, self.seed, alone=alone)):
            u = strata(own, 5, self.n)
            cell[i] = here = where.cell(i, u[_CELL])
            fair = self.common + decade[every, here // len(GRADES)]
            fair += grade[every, here % len(GRADES)]
            if self.of_days is not None:
                location[i] = self.of_days
            for name in value:
                value[name][i] = place = where.value(name, i, here, own)
                fair += tables[name][every, place]
                if name == VALUED[0] and self.of_days is not None:
                    location[i] += days_fibre[every, place]
            fair += makers[pieces.maker[i]]
            fair += self.area * self._area(pieces.log_area[i], u[_AREA])
            fair += self._kept(pieces.log_kept[i], u[_KEPT])
            log_fair[i] = fair
            log_price[i] = fair + self.sigma * self._residual(u[_RESIDUAL], own)
            if self.of_days is not None:
                location[i] += days_decade[every, here // len(GRADES)]
                uniform[i] = u[_DAYS]
        has_days = self.days is not None
        return PriceSamples(
            log_price=log_price,
            log_fair=log_fair,
            cell=cell,
            value=value,
            days_location=location if has_days else None,
            days_slope=None if self.days is None else self._row(self.days, ASKED),
            days_shape=None if self.days is None else self._cycled(self.days.shape["shape"]),
            days_uniform=uniform if has_days else None,
            returned=None if self.returned is None else np.broadcast_to(self.returned, shape),
            currency=self.reference.currency,
            invented=invented,
            paid_of_asked=self.reference.paid_of_asked,
        )

    def _cycled(self, draws: Array) -> Array:
        """A draw for each sample, (S, ...): the draws in turn."""
        return np.asarray(draws[np.arange(self.n) % len(draws)])

    def _row(self, of: Coefficients, group: str, level: str = "") -> Array:
        return self._cycled(of.of(group, level))

    def _leveled(self, of: Coefficients, group: str, levels: Sequence[str]) -> Array:
        """The coefficient of each sample's level, (S,); a level without one counts as the average of its group."""
        found = np.zeros(self.n)
        for level in dict.fromkeys(levels):
            found = np.where([one == level for one in levels], self._row(of, group, level), found)
        return found

    def _family(self, of: Coefficients | None, group: str, words: Sequence[str]) -> Array:
        """Coefficients of words, (S, words); zeros where there are none."""
        if of is None or not words:
            return np.zeros((self.n, len(words)))
        key = (id(of), group, *words)
        if key not in self._tables:
            self._tables[key] = np.stack([self._row(of, group, word) for word in words], axis=1)
        return self._tables[key]

    def _decades(self, of: Coefficients | None, decades: NDArray[np.int64]) -> Array:
        """Coefficients of decades, (S, decades): of one that is not there, those of the nearest."""
        levels = () if of is None else of.layout.levels(DECADE)
        if not levels:
            return np.zeros((self.n, len(decades)))
        away = np.abs(decades[:, None] - np.array(levels, np.int64))
        return self._family(of, DECADE, [levels[place] for place in away.argmin(axis=1)])

    def _maker(self, name: str) -> Array:
        """The coefficient of a maker, (S,): one without sales may be as any maker is."""
        if (MAKER, name) in self.price.layout.place or MAKER not in self.price.spread:
            return self._row(self.price, MAKER, name)
        return self._cycled(self.price.spread[MAKER]) * self._named(name)

    def _year(self, year: str) -> Array:
        """The coefficient of the year of sale, (S,): one without sales is that of the nearest with sales, give or
        take what years differ by."""
        known = self.price.layout.levels(YEAR)
        if year in known or not known or not year:
            return self._row(self.price, YEAR, year)
        nearest = min(known, key=lambda k: abs(int(k) - int(year)))
        return self._row(self.price, YEAR, nearest) + self._cycled(
            self.price.spread[YEAR]
        ) * self._named(year)

    def _named(self, name: str) -> Array:
        """Standard normal numbers, (S,), that belong to a name."""
        digest = hashlib.blake2b(name.encode(), digest_size=8).digest()
        return np.random.default_rng([self.seed, 2, *digest]).standard_normal(self.n)

    def _area(self, log_area: float, u: Array) -> Array | float:
        """Log area less that of the book: of a piece not measured as that of any in the book."""
        from scipy.special import ndtri

        mean, sd = self.reference.area
        return float(log_area - mean) if np.isfinite(log_area) else sd * np.asarray(ndtri(u))

    def _kept(self, log_kept: float, u: Array) -> Array:
        """What the condition adds to the log price, (S,), at most 0.

        The loss is uncertain by a factor that has the same law for every condition, and a piece that nobody
        looked at has the condition of any in the book. So a worse condition lowers each sample.
        """
        from scipy.special import ndtri

        elasticity, spread = self.elasticity, self.reference.loss_spread
        if not np.isfinite(log_kept):
            kept = np.asarray(self.reference.kept)
            return np.asarray(elasticity * kept[(u * len(kept)).astype(np.intp)])
        return np.asarray(elasticity * log_kept * np.exp(spread * (ndtri(u) - spread / 2)))

    def _residual(self, u: Array, rng: np.random.Generator) -> Array:
        """Student-t numbers (normal where ``nu`` is infinite), cut at the largest residual."""
        from scipy.special import ndtri

        found = np.asarray(ndtri(u))
        finite = np.isfinite(self.nu)
        if finite.any():
            of = np.where(finite, self.nu, 1.0)
            found = found * np.where(finite, np.sqrt(of / rng.chisquare(of)), 1.0)
        most = self.reference.largest_residual
        return np.asarray(np.clip(found, -most, most))

    def _returned(self, channels: Sequence[str]) -> Array | None:
        if self.returns is None:
            return None
        from scipy.special import expit

        odds = self._row(self.returns, BASE) + self._leveled(self.returns, CHANNEL, channels)
        return np.asarray(expit(odds))


sampler = lru_cache(maxsize=_SAMPLERS)(Sampler)  # kept for the next piece


def _levels(
    rng: np.random.Generator, stated: str | None, shares: Mapping[str, float], n: int
) -> list[str]:
    """The level of each sample: the one stated, or as often as the book has it."""
    if stated is not None or not shares:
        return [stated or ""] * n
    names, chances = list(shares), np.array(list(shares.values()))
    return [names[place] for place in rng.choice(len(names), n, p=chances / chances.sum())]


class _Where:
    """Cells and values of pieces drawn from their chances."""

    def __init__(self, pieces: Pieces) -> None:
        self.values = pieces.values
        self.cells = np.cumsum(pieces.cells, axis=1)

    def cell(self, i: int, u: Array) -> Places:
        """The cell of each sample, (S,)."""
        most = self.cells.shape[1] - 1
        found = np.searchsorted(self.cells[i] / self.cells[i, -1], u, side="right")
        return np.asarray(np.minimum(found, most))

    def value(self, name: str, i: int, cell: Places, rng: np.random.Generator) -> Places:
        """The value of each sample, given its cell, (S,)."""
        # the chances of each cell after those of the cells before it, so that one search finds the value
        chances = self.values[name].chances[i]
        total = np.cumsum(chances, axis=1)
        total = total / total[:, -1:] + np.arange(len(total))[:, None]
        found = np.searchsorted(total.reshape(-1), cell + rng.random(len(cell)), side="right")
        return np.asarray(np.minimum(found - cell * total.shape[1], total.shape[1] - 1))
