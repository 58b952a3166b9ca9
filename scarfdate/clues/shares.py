"""A value of a shares family, together with what was measured on it.

The true value v has shares p(v | state). It is noted as o with the chance of the confusion table, and
after a slip as any value, in proportion to how common it is. What is measured (stitches of a hem, sides of a form, weight of a weave) has
a log-normal density given v, and after a slip of its own is spread evenly over what is possible:

    P(o, x | state) = sum over v of  p(v | state) N(o | v)  product over x of  f(x | v, state)
    N(o | v)        = (1 - slip) C(o | v) + slip q(o)
    f(x | v, state) = (1 - slip_x) normal(log x) + slip_x / log(high / low)

x is read on geometric steps (``step`` of families.csv), and a ratio of sides is folded: x and 1/x are one. The product
is raised to the ``trust`` of the family, 1 in all shipped tables; at another trust it is no probability.

q is the mean of p over all years, grades and markets of the usual tables. A slip of the pen has nothing to do
with the piece: it takes the word of some other piece, or the first that comes to mind, and what comes to
mind is what one meets. That is the law of the label clue, where a label of another piece is drawn from all
labels. q knows neither the channel nor the last year, and sums to one, so that the rate of slips is ``slip``
whatever the piece is; a rare word is then noted by mistake as rarely as it is noted at all.

Weights w(o) make the sum of w(o) P(o, ...); a parent word is the sum over its children. A parent that
was not looked at is summed over, so that two sides alone work out the form.

A narrower word, as "lyocell" for a rayon, is noted as its value is. It can have years of its own
(``law_limits.csv``), and a fashion (``fashions.csv``): outside of them only a slip or a misreading has brought it about.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.clue import (
    NO_NOTES,
    ROUNDED_UP,
    Amiss,
    Asked,
    Behind,
    Bound,
    Clue,
    Drawn,
    FirstPrinting,
    Noted,
    Places,
    Slip,
    Within,
    drawn,
)
from scarfdate.clues.field import Warnings
from scarfdate.clues.limited import LimitedWords
from scarfdate.clues.measured import Measure
from scarfdate.clues.measured_keys import Key, keys_of, which_measured
from scarfdate.clues.noting import Noting
from scarfdate.clues.said import Said
from scarfdate.clues.sides import DERIVED, LONG_SIDE, SIZE, SLENDERNESS
from scarfdate.conventions import METHOD, Array
from scarfdate.reading.observation import Observation
from scarfdate.tables.priors import Priors
from scarfdate.tables.sheet import Basis

_TOGETHER = 16  # rows made at a time: as many as stay in the nearer memory


class SharesClue(Clue):
    """A shares family and the families measured on it, as one clue; ``slip``: of its words, that of the table unless
    another is given."""

    def __init__(
        self, priors: Priors, name: str, years: NDArray[np.int64], slip: float | None = None
    ) -> None:
        family = priors.families[name]
        self.priors, self.noting = priors, Noting(priors, name, slip)
        self.values = self.noting.values
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
        self._measured = tuple(zip(self.families[1:], self.measures, strict=True))
        self._said = Said(priors, name, family.title, self.measures)
        self._fringe = priors.allowances["fringe_on_long_side"]
        self._limited = LimitedWords(self.noting, years)
        if any(name in DERIVED for name in self.families):
            self.needs = (*self.needs, SIZE)
        self.usual_rows = math.inf if self.measures else len(self.values) + 1

    def key(self, seen: Mapping[str, Any]) -> tuple[Key | None, Warnings]:
        """The word, and the step of each measurement."""
        word = seen.get(self.name)
        if not self.measures:
            return (None if word is None else (word, ())), ()
        sides = seen.get(SIZE) if SIZE in self.needs else None
        made = {} if sides is None else sides.measured(self._fringe)
        cells: list[int | None] = []
        for name, measure in self._measured:
            number = seen[name].value if name in seen else made.get(name)
            cells.append(None if number is None else measure.cell(number))
        nothing = word is None and not any(cell is not None for cell in cells)
        return (None if nothing else (word, tuple(cells))), ()

    def keys(self, seen: Mapping[str, Sequence[Any]]) -> list[Hashable]:
        """`key` of each: what can be refused or odd is so where it is read."""
        sides = seen.get(SIZE, ()) if SIZE in self.needs else ()
        return keys_of(seen, self.name, self._measured, sides, self._fringe)

    @staticmethod
    def split(key: Hashable) -> tuple[object, ...]:
        """The word of a key, and the step of each measurement; None for what was not noted."""
        word, cells = cast(Key, key)
        return (word, *cells)

    def noted(self, method: str) -> Array:
        """N(o | v), (true values, noted values): confusion and slip together."""
        return self.noting.matrix(method)

    def fits(self, seen: Observation) -> Array:
        """How well each true value fits what was noted, (values,)."""
        return self.noting.fits(seen)

    def likelihood(self, key: Hashable) -> Array:
        """P(what was noted and measured | market, grade, year)."""
        seen, cells = cast(Key, key)
        if seen is not None and not any(cell is not None for cell in cells):
            fits = self._word_fits(seen, "")
            if fits.shape[-1] == 1:  # alike in all years, as of most words
                found = np.tensordot(fits[:, 0, 0, 0], self.shares, axes=1)
            else:
                found = np.asarray((fits * self.shares).sum(axis=0))
        else:
            found = np.asarray((self.value_fits(key) * self.shares).sum(axis=0))
        return found if self.trust == 1 else found**self.trust

    def within(self, key: Hashable) -> tuple[Within, ...]:
        """Itself."""
        return (Within(self, key, lambda row: row),)

    def amiss(self, key: Hashable, part: str) -> Array:
        """That the true value is another than the word says, or that the word is a slip, even one that happens to be
        right; of a measure that it is a slip."""
        found = np.asarray((self.value_fits(key, amiss=part) * self.shares).sum(axis=0))
        if self.trust == 1:
            return found
        whole = np.asarray((self.value_fits(key) * self.shares).sum(axis=0))
        return found * whole ** (self.trust - 1)  # the same part of what is trusted

    def amiss_at_most(self, keys: Sequence[Hashable]) -> Array:
        """The sum over values of the largest that each factor can be."""
        if self.trust != 1:  # then it is a part of what is trusted, by state
            return super().amiss_at_most(keys)
        found = np.zeros(len(keys))
        noted = [cast(Key, key) for key in keys]
        for places in _alike([which_measured(cells) for _, cells in noted]):
            own = [noted[place] for place in places]
            words = {seen: self._word_fits(seen, "").max(axis=(1, 2, 3)) for seen, _ in own}
            slips = {seen: self._word_fits(seen, self.name)[:, 0, 0, 0] for seen in words}
            each, missed = (
                np.stack([some[seen] for seen, _ in own]) * self._highest_share
                for some in (words, slips)
            )
            missed[[seen is None for seen, _ in own]] = 0.0  # no word, none missed
            measured = [
                (measure.by_slip, np.stack([measure.highest(cast(int, c[at])) for _, c in own]))
                for at, measure in enumerate(self.measures)
                if at < len(own[0][1]) and own[0][1][at] is not None
            ]
            for amiss in range(-1, len(measured)):
                most = missed if amiss < 0 else each
                for at, (by_slip, highest) in enumerate(measured):
                    most = most * (by_slip if at == amiss else highest)
                found[places] = np.maximum(found[places], most.sum(axis=1))
        return found * ROUNDED_UP

    @cached_property
    def _highest_share(self) -> Array:
        return np.asarray(self.shares.max(axis=(1, 2, 3)))

    def value_fits(self, key: Hashable, amiss: str = "") -> Array:
        """P(what was noted and measured | value, grade, year), (values, 1, grades or 1, years or 1).

        ``amiss``: a part of which only slips and misreadings count.
        """
        seen, cells = cast(Key, key)
        each = self._word_fits(seen, amiss)
        for measure, cell in zip(self.measures, cells, strict=True):
            if cell is not None and amiss == measure.family.name:
                each = each * measure.by_slip
            elif cell is not None:
                each = each * measure.density(cell)[:, None]
        return each

    def _make_all(self, keys: Sequence[Hashable]) -> None:
        """Those with measurements, alike in what was looked at, some at a time: no two pieces measure the same."""
        parts: list[tuple[str, tuple[bool, ...]]] = []
        noted: list[tuple[Hashable, Key]] = []
        for key in keys if self.trust == 1 else ():
            part, of = (key.part, key.key) if isinstance(key, Amiss) else ("", key)
            if not isinstance(of, FirstPrinting) and any(which_measured(cast(Key, of)[1])):
                parts.append((part, which_measured(cast(Key, of)[1])))
                noted.append((key, cast(Key, of)))
        for places in _alike(parts):
            for start in range(0, len(places), _TOGETHER):
                own = [noted[place] for place in places[start : start + _TOGETHER]]
                rows = self._likelihoods([of for _, of in own], parts[places[0]][0])
                self.rows.add_all([key for key, _ in own], rows.reshape(len(own), -1))

    def _likelihoods(self, keys: Sequence[Key], amiss: str) -> Array:
        """`likelihood`, or `amiss` of a part, of several keys with the same measures: (n, markets, grades, years).

        Step by step as `value_fits` has it, so that a row is the same to the bit.
        """
        words = {seen: self._word_fits(seen, amiss) for seen in dict.fromkeys(s for s, _ in keys)}
        each = np.stack(np.broadcast_arrays(*(words[seen] for seen, _ in keys)))
        for place, measure in enumerate(self.measures):
            steps = [cell for _, cells in keys if (cell := cells[place]) is not None]
            if steps and amiss == measure.family.name:
                each = each * measure.by_slip
            elif steps:
                each = each * np.stack([measure.density(step) for step in steps])[:, :, None]
        return np.asarray((each * self.shares).sum(axis=1))

    def _word_fits(self, seen: Observation | None, amiss: str) -> Array:
        """How well each true value fits the word noted, (values, 1, 1, years or 1), or a slip or misreading of it."""
        if seen is None:
            return np.ones((len(self.values), 1, 1, 1))
        fits = self.fits(seen)
        if amiss == self.name:
            return np.maximum(fits - self.noting.rightly(seen), 0.0)[:, None, None, None]
        cannot_be = self._limited.cannot_be(seen)
        return (
            fits[:, None, None, None]
            if cannot_be is None
            else (fits[:, None] - cannot_be)[:, None, None]
        )

    def bound(self, key: Hashable) -> Bound | None:
        """The first year of the word by a dated fact; of a parent word or weights that of the first of them."""
        seen, _ = cast(Key, key)
        first = None if seen is None else self._limited.first(seen)
        if first is None:
            return None
        name = self.priors.wording.phrase(self.name, first.value, self.title)
        reason = f"there was no {name.removeprefix('the ')} earlier"
        return Bound(int(first.not_before), self.name, reason, f"fact {first.fact}")

    def slips(self, key: Hashable) -> tuple[Slip, ...]:
        """After a slip of the word what is common is noted, after one of a measure anything within its limits."""
        seen, cells = cast(Key, key)
        found = []
        if seen is not None:
            found.append(
                Slip(
                    self.name,
                    self._said.word(seen),
                    self.noting.slip,
                    self.noting.by_slip(seen),
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
                        self._said.measure(measure, measure.says(cell)),
                        measure.slip,
                        1 / math.log(family.high / family.low),
                        math.log(family.step),
                        (seen, others) if left else None,
                    )
                )
        return tuple(found)

    def behind(self, key: Hashable, asked: Asked) -> Behind:
        """The row of the knot nearest to the year, and the nearest dated fact of the word noted."""
        seen, _ = cast(Key, key)
        fact = self._limited.nearest(None if seen is None else seen.word, asked)
        row = self._row_at(asked)
        return Behind(replace(row, source=self._limited.source(seen, row.source)), fact=fact)

    def _row_at(self, asked: Asked) -> Basis:
        """The row of the knot nearest to a year, in the series that holds for a grade and a market."""
        table = self.priors.shares[self.name]
        start = 0
        for key, (knots, _) in table.series.items():
            if key == table.key_of(asked.grade, asked.market):
                return table.bases[start + int(abs(knots - asked.year).argmin())]
            start += len(knots)
        return table.bases[0]

    def _true(self, at: Places, grade: Places, market: Places, rng: np.random.Generator) -> Places:
        kind = market if self.by_market else np.zeros(len(at), dtype=np.intp)
        return drawn(self.shares[:, kind, grade, at], rng)

    def drawn(
        self, at: Places, grade: Places, market: Places, looked_at: float, rng: np.random.Generator
    ) -> Drawn:
        """The word as noted by the usual method, and what is measured; and the true value."""
        n = len(at)
        true = self._true(at, grade, market, rng)
        noted = drawn(self.noted(METHOD)[true].T, rng)
        looked = rng.random(n) < looked_at
        seen: dict[str, list[object]] = {
            self.name: [
                self.values[place] if see else None
                for place, see in zip(noted, looked, strict=True)
            ]
        }
        sizes = {m.family.name: m.drawn(true, grade, at, rng) for m in self.measures}
        looked = rng.random(n) < looked_at
        if LONG_SIDE in sizes:
            long = sizes.pop(LONG_SIDE)
            # a side too short to be one would be refused: a slip does not make the impossible
            least = next(m.family.low for m in self.measures if m.family.name == LONG_SIDE)
            short = np.maximum(long / sizes.pop(SLENDERNESS, np.ones(n)), least)
            sizes |= {"width_cm": long, "height_cm": short}
        for name, values in sizes.items():
            seen[name] = [
                v if see else None for v, see in zip(values.tolist(), looked, strict=True)
            ]
            if name not in ("width_cm", "height_cm"):
                looked = rng.random(n) < looked_at
        return Drawn(seen, {f"true_{self.name}": [self.values[place] for place in true]})

    def held(self, key: Hashable) -> Hashable:
        """All of it where a parent word or weights were noted; else nothing."""
        seen, _ = cast(Key, key)
        return key if seen is not None and seen.word not in self.values else None

    def again(
        self, key: Hashable, at: Places, grade: Places, market: Places, rng: np.random.Generator
    ) -> list[Hashable]:
        """The word noted by the same method, and the same things measured."""
        if self.held(key) is not None:
            return [key] * len(at)
        word, measured = cast(Key, key)
        true = self._true(at, grade, market, rng)
        words: list[Observation | None] = [None] * len(at)
        if word is not None:
            each = [Observation(((value, 1.0),), word.method) for value in self.values]
            words = [each[place] for place in drawn(self.noted(word.method)[true].T, rng)]
        cells = [
            [None] * len(at)
            if cell is None
            else measure.cells(measure.drawn(true, grade, at, rng)).tolist()
            for measure, cell in zip(self.measures, measured, strict=True)
        ]
        return list(zip(words, zip(*cells, strict=True) if cells else [()] * len(at), strict=True))

    def says(self, key: Hashable, noted: Noted = NO_NOTES) -> str:
        """The word, and between brackets what was measured on it; a measure alone under its own name."""
        return self._said.all(*cast(Key, key), noted)

    def is_reason(self, key: Hashable) -> bool:
        """Not where every word that was noted is none, such as that of a missing label."""
        return self._said.is_reason(*cast(Key, key))

    def supposes(self, key: Hashable, part: str) -> str:
        """The word that was noted, where it can stand by itself: "it is polyester"."""
        seen, _ = cast(Key, key)
        return "" if part != self.name or seen is None else self._said.supposes(seen)


def _alike(kinds: Sequence[Hashable]) -> Iterable[list[int]]:
    """The places of each kind."""
    places: dict[Hashable, list[int]] = {}
    for place, kind in enumerate(kinds):
        places.setdefault(kind, []).append(place)
    return places.values()
