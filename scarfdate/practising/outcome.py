"""What a round of practice comes to: the year, the scores after each clue, and what she overlooked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from scarfdate.answer.one_scarf import date_scarf
from scarfdate.clues.scarf import Scarf
from scarfdate.conventions import FIRST_YEAR, Array
from scarfdate.errors import ScarfdateError, shown
from scarfdate.practising.bet import alike
from scarfdate.practising.history import Played
from scarfdate.practising.overlooked import Weighed, chance_of, decibans_for, overlooked
from scarfdate.practising.piece import in_words, only, title_of
from scarfdate.practising.score import Score, Truth, by_decade
from scarfdate.show import page
from scarfdate.show.sentence import percent
from scarfdate.show.sentence import years as years_in_words
from scarfdate.tables.priors import Priors

if TYPE_CHECKING:
    import pandas

LOST = 0.5  # of the library's chance: a factor of two is three decibans, which people can feel


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Outcome:
    """A round that is over. ``after``: when each bet was laid ("before any clue", "after the hem");
    ``hers``, ``library``: the score of each bet, and of the library with the same clues; the first of the
    library's is the prior's. ``weighed``: each clue's weight for the true decade, as she and the library
    moved; ``opening``: the chances that both gave it before any clue; ``told_apart``: the pair it was about, "" for none."""

    played: Played
    after: tuple[str, ...]
    hers: tuple[Score, ...]
    library: tuple[Score, ...]
    weighed: tuple[Weighed, ...]
    opening: tuple[float, float]
    truth: str
    decades: tuple[int, ...]
    told_apart: str = ""

    @property
    def prior(self) -> Score:
        """The score of what is known before any clue."""
        return self.library[0]

    @property
    def lost(self) -> bool:
        """Whether her last bet gives the true decade less than half the library's chance."""
        return self.hers[-1].chance < LOST * self.library[-1].chance

    @cached_property
    def overlooked(self) -> str:
        """One sentence on the clue that she weighed worst."""
        return overlooked(self.weighed, self.opening, decades_in_words(self.decades))

    def to_frame(self) -> pandas.DataFrame:
        """One row a bet: after, her bet, and the log and interval scores, hers, the library's, the prior's."""
        import pandas as pd

        rows = [
            {
                "after": name,
                "bet": str(step.bet),
                "log_score": mine.log_score,
                "library_log_score": its.log_score,
                "prior_log_score": self.prior.log_score,
                "interval_score": mine.interval_score,
                "library_interval_score": its.interval_score,
                "prior_interval_score": self.prior.interval_score,
            }
            for name, step, mine, its in zip(
                self.after, self.played.steps, self.hers, self.library, strict=True
            )
        ]
        return pd.DataFrame(rows)

    def __repr__(self) -> str:
        return f"Outcome({self.truth!r})"

    def _rows(self) -> list[tuple[str, ...]]:
        return [
            (name, *(f"{percent(one.chance)} ({one.log_score:.2f})" for one in (mine, its)))
            for name, mine, its in zip(self.after, self.hers, self.library, strict=True)
        ]

    def __str__(self) -> str:
        what = f"{self._what}, yours and the library's:"
        lines = [f"- {name}: {mine}, {its}" for name, mine, its in self._rows()]
        return "\n".join([self.truth, what, *lines, self._ends(), self.overlooked, self.told_apart]).strip()  # fmt: skip

    @property
    def _what(self) -> str:
        """What the chances are given to."""
        if self.played.dated:
            return f"Chance given to {decades_in_words(self.decades)} (log score)"
        return "Chance to be expected for the true decade (log score)"

    def _ends(self) -> str:
        names = ("yours", "the library's", "before any clue")
        parts = [
            f"{name} {one.interval_score:.0f} ({one.interval[0]}-{one.interval[1]})"
            for name, one in zip(names, (self.hers[-1], self.library[-1], self.prior), strict=True)
        ]
        return f"Interval score at the end, in years, less is better: {', '.join(parts)}."

    def _repr_html_(self) -> str:
        caption = f"{self._what}; before any clue the library's is the prior's"
        rows = [("", "yours", "the library's"), *self._rows()]
        return page.view(
            self.truth, page.table(rows, caption=caption, numbers=(1, 2)),
            "\n".join([self._ends(), self.overlooked, self.told_apart]).strip(),
        )  # fmt: skip


def outcome_of(played: Played, priors: Priors, told_apart: str = "") -> Outcome:
    """Everything that a round comes to, worked out with these tables.

    Raises ScarfdateError where they do not know a clue or a word of the piece.
    """
    scarf = Scarf.from_dict(played.seen, priors=priors)
    for name in played.order:
        if name not in scarf.seen:
            raise ScarfdateError(f"a round looks at {shown(name)}, which its piece does not have")
    chances = [
        _by_year(scarf, played.order[:count], priors, played)
        for count in range(len(played.order) + 1)
    ]
    if played.dated:
        truth = Truth.of_years(played.known_from, played.known_to, played.as_of)
    else:
        everything = date_scarf(
            scarf, priors=priors, channel=played.channel, as_of=played.as_of
        ).probability
        truth = Truth(everything, False)
    decades = truth.decades
    bets = alike([step.bet for step in played.steps])
    its = [by_decade(chance) for chance in chances]
    moved = [np.diff([decibans_for(shares, decades) for shares in some]) for some in (bets, its)]
    words = [in_words(scarf, name, priors, played.channel, played.as_of) for name in played.order]
    return Outcome(
        played=played,
        after=("before any clue", *(f"after the {title_of(n, priors)}" for n in played.order)),
        hers=tuple(truth.of_bet(step.bet) for step in played.steps),
        library=tuple(truth.scored(chance) for chance in chances),
        weighed=tuple(
            Weighed(name, said, float(hers), float(library))
            for name, said, hers, library in zip(played.order, words, *moved, strict=True)
        ),
        opening=(chance_of(bets[0], decades), chance_of(its[0], decades)),
        truth=_in_words(played, truth),
        decades=decades,
        told_apart=told_apart,
    )


def _by_year(scarf: Scarf, names: Sequence[str], priors: Priors, played: Played) -> Array:
    def dated(some: Scarf) -> Array:
        return date_scarf(
            some, priors=priors, channel=played.channel, as_of=played.as_of
        ).probability

    chance = dated(only(scarf, names, priors))
    if played.by_lot:
        chance = chance * played.expected(dated(Scarf(priors=priors)))
    return np.asarray(chance / chance.sum())


def _in_words(played: Played, truth: Truth) -> str:
    if played.dated:
        made = years_in_words(played.known_from, played.known_to, FIRST_YEAR)
        return f"It was made in {made}."
    return (
        "Nobody knows when it was made. The scores are those that are expected if the library is right with "
        f"everything that was noted of it; {decades_in_words(truth.decades)} are then the likeliest."
    )


def decades_in_words(decades: Sequence[int]) -> str:
    """ "the 1960s", or "the 1960s to 1970s"; the first decade stands for all before it, too."""
    first, last = decades[0], decades[-1]
    return f"the {first}s" if first == last else f"the {first}s to {last}s"
