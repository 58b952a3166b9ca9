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
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.clue import GROWING, NOT_LOOKED_AT, Rows
from scarfdate.conventions import DECIBANS_PER_NAT, GRADES, Array
from scarfdate.model.model import Codes, Model

_TILE = 256  # scarves weighed at a time
_SMALLEST = 1e-12  # odds are taken between this and one less it: no claim is beyond all doubt


@dataclass(frozen=True)
class Weighing:
    """For n scarves and each unit of evidence (`Model.units`): decibans and surprise, (n, units).

    ``decibans`` for the claim that the piece was made in the years asked about (the sentence asks about the
    decade that it names), 0 where a unit was not looked at; ``surprise`` is r above, 0 where not looked at; ``evidence`` P(unit), 0 where not looked at;
    ``predictive_p`` (n,) lies between 0 and 1.
    """

    decibans: Array
    surprise: Array
    evidence: Array
    predictive_p: Array


def weigh(
    model: Model,
    codes: Codes,
    joint: NDArray[np.floating[Any]],
    total: Array,
    first: NDArray[np.intp],
    last: NDArray[np.intp],
) -> Weighing:
    """Weigh every unit of n scarves.

    ``codes`` (n, clues); ``joint`` (n, grades * years) as from the posterior; ``total`` (n, years + 1):
    P(at or before each year), as from `years.cumulative`; ``first``, ``last`` (n,): the cells of each
    interval.
    """
    noted = np.ascontiguousarray(codes.T) != NOT_LOOKED_AT
    looked = np.stack([noted[list(columns)].any(axis=0) for columns in model.units])
    without, held = _left_out(model, codes, joint, first, last, looked)
    each = np.arange(len(codes))
    prior_total = np.concatenate(([0.0], np.cumsum(model.year_prior)))
    prior_odds = _log_odds(prior_total[last + 1] - prior_total[first])
    posterior_odds = _log_odds(total[each, last + 1] - total[each, first])
    decibans, surprise, evidence = np.zeros((3, *without.shape))
    for place, columns in enumerate(model.units):
        seen = np.flatnonzero(looked[place])
        if not seen.size:
            continue
        alone, index = _alone(model, columns, codes[seen])
        chance = alone.total[index, last[seen] + 1] - alone.total[index, first[seen]]
        first_in = _log_odds(chance) - prior_odds[seen]
        last_in = posterior_odds[seen] - _log_odds(held[place, seen] / without[place, seen])
        decibans[place, seen] = DECIBANS_PER_NAT * (first_in + last_in) / 2
        evidence[place, seen] = alone.evidence[index]
        surprise[place, seen] = evidence[place, seen] * without[place, seen]
    mean = surprise.sum(axis=0) / np.maximum(looked.sum(axis=0), 1)
    return Weighing(decibans.T, surprise.T, evidence.T, 1 / np.maximum(mean, 1.0))


def alone(
    model: Model,
    columns: tuple[int, ...],
    codes: Codes,
    first: NDArray[np.intp],
    last: NDArray[np.intp],
) -> Array:
    """What the clues ``columns`` of one unit weigh by themselves for each claim, (n,), in decibans."""
    prior_total = np.concatenate(([0.0], np.cumsum(model.year_prior)))
    known, index = _alone(model, columns, codes)
    chance = known.total[index, last + 1] - known.total[index, first]
    change = _log_odds(chance) - _log_odds(prior_total[last + 1] - prior_total[first])
    return np.asarray(DECIBANS_PER_NAT * change)


