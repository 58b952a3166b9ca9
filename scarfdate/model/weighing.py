"""How much each clue weighs, and which one does not fit the others.

For the claim "made between these years" a clue is weighed twice: alone, against the prior, and last,
against all the others. Good's weight of evidence is the change in log odds. Half the sum of the two
is the clue's share where there are two clues (Shapley), and a fair ranking where there are more. The years
within and those beyond are summed each by themselves: where papers leave a chance of one in a million million,
one less the other would have no digit left.

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
from scarfdate.model.posterior import posterior

_TILE = 256  # scarves weighed at a time
_LEAST = 1e-300  # so that a part of no years, or a state without likelihood, still has a logarithm
_TOO_SMALL = 1e-20  # of the joint: below this its cells may have been lost in single precision


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
    first: NDArray[np.intp],
    last: NDArray[np.intp],
) -> Weighing:
    """Weigh every unit of n scarves.

    ``codes`` (n, clues); ``joint`` (n, grades * years) as from the posterior; ``first``, ``last`` (n,): the
    cells of each interval.
    """
    noted = np.ascontiguousarray(codes.T) != NOT_LOOKED_AT
    looked = np.stack([noted[list(columns)].any(axis=0) for columns in model.units])
    every = _left_out(model, codes, joint, first, last, looked)
    lost = np.flatnonzero(np.minimum(every.within, every.beyond)[-1] < _TOO_SMALL)
    if lost.size:
        again = posterior(model, codes[lost], keep_joint=np.float64).joint
        assert again is not None
        some = _left_out(model, codes[lost], again, first[lost], last[lost], looked[:, lost])
        for whole, part in zip(every, some, strict=True):
            whole[..., lost] = part
    odds = _log_odds(every.within, every.beyond)
    prior_odds = _Running.of(model.year_prior[None]).log_odds(
        np.zeros(len(codes), np.intp), first, last
    )
    decibans, surprise, evidence = np.zeros((3, *looked.shape))
    for place, columns in enumerate(model.units):
        seen = np.flatnonzero(looked[place])
        if not seen.size:
            continue
        alone, index = _alone(model, columns, codes[seen])
        first_in = alone.running.log_odds(index, first[seen], last[seen]) - prior_odds[seen]
        last_in = odds[-1, seen] - odds[place, seen]
        decibans[place, seen] = DECIBANS_PER_NAT * (first_in + last_in) / 2
        evidence[place, seen] = alone.evidence[index]
        surprise[place, seen] = evidence[place, seen] * every.without[place, seen]
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
    known, index = _alone(model, columns, codes)
    prior = _Running.of(model.year_prior[None]).log_odds(np.zeros(len(codes), np.intp), first, last)
    return np.asarray(DECIBANS_PER_NAT * (known.running.log_odds(index, first, last) - prior))


class _LeftOut(NamedTuple):
    """``without`` (units, n): P(all others) / P(all). ``within``, ``beyond`` (units + 1, n): how much of what the
    others make of a piece lies in the interval and how much outside, on one scale; in the last row that of all."""

    without: Array
    within: Array
    beyond: Array


def _left_out(
    model: Model,
    codes: Codes,
    joint: NDArray[np.floating[Any]],
    first: NDArray[np.intp],
    last: NDArray[np.intp],
    looked: NDArray[np.bool_],
) -> _LeftOut:
    """Every unit left out in turn, in the precision of the joint.

    The joint divided by a unit's row is what all the others make of the piece. A style clue is mixed
    with the other style clues over revivals: there the whole style row is divided out, and the row of
    the others put in its place. Of a unit that was not looked at nothing is said.
    """
    style, light = model.style.indices(model, codes), joint.dtype == np.float32
    others = [
        _others_of(model, columns, codes, style, light) if seen.any() else None
        for columns, seen in zip(model.units, looked, strict=True)
    ]
    without = np.zeros(looked.shape)
    sums = np.zeros((2, len(looked) + 1, len(codes)))  # within, and beyond
    cells = np.arange(len(model.years), dtype=np.int16)
    first, last = first.astype(np.int16), last.astype(np.int16)
    room = np.empty((6, min(_TILE, len(codes)), model.cells), dtype=joint.dtype)
    unstyle, style = _table(model.style.rows, style, light, inverse=True)
    for at in range(0, len(codes), _TILE):
        tile = slice(at, min(at + _TILE, len(codes)))
        m = tile.stop - at
        inside = ((cells >= first[tile, None]) & (cells <= last[tile, None]))[:, None, :]
        here = joint[tile]
        row, unstyled = room[:2, :m]
        np.take(unstyle, style[tile], axis=0, out=unstyled, mode="clip")
        np.multiply(unstyled, here, out=unstyled)
        for whole, parts in ((here, room[2:4, :m]), (unstyled, room[4:, :m])):
            shape = (m, len(GRADES), -1)
            for part, which in zip(parts, (inside, ~inside), strict=True):
                np.multiply(whole.reshape(shape), which, out=part.reshape(shape))
        np.sum(room[2:4, :m], axis=2, out=sums[:, -1, tile])
        for place, one in enumerate(others):
            if one is None or not looked[place, tile].any():
                continue
            np.take(one.table, one.which[tile], axis=0, out=row, mode="clip")
            left = room[4:, :m] if one.style else room[2:4, :m]
            sums[:, place, tile] = np.vecdot(left, row)
    for place, one in enumerate(others):
        if one is not None:
            without[place] = sums[:, place].sum(axis=0) * np.exp(one.log_scale)
    return _LeftOut(without, *sums)


def _table(
    rows: Rows, which: NDArray[np.intp], light: bool, *, inverse: bool
) -> tuple[NDArray[np.floating[Any]], NDArray[np.intp]]:
    """Rows, or one over each, and which of them: in single precision all, in double those that are asked for."""
    if light:
        return rows.light(inverse=inverse), which
    table = rows.table[which]
    return (1 / np.maximum(table, _LEAST) if inverse else table), np.arange(len(which))


class _Others(NamedTuple):
    """The row that turns each joint into what all other units make of it, in ``table``; ``which`` (n,).

    ``log_scale`` (n,) belongs to the product. For ``style`` clues the style rows are divided out before.
    """

    table: NDArray[np.floating[Any]]
    which: NDArray[np.intp]
    log_scale: Array
    style: bool


def _others_of(
    model: Model, columns: tuple[int, ...], codes: Codes, style: NDArray[np.intp], light: bool
) -> _Others:
    if columns[0] in model.style.columns:
        without = codes.copy()
        without[:, columns] = NOT_LOOKED_AT
        rows, which = model.style.rows, model.style.indices(model, without)
        scale = rows.log_scale[which] - rows.log_scale[style]
        return _Others(*_table(rows, which, light, inverse=False), scale, True)
    rows, which = rows_of_unit(model, columns, codes)
    return _Others(*_table(rows, which, light, inverse=True), -rows.log_scale[which], False)


class _Running(NamedTuple):
    """P(year) of rows, (rows, years), as running sums with a zero at one end: from the first year on, and from the last
    one back, (rows, years + 1) each."""

    on: Array
    back: Array

    @classmethod
    def of(cls, year: Array) -> _Running:
        """Of P(year), (rows, years)."""
        on, back = np.zeros((2, len(year), year.shape[1] + 1))
        np.cumsum(year, axis=1, out=on[:, 1:])
        np.cumsum(year[:, ::-1], axis=1, out=back[:, -2::-1])
        return cls(on, back)

    def log_odds(
        self, row: NDArray[np.intp], first: NDArray[np.intp], last: NDArray[np.intp]
    ) -> Array:
        """Of the cells from ``first`` to ``last`` in some rows, (n,)."""
        within = self.on[row, last + 1] - self.on[row, first]
        return _log_odds(within, self.on[row, first] + self.back[row, last + 1])


@dataclass
class _Alone:
    """What each row of a unit says by itself: P(unit), and the running sums of P(year | unit)."""

    evidence: Array
    running: _Running


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
        running = _Running.of(year / evidence[:, None])
        evidence = evidence * np.exp(rows.log_scale[done:])
        if known is not None:
            evidence = np.concatenate((known.evidence, evidence))
            running = _Running(*map(np.concatenate, zip(known.running, running, strict=True)))
        known = _Alone(evidence, running)
    return known


def rows_of_unit(
    model: Model, columns: tuple[int, ...], codes: Codes
) -> tuple[Rows, NDArray[np.intp]]:
    """The rows of a unit as it is by itself, a style clue not yet mixed over revivals; and that of each scarf."""
    if columns == model.by_market.columns:
        return model.by_market.rows, model.by_market.indices(model, codes)
    (column,) = columns
    return model.clues[column].rows, codes[:, column].astype(np.intp)


def _log_odds(within: Array, beyond: Array) -> Array:
    return np.asarray(np.log(np.maximum(within, _LEAST)) - np.log(np.maximum(beyond, _LEAST)))
