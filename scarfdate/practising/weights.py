"""`weights`: for each clue how much somebody gives it, beside what it is worth.

What a clue gives is a weight of evidence (`scarfdate.why.explain`): by how much it moves, by itself, the odds of
one decade rather than another, in decibans. Its worth is the mean over all pairs of decades, each pair counted
as often as two pieces of the channel are of it, and over the pieces that showed the clue. What somebody gives it
is the same with her exponent (`scarfdate.practising.weights_fit`), counted towards the decade for which the clue
truly speaks, and so below zero where she reads it the wrong way round. Nobody needs to know a piece's year.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from scarfdate.answer.reasons import WEIGHTY
from scarfdate.conventions import DECIBANS_PER_NAT, LEVEL, Array
from scarfdate.errors import RangeError
from scarfdate.practising.believed import Believed
from scarfdate.practising.history import History
from scarfdate.practising.piece import title_of
from scarfdate.practising.weights_fit import Fitted, fit
from scarfdate.show import page
from scarfdate.tables.priors import Priors, checked_priors
from scarfdate.years import checked_level

if TYPE_CHECKING:
    import pandas

RANGE = (-1.0, 3.0)  # of exponents: from wholly the wrong way round to three times what it is worth
_SMALLEST = 1e-30


@dataclass(frozen=True, kw_only=True)
class ClueWeight:
    """How somebody weighs one clue.

    ``clue``: the family; ``title``: as a person calls it; ``pieces``: how many showed it. ``worth``: the decibans
    that it is worth, 0 or more; ``given``, from ``given_low`` to ``given_high``: those that she gives it, below 0
    for the wrong way round. ``exponent``, from ``low`` to ``high``: the power to which she raises its likelihood,
    1 as the tables have it, -1 to 3; ``error``: the standard error of that.
    """

    clue: str
    title: str
    pieces: int
    worth: float
    given: float
    given_low: float
    given_high: float
    exponent: float
    low: float
    high: float
    error: float

    @property
    def verdict(self) -> str:
        """What the whole interval says: "the wrong way round" (by a deciban or more), "less than it is worth", "more
        than it is worth", or "no difference shown"; "tells little here" where less than a deciban is at stake."""
        if max(self.worth, abs(self.given)) < WEIGHTY:
            return "tells little here"
        if self.high < 0 and self.given <= -WEIGHTY:
            return "the wrong way round"
        if self.high < 1:
            return "less than it is worth"
        if self.low > 1:
            return "more than it is worth"
        return "no difference shown"

    def __str__(self) -> str:
        pieces = "1 piece" if self.pieces == 1 else f"{self.pieces} pieces"
        given, low, high = (
            f"{round(one, 1) + 0.0:.1f}" for one in (self.given, self.given_low, self.given_high)
        )
        return f"{self.title} ({pieces}): worth {self.worth:.1f}, you give it {given} ({low} to {high}): {self.verdict}"


@dataclass(frozen=True, eq=False, kw_only=True)
class Weights:
    """``clues``: each clue that was shown, those that are furthest from their worth first. ``pieces``: how many
    were played; ``level``: of the intervals. ``before``: by decade (its first year) the mean chance that she
    gives it before any look, and that of the tables."""

    clues: tuple[ClueWeight, ...]
    pieces: int
    level: float
    before: tuple[tuple[int, float, float], ...]

    def __len__(self) -> int:
        return len(self.clues)

    def __getitem__(self, clue: str) -> ClueWeight:
        for one in self.clues:
            if one.clue == clue:
                return one
        raise KeyError(clue)

    def to_frame(self) -> pandas.DataFrame:
        """One row a clue: the fields of `ClueWeight`, and verdict."""
        import pandas as pd

        return pd.DataFrame([vars(one) | {"verdict": one.verdict} for one in self.clues])

    def plot(self, ax: Any = None) -> Any:
        """For each clue what it is worth, and what she gives it with its interval; returns the axis."""
        from scarfdate.practising import plot

        ranked = sorted(self.clues, key=lambda one: one.worth)
        return plot.weights(
            [f"{one.title} ({one.pieces})" for one in ranked],
            np.array([one.worth for one in ranked]),
            np.array([(one.given_low, one.given, one.given_high) for one in ranked]),
            self.level,
            ax,
        )

    def __str__(self) -> str:
        return "\n".join([self._head(), *(f"- {one}." for one in self.clues), self._before()])

    def _head(self) -> str:
        played = "1 piece" if self.pieces == 1 else f"{self.pieces} pieces"
        return (
            f"What you give the clues, from {played}: how far a clue moves the odds of one decade against another, on "
            "average, in decibans (3 double the odds, 10 make them ten times as high; below 0 you read the clue the "
            f"wrong way round). Ranges in brackets hold the truth {100 * self.level:g} % of the time."
        )

    def _before(self) -> str:
        decade, hers, tables = max(self.before, key=lambda one: abs(one[1] - one[2]))
        return (
            f"Before any look you give the {decade}s {100 * hers:.0f} %, the tables {100 * tables:.0f} %: the decade "
            "where you differ most."
        )

    def _repr_html_(self) -> str:
        most = max(max(one.worth, one.given) for one in self.clues)
        rows = [
            (
                page.under(*str(one).split(": ", 1)),
                page.two_bars(one.worth / most, max(one.given, 0.0) / most),
            )
            for one in self.clues
        ]
        caption = "A hollow bar is what a clue is worth, a full one what you give it"
        return page.view(self._head(), page.table(rows, caption=caption), self._before())


