"""`practice`: rounds in which an apprentice dates pieces herself, and what they come to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from importlib import import_module
from numbers import Integral
from pathlib import Path
from typing import Any

from scarfdate.clues.sides import LONG_SIDE, SIZE
from scarfdate.conventions import CHANNEL
from scarfdate.errors import RangeError, ScarfdateError, WordError, did_you_mean, is_one_of, shown
from scarfdate.practising.bet import Bet
from scarfdate.practising.dealing import Past, deal, next_deal
from scarfdate.practising.deck import DRAWN, LABELS, Deck, deck_of
from scarfdate.practising.history import Played
from scarfdate.practising.outcome import Outcome, outcome_of
from scarfdate.practising.progress import Kept, ProgressFile, Settings
from scarfdate.practising.round import Round, Table
from scarfdate.practising.summary import Summary, summary_of
from scarfdate.show import page
from scarfdate.tables.practice import Level, Pair, PracticeTables
from scarfdate.tables.priors import Priors, checked_priors
from scarfdate.years import checked_as_of

BETS = ("chips", "interval")
LEVEL_NAME = "mixed"  # where nobody asks for another
ROUNDS = 20  # so many are enough to say something of her weights
_MOST_ROUNDS = 10_000
_LARGEST_SEED = 2**63 - 1


def practice(
    seed: int | None = None,
    level: str | None = None,
    clues: Sequence[str] | None = None,
    *,
    pieces: object = DRAWN,
    rounds: int = ROUNDS,
    bet: str = "chips",
    progress: str | Path | None = None,
    channel: str = CHANNEL,
    priors: Priors | None = None,
    as_of: int | None = None,
) -> Practice:
    """Rounds of practice: a piece clue by clue, with a bet before each and after the last.

    ``seed``: a whole number from 0; the same one deals two apprentices the same new pieces, whatever they bet
    (`scarfdate.practising.dealing`). ``level``: a word of ``practice_levels.csv``. ``clues``: families that are
    shown, instead of those of the level. ``pieces``: "drawn" from the tables, "stock" and "labels" (both
    invented), or dated pieces of your own: a file or frame as `read_sold` reads it, or what that gives.
    ``rounds``: how many. ``bet``: "chips" or "interval", which is asked for; the other is taken, too.
    ``progress``: a file in which everything is kept, and with which it goes on. ``channel``, ``priors``,
    ``as_of``: as for `date_scarf`.

    ``seed``, ``level`` and ``as_of`` are those of the progress file where they are None; else 0, "mixed" and this year.
    Raises ScarfdateError (or one of its kinds) naming what is wrong, and where the progress file is another's.
    """
    known = checked_priors(priors)
    tables = known.practice or _shipped_practice()
    file = None if progress is None else ProgressFile(progress)
    kept = None if file is None else file.read()
    before = None if kept is None else kept.settings
    year = before.as_of if as_of is None and before is not None else checked_as_of(as_of)
    named = tables.level(level if level is not None else before.level if before else LEVEL_NAME)
    if clues is None and before is not None:
        families = before.clues
    elif isinstance(pieces, str) and pieces == LABELS:
        families = ()  # a label alone leaves nothing to choose from
    else:
        families = _families(clues, named, known)
    deck = deck_of(pieces, families, known, known.century.channel(channel).name, year)
    settings = Settings(
        seed=_checked_seed(seed if seed is not None else before.seed if before else 0),
        level=named.level,
        clues=families,
        pieces=deck.identity,
        channel=known.century.channel(channel).name,
        as_of=year,
    )
    if before is not None and before != settings:
        raise ScarfdateError(_other_settings(before, settings, str(progress)))
    if not is_one_of(bet, BETS):
        raise WordError(f"bet: 'chips' or 'interval' is allowed, got {shown(bet)}")
    if (
        isinstance(rounds, bool)
        or not isinstance(rounds, Integral)
        or not 1 <= rounds <= _MOST_ROUNDS
    ):
        raise RangeError(
            f"rounds: a whole number from 1 to {_MOST_ROUNDS} is allowed, got {shown(rounds)}"
        )
    pairs = tuple(
        pair
        for pair in tables.pairs_of(named)
        if (not families or pair.family in families) and deck.has(pair)
    )
    table = Table(
        priors=known,
        channel=settings.channel,
        as_of=year,
        pieces=deck.name,
        says=deck.says,
        bet=bet,
    )
    made = Practice(
        settings=settings,
        rounds=int(rounds),
        level=named,
        deck=deck,
        pairs=pairs,
        table=table,
        file=file,
    )
    if kept is not None:
        made._go_on(kept)
    return made


@dataclass(eq=False, repr=False, kw_only=True)
class Practice:
    """Rounds of practice, one after another. `practice` makes it.

    ``deck``: where the pieces come from; ``level``, ``pairs``: what it is about; ``rounds``: how many there are.
    """

    settings: Settings
    rounds: int
    level: Level
    deck: Deck
    pairs: tuple[Pair, ...]
    table: Table
    file: ProgressFile | None
    outcomes: list[Outcome] = field(default_factory=list)
    _open: Round | None = None

    @property
    def played(self) -> tuple[Played, ...]:
        """The rounds that are over."""
        return tuple(one.played for one in self.outcomes)

    @property
    def notes(self) -> tuple[str, ...]:
        """What is to be said of the pieces and of the progress file."""
        of_file = () if self.file is None else tuple(self.file.notes)
        return (self.deck.note, *of_file) if self.deck.note else of_file

    def round(self) -> Round:
        """The round that is open; the next one where the last is over.

        Raises ScarfdateError where all rounds are played.
        """
        if self._open is None or self._open.over:
            if len(self.outcomes) >= self.rounds:
                raise ScarfdateError(
                    f"all {self.rounds} rounds are played; summary() says what they come to, and a larger "
                    "number of rounds goes on"
                )
            past = [Past(one.played.deal, one.played.again, one.lost) for one in self.outcomes]
            number, again = next_deal(past)
            dealt = deal(
                self.deck, self.pairs, self.settings.clues, self.level.clues,
                self.settings.seed, number, again, self.table.priors,
            )  # fmt: skip
            self._open = Round(
                len(self.outcomes) + 1, self.rounds, dealt, self.table, self._after_bet
            )
        return self._open

    def sliders(self) -> Any:
        """The rounds in a notebook, with a slider for each decade's chips, or one with two ends for an interval.

        Raises ScarfdateError where the extra ``notebooks`` is not installed; it is an ImportError, too.
        """
        return import_module("scarfdate.practising.chips").chips_table(self)

    def summary(self) -> Summary:
        """What the rounds come to so far; after twenty also how well her chances held, and her weights."""
        return summary_of(self.outcomes, self.table.priors)

    def _after_bet(self, played: Round) -> None:
        if played.over:
            self.outcomes.append(played.outcome)
        self._save(() if played.over else tuple(step.bet for step in played.steps))

    def _save(self, bets: tuple[Bet, ...]) -> None:
        if self.file is not None:
            tables = self.table.priors.hash
            self.file.write(
                Kept(settings=self.settings, tables=tables, played=self.played, bets=bets)
            )

    def _go_on(self, kept: Kept) -> None:
        """Take up what a progress file holds."""
        assert self.file is not None
        name = self.file.path.name
        try:
            self.outcomes = [outcome_of(one, self.table.priors) for one in kept.played]
        except ScarfdateError as error:
            raise ScarfdateError(
                f"{name} has a round that these tables do not know: {error}"
            ) from None
        if kept.tables != self.table.priors.hash:
            self.file.notes.append(
                f"The tables have changed since {name} was written: scores are those of today's tables, and "
                "the open round begins anew."
            )
        elif kept.bets and len(self.outcomes) < self.rounds:
            opened = self.round()
            for bet in kept.bets[: len(opened._dealt.order)]:
                opened._lay(bet)

    def __repr__(self) -> str:
        return f"Practice(seed={self.settings.seed}, level={self.level.level!r}, {len(self.outcomes)} of {self.rounds} rounds played)"  # fmt: skip

    def __str__(self) -> str:
        lines = [
            f"Practice, {len(self.outcomes)} of {self.rounds} rounds played; level {self.level.level}: {self.level.says}",
            f"Pieces: {self.deck.says}. Seed {self.settings.seed}.",
        ]
        return "\n".join([*lines, *(f"Note: {note}" for note in self.notes)])

    def _repr_html_(self) -> str:
        return page.view(str(self))


def _shipped_practice() -> PracticeTables:
    shipped = checked_priors(None).practice
    assert shipped is not None
    return shipped


def _checked_seed(seed: object) -> int:
    if (
        isinstance(seed, bool)
        or not isinstance(seed, Integral)
        or not 0 <= int(seed) <= _LARGEST_SEED
    ):
        raise RangeError(f"seed: a whole number from 0 is allowed, got {shown(seed)}")
    return int(seed)


def _families(clues: object, level: Level, priors: Priors) -> tuple[str, ...]:
    """The families that may be shown; none where that is all of them."""
    if clues is None:
        both = () if not level.beside else (*level.about, *level.beside)
        return tuple(dict.fromkeys(SIZE if name == LONG_SIDE else name for name in both))
    known = [*(name for name in priors.families if priors.families[name].kind != "bounds"), SIZE]
    given = [clues] if isinstance(clues, str) else clues
    if not isinstance(given, Sequence) or not given:
        raise WordError(
            f"clues: a list of clues is allowed, such as ['hem', 'fibre'], got {shown(clues)}"
        )
    for name in given:
        if name not in known:
            hint = did_you_mean(name if isinstance(name, str) else "", known)
            raise WordError(f"clues: no clue {shown(name)} is known; {hint}")
    return tuple(dict.fromkeys(SIZE if name == LONG_SIDE else name for name in given))


def _other_settings(before: Settings, now: Settings, file: str) -> str:
    """What differs between a progress file and what was asked for."""
    names = [name for name in vars(now) if getattr(before, name) != getattr(now, name)]
    differ = "; ".join(
        f"{name} {shown(getattr(before, name))}, and now {shown(getattr(now, name))} is asked for"
        for name in names
    )
    return f"{Path(file).name} was begun with {differ}; ask for the same, or name another file"
