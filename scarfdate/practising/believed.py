"""What the clues of one piece make of its years, if each counts by a power of its own.

    P(y | clues 1 to t)  ∝  P(y) b(decade of y)  sum over states of  product over c <= t of  L_c ^ w_c

as in `scarfdate.model.model`, each clue with an exponent w_c (1: as the tables say; 0: it says nothing; below 0:
read the wrong way round) and each decade with a factor b, for what is expected before any look. L_c is what a
clue adds to those shown before it: of stitches shown after the hem, what they say beside the hem.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from scarfdate.answer.evidence import encode
from scarfdate.answer.kind import channel_for
from scarfdate.clues.scarf import Scarf
from scarfdate.conventions import Array
from scarfdate.learning.trust import powered
from scarfdate.model.exact import revival_parts
from scarfdate.model.model import Codes, Model, compiled
from scarfdate.practising.bet import decade_places
from scarfdate.practising.history import Played
from scarfdate.practising.piece import only
from scarfdate.tables.priors import Priors


class Believed:
    """One piece that was played. ``clues`` (k,): families in the order in which they were shown; ``decade``
    (years,): the place of each year's decade; ``year_prior`` (years,): chances before any clue."""

    def __init__(self, priors: Priors, played: Played) -> None:
        self.clues = played.order
        scarf = Scarf.from_dict(played.seen, priors=priors)
        # the kind of object is known from the start: it is a condition and no clue
        channel = channel_for(priors, played.channel, scarf)
        self.model = model = compiled(priors, channel, played.as_of)
        self.decade = decade_places(played.as_of)
        self.decades = int(self.decade[-1]) + 1
        codes = shown_codes(model, scarf, played.order)
        market = any(codes[:, column].any() for column in model.by_market.columns)
        expected = played.expected(model.year_prior)
        self.year_prior = model.year_prior * expected
        log = np.log(model.prior * expected)
        self.log_prior = np.log(model.market)[:, None] + log if market else log[None]
        self.making = np.zeros((len(self.clues), *self.log_prior.shape))
        self.style = np.zeros((len(self.clues), *model.prior.shape))
        for place, (before, after) in enumerate(pairwise(codes)):
            for column in np.flatnonzero(before != after).tolist():
                clue = model.clues[column]
                old, new = np.log(clue.rows.table[[before[column], after[column]]])
                adds = (new - old).reshape(clue.shape)
                if column in model.style.columns:
                    self.style[place] += adds[0]
                else:
                    self.making[place] += adds
        self.is_style = [bool(one.any()) for one in self.style]

    def years(self, exponent: Array, expected: Array) -> tuple[Array, Array]:
        """P(year) before any clue and after each, (k + 1, years), and how it moves with every exponent and
        with every log factor of a decade, (k + 1, k + decades, years).

        ``exponent`` (k,) of each clue; ``expected`` (decades,), the logs of the factors b.
        """
        year, slope = self._unscaled(_running(exponent, self.making), _running(exponent, self.style),
                                     expected)  # fmt: skip
        total = year.sum(axis=1, keepdims=True)
        year /= total
        slope /= total[:, None]
        slope -= year[:, None] * slope.sum(axis=2, keepdims=True)
        return year, slope

    def _unscaled(self, making: Array, style: Array, expected: Array) -> tuple[Array, Array]:
        """The same, not yet summing to one, from the running logs of making and of style clues."""
        prior = self.log_prior + expected[self.decade]
        look, weight, state = powered(self.model, prior + making, style)
        year = state.sum(axis=(1, 2))
        slope = np.empty((len(year), len(self.clues) + self.decades, year.shape[1]))
        by_grade = weight.sum(axis=1)
        for place, is_style in enumerate(self.is_style):
            slope[:, place] = np.einsum("tkgy,kgy->ty", state, self.making[place])
            if is_style:
                moved = sum(revival_parts(self.model, look * self.style[place]))
                slope[:, place] += (by_grade * moved).sum(axis=1)
            slope[: place + 1, place] = 0.0  # before it was shown
        inside = self.decade == np.arange(self.decades)[:, None]
        slope[:, len(self.clues) :] = year[:, None] * inside
        return year, slope

    def alone(self, place: int, exponents: Sequence[float]) -> Array:
        """P(decade) by one clue to each of some exponents, the prior being the tables', (exponents, decades)."""
        power = np.array(exponents)
        making = power[:, None, None, None] * self.making[place]
        style = power[:, None, None] * self.style[place]
        _, _, state = powered(self.model, self.log_prior + making, style)
        year = state.sum(axis=(1, 2))
        return self.by_decade(year / year.sum(axis=1, keepdims=True))

    def by_decade(self, year: Array) -> Array:
        """Chances of years, (..., years), added up by decade, (..., decades)."""
        inside = self.decade[:, None] == np.arange(self.decades)
        return np.asarray(year @ inside)


def shown_codes(model: Model, scarf: Scarf, order: Sequence[str]) -> Codes:
    """The row numbers of what was shown before each bet, (k + 1, clues)."""
    codes = [
        encode(model, only(scarf, order[:count], model.priors))[0]
        for count in range(len(order) + 1)
    ]
    return np.concatenate(codes)


def _running(exponent: Array, logs: Array) -> Array:
    """Logs (k, ...) times their exponents, added up: of none of them, of the first, and so on, (k + 1, ...)."""
    raised = exponent.reshape(-1, *[1] * (logs.ndim - 1)) * logs
    return np.concatenate((np.zeros((1, *logs.shape[1:])), np.cumsum(raised, axis=0)))
