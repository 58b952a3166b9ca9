"""What the table says of a piece: its years as bars, a sentence, reasons, the earliest year, the next look."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from scarfdate.answer.dating import Dating
from scarfdate.answer.one_scarf import date_scarf
from scarfdate.card.ask import Eras, eras_of
from scarfdate.clues.scarf import Scarf
from scarfdate.conventions import FIRST_YEAR
from scarfdate.model.model import compiled
from scarfdate.show.sentence import percent, years
from scarfdate.sorting.piece import Piece
from scarfdate.sorting.screen import Answer, Bar
from scarfdate.tables.priors import Priors
from scarfdate.why.compare import compare
from scarfdate.why.next_checks import next_checks

_KEPT = 300  # answers that are kept: undo and two pieces side by side ask again for the same


@dataclass(frozen=True, eq=False)
class Weighed:
    """A piece as it is read and dated: what is shown of it, and the chance of each era."""

    scarf: Scarf
    dating: Dating
    answer: Answer
    eras: tuple[float, ...]


@dataclass(eq=False)
class Answers:
    """Dates pieces under the same tables, channel and year; what was asked before is not worked out again."""

    priors: Priors
    channel: str
    as_of: int | None
    _known: dict[Piece, Weighed] = field(default_factory=dict)
    _pair: tuple[Piece, Piece, str] = (
        Piece(),
        Piece(),
        "",
    )  # the last two compared, and what was said

    @cached_property
    def _eras(self) -> Eras:
        return eras_of(compiled(self.priors, self.channel, self.as_of))

    @property
    def eras(self) -> tuple[str, ...]:
        """The names of the eras of the trays: those of the card for the pocket."""
        return self._eras.names

    def of(self, piece: Piece) -> Weighed:
        """Raises ScarfdateError where what was noted of the piece cannot be read or cannot be."""
        found = self._known.get(piece)
        if found is None:
            if len(self._known) >= _KEPT:
                self._known.clear()
            found = self._known[piece] = self._weighed(piece)
        return found

    def check(self, piece: Piece) -> None:
        """Raises as `of`, and works out no more than that needs."""
        self._dated(piece.scarf(self.priors))

    def _dated(self, scarf: Scarf) -> Dating:
        return date_scarf(scarf, priors=self.priors, channel=self.channel, as_of=self.as_of)

    def compared(self, first: Piece, second: Piece) -> str:
        """Which of two is older; "" where nothing was noted of one."""
        if first.blank or second.blank:
            return ""
        if self._pair[:2] != (first, second):
            text = str(compare(self.of(first).dating, self.of(second).dating))
            self._pair = first, second, text
        return self._pair[2]

    def _weighed(self, piece: Piece) -> Weighed:
        scarf = piece.scarf(self.priors)
        dating = self._dated(scarf)
        looks = next_checks(scarf, priors=self.priors, channel=self.channel, as_of=self.as_of).looks
        earliest = dating.earliest
        answer = Answer(
            sentence=dating.sentence if scarf.seen else _of_any(dating),
            bars=_bars(dating),
            reasons=dating.reasons,
            earliest="" if earliest is None else f"{earliest}.",
            next_look=f"{str(looks[0])[:1].upper()}{str(looks[0])[1:]}." if looks else "",
            caution=looks[0].caution if looks else "",
            warnings=tuple(dict.fromkeys(dating.warnings)),
        )
        chances = np.bincount(self._eras.column, dating.probability, len(self.eras))
        return Weighed(scarf, dating, answer, tuple(chances.tolist()))


def answers_of(priors: Priors, channel: str, as_of: int | None) -> Answers:
    """Those of some tables, a channel and a year, made once and kept with the tables."""
    key = ("sorting", channel, compiled(priors, channel, as_of).as_of)
    found = priors._compiled.get(key)
    if not isinstance(found, Answers):
        found = priors._compiled[key] = Answers(priors, channel, key[2])
    return found


def _of_any(dating: Dating) -> str:
    """What holds for a piece that nobody has looked at yet."""
    made = years(*dating.interval(), FIRST_YEAR)
    return (
        "Nothing was looked at yet. A scarf found in such a place was made "
        f"{made} ({percent(dating.level)} sure)."
    )


def _bars(dating: Dating) -> tuple[Bar, ...]:
    decades = dating.decades()
    chances = {f"{start}s": chance for start, chance in decades.items()}
    first = f"{FIRST_YEAR}s"
    chances[first] = max(chances[first] - dating.before_grid, 0.0)
    chances = {f"before {FIRST_YEAR + 1}": dating.before_grid, **chances}
    return tuple(
        Bar(label=label, chance=chance, words=percent(chance)) for label, chance in chances.items()
    )
