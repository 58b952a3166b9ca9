"""Which clue she weighed worst: how far she moved for it, beside how far it moves the exact answer.

A weight is the change of the log odds of the true decade, in decibans, when the clue is shown after those
before it; these are the running totals of `explain` in that order.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scarfdate.answer.reasons import WEIGHTY
from scarfdate.conventions import DECIBANS_PER_NAT, FIRST_YEAR, Array
from scarfdate.show.sentence import percent
from scarfdate.why.explanation import to_one

_NAMED = 3.0  # decibans: below a factor of two ten chips cannot show what one believes


@dataclass(frozen=True)
class Weighed:
    """A clue, in words as a sentence ``says`` it, and its weight for the true decade in decibans: as her bets
    moved, and as the library did."""

    clue: str
    says: str
    hers: float
    library: float


def decibans_for(shares: Array, decades: Sequence[int]) -> float:
    """The log odds of some decades, in decibans, from the shares of all; NaN where they are all."""
    others = np.delete(shares, _places(decades))
    if not others.size:
        return math.nan
    return DECIBANS_PER_NAT * math.log(chance_of(shares, decades) / float(others.sum()))


def chance_of(shares: Array, decades: Sequence[int]) -> float:
    """The chance of some decades, from the shares of all."""
    return float(shares[_places(decades)].sum())


def _places(decades: Sequence[int]) -> list[int]:
    return [(decade - FIRST_YEAR) // 10 for decade in decades]


def overlooked(weighed: Sequence[Weighed], opening: tuple[float, float], decades: str) -> str:
    """One sentence on the clue that she weighed worst, or on her ``opening`` bet where no clue is to blame.

    ``opening``: the chances that she and the library gave the true decades before any clue.
    """
    if not all(math.isfinite(one.hers) for one in weighed):
        return ""  # the known years touch every decade: there is nothing to weigh
    worst = max(weighed, key=lambda one: abs(one.library - one.hers), default=None)
    if worst is None or abs(worst.library - worst.hers) < _NAMED:
        hers, its = opening
        if DECIBANS_PER_NAT * abs(math.log(hers / its)) >= _NAMED:
            return (
                f"You weighed the clues about as the library does; but before any you gave {decades} "
                f"{percent(hers)}, and the library {percent(its)}."
            )
        return (
            "You weighed every clue about as the library does: none is off by more than two to one."
        )
    if abs(worst.library) < WEIGHTY:
        return (
            f"You made too much of {worst.says}: it hardly tells of {decades}, and you moved as if it "
            f"spoke {_odds(worst.hers)} them."
        )
    worth = f"{_odds(worst.library)} {decades}"
    if abs(worst.hers) < WEIGHTY:
        return f"You overlooked {worst.says}: it speaks {worth}, and you hardly moved for it."
    if worst.hers * worst.library < 0:
        return (
            f"You read {worst.says} the other way round: it speaks {worth}, and you moved as if it spoke "
            f"{_odds(worst.hers)} them."
        )
    moved = f"it speaks {worth}, and you moved as if it spoke {to_one(worst.hers)}"
    if abs(worst.hers) > abs(worst.library):
        return f"You made too much of {worst.says}: {moved}."
    return f"You made too little of {worst.says}: {moved}."


def _odds(decibans: float) -> str:
    return f"{to_one(decibans)} {'for' if decibans > 0 else 'against'}"