def _left_out(
    model: Model,
    codes: Codes,
    joint: NDArray[np.floating[Any]],
    first: NDArray[np.intp],
    last: NDArray[np.intp],
    looked: NDArray[np.bool_],
) -> tuple[Array, Array]:
    """P(all others) / P(all), and the same within the interval, each (units, n), as ``looked`` is.

    The joint divided by a unit's row is what all the others make of the piece. A style clue is mixed
    with the other style clues over revivals: there the whole style row is divided out, and the row of
    the others put in its place. Of a unit that was not looked at nothing is said.
    """
    style = model.style.indices(model, codes)
    others = [
        _others_of(model, columns, codes, style) if seen.any() else None
        for columns, seen in zip(model.units, looked, strict=True)
    ]
    without, held = np.zeros((2, *looked.shape))
    cells = np.arange(len(model.years), dtype=np.int16)
    first, last = first.astype(np.int16), last.astype(np.int16)
    room = np.empty((4, min(_TILE, len(codes)), model.cells), dtype=np.float32)
    unstyle = model.style.rows.light(inverse=True)
    for at in range(0, len(codes), _TILE):
        tile = slice(at, min(at + _TILE, len(codes)))
        m = tile.stop - at
        inside = ((cells >= first[tile, None]) & (cells <= last[tile, None]))[:, None, :]
        here = np.asarray(joint[tile], dtype=np.float32)
        within, row, unstyled, unstyled_within = room[:, :m]
        np.take(unstyle, style[tile], axis=0, out=unstyled, mode="clip")
        np.multiply(unstyled, here, out=unstyled)
        for whole, part in ((here, within), (unstyled, unstyled_within)):
            shape = (m, len(GRADES), -1)
            np.multiply(whole.reshape(shape), inside, out=part.reshape(shape))
        for place, one in enumerate(others):
            if one is None or not looked[place, tile].any():
                continue
            left, left_within = (unstyled, unstyled_within) if one.style else (here, within)
            np.take(one.table, one.which[tile], axis=0, out=row, mode="clip")
            without[place, tile] = np.vecdot(left, row)
            held[place, tile] = np.vecdot(left_within, row)
    for place, one in enumerate(others):
        if one is not None:
            factor = np.exp(one.log_scale)
            without[place] *= factor
            held[place] *= factor
    return without, held


class _Others(NamedTuple):
    """The row that turns each joint into what all other units make of it, in ``table``; ``which`` (n,).

    ``log_scale`` (n,) belongs to the product. For ``style`` clues the style rows are divided out before.
    """

    table: NDArray[np.float32]
    which: NDArray[np.intp]
    log_scale: Array
    style: bool


def _others_of(
    model: Model, columns: tuple[int, ...], codes: Codes, style: NDArray[np.intp]
) -> _Others:
    if columns[0] in model.style.columns:
        without = codes.copy()
        without[:, columns] = NOT_LOOKED_AT
        rows, which = model.style.rows, model.style.indices(model, without)
        scale = rows.log_scale[which] - rows.log_scale[style]
        return _Others(rows.light(inverse=False), which, scale, True)
    rows, which = rows_of_unit(model, columns, codes)
    return _Others(rows.light(inverse=True), which, -rows.log_scale[which], False)


@dataclass
class _Alone:
    """What each row of a unit says by itself: P(unit), and the running total of P(year | unit)."""

    evidence: Array
    total: Array


def _alone(model: Model, columns: tuple[int, ...], codes: Codes) -> tuple[_Alone, NDArray[np.intp]]:
    """`_Alone` of a unit's rows, kept with the model and grown when rows were added; and the row of each scarf."""
    prior: Array = np.ones(model.cells)
    if columns[0] in model.style.columns:
        only = np.zeros_like(codes)
        only[:, columns] = codes[:, columns]
        rows, index = model.style.rows, model.style.indices(model, only)
        key = model.style.columns  # the prior is in the style rows already
    else:
        (rows, index), key = rows_of_unit(model, columns, codes), columns
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


def rows_of_unit(
    model: Model, columns: tuple[int, ...], codes: Codes
) -> tuple[Rows, NDArray[np.intp]]:
    """The rows of a unit as it is by itself, a style clue not yet mixed over revivals; and that of each scarf."""
    if columns == model.by_market.columns:
        return model.by_market.rows, model.by_market.indices(model, codes)
    (column,) = columns
    return model.clues[column].rows, codes[:, column].astype(np.intp)


def _log_odds(chance: Array) -> Array:
    sure = np.clip(chance, _SMALLEST, 1 - _SMALLEST)
    return np.asarray(np.log(sure / (1 - sure)))
