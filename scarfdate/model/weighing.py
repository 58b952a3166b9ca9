"""How much each clue weighs, and which one does not fit the others.

For the claim "made between these years" a clue is weighed twice: alone, against the prior, and last,
against all the others. Good's weight of evidence is the change in log odds. Half the sum of the two
is the clue's share where there are two clues (Shapley), and a fair ranking where there are more.

A clue that does not fit: r = P(clue) / P(clue | the others). Under the model the average of r is one
whatever the others are, so that r is an e-value, and so is the average r over the clues. By Markov's
inequality the chance of an average of r or more is at most 1/r. That bound is ``predictive_p``: a
prior predictive p-value (Box 1980, "Sampling and Bayes' inference in scientific modelling and
robustness", Journal of the Royal Statistical Society A 143, 383-430) on the safe side (Vovk and Wang
2021, "E-values: calibration, combination and applications", Annals of Statistics 49, 1736-1754).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.clue import GROWING, NOT_LOOKED_AT, Rows
from scarfdate.conventions import DECIBANS_PER_NAT, GRADES, Array
from scarfdate.model.model import Codes, Model

_TILE = 128  # scarves weighed at a time
_SMALLEST = 1e-12  # odds are taken between this and one less it: no claim is beyond all doubt


@dataclass(frozen=True)
class Weighing:
    """For n scarves and each unit of evidence (`units`): decibans and surprise, (n, units).

    ``decibans`` for the claim that the piece was made in its interval, 0 where a unit was not looked
    at; ``surprise`` is r above, 0 where not looked at; ``evidence`` P(unit), 0 where not looked at;
    ``predictive_p`` (n,) lies between 0 and 1.
    """

    decibans: Array
    surprise: Array
    evidence: Array
    predictive_p: Array


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
    without, held = _left_out(model, codes, joint, first, last, parts)
    prior_total = np.concatenate(([0.0], np.cumsum(model.year_prior)))
    prior_odds = _log_odds(prior_total[last + 1] - prior_total[first])
    year = np.concatenate((np.zeros((n, 1)), joint.reshape(n, len(GRADES), -1).sum(axis=1)), axis=1)
    total = np.cumsum(year, axis=1)
    each = np.arange(n)
    posterior_odds = _log_odds(total[each, last + 1] - total[each, first])
    decibans, surprise, evidence = np.zeros((3, n, len(parts)))
    for place, columns in enumerate(parts):
        seen = np.flatnonzero(np.any(codes[:, columns] != NOT_LOOKED_AT, axis=1))
        if not seen.size:
            continue
        alone, index = _alone(model, columns, codes[seen])
        chance = alone.total[index, last[seen] + 1] - alone.total[index, first[seen]]
        first_in = _log_odds(chance) - prior_odds[seen]
        last_in = posterior_odds[seen] - _log_odds(held[seen, place] / without[seen, place])
        decibans[seen, place] = DECIBANS_PER_NAT * (first_in + last_in) / 2
        evidence[seen, place] = alone.evidence[index]
        surprise[seen, place] = evidence[seen, place] * without[seen, place]
    number = np.count_nonzero(surprise, axis=1)
    mean = surprise.sum(axis=1) / np.maximum(number, 1)
    return Weighing(decibans, surprise, evidence, 1 / np.maximum(mean, 1.0))


def _left_out(
    model: Model,
    codes: Codes,
    joint: Array,
    first: NDArray[np.intp],
    last: NDArray[np.intp],
    parts: list[tuple[int, ...]],
) -> tuple[Array, Array]:
    """P(all others) / P(all), and the same within the interval, each (n, units); 0 where not looked at.

    The joint divided by a unit's row is what all the others make of the piece. A style clue is mixed
    with the other style clues over revivals: there the whole style row is divided out, and the row of
    the others put in its place.
    """
    n = len(codes)
    without, held = np.zeros((n, len(parts))), np.zeros((n, len(parts)))
    looked = np.stack([np.any(codes[:, columns] != NOT_LOOKED_AT, axis=1) for columns in parts])
    indices: list[NDArray[np.intp]] = []
    for columns, seen in zip(parts, looked, strict=True):
        if columns == model.by_market.columns:
            indices.append(model.by_market.indices(model, codes))
        elif columns[0] in model.style.columns and seen.any():
            others = codes.copy()
            others[:, columns] = NOT_LOOKED_AT
            indices.append(model.style.indices(model, others))
        else:
            indices.append(codes[:, columns[0]].astype(np.intp))
    style = model.style.indices(model, codes)
    cells = np.arange(len(model.years))
    room = np.empty((5, min(_TILE, n), model.cells), dtype=np.float32)
    unstyle = model.style.rows.light(inverse=True)
    styled = model.style.rows.light(inverse=False)
    inverses = [
        _rows(model, columns).light(inverse=True)
        if seen.any() and columns[0] not in model.style.columns
        else None
        for columns, seen in zip(parts, looked, strict=True)
    ]
    for at in range(0, n, _TILE):
        tile = slice(at, min(at + _TILE, n))
        m = tile.stop - at
        inside = ((cells >= first[tile, None]) & (cells <= last[tile, None]))[:, None, :]
        here, within, row, unstyled, unstyled_within = room[:, :m]
        here[:] = joint[tile]
        np.take(unstyle, style[tile], axis=0, out=unstyled, mode="clip")
        np.multiply(unstyled, here, out=unstyled)
        for whole, part in ((here, within), (unstyled, unstyled_within)):
            shape = (m, len(GRADES), -1)
            np.multiply(whole.reshape(shape), inside, out=part.reshape(shape))
        for place, columns in enumerate(parts):
            if not looked[place, tile].any():
                continue
            index = indices[place][tile]
            inverse = inverses[place]
            if inverse is None:
                np.take(styled, index, axis=0, out=row, mode="clip")
                left, left_within = unstyled, unstyled_within
                scale = model.style.rows.log_scale[index] - model.style.rows.log_scale[style[tile]]
            else:
                np.take(inverse, index, axis=0, out=row, mode="clip")
                left, left_within = here, within
                scale = -_rows(model, columns).log_scale[index]
            without[tile, place] = np.vecdot(left, row)
            held[tile, place] = np.vecdot(left_within, row)
            factor = np.exp(scale)
            without[tile, place] *= factor
            held[tile, place] *= factor
    return without, held


@dataclass
class _Alone:
    """What each row of a unit says by itself: P(unit), and the running total of P(year | unit)."""

    evidence: Array
    total: Array


def _alone(model: Model, columns: tuple[int, ...], codes: Codes) -> tuple[_Alone, NDArray[np.intp]]:
    """`_Alone` of a unit's rows, kept with the model and grown when rows were added; and the row of each scarf."""
    prior: Array = np.ones(model.cells)
    if columns != model.by_market.columns and columns[0] in model.style.columns:
        only = np.zeros_like(codes)
        only[:, columns] = codes[:, columns]
        rows, index = model.style.rows, model.style.indices(model, only)
        key = model.style.columns  # the prior is in the style rows already
    else:
        rows, key = _rows(model, columns), columns
        market = columns == model.by_market.columns
        index = (
            model.by_market.indices(model, codes)
            if market
            else codes[:, columns[0]].astype(np.intp)
        )
        prior = model.prior.reshape(-1)
    with GROWING:
        known = model.marginals[key] = _grown(model, model.marginals.get(key), rows, prior)
    return known, index


def _grown(model: Model, known: _Alone | None, rows: Rows, prior: Array) -> _Alone:
    """`_Alone` of all rows, from that of the first of them."""
    done = 0 if known is None else len(known.evidence)
    if known is None or done < rows.count:
        year = (rows.table[done:] * prior).reshape(-1, len(GRADES), len(model.years)).sum(axis=1)
        evidence = year.sum(axis=1)
        total = np.zeros((len(year), len(model.years) + 1))
        np.cumsum(year / evidence[:, None], axis=1, out=total[:, 1:])
        evidence = evidence * np.exp(rows.log_scale[done:])
        if known is not None:
            evidence = np.concatenate((known.evidence, evidence))
            total = np.concatenate((known.total, total))
        known = _Alone(evidence, total)
    return known


def _rows(model: Model, columns: tuple[int, ...]) -> Rows:
    return (
        model.by_market.rows if columns == model.by_market.columns else model.clues[columns[0]].rows
    )


def _log_odds(chance: Array) -> Array:
    sure = np.clip(chance, _SMALLEST, 1 - _SMALLEST)
    return np.asarray(np.log(sure / (1 - sure)))
