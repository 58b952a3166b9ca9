"""How much each clue weighs, and which one does not fit the others.

For the claim "made between these years" a clue is weighed twice: alone, against the prior, and last,
against all the others. Good's weight of evidence is the change in log odds. Half the sum of the two
is the clue's share where there are two clues (Shapley), and a fair ranking where there are more.

A clue that does not fit: r = P(clue) / P(clue | the others). Under the model the average of r is one
whatever the others are, so that r is an e-value, and so is the average r over the clues. By Markov's
inequality the chance of an average of r or more is at most 1/r. That bound is the agreement: a
prior-predictive p-value, on the safe side (Vovk and Wang 2021, "E-values: calibration, combination and
applications", Annals of Statistics 49, 1736-1754).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.clue import NOT_LOOKED_AT, Rows
from scarfdate.conventions import DECIBANS_PER_NAT, GRADES
from scarfdate.knots import Array
from scarfdate.model import Codes, Model

_TILE = 64
_SMALLEST = 1e-12  # odds are taken between this and one less it: no claim is beyond all doubt


@dataclass(frozen=True)
class Weighing:
    """For n scarves and each unit of evidence (`units`): decibans and surprise, (n, units).

    ``decibans`` for the claim that the piece was made in its interval, 0 where a unit was not looked
    at; ``surprise`` is r above, 0 where not looked at; ``agreement`` (n,) lies between 0 and 1.
    """

    decibans: Array
    surprise: Array
    agreement: Array


def units(model: Model) -> list[tuple[int, ...]]:
    """What is weighed as one: each clue, and all clues that depend on the market together."""
    plain = [(column,) for group in model.plain for column in group.columns]
    market = [model.by_market.columns] if model.by_market.columns else []
    return sorted([*plain, *market, *((column,) for column in model.style.columns)])


def weigh(
    model: Model, codes: Codes, joint: Array, first: NDArray[np.intp], last: NDArray[np.intp]
) -> Weighing:
    """Weigh every unit of n scarves.

    ``codes`` (n, clues); ``joint`` (n, grades * years) as from the posterior; ``first``, ``last``
    (n,): the cells of each interval.
    """
    n, parts = len(codes), units(model)
    decibans, surprise = np.zeros((n, len(parts))), np.zeros((n, len(parts)))
    cells = np.arange(len(model.years))
    inside = ((cells >= first[:, None]) & (cells <= last[:, None])).astype(float)
    year = joint.reshape(n, len(GRADES), -1).sum(axis=1)
    posterior_odds = _log_odds(np.einsum("ij,ij->i", year, inside))
    prior_total = np.concatenate(([0.0], np.cumsum(model.year_prior)))
    prior_odds = _log_odds(prior_total[last + 1] - prior_total[first])
    style = model.style.indices(model, codes) if np.any(codes[:, model.style.columns]) else None
    for place, columns in enumerate(parts):
        seen = np.flatnonzero(np.any(codes[:, columns] != NOT_LOOKED_AT, axis=1))
        if not seen.size:
            continue
        rows, index, over, over_index = _rows_of(model, columns, codes[seen], style, seen)
        without, held = _left_out(joint, inside, seen, rows, index, over, over_index)
        evidence, total = _alone(model, columns, rows, index, codes[seen])
        alone = total[np.arange(len(seen)), last[seen] + 1] - total[np.arange(len(seen)), first[seen]]
        first_in = _log_odds(alone) - prior_odds[seen]
        last_in = posterior_odds[seen] - _log_odds(held / without)
        decibans[seen, place] = DECIBANS_PER_NAT * (first_in + last_in) / 2
        surprise[seen, place] = evidence * without
    number = np.count_nonzero(surprise, axis=1)
    mean = surprise.sum(axis=1) / np.maximum(number, 1)
    agreement = 1 / np.maximum(mean, 1.0)
    return Weighing(decibans, surprise, agreement)


def _rows_of(
    model: Model,
    columns: tuple[int, ...],
    codes: Codes,
    style: NDArray[np.intp] | None,
    seen: NDArray[np.intp],
) -> tuple[Rows, NDArray[np.intp], Rows | None, NDArray[np.intp] | None]:
    """The unit's rows. For a style clue: the rows with it, and those of the others without it."""
    if columns == model.by_market.columns:
        return model.by_market.rows, model.by_market.indices(model, codes), None, None
    (column,) = columns
    if column in model.style.columns and style is not None:
        without = codes.copy()
        without[:, column] = NOT_LOOKED_AT
        others = model.style.indices(model, without)
        return model.style.rows, style[seen], model.style.rows, others
    return model.clues[column].rows, codes[:, column].astype(np.intp), None, None


def _left_out(
    joint: Array,
    inside: Array,
    seen: NDArray[np.intp],
    rows: Rows,
    index: NDArray[np.intp],
    over: Rows | None,
    over_index: NDArray[np.intp] | None,
) -> tuple[Array, Array]:
    """P(all others) / P(all), and the same within the interval, for each scarf that has the unit.

    The joint divided by the unit's row is what all the others make of the piece.
    """
    without, held = np.empty(len(seen)), np.empty(len(seen))
    years = inside.shape[1]
    for at in range(0, len(seen), _TILE):
        here = slice(at, at + _TILE)
        row = rows.table[index[here]]
        others = joint[seen[here]] / row
        scale = -rows.log_scale[index[here]]
        if over is not None and over_index is not None:
            others *= over.table[over_index[here]]
            scale = scale + over.log_scale[over_index[here]]
        year = others.reshape(len(others), -1, years).sum(axis=1)
        factor = np.exp(scale)
        without[here] = year.sum(axis=1) * factor
        held[here] = np.einsum("ij,ij->i", year, inside[seen[here]]) * factor
    return without, held


def _alone(
    model: Model, columns: tuple[int, ...], rows: Rows, index: NDArray[np.intp], codes: Codes
) -> tuple[Array, Array]:
    """P(unit), (n,), and the running total of P(year | unit alone), (n, years + 1)."""
    column = columns[0]
    if columns != model.by_market.columns and column in model.style.columns:
        only = np.zeros_like(codes)
        only[:, column] = codes[:, column]
        index, prior = model.style.indices(model, only), 1.0
        kind: tuple[int, ...] = (-1,)
    else:
        prior = model.prior.reshape(-1)
        kind = columns
    kinds, back = np.unique(index, return_inverse=True)
    evidence, total = np.empty(len(kinds)), np.empty((len(kinds), len(model.years) + 1))
    for place, row in enumerate(kinds.tolist()):
        key = (kind, row)
        found = model.marginals.get(key)
        if found is None:
            year = (rows.table[row] * prior).reshape(len(GRADES), -1).sum(axis=0)
            found = (
                float(year.sum() * np.exp(rows.log_scale[row])),
                np.concatenate(([0.0], np.cumsum(year / year.sum()))),
            )
            model.marginals[key] = found
        evidence[place], total[place] = found
    return evidence[back], total[back]


def _log_odds(chance: Array) -> Array:
    sure = np.clip(chance, _SMALLEST, 1 - _SMALLEST)
    return np.asarray(np.log(sure / (1 - sure)))


