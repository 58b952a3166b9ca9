"""A round of practice: a piece, clue by clue, and a bet before each and after the last."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from scarfdate.clues.scarf import Scarf
from scarfdate.conventions import FIRST_YEAR
from scarfdate.drawing.draw import draw
from scarfdate.errors import ScarfdateError
from scarfdate.practising.bet import Bet, read_bet
from scarfdate.practising.history import Played, Step
from scarfdate.practising.outcome import Outcome, outcome_of
from scarfdate.practising.piece import noted, only, title_of
from scarfdate.show import page
from scarfdate.tables.lists import caution_of

if TYPE_CHECKING:
    from scarfdate.drawing.drawing import Drawing
    from scarfdate.practising.dealing import Dealt
    from scarfdate.tables.priors import Priors


@dataclass(frozen=True)
class ShownClue:
    """A clue that is shown: its family, the family's name and what was noted."""

    family: str
    title: str
    noted: str

    def __str__(self) -> str:
        return f"{self.title}: {self.noted}"


@dataclass(frozen=True, kw_only=True)
class Table:
    """What a round is played at: tables, channel and last year; where its pieces are from; which bet is asked for."""

    priors: Priors
    channel: str
    as_of: int
    pieces: str
    says: str
    bet: str


class Round:
    """One round. ``number``: which one it is, of ``of``. It is over once she has bet after the last clue."""

    def __init__(
        self, number: int, of: int, dealt: Dealt, table: Table, keep: Callable[[Round], None]
    ) -> None:
        self.number, self.of = number, of
        self._dealt, self._table, self._keep = dealt, table, keep
        self._scarf = Scarf.from_dict(dealt.piece.seen, priors=table.priors)
        self._steps: list[Step] = []
        self._outcome: Outcome | None = None

    @property
    def steps(self) -> tuple[Step, ...]:
        """Her bets so far, each with the clue that was shown just before it."""
        return tuple(self._steps)

    @property
    def shown(self) -> tuple[ShownClue, ...]:
        """The clues that have been shown, in order; all of them where it is over."""
        names = self._dealt.order[: len(self._steps)]
        return tuple(
            ShownClue(
                name,
                title_of(name, self._table.priors),
                noted(self._scarf, name, self._table.priors),
            )
            for name in names
        )

    @property
    def next_clue(self) -> str | None:
        """What will be shown after the next bet, None where nothing is left to show."""
        left = self._dealt.order[len(self._steps) :]
        return title_of(left[0], self._table.priors) if left else None

    @property
    def scarf(self) -> Scarf:
        """The piece as far as it has been shown; whole where the round is over."""
        if self.over:
            return self._scarf
        names = self._dealt.order[: len(self._steps)]
        return only(self._scarf, names, self._table.priors)

    @property
    def drawing(self) -> Drawing | None:
        """The piece as far as it has been shown, drawn; None where nothing of it can be drawn."""
        return self._drawn(self.scarf)

    @property
    def clue_drawing(self) -> Drawing | None:
        """The clue that was shown last, drawn; None where there is none, or no drawing of it."""
        newest = self._dealt.order[: len(self._steps)][-1:]
        return self._drawn(only(self._scarf, newest, self._table.priors)) if newest else None

    @property
    def over(self) -> bool:
        """Whether all bets are laid."""
        return self._outcome is not None

    @property
    def outcome(self) -> Outcome:
        """The year and the scores. Raises ScarfdateError before the round is over."""
        if self._outcome is None:
            raise ScarfdateError(
                f"round {self.number} is not over: bet once more for each clue that is left"
            )
        return self._outcome

    def bet(self, bet: object) -> Round:
        """Lay a bet; the next clue is shown, or after the last the outcome.

        ``bet``: ten chips on decades, as "1960s 6, 1970s 4" or {1960: 6, 1970: 4}, or an interval, as
        "1955-1972" or (1955, 1972), which is taken to hold four in five. How each becomes chances:
        `scarfdate.practising.bet`. Raises WordError or RangeError where it is no bet, and ScarfdateError where
        the round is over; nothing is changed then.
        """
        self._lay(read_bet(bet, self._table.as_of))
        self._keep(self)
        return self

    def _lay(self, bet: Bet) -> None:
        if self.over:
            raise ScarfdateError(f"round {self.number} is over; the next one is dealt by round()")
        last = self._dealt.order[len(self._steps) - 1] if self._steps else None
        steps = (*self._steps, Step(last, bet))
        if len(steps) > len(self._dealt.order):
            played = self._played(steps)
            self._outcome = outcome_of(played, self._table.priors, self._told_apart())
        self._steps = [*steps]

    def _played(self, steps: tuple[Step, ...]) -> Played:
        table, dealt = self._table, self._dealt
        first, last = dealt.piece.known or (FIRST_YEAR, table.as_of)
        return Played(
            seen=dict(dealt.piece.seen),
            order=dealt.order,
            steps=steps,
            known_from=first,
            known_to=last,
            pieces=table.pieces,
            channel=table.channel,
            as_of=table.as_of,
            deal=dealt.deal,
            again=dealt.again,
        )

    def _told_apart(self) -> str:
        pair = self._dealt.pair
        if pair is None:
            return ""
        both = f"{pair.one} or {pair.other}".replace("-", " ")
        priors = self._table.priors
        care = caution_of(priors.checks, pair.family, pair.test) if pair.test else ""
        said = f"{title_of(pair.family, priors).capitalize()}, {both}? {pair.says}"
        return f"{said} Take care: {care}." if care else said

    def _drawn(self, scarf: Scarf) -> Drawing | None:
        try:
            return draw(scarf, priors=self._table.priors)
        except ScarfdateError:  # nothing of it can be drawn, which says nothing against the piece
            return None

    def __repr__(self) -> str:
        state = "over" if self.over else f"{len(self._steps)} bets laid"
        return f"Round({self.number} of {self.of}, {state})"

    def __str__(self) -> str:
        head = f"Round {self.number} of {self.of}, a piece {self._table.says}."
        if self._dealt.again:
            head += " It comes back to something that you have had."
        seen = [f"- {clue}" for clue in self.shown]
        lines = [head, "You have seen:" if seen else "Nothing has been shown yet.", *seen]
        if self._outcome is not None:
            return "\n".join([*lines, str(self._outcome)])
        nothing_left = "Everything has been shown; this is your last bet."
        coming = f"Next comes: {self.next_clue}." if self.next_clue else nothing_left
        return "\n".join([*lines, coming, asked_for(self._table.bet)])

    def _repr_html_(self) -> str:
        drawing = None if self.over else self.clue_drawing  # by then each has been shown
        said = str(self)
        if self._outcome is not None:
            said = said[: said.index(str(self._outcome))]
        parts = [page.view(said)]
        if drawing is not None:
            parts.append(drawing._repr_html_())
        if self._outcome is not None:
            parts.append(self._outcome._repr_html_())
        return f"<div>{''.join(parts)}</div>"


def asked_for(bet: str) -> str:
    """What is asked for, with an example."""
    if bet == "interval":
        return "Which years hold it, four times in five? For example 1955-1972."
    return "Lay ten chips on decades, for example: 1960s 6, 1970s 4."
