"""The card for the pocket: the exact model as whole points, to be added up in the head.

At a market there is no computer. The card has a row of points for each thing that can be seen, one for
each era; the era with the highest sum is the card's. The points are fitted to the exact answer
over simulated scarves of the channel, and what the card loses is measured on others and printed on it.
"""

from __future__ import annotations

from collections.abc import Sequence
from numbers import Integral

import numpy as np

from scarfdate.card import ask
from scarfdate.card.maker import Maker
from scarfdate.card.pocket import PocketCard
from scarfdate.conventions import CHANNEL
from scarfdate.errors import RangeError, needed, shown
from scarfdate.model.model import compiled
from scarfdate.tables.priors import Priors, checked_priors
from scarfdate.threads import one_thread

_SEED = 1954  # any fixed number: the same call gives the same card
_PIECES = (1_000, 1_000_000)


def pocket_card(
    priors: Priors | None = None,
    channel: str = CHANNEL,
    *,
    clues: Sequence[str] | None = None,
    as_of: int | None = None,
    rng: np.random.Generator | None = None,
    pieces: int = 20_000,
) -> PocketCard:
    """Distil the exact model of a channel into one sheet of whole points.

    Its columns are the eras of ``card_eras.csv``, and a second step tells the half of the era: coarser than
    the exact dating, and said so on it. ``card_rows.csv`` says which values have rows of their own.

    ``clues``: names to choose among, as in ``families.csv``; by default all that can be seen without
    harm and with no more than a lens and a tape measure. ``pieces``, 1,000 to 1,000,000, are simulated
    for the fit, and half as many others to measure its cost. Without ``rng`` the seed is fixed, and
    the same call gives the same card.

    The exact answer that the card is held against is that of the same looks: all of ``clues`` that were
    looked at on a piece, also those that found no place on the card.

    Raises WordError for a channel or a clue that is not known or that no card can ask (makers, label
    texts, dated prints), RangeError for an ``as_of`` or ``pieces`` that cannot be.
    """
    low, high = _PIECES
    if isinstance(pieces, bool) or not isinstance(pieces, Integral) or not low <= pieces <= high:
        raise RangeError(
            f"pieces: a whole number from {low} to {high} is allowed, got {shown(pieces)}"
        )
    if rng is not None and not isinstance(rng, np.random.Generator):
        raise RangeError(
            f"rng: a numpy Generator is allowed, got {shown(rng)}; write np.random.default_rng(1)"
        )
    needed("scipy.optimize", "card", "Fitting a card")  # loaded here, so that its threads are held
    known = checked_priors(priors)
    model = compiled(known, channel, as_of)
    names = ask.chosen(model, clues)
    rng = np.random.default_rng(_SEED) if rng is None else rng
    with one_thread():
        return Maker(known, model, names, rng, int(pieces)).card()
