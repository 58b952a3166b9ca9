"""The exponents by which somebody weighs clues, from the chips that she laid; and how sure they are.

Each chip is a record whose year is known to its decade, as in `scarfdate.learning.trust`, of a piece of which
just the clues shown so far are known:

    log likelihood  =  sum over bets  sum over chips  log [ (1 - s) P(decade | clues so far) + s / decades ]

with P as in `scarfdate.practising.believed`, and a share s of chips laid at random, so that one slip of the hand
does not move a weight far. An interval counts as ten chips too: eight within, one before and one after, for it
is taken to hold 80 %. What she expects before any look is hers, too: a factor for each decade.

The prior is normal, wide, and centred on the tables: exponents 1 give or take 1, logs of the factors 0 give or
take 1. So a clue that was never shown is 1 give or take 1, and none lies at the end of a range.

The bets on one piece hang together: each is laid with the one before in mind, and ten chips laid in thought are
not ten draws. So the error counts pieces, not chips: it is that of the sandwich, with what each piece pulls (its
score) taken whole, corrected for few pieces as in R. M. Bell and D. F. McCaffrey 2002, "Bias reduction in standard
errors for linear regression with multi-stage samples", Survey Methodology 28, 169-181, and with Student's t of as
many degrees of freedom as pieces that tell of the clue (their Satterthwaite approximation, each piece by itself).
The prior counts as one piece more, whose pull is known. Formulas from memory, held by simulation in the tests.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import FIRST_YEAR, LEVEL, Array
from scarfdate.practising.believed import Believed
from scarfdate.practising.bet import CHIPS, Bet, alike

CENTRE, SPREAD = 1.0, 1.0  # of the prior of an exponent
EXPECTED = 1.0  # spread of that of the log factor of a decade
SLIP = 0.02  # chips laid at random: one in five bets
_STEPS = 60
_CLOSE = 1e-6


@dataclass(frozen=True, eq=False, kw_only=True)
class Fitted:
    """Of each clue, (clues,): the exponent, its standard error, the degrees of freedom of that error, and how
    many pieces showed it. ``expected`` (decades,): logs of the factors by which she expects each decade more
    than the tables do, before any look."""

    clues: tuple[str, ...]
    exponent: Array
    error: Array
    freedom: Array
    pieces: Array
    expected: Array

    def interval(self, level: float) -> tuple[Array, Array]:
        """The central interval of each exponent."""
        from scipy.special import stdtrit

        off = stdtrit(self.freedom, (1 + level) / 2) * self.error
        return self.exponent - off, self.exponent + off


def fit(pieces: Sequence[Believed], bets: Sequence[Sequence[Bet]]) -> Fitted:
    """The exponents from the bets on each piece, one before anything was shown and one after each clue."""
    clues = tuple(sorted({clue for piece in pieces for clue in piece.clues}))
    decades = max(piece.decades for piece in pieces)
    laid = [_Laid(*each, clues) for each in zip(pieces, bets, strict=True)]
    centre = np.concatenate((np.full(len(clues), CENTRE), np.zeros(decades)))
    prior = np.repeat([SPREAD**-2, EXPECTED**-2], [len(clues), decades])

    def at(theta: Array) -> tuple[float, Array, Array]:
        """The log posterior, and of every piece the score and the information of ten chips a bet."""
        score, information = (
            np.zeros((len(laid), len(theta))),
            np.zeros((len(laid), *[len(theta)] * 2)),
        )
        value = -0.5 * float(prior @ (theta - centre) ** 2)
        for place, one in enumerate(laid):
            more, score[place, one.at], information[place][np.ix_(one.at, one.at)] = one.pull(theta)
            value += more
        return value, score, information

    theta = centre
    value, score, information = at(theta)
    for _ in range(_STEPS):
        slope = score.sum(axis=0) - prior * (theta - centre)
        step = np.linalg.solve(information.sum(axis=0) + np.diag(prior), slope)
        ahead = at(theta + step)
        while ahead[0] < value and np.abs(step).max() > _CLOSE:
            step = step / 2
            ahead = at(theta + step)
        if ahead[0] < value:
            break
        theta, (value, score, information) = theta + step, ahead
        if np.abs(step).max() < _CLOSE:
            break
    error, freedom = _sandwich(score, information, prior)
    n = len(clues)
    return Fitted(
        clues=clues,
        exponent=theta[:n],
        error=error[:n],
        freedom=freedom[:n],
        pieces=np.array([sum(clue in piece.clues for piece in pieces) for clue in clues]),
        expected=theta[n:],
    )


def _sandwich(score: Array, information: Array, prior: Array) -> tuple[Array, Array]:
    """The standard errors, and their degrees of freedom.

    With A the information of all pieces and the prior, and B_i = A^-1/2 H_i A^-1/2 the part of piece i, its pull
    is taken as (I - B_i)^-1/2 A^-1/2 s_i: of the expected size, though the fit has bent towards each piece.
    """
    whole = information.sum(axis=0) + np.diag(prior)
    values, vectors = np.linalg.eigh(whole)
    root = (vectors / np.sqrt(values)) @ vectors.T
    known = root @ (root @ np.diag(prior) @ root) @ root
    part = root @ information @ root  # (pieces, parameters, parameters)
    values, vectors = np.linalg.eigh(np.eye(len(whole)) - part)
    unbent = np.einsum("iab,ib,icb->iac", vectors, 1 / np.sqrt(np.maximum(values, 1e-9)), vectors)
    pull = np.einsum("ab,ibc,cd,id->ia", root, unbent, root, score, optimize=True)
    expected = np.einsum("ab,ibc,ca->ia", root, part, root, optimize=True)
    fixed = np.diag(known)
    total = fixed + expected.sum(axis=0)
    with np.errstate(divide="ignore"):
        freedom = total**2 / (expected**2).sum(axis=0)
    return np.sqrt(fixed + (pull**2).sum(axis=0)), freedom


class _Laid:
    """The bets on one piece: of each, where its chips lie."""

    def __init__(self, piece: Believed, bets: Sequence[Bet], clues: Sequence[str]) -> None:
        self.piece = piece
        own = [clues.index(clue) for clue in piece.clues]
        self.own = len(own)
        self.at = np.array([*own, *(len(clues) + place for place in range(piece.decades))])
        stretches = _cells(bets, piece)
        most = max(len(chips) for _, chips in stretches)
        self.cells = np.zeros((len(bets), most, len(piece.decade)))
        self.chips = np.zeros((len(bets), most))
        for place, (cells, chips) in enumerate(stretches):
            self.cells[place, : len(cells)], self.chips[place, : len(cells)] = cells, chips
        even = self.cells.mean(axis=2)
        self.by_slip = SLIP * np.where(even > 0, even, 1.0)  # what is no stretch holds no chip

    def pull(self, theta: Array) -> tuple[float, Array, Array]:
        """The log likelihood, its score (parameters,) and expected information."""
        here = theta[self.at]
        year, slope = self.piece.years(here[: self.own], here[self.own :])
        chance = (1 - SLIP) * (self.cells @ year[:, :, None])[:, :, 0] + self.by_slip
        moves = (1 - SLIP) * (self.cells @ slope.transpose(0, 2, 1)).reshape(-1, len(here))
        value = float((self.chips * np.log(chance)).sum())
        score = (self.chips / chance).reshape(-1) @ moves
        laid = (self.chips.sum(axis=1, keepdims=True) / chance).reshape(-1, 1)
        return value, score, moves.T @ (laid * moves)


def _cells(bets: Sequence[Bet], piece: Believed) -> list[tuple[Array, Array]]:
    """Of each bet, stretches of years (stretches, years) that part all years, and the chips on each."""
    by_decade = 1.0 * (piece.decade == np.arange(piece.decades)[:, None])
    at = np.arange(len(piece.decade)) + FIRST_YEAR
    if all(bet.interval for bet in bets):
        return [_of_interval(*bet.interval, at) for bet in bets if bet.interval]
    if all(bet.chips for bet in bets):
        return [(by_decade, np.array(bet.chips, float)) for bet in bets]
    return [(by_decade, CHIPS * shares) for shares in alike(bets)]


def _of_interval(first: int, last: int, at: NDArray[np.int64]) -> tuple[Array, Array]:
    stretches = np.array([at < first, (first <= at) & (at <= last), last < at])
    some = stretches.any(axis=1)
    outside = CHIPS * (1 - LEVEL) / 2
    chips = np.array([outside, CHIPS * LEVEL, outside])
    return 1.0 * stretches[some], chips[some]