def weights(history: History, priors: Priors | None = None, *, level: float = LEVEL) -> Weights:
    """How somebody weighs the clues, from the rounds that she played.

    ``history``: rounds that are over (`Practice.played`), of any pieces: their years need not be known. ``level``: of
    the intervals. Raises RangeError where no round with a clue is over or one lacks bets, ScarfdateError where ``priors`` do not know
    a piece.
    """
    known = checked_priors(priors)
    sure = checked_level(level)
    rounds = [one for one in history if one.order]
    if not rounds:
        raise RangeError("history: no round in which a clue was shown is over")
    for played in rounds:
        if len(played.steps) != len(played.order) + 1:
            raise RangeError(
                f"history: a round has one bet before any clue and one after each; one of {len(played.order)} clues "
                f"has {len(played.steps)}"
            )
    pieces = [Believed(known, played) for played in rounds]
    found = fit(pieces, [[step.bet for step in played.steps] for played in rounds])
    low, high = (np.clip(end, *RANGE) for end in found.interval(sure))
    exponent = np.clip(found.exponent, *RANGE)
    tried = np.stack([np.ones_like(exponent), exponent, low, high], axis=1)
    gives = _decibans(pieces, found.clues, tried)
    rows = [
        ClueWeight(
            clue=clue,
            title=title_of(clue, known),
            pieces=int(found.pieces[place]),
            worth=float(gives[place, 0]),
            given=float(gives[place, 1]),
            given_low=float(gives[place, 2]),
            given_high=float(gives[place, 3]),
            exponent=float(exponent[place]),
            low=float(low[place]),
            high=float(high[place]),
            error=float(found.error[place]),
        )
        for place, clue in enumerate(found.clues)
    ]
    return Weights(
        clues=tuple(sorted(rows, key=lambda one: -abs(one.given - one.worth))),
        pieces=len(rounds),
        level=sure,
        before=_before(pieces, found),
    )


def _decibans(pieces: Sequence[Believed], clues: Sequence[str], tried: Array) -> Array:
    """The mean weight of each clue to each of some exponents, (clues, exponents); ``tried``, of that shape, begins
    with 1, and the decade that a clue speaks for there counts as above zero."""
    total, count = np.zeros_like(tried), np.zeros((len(clues), 1))
    for piece in pieces:
        before = piece.by_decade(piece.year_prior)
        pairs = np.outer(before, before)
        np.fill_diagonal(pairs, 0.0)
        pairs /= pairs.sum()
        for place, clue in enumerate(piece.clues):
            row = clues.index(clue)
            speaks = np.log(np.maximum(piece.alone(place, tried[row]), _SMALLEST) / before)
            apart = speaks[:, :, None] - speaks[:, None, :]
            total[row] += DECIBANS_PER_NAT * (apart * np.sign(apart[0]) * pairs).sum(axis=(1, 2))
            count[row] += 1
    return total / count


def _before(pieces: Sequence[Believed], found: Fitted) -> tuple[tuple[int, float, float], ...]:
    """Mean chances of the decades before any look, hers and those of the tables."""
    both = np.zeros((2, len(found.expected)))
    for piece in pieces:
        own = found.expected[: piece.decades]
        tables = piece.by_decade(piece.year_prior)
        hers = tables * np.exp(own)
        both[:, : piece.decades] += np.stack([hers / hers.sum(), tables]) / len(pieces)
    first = int(pieces[0].model.years[0])
    return tuple(
        (first + 10 * place, float(hers), float(tables))
        for place, (hers, tables) in enumerate(both.T)
    )
