"""The log odds of a claim under every subset of the clues of one scarf, in one product of matrices.

A subset's posterior is a sum over grade and year of a product of rows. The clues that depend on the
market are multiplied and the market summed out for each of their subsets; the style clues are mixed over
revivals for each of theirs; all others are plain products. So the subsets of a left half and of a right
half are worked out by themselves, and all pairs are one product (left subsets, cells) @ (cells, right
subsets).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from scarfdate.claims import Claim
from scarfdate.conventions import GRADES
from scarfdate.knots import Array
from scarfdate.model import Codes, Model

_LEAST = 1e-300


def seen_columns(model: Model, codes: Codes) -> list[int]:
    """The clues that were looked at, plain ones first, then those of the market, then style."""
    market, style = model.by_market.columns, model.style.columns
    looked = [column for column in range(len(model.clues)) if codes[0, column]]
    plain = [column for column in looked if column not in market and column not in style]
    return [*plain, *(c for c in looked if c in market), *(c for c in looked if c in style)]


def log_odds_of_subsets(model: Model, codes: Codes, claim: Claim, columns: Sequence[int]) -> Array:
    """Natural log odds of the claim, (2**n,): bit i says that clue ``columns[i]`` is counted.

    ``columns`` are ordered as by `seen_columns`.
    """
    market = [column for column in columns if column in model.by_market.columns]
    style = [column for column in columns if column in model.style.columns]
    plain = columns[: len(columns) - len(market) - len(style)]
    half = min(len(plain), (len(columns) + 1) // 2)
    left = _products([_cells(model, codes, column) for column in plain[:half]], model.cells)
    right = _products([_cells(model, codes, column) for column in plain[half:]], model.cells)
    right = _times(right, _market_subsets(model, codes, market))
    says, denies = _style_subsets(model, codes, style, claim)
    odds = []
    for marks in (says, denies):
        held = _times(right, marks)
        odds.append((held @ left.T).reshape(-1))
    return np.asarray(np.log(np.maximum(odds[0], _LEAST)) - np.log(np.maximum(odds[1], _LEAST)))


def years_of_subsets(model: Model, codes: Codes, columns: Sequence[int]) -> Array:
    """P(year | subset), (2**n, years), each summing to one; bit i for clue ``columns[i]``.

    ``columns`` are ordered as by `seen_columns`; a clue among them that was not looked at says nothing.
    """
    market = [column for column in columns if column in model.by_market.columns]
    style = [column for column in columns if column in model.style.columns]
    plain = columns[: len(columns) - len(market) - len(style)]
    every = np.ones((2, len(model.years)), dtype=bool)
    whole, _ = _style_subsets(model, codes, style, Claim("", every, ~every))
    rows = _products([_cells(model, codes, column) for column in plain], model.cells)
    rows = _times(_times(rows, _market_subsets(model, codes, market)), whole)
    year = rows.reshape(len(rows), len(GRADES), -1).sum(axis=1)
    return np.asarray(year / year.sum(axis=1, keepdims=True))


def _cells(model: Model, codes: Codes, column: int) -> Array:
    clue = model.clues[column]
    row = clue.rows.table[codes[0, column]].reshape(clue.shape)
    return np.broadcast_to(row, (1, len(GRADES), len(model.years))).reshape(-1)


def _products(rows: Sequence[Array], cells: int) -> Array:
    """Products of every subset of the rows, (2**n, cells), each scaled to a maximum of one.

    A common factor of a subset is no matter: what is asked for is the ratio of two sums.
    """
    found = np.ones((1, cells))
    for row in rows:
        found = np.concatenate((found, found * row))
        found /= np.maximum(found.max(axis=1, keepdims=True), _LEAST)
    return found


def _times(low: Array, high: Array) -> Array:
    """Products of every pair of subsets; the bits of ``low`` come first."""
    return np.asarray((high[:, None, :] * low[None, :, :]).reshape(-1, low.shape[1]))


def _market_subsets(model: Model, codes: Codes, columns: Sequence[int]) -> Array:
    each = np.broadcast_to(model.market[:, None, :], model.shape)[None]
    for column in columns:
        clue = model.clues[column]
        row = np.broadcast_to(clue.rows.table[codes[0, column]].reshape(clue.shape), model.shape)
        each = np.concatenate((each, each * row))
    summed = each.sum(axis=1).reshape(len(each), -1)
    return np.asarray(summed / summed.max(axis=1, keepdims=True))


def _style_subsets(
    model: Model, codes: Codes, columns: Sequence[int], claim: Claim
) -> tuple[Array, Array]:
    """Style subsets mixed over revivals, with the prior, where the claim says yes and where no."""
    shape = (len(GRADES), len(model.years))
    style = _products([_cells(model, codes, column) for column in columns], model.cells)
    style = style.reshape(-1, *shape)
    rho = model.revival_share
    period = model.prior * (1 - rho) * style
    later = model.prior * rho * (style @ model.looked_back_to.T)
    says, denies = (
        (period * marks[0] + later * marks[1]).reshape(len(style), -1)
        for marks in (claim.says, claim.denies)
    )
    return says, denies
