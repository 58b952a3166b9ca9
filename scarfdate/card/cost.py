"""What a pocket card loses against the exact model, measured on simulated pieces it was not fitted to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scarfdate.card import fit
from scarfdate.card.fit import Codes, Points
from scarfdate.conventions import LEVEL
from scarfdate.knots import Array
from scarfdate.years import densest_cells

TRUSTED = 0.80  # the card may be trusted where it agrees so often with the exact decade
_MARGINS = 8  # points ahead: more are counted together
_CLUES = ((0, 3), (4, 6), (7, 9), (10, 99))  # clues looked at, from and to
_ENOUGH = 30  # pieces: a share of fewer is not worth printing

Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Share:
    """Some of the measured pieces: from ``low`` to ``high`` points ahead, or clues looked at.

    ``pieces``: what share of all they are; ``agree``: of them, where the card names the exact decade;
    ``true``: where it names the decade in which they were made. All from 0 to 1.
    """

    low: int
    high: int
    pieces: float
    agree: float
    true: float


@dataclass(frozen=True)
class Cost:
    """What a card costs. Shares run from 0 to 1; losses are bits a piece against the exact chances.

    ``pieces``: how many were measured. ``agree``: the card's decade is the exact one; ``near``: it or a
    neighbour; ``two``: the exact one has one of the two highest sums; ``inside``: it is among the fewest decades that hold 80 % of the exact chance.
    ``loss`` with its standard error ``loss_error``; ``rounded_loss``: of plainly rounded points;
    ``unrounded_loss``: of the weights before; ``prior_loss``: of knowing the channel alone.
    ``true`` and ``exact_true``: how often the card, and the exact model, name the decade made;
    ``two_true``: how often it has one of the two highest sums.
    ``by_margin``, ``by_clues``: by points ahead of the second decade, and by clues looked at.
    ``later_pieces``: of later pieces in an older look. ``trust_from``: the fewest points ahead from
    which card and exact agree in four of five; None where there are none.
    ``elsewhere``: channel to (loss, agreement) of this card on that channel's pieces.
    """

    pieces: int
    agree: float
    near: float
    two: float
    inside: float
    loss: float
    loss_error: float
    rounded_loss: float
    unrounded_loss: float
    prior_loss: float
    true: float
    exact_true: float
    two_true: float
    by_margin: tuple[Share, ...]
    by_clues: tuple[Share, ...]
    later_pieces: Share
    trust_from: int | None
    elsewhere: Mapping[str, tuple[float, float]]


def winner(sums: Points) -> NDArray[np.intp]:
    """The column with the highest sum; of equal ones the later, which claims less age."""
    return np.asarray(sums.shape[1] - 1 - sums[:, ::-1].argmax(axis=1), dtype=np.intp)


def margin(sums: Points) -> Points:
    """By how many points the highest sum leads the second."""
    top = np.sort(sums, axis=1)[:, -2:]
    return np.asarray(top[:, 1] - top[:, 0])


def measured_cost(
    points: Points,
    scale: float,
    codes: Codes,
    target: Array,
    *,
    true: NDArray[np.int64],
    later: Flags,
    rounded: Points,
    weights: Array,
    prior: Array,
    elsewhere: Mapping[str, tuple[float, float]],
) -> Cost:
    """The cost of ``points`` of ``scale`` nats on pieces ``codes`` with exact chances ``target``."""
    sums = fit.summed(points, codes)
    said, exact = winner(sums), target.argmax(axis=1)
    agree, right = said == exact, said == true
    lost = fit.loss(target, fit.softmax(scale * sums))
    ahead, looked = margin(sums), (codes > 0).sum(axis=1)
    steps = [(low, low) for low in range(_MARGINS)] + [(_MARGINS, 999)]

    def share(low: int, high: int, some: Flags) -> Share:
        return Share(
            low, high, float(some.mean()), float(agree[some].mean()), float(right[some].mean())
        )

    def shares(bounds: list[tuple[int, int]], of: NDArray[np.int64]) -> tuple[Share, ...]:
        parts = [(low, high, (of >= low) & (of <= high)) for low, high in bounds]
        return tuple(share(*part) for part in parts if part[2].sum() >= _ENOUGH)

    by_margin = shares(steps, ahead)
    trusted = None
    for one in reversed(by_margin):
        if one.agree < TRUSTED:
            break
        trusted = one.low
    rows = np.arange(len(codes))
    # of equal sums the later first, as in `winner`
    two = sums.shape[1] - 1 - np.argsort(-sums[:, ::-1], axis=1, kind="stable")[:, :2]
    return Cost(
        len(codes),
        float(agree.mean()),
        float((np.abs(said - exact) <= 1).mean()),
        float((two == exact[:, None]).any(axis=1).mean()),
        float(densest_cells(target, LEVEL)[rows, said].mean()),
        float(lost.mean()),
        float(lost.std(ddof=1) / np.sqrt(len(lost))),
        float(fit.loss(target, fit.chances(scale * rounded, codes)).mean()),
        float(fit.loss(target, fit.chances(weights, codes)).mean()),
        float(fit.loss(target, np.broadcast_to(prior, target.shape)).mean()),
        float(right.mean()),
        float((exact == true).mean()),
        float((two == true[:, None]).any(axis=1).mean()),
        by_margin,
        shares(list(_CLUES), looked),
        share(0, 999, later) if later.any() else Share(0, 999, 0.0, 0.0, 0.0),
        trusted,
        elsewhere,
    )
