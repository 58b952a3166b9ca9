"""The exact sum of the model, on arrays. It knows no clue by name.

A table of scarves is a matrix of row numbers (scarves, clues). A block of them is multiplied in
linear space, a few dozen scarves at a time so that the product stays in the nearest memory; rows are
scaled to a maximum of one. A scarf whose product all but vanishes is done again in log space.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.clue import Rows
from scarfdate.conventions import GRADES, MARKETS
from scarfdate.knots import Array
from scarfdate.model import Codes, Model

BLOCK = 2048  # scarves between look-ups of combinations: few enough for their joint to stay near
_TILE = 64  # scarves multiplied at a time
_TINY = 1e-250  # below this a product has lost digits


@dataclass(frozen=True)
class Posterior:
    """Probabilities of n scarves, each row summing to one.

    ``year`` (n, years); ``grade`` (n, grades); ``market`` (n, markets); ``revival`` (n,), the chance
    of a later piece in an older look; ``log_evidence`` (n,), log P(all that was seen); ``joint``
    (n, grades * years), kept only where asked for.
    """

    year: Array
    grade: Array
    market: Array
    revival: Array
    log_evidence: Array
    joint: Array | None = None


def posterior(model: Model, codes: Codes, *, keep_joint: bool = False) -> Posterior:
    """Date scarves given by the row numbers of their clues, (n, clues)."""
    n = len(codes)
    result = Posterior(
        np.empty((n, len(model.years))),
        np.empty((n, len(GRADES))),
        np.empty((n, len(MARKETS))),
        np.empty(n),
        np.empty(n),
        np.empty((n, model.cells)) if keep_joint else None,
    )
    for start in range(0, n, BLOCK):
        _block(model, codes[start : start + BLOCK], result, start)
    return result


def year_only(model: Model, codes: Codes) -> Array:
    """P(year | clues), (n, years), and nothing else: the shortest way."""
    out = np.empty((len(codes), len(model.years)))
    product, factor = np.empty((2, _TILE, model.cells))
    for start in range(0, len(codes), BLOCK):
        block = codes[start : start + BLOCK]
        style = model.style.indices(model, block)
        gathers = [Gather(model.style.rows, style), *_making(model, block)]
        for at in range(0, len(block), _TILE):
            n = min(_TILE, len(block) - at)
            _multiply(gathers, at, product[:n], factor[:n])
            year = out[start + at : start + at + n]
            np.sum(product[:n].reshape(n, len(GRADES), -1), axis=1, out=year)
            year /= year.sum(axis=1, keepdims=True)
    return out


class Gather(NamedTuple):
    """Rows of a table, one for each scarf of a block."""

    rows: Rows
    which: NDArray[np.intp]


def _making(model: Model, block: Codes) -> list[Gather]:
    """What the making clues multiply; combinations that nobody looked at are left out."""
    return [Gather(group.rows, group.indices(model, block)) for group in model.gathered(block)]


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
    """One block into ``result`` from row ``start`` on."""
    n = len(block)
    here = slice(start, start + n)
    style = model.style.indices(model, block)
    making = _making(model, block)
    scale = model.style.rows.log_scale[style]
    for rows, index in making:
        scale = scale + rows.log_scale[index]
    whole, later = model.style.rows.table, model.style.revival.table
    joint = np.empty((n, model.cells)) if result.joint is None else result.joint[here]
    factors = np.empty((min(_TILE, n), model.cells))
    total, revival = np.empty(n), np.empty(n)
    for at in range(0, n, _TILE):
        tile = slice(at, min(at + _TILE, n))
        product, factor = joint[tile], factors[: tile.stop - at]
        _multiply(making, at, product, factor)
        np.take(later, style[tile], axis=0, out=factor, mode="clip")
        np.vecdot(product, factor, out=revival[tile])
        np.take(whole, style[tile], axis=0, out=factor, mode="clip")
        np.multiply(product, factor, out=product)
        cube = product.reshape(len(product), len(GRADES), -1)
        year, grade = (of[start + at : start + tile.stop] for of in (result.year, result.grade))
        np.sum(cube, axis=1, out=year)
        np.sum(cube, axis=2, out=grade)
        np.sum(grade, axis=1, out=total[tile])
        scaled = np.where(total[tile] > _TINY, total[tile], 1.0)[:, None]
        year /= scaled
        grade /= scaled
    if result.joint is not None:
        joint /= np.where(total > _TINY, total, 1.0)[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        result.log_evidence[here] = np.log(total) + scale
        result.revival[here] = revival / total
    for lost in np.flatnonzero(~(total > _TINY)).tolist():
        one, result.revival[start + lost], result.log_evidence[start + lost] = in_logs(
            model, block[lost]
        )
        joint[lost] = one
        by_grade = one.reshape(len(GRADES), -1)
        result.year[start + lost] = by_grade.sum(axis=0)
        result.grade[start + lost] = by_grade.sum(axis=1)
    _market(model, block, joint, result.year[here], result.market[here])


def _market(model: Model, block: Codes, joint: Array, year: Array, out: Array) -> None:
    """P(market | clues): scarves with the same market clues share one matrix product.

    The joint need not be on the scale of probabilities: rows of the answer are made to sum to one.
    """
    group = model.by_market
    if not group.columns or not np.any(block[:, group.columns]):
        np.matmul(year, model.market.T, out=out)
        return
    index = group.indices(model, block)
    if len(block) == 1:
        out[0] = group.parts[index[0]] @ joint[0]
    else:
        order = np.argsort(index, kind="stable")
        kinds, starts = np.unique(index[order], return_index=True)
        for kind, alike in zip(kinds, np.split(order, starts[1:]), strict=True):
            out[alike] = joint[alike] @ group.parts[kind].T
    out /= out.sum(axis=1, keepdims=True)


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
