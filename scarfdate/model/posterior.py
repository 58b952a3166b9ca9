"""The exact sum of the model, on arrays. It knows no clue by name.

A table of scarves is a matrix of row numbers (scarves, clues). A block of them is multiplied in
linear space, a few hundred scarves at a time so that the product stays in the nearer memory; rows are
scaled to a maximum of one. A scarf whose product all but vanishes is done again in log space.

Every operation is one of rows: no scarf's numbers hang on those beside it, to the last bit, so that a
table may be cut anywhere.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import GRADES, MARKETS, Array
from scarfdate.model.model import Codes, Gather, Gathered, Model

BLOCK = 8192  # scarves between look-ups of combinations
_TILE = 256  # scarves multiplied at a time
_TINY = 1e-250  # below this a product has lost digits


@dataclass(frozen=True)
class Posterior:
    """Probabilities of n scarves, each row summing to one.

    ``year`` (n, years); ``grade`` (n, grades); ``market`` (n, markets); ``revival`` (n,), the chance
    of a later piece in an older look; ``log_evidence`` (n,), log P(all that was seen), in nats, where
    something was measured a log density; ``joint`` (n, grades * years), kept only where asked for; of long tables in
    single precision for weighing.
    """

    year: Array
    grade: Array
    market: Array
    revival: Array
    log_evidence: Array
    joint: NDArray[np.floating[Any]] | None = None

    def cube(self) -> Array:
        """The joint of one scarf, (grades, years)."""
        if self.joint is None:
            raise AssertionError("the joint was asked for")
        return np.asarray(self.joint.reshape(len(GRADES), -1), dtype=np.float64)


def posterior(
    model: Model, codes: Codes, *, keep_joint: type[np.floating[Any]] | None = None
) -> Posterior:
    """Date scarves given by the row numbers of their clues, (n, clues); ``keep_joint``: in which precision."""
    n = len(codes)
    found = _one(model, codes, keep_joint) if n == 1 else None
    if found is None:
        found = _room(model, n, keep_joint)
        for start in range(0, n, BLOCK):
            _block(model, codes[start : start + BLOCK], found, start)
    return found


def _room(model: Model, n: int, keep_joint: type[np.floating[Any]] | None) -> Posterior:
    return Posterior(
        np.empty((n, len(model.years))),
        np.empty((n, len(GRADES))),
        np.empty((n, len(MARKETS))),
        np.empty(n),
        np.empty(n),
        None if keep_joint is None else np.empty((n, model.cells), dtype=keep_joint),
    )


def year_only(model: Model, codes: Codes) -> Array:
    """P(year | clues), (n, years), and nothing else: the shortest way."""
    out = np.empty((len(codes), len(model.years)))
    for start, gathered in _blocks(model, codes):
        for tile, product in _products(gathered):
            year = out[start + tile.start : start + tile.stop]
            np.sum(product.reshape(len(product), len(GRADES), -1), axis=1, out=year)
            year /= year.sum(axis=1, keepdims=True)
    return out


def log_evidence(model: Model, codes: Codes) -> Array:
    """log P(all that was seen), (n,), to the bit as that of `posterior`, and nothing else."""
    out = np.empty(len(codes))
    for start, gathered in _blocks(model, codes):
        here = slice(start, start + len(gathered.style.which))
        total = np.empty(here.stop - start)
        for tile, product in _products(gathered):
            _by_grade(product).sum(axis=1, out=total[tile])
        with np.errstate(divide="ignore"):
            out[here] = np.log(total) + _log_scale(gathered)
        for lost in np.flatnonzero(~(total > _TINY)).tolist():
            out[start + lost] = in_logs(model, codes[start + lost])[2]
    return out


def _blocks(model: Model, codes: Codes) -> Iterator[tuple[int, Gathered]]:
    """What is multiplied, a block at a time, and the first scarf of each block."""
    for start in range(0, len(codes), BLOCK):
        yield start, model.gathered(codes[start : start + BLOCK])


def _products(gathered: Gathered) -> Iterator[tuple[slice, Array]]:
    """P(all that was seen, grade, year), scaled, a tile of scarves at a time; each lasts until the next."""
    n = len(gathered.style.which)
    room = np.empty((2, min(_TILE, n), gathered.style.rows.cells))
    for at in range(0, n, _TILE):
        tile = slice(at, min(at + _TILE, n))
        product, factor = room[:, : tile.stop - at]
        _multiply([*gathered.making, gathered.style], at, product, factor)
        yield tile, product


def _by_grade(joint: Array) -> Array:
    """(n, grades) of the joint (n, grades * years)."""
    cube = joint.reshape(len(joint), len(GRADES), -1)
    return np.asarray(np.matmul(cube, _ones(cube.shape[2])))


@cache
def _ones(n: int) -> Array:
    return np.ones(n)


def _log_scale(gathered: Gathered) -> Array:
    """What the rows of each scarf were divided by in all, (n,)."""
    rows, which = gathered.style
    scale = rows.log_scale[which]
    for rows, which in gathered.making:
        scale = scale + rows.log_scale[which]
    return scale


def _multiply(gathers: list[Gather], at: int, product: Array, factor: Array) -> None:
    """The product of the gathered rows of scarves ``at`` on, into ``product``."""
    here = slice(at, at + len(product))
    if not gathers:
        product[:] = 1.0
    for place, (rows, index) in enumerate(gathers):
        np.take(rows.table, index[here], axis=0, out=factor if place else product, mode="clip")
        if place:
            np.multiply(product, factor, out=product)


def _block(model: Model, block: Codes, result: Posterior, start: int) -> None:
    """One block into ``result`` from row ``start`` on, scarves with the same market clues together."""
    n = len(block)
    gathered = model.gathered(block)
    order = np.argsort(gathered.market.which, kind="stable")
    if n > 1:
        gathered = gathered.at(order)
    later, (whole, style) = model.style.revival.table, gathered.style
    grades, total, revival = np.empty((n, len(GRADES))), np.empty(n), np.empty(n)
    markets = np.empty((n, len(MARKETS)))
    rows_out = start + order
    room = np.empty((2, min(_TILE, n), model.cells))
    for at in range(0, n, _TILE):
        tile = slice(at, min(at + _TILE, n))
        product, factor = room[:, : tile.stop - at]
        _multiply(gathered.making, at, product, factor)
        np.take(later, style[tile], axis=0, out=factor, mode="clip")
        np.vecdot(product, factor, out=revival[tile])
        np.take(whole.table, style[tile], axis=0, out=factor, mode="clip")
        np.multiply(product, factor, out=product)
        grades[tile] = _by_grade(product)
        np.sum(grades[tile], axis=1, out=total[tile])
        _by_market(model, product, gathered.market.which[tile], markets[tile])
        year = product.reshape(len(product), len(GRADES), -1).sum(axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):  # what is lost is done again below
            year /= total[tile, None]
            if result.joint is not None:
                result.joint[rows_out[tile]] = np.divide(product, total[tile, None], out=product)
        result.year[rows_out[tile]] = year
    with np.errstate(divide="ignore", invalid="ignore"):
        result.grade[rows_out] = grades / total[:, None]
        result.market[rows_out] = markets / markets.sum(axis=1, keepdims=True)
        result.revival[rows_out] = revival / total
        result.log_evidence[rows_out] = np.log(total) + _log_scale(gathered)
    for lost in order[~(total > _TINY)].tolist():
        _lost(model, block[lost], result, start + lost)


def _one(model: Model, codes: Codes, keep_joint: type[np.floating[Any]] | None) -> Posterior | None:
    """`_block` of a single scarf, to the bit the same, in which nothing has to be put in order or back.

    None where the product vanishes.
    """
    style, market, making = model.gathered_one(codes[0])
    whole = model.style.rows
    scale, product = whole.log_scale[style], np.ones(model.cells)
    for place, (rows, row) in enumerate(making):
        if place:
            np.multiply(product, rows.table[row], out=product)
        else:
            np.copyto(product, rows.table[row])
        scale = scale + rows.log_scale[row]
    later = np.vecdot(product, model.style.revival.table[style])
    np.multiply(product, whole.table[style], out=product)
    grades = _by_grade(product[None])
    total = grades.sum(axis=1)
    if not total[0] > _TINY:
        return None
    by_market = np.vecdot(product, model.by_market.parts[market])
    year = product.reshape(len(GRADES), -1).sum(axis=0)
    return Posterior(
        (year / total)[None],
        grades / total,
        (by_market / by_market.sum())[None],
        later / total,
        np.log(total) + scale,
        None if keep_joint is None else (product / total)[None].astype(keep_joint, copy=False),
    )


def _by_market(model: Model, joint: Array, market: NDArray[np.intp], out: Array) -> None:
    """P(market, clues) into ``out`` (n, markets), from joints sorted by their market clues."""
    edges = (np.flatnonzero(market[1:] != market[:-1]) + 1).tolist()
    for first, last in pairwise((0, *edges, len(market))):
        # row by row: a matrix product's last bits hang on how many rows it has
        np.vecdot(
            joint[first:last, None], model.by_market.parts[market[first]], out=out[first:last]
        )


def _lost(model: Model, codes: NDArray[np.int32], result: Posterior, row: int) -> None:
    """A scarf whose product has vanished, done again in log space."""
    joint, result.revival[row], result.log_evidence[row] = in_logs(model, codes)
    cube = joint.reshape(len(GRADES), -1)
    result.year[row], result.grade[row] = cube.sum(axis=0), cube.sum(axis=1)
    index = model.by_market.indices(model, codes[None, :])[0]
    result.market[row] = model.by_market.parts[index] @ joint
    if result.joint is not None:
        result.joint[row] = joint


def in_logs(model: Model, codes: NDArray[np.int32]) -> tuple[Array, float, float]:
    """One scarf in log space: joint (grades * years), P(revival), log P(all that was seen)."""
    one = codes[None, :]
    style = int(model.style.indices(model, one)[0])
    scale = float(model.style.rows.log_scale[style])
    with np.errstate(divide="ignore"):
        logs = np.zeros(model.cells)
        # row by row, for the product of a combination may itself have vanished
        for group in model.plain:
            for column in group.columns:
                rows = model.clues[column].rows
                logs += np.log(rows.table[codes[column]])
                scale += float(rows.log_scale[codes[column]])
        if model.by_market.columns:
            index = int(model.by_market.indices(model, one)[0])
            logs += np.log(model.by_market.rows.table[index])
            scale += float(model.by_market.rows.log_scale[index])
        whole = logs + np.log(model.style.rows.table[style])
        later = logs + np.log(model.style.revival.table[style])
    top = whole.max()
    joint = np.exp(whole - top)
    total = joint.sum()
    return (
        joint / total,
        float(np.exp(later - top).sum() / total),
        float(np.log(total) + top + scale),
    )
