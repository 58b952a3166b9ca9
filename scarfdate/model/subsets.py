"""The log odds of a claim under every subset of the clues of one scarf, in one product of matrices.

A subset's posterior is a sum over grade and year of a product of rows. The clues that depend on the
market are multiplied and the market summed out for each of their subsets; the style clues are mixed over
revivals for each of theirs; all others are plain products. So the subsets of a left half and of a right
half are worked out by themselves, and all pairs are one product (left subsets, cells) @ (cells, right
subsets).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import GRADES, Array
from scarfdate.model.model import Codes, Model
from scarfdate.words.claims import Claim, Marks

_LEAST = 1e-300
_UNSCALED = 4  # rows multiplied between scalings: each is above 1e-30
_TOGETHER = 4096  # subsets of market and style clues worked out at a time: some 15 MB


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
    odds = np.empty((2, 1 << len(style), len(left) * len(right)))
    # where neither kind of piece is marked nothing is added up: half of all cells, for a claim of years
    cells = [_marked(marks) for marks in (claim.says, claim.denies)]
    parts = [(left[:, at], right[:, at]) for at in cells]
    for place, both in _style_subsets(model, codes, style, claim, max(_TOGETHER // len(right), 1)):
        for side, (at, (on_left, on_right)) in enumerate(zip(cells, parts, strict=True)):
            held = _times(on_right, both[side][:, at]) @ on_left.T
            odds[side, place : place + len(both[side])] = held.reshape(len(both[side]), -1)
    log = np.log(np.maximum(odds.reshape(2, -1), _LEAST))
    return np.asarray(log[0] - log[1])


def years_of_subsets(model: Model, codes: Codes, columns: Sequence[int]) -> Array:
    """P(year | subset), (2**n, years), each summing to one; bit i for clue ``columns[i]``.

    ``columns`` are ordered as by `seen_columns`; a clue among them that was not looked at says nothing.
    """
    market = [column for column in columns if column in model.by_market.columns]
    style = [column for column in columns if column in model.style.columns]
    plain = columns[: len(columns) - len(market) - len(style)]
    every = np.ones((2, len(model.years)), dtype=bool)
    each = _style_subsets(model, codes, style, Claim("", every, ~every), 1 << len(style))
    whole = np.concatenate([says for _, (says, _) in each])
    rows = _products([_cells(model, codes, column) for column in plain], model.cells)
    rows = _times(_times(rows, _market_subsets(model, codes, market)), whole)
    year = rows.reshape(len(rows), len(GRADES), -1).sum(axis=1)
    return np.asarray(year / year.sum(axis=1, keepdims=True))


def _marked(marks: Marks) -> NDArray[np.intp]:
    """The cells, of all grades, of the years that are marked for either kind of piece."""
    either = marks[0] | marks[1]
    return np.flatnonzero(np.concatenate([either] * len(GRADES)))


def _cells(model: Model, codes: Codes, column: int) -> Array:
    """The row of a clue that does not depend on the market, (grades * years,)."""
    return np.asarray(model.clues[column].rows.table[int(codes[0, column])])


def _products(rows: Sequence[Array], cells: int) -> Array:
    """Products of every subset of the rows, (2**n, cells), now and then scaled to a maximum of one.

    A common factor of a subset is no matter: what is asked for is the ratio of two sums.
    """
    found = np.ones((1, cells))
    for place, row in enumerate(rows):
        found = np.concatenate((found, found * row))
        if place % _UNSCALED == _UNSCALED - 1:
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
    model: Model, codes: Codes, columns: Sequence[int], claim: Claim, together: int
) -> Iterator[tuple[int, tuple[Array, Array]]]:
    """Style subsets mixed over revivals, with the prior, where the claim says yes and where no.

    Some at a time, about ``together``, with the place of the first: all of them could fill the memory.
    """
    low = min(len(columns), max(together.bit_length() - 1, 0))
    few = _products([_cells(model, codes, column) for column in columns[:low]], model.cells)
    rho = model.revival_share
    prior_period, prior_later = model.prior * (1 - rho), model.prior * rho
    rest = _products([_cells(model, codes, column) for column in columns[low:]], model.cells)
    for place, row in enumerate(rest):
        style = (few * row).reshape(-1, len(GRADES), len(model.years))
        period = prior_period * style
        later = prior_later * (style @ model.looked_back_to.T)
        says, denies = (
            (period * marks[0] + later * marks[1]).reshape(len(style), -1)
            for marks in (claim.says, claim.denies)
        )
        yield place * len(few), (says, denies)
