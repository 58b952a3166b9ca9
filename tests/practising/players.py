"""Players of practice rounds for tests: one who always bets the same, and one who bets as the library dates."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from scarfdate import Practice, date_scarf
from scarfdate.practising.bet import Bet
from scarfdate.practising.outcome import Outcome
from scarfdate.practising.round import Round
from scarfdate.practising.score import by_decade

Player = object | Callable[[Round, Practice], object]


def as_the_library(played: Round, made: Practice) -> Bet:
    """The chances that the library gives the decades, with what has been shown."""
    of = made.settings
    dating = date_scarf(played.scarf, channel=of.channel, as_of=of.as_of, priors=made.table.priors)
    return Bet.of_shares(by_decade(np.asarray(dating.probability)).tolist(), of.as_of)


def play(made: Practice, bet: Player) -> Outcome:
    """One round, to its end."""
    played = made.round()
    while not played.over:
        played.bet(bet(played, made) if callable(bet) else bet)
    return played.outcome
