"""What was bet on which piece: rounds that are over, as plain values that a file can hold."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from scarfdate.conventions import Array
from scarfdate.practising.bet import Bet


@dataclass(frozen=True)
class Step:
    """One bet. ``clue``: the family that was shown just before it, None for the bet before any."""

    clue: str | None
    bet: Bet


@dataclass(frozen=True, kw_only=True)
class Played:
    """A round that is over.

    ``seen``: the piece as keywords of `Scarf`. ``order``: its families as they were shown. ``steps``: a
    bet before anything was shown and one after each clue, so one more than ``order``. ``known_from``,
    ``known_to``: the years in which it was made, equal where the year is known; for pieces of "stock", of
    which nobody knows, all years there are. ``pieces``: where it is from, "drawn", "stock", "labels" or
    "own". ``channel``, ``as_of``: as it was dated. ``deal``: of which new
    piece it was the ``again``-th return, new pieces being counted from 1; 0 where nobody dealt it.
    """

    seen: Mapping[str, object] = field(repr=False)
    order: tuple[str, ...]
    steps: tuple[Step, ...]
    known_from: int
    known_to: int
    pieces: str
    channel: str
    as_of: int
    deal: int = 0
    again: int = 0

    @property
    def dated(self) -> bool:
        """Whether anybody knows when it was made."""
        return self.pieces != "stock"

    @property
    def by_lot(self) -> bool:
        """Whether its year was drawn by lot, each alike, and not as pieces of the years are met with."""
        return self.pieces == "labels"

    def expected(self, years: Array) -> Array:
        """By how much more than its channel has them the years are to be expected, (years,), from chances
        before any clue, (years,): one, but for a year drawn by lot."""
        return 1 / (len(years) * years) if self.by_lot else np.ones(len(years))


History = Sequence[Played]
