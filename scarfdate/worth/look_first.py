"""What one more look is worth before buying: the expected value of sample information, in money.

A look finds one of several things, o. The drawn pieces (their decade and grade; their true fibre, hem and form;
their gain) are equally likely now. P(o | drawn piece) is known: by how a true value is noted where the look is for
a value that was drawn, and else from the dating, by the chance of the decade and grade once o is found, over that
now (what such a look tells beyond them, of the hem within a decade, say, is not counted). So each finding weights
the draws, and the weights of all findings add up to one: what is expected after the look is, on average, what is
expected now.

Whoever may buy now (the chance of a loss is within what she risks) buys after the look too, unless it finds
what loses money on average; whoever may not buys where the look brings the chance of a loss within it:

    value = sum over o of P(o) max(0, -E[profit | o])                      where she may buy now
    value = sum over o of P(o) E[profit | o], over o where she then may    where she may not

Both are never below zero, since a look may be ignored, and are exactly zero where no finding turns the decision
(Raiffa and Schlaifer 1961, "Applied Statistical Decision Theory", on the value of sample information).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import compress

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import Array
from scarfdate.tables.lists import Check
from scarfdate.why.asked import Asked
from scarfdate.why.next_checks import checks_left
from scarfdate.why.state import State
from scarfdate.worth.pieces import in_cells

_RARE = 0.02  # a finding as rare as this rests on too few draws to be named


@dataclass(frozen=True, kw_only=True)
class LookFirst:
    """A look before buying. ``words``: what to do; ``value``: what it can be expected to earn, in money, 0 or more;
    ``minutes`` that it takes, and their ``cost``; ``needs``: a tool ("lens", "microscope"), "" where none;
    ``chance``: that it turns the decision; ``buy_if`` and ``leave_if``: what, if found, speaks for buying or against
    it (none for what is measured); ``caution``: what to take care of."""

    clue: str
    method: str
    words: str
    value: float
    minutes: float
    cost: float
    needs: str
    chance: float
    buy_if: tuple[str, ...]
    leave_if: tuple[str, ...]
    caution: str


@dataclass(frozen=True, eq=False, kw_only=True)
class Drawn:
    """Draws of one piece: ``cell`` (S,), decade and grade; ``values``: by family (S,), the place of its true value;
    ``profit`` (S,), money."""

    cell: NDArray[np.intp]
    values: Mapping[str, NDArray[np.intp]]
    profit: Array


def looks_first(
    asked: Asked, drawn: Drawn, risk: float, hourly_rate: float
) -> tuple[LookFirst, ...]:
    """Harmless looks that can turn the decision whether to buy, the most worth after the time they cost first."""
    state = State.of(asked)
    may_buy = allowed(drawn.profit, np.ones_like(drawn.profit)[None], risk).item()
    found = []
    for check in checks_left(asked, harmless=True):
        chances = findings(state, check, drawn)
        if chances is None:
            continue
        value, buys = worth(drawn.profit, chances, risk, may_buy)
        each = chances.mean(axis=1)
        likely = each > _RARE
        if value > 0:
            found.append(
                LookFirst(
                    clue=check.family, method=check.method, words=check.words, value=value,
                    minutes=check.minutes, cost=check.minutes / 60 * hourly_rate,
                    needs=check.needs, chance=float(each[buys != may_buy].sum()),
                    buy_if=_words(state, check, buys & likely),
                    leave_if=_words(state, check, ~buys & likely),
                    caution=check.caution,
                )
            )  # fmt: skip
    return tuple(sorted(found, key=lambda look: look.cost - look.value))


def worth(
    profit: Array, chances: Array, risk: float, may_buy: bool
) -> tuple[float, NDArray[np.bool_]]:
    """The value of a look, and after which findings to buy.

    ``profit`` (S,); ``chances`` (findings, S), P(finding | draw).
    """
    brings = chances @ profit / len(profit)
    buys = brings >= 0 if may_buy else allowed(profit, chances, risk)
    turned = ~buys if may_buy else buys
    return float(np.abs(brings[turned]).sum()), buys


def allowed(profit: Array, weights: Array, risk: float) -> NDArray[np.bool_]:
    """Whether she may buy, (k,), by each row of ``weights`` (k, S): profit expected, loss within the risk."""
    total, lost = weights.sum(axis=1), weights @ (profit < 0)
    within = lost <= risk * total + 1e-9 * len(profit)
    return np.asarray(within & (weights @ profit >= 0) & (total > 0))


def findings(state: State, check: Check, drawn: Drawn) -> Array | None:
    """P(each finding | each draw), (findings, S), columns sum to one; None where the look finds nothing new.

    Of what is read off a label the last finding is that nothing is there."""
    after = state.outcomes(check)
    if after is None:
        return None
    values = drawn.values.get(check.family)
    if values is not None:
        noted = after.there * _clue(state, check.family).noted(check.method)[values].T
        nothing = [] if after.there == 1 else [np.full((1, len(values)), 1 - after.there)]
        return np.concatenate([noted, *nothing])
    then = after.chance[:, None] * in_cells(after.joint / after.evidence[:, None, None])
    # a measurement outside its limits is refused: what is left is taken as all there is
    every = then.sum(axis=0)
    given = np.divide(then, every, out=np.zeros_like(then), where=every > 0)
    return np.asarray(given[:, drawn.cell])


def _clue(state: State, family: str) -> SharesClue:
    clue = state.model.clues[state.model.column[family]]
    assert isinstance(clue, SharesClue)
    return clue


def _words(state: State, check: Check, which: NDArray[np.bool_]) -> tuple[str, ...]:
    if check.family not in state.model.column:
        return ()
    values: Sequence[str] = _clue(state, check.family).values
    return tuple(compress(values, which.tolist()))
