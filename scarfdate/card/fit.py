"""The arithmetic of a pocket card, on arrays: it knows neither clues nor decades by name.

A piece is a set of rows (one for each clue that was looked at); a row has a weight for every column.

    log P(column | rows) = start[column] + sum over rows of weight[row, column] + a constant

The weights are fitted to exact probabilities as soft targets, by least cross-entropy with a ridge; rows
that say much the same are joined; then whole numbers are searched for, which rounding does not find.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from scarfdate.knots import Array

Codes = NDArray[np.int64]  # (pieces, clues): the row of each clue, 0 where it was not looked at
Points = NDArray[np.int64]  # (rows, columns); row 0 is where every piece starts

HIGHEST = 9  # one digit, so that a sum is done in the head
_RIDGE = 2.0  # pieces: a row seen so often counts half of what it alone would say
_STEPS = 80  # of the fit; it has settled to four digits well before
_LEAST_GAIN = 1e-6  # nats over all pieces: a smaller gain is rounding
_SWEEPS = 60  # over all rows; a search ends after a few


class Group(NamedTuple):
    """One row of a card: which values of which clue it stands for, by number.

    ``rest``: "anything else"; ``ordered``: a range of a measurement.
    """

    clue: int
    members: tuple[int, ...]
    rest: bool
    ordered: bool


def chances(weights: NDArray[Any], codes: Codes) -> Array:
    """P(column | rows) of each piece, (pieces, columns), by the weights (rows, columns)."""
    return softmax(summed(weights, codes))


def summed(weights: NDArray[Any], codes: Codes) -> NDArray[Any]:
    """The sum of the rows of each piece and of the start, (pieces, columns)."""
    total = np.repeat(weights[:1], len(codes), axis=0)
    for column in codes.T:
        looked = np.flatnonzero(column)
        total[looked] += weights[column[looked]]
    return total


def softmax(logs: NDArray[Any]) -> Array:
    """Chances from their logarithms up to a constant, by rows."""
    logs = logs - logs.max(axis=1, keepdims=True)
    np.exp(logs, out=logs)
    logs /= logs.sum(axis=1, keepdims=True)
    return logs


def loss(target: Array, chance: Array) -> Array:
    """How many bits the second distribution loses against the first, for each piece (KL divergence)."""
    tiny = np.finfo(float).tiny
    ratio = np.log2(np.maximum(target, tiny)) - np.log2(np.maximum(chance, tiny))
    return np.asarray((target * ratio).sum(axis=1))


def fit_weights(codes: Codes, target: Array, rows: int) -> Array:
    """Weights (rows, columns) of least cross-entropy plus ridge.

    Newton steps under Böhning's bound of the curvature, which is the same for all steps (Böhning 1992,
    "Multinomial logistic regression algorithm", Ann. Inst. Statist. Math. 44, 197-200), with Nesterov's
    acceleration, begun again whenever it overshoots.
    """
    held = np.zeros((len(codes), rows))
    held[:, 0] = 1.0
    for column in codes.T:
        looked = np.flatnonzero(column)
        held[looked, column[looked]] = 1.0
    ridge = np.full(rows, _RIDGE)
    ridge[0] = 1e-3  # the start is free
    step = np.linalg.inv(0.5 * held.T @ held + np.diag(ridge))
    weights = ahead = np.zeros((rows, target.shape[1]))
    weights[0] = ahead[0] = np.log(np.maximum(target.mean(axis=0), 1e-9))
    pace = 1.0
    for _ in range(_STEPS):
        slope = held.T @ (target - softmax(held @ ahead)) - ridge[:, None] * ahead
        moved = ahead + step @ slope
        quicker = (1 + np.sqrt(1 + 4 * pace**2)) / 2
        if ((moved - weights) * slope).sum() < 0:
            pace, ahead = 1.0, moved
        else:
            ahead = moved + (pace - 1) / quicker * (moved - weights)
            pace = quicker
        weights = moved
    return weights


def join(
    groups: Sequence[Group],
    weights: Array,
    counts: Array,
    chance: Array,
    *,
    fits: Callable[[Group], bool],
    room: Callable[[list[int]], bool],
) -> list[Group]:
    """Rows joined, the least different first, until they fit the page and each is worth its line.

    ``groups``: what each row of ``weights`` (after the start) stands for; ``counts``: in how many pieces
    it was seen; ``chance``: of the columns overall; ``room``: whether clues with so many rows each
    fit the page; ``fits``: whether the name of a joined row is short
    enough (else it becomes the clue's "anything else"). Joining two rows costs what their difference told: half the
    variance of it over the columns, for as many pieces as half their harmonic mean. A clue whose rows have all
    become one says nothing, and leaves the page. Joining goes on beyond the page while a row tells less
    than the noise of its own weights (Akaike 1974: one unit of log-likelihood for each).
    """
    rows = [
        _Row(g, w.copy(), float(c)) for g, w, c in zip(groups, weights[1:], counts, strict=True)
    ]
    by_clue: dict[int, list[_Row]] = {}
    for row in rows:
        by_clue.setdefault(row.group.clue, []).append(row)
    by_clue = {clue: own for clue, own in by_clue.items() if len(own) > 1}
    cheapest = {clue: _cheapest(own, chance, fits) for clue, own in by_clue.items()}
    free = weights.shape[1] - 1
    while by_clue:
        clue = min(cheapest, key=lambda name: cheapest[name][0])
        price, first, second, joined = cheapest[clue]
        if joined is None or (price > free and room([len(own) for own in by_clue.values()])):
            break
        own = by_clue[clue]
        a, b = own[first], own[second]
        count = a.pieces + b.pieces
        mean = (a.pieces * a.weight + b.pieces * b.weight) / max(count, 1.0)
        own[first] = _Row(joined, mean, count)
        del own[second]
        if len(own) == 1:
            del by_clue[clue], cheapest[clue]
        else:
            cheapest[clue] = _cheapest(own, chance, fits)
    return [row.group for own in by_clue.values() for row in own]


class _Row(NamedTuple):
    group: Group
    weight: Array
    pieces: float


_Join = tuple[float, int, int, "Group | None"]


def _cheapest(rows: list[_Row], chance: Array, fits: Callable[[Group], bool]) -> _Join:
    """The join of two rows of a clue that costs least for each line it frees."""
    best: _Join = (np.inf, 0, 0, None)
    lines = 2 if len(rows) == 2 else 1  # a clue of one row leaves the page
    for second in range(1, len(rows)):
        # ranges of a measurement are joined with their neighbours only
        ordered = rows[second].group.ordered
        for first in range(second - 1 if ordered else 0, second):
            a, b = rows[first], rows[second]
            apart = a.weight - b.weight
            spread = float(chance @ apart**2 - (chance @ apart) ** 2)
            price = 0.5 * a.pieces * b.pieces / max(a.pieces + b.pieces, 1.0) * spread / lines
            if price < best[0]:
                joined = _joined([row.group for row in rows], a.group, b.group, fits)
                if joined is not None:
                    best = (price, first, second, joined)
    return best


def _joined(rows: list[Group], a: Group, b: Group, fits: Callable[[Group], bool]) -> Group | None:
    """The two as one; None where the name is too long and another row already is "anything else"."""
    members = tuple(sorted((*a.members, *b.members)))
    both = Group(a.clue, members, a.rest or b.rest, a.ordered)
    if both.rest or both.ordered or len(rows) == 2 or fits(both):
        return both
    return None if any(row.rest for row in rows) else both._replace(rest=True)


def to_points(weights: Array, scale: float) -> Points:
    """Weights rounded to whole points of ``scale`` nats, each row from 0 to `HIGHEST`."""
    points = np.rint(weights / scale).astype(np.int64)
    points = np.maximum(points, points.max(axis=1, keepdims=True) - HIGHEST)
    return np.asarray(points - points.min(axis=1, keepdims=True))


def search(points: Points, scale: float, codes: Codes, target: Array) -> Points:
    """Whole points of least cross-entropy: one point more or less at a time, until no move helps.

    ``scale``: nats a point. Rows stay within 0 to `HIGHEST`, their least being 0. Cross-entropy as in
    `fit_weights`, with the same ridge, so that a row seldom seen does not run away.
    """
    points = points.copy()
    members = [np.arange(len(codes))]
    members += [np.flatnonzero((codes == row).any(axis=1)) for row in range(1, len(points))]
    chance = chances(scale * points, codes)
    wanted = np.stack([target[own].sum(axis=0) for own in members])
    for _ in range(_SWEEPS):
        moved = False
        for row, own in enumerate(members):
            here = chance[own]
            while len(own):
                column, by = _best_move(points[row], scale, here, wanted[row], ridge=row > 0)
                if not by:
                    break
                points[row, column] += by
                here[:, column] *= np.exp(by * scale)
                here /= here.sum(axis=1, keepdims=True)
                moved = True
            chance[own] = here
            points[row] -= points[row].min()
        if not moved:
            break
    return points


def _best_move(
    row: Points, scale: float, chance: Array, wanted: Array, *, ridge: bool
) -> tuple[int, int]:
    """Which column of a row to change, and by 1 or -1; by 0 where nothing helps."""
    best, found = -_LEAST_GAIN, (0, 0)
    off = row - row.mean()
    for by in (1, -1):
        rise = np.log1p(chance * np.expm1(by * scale)).sum(axis=0) - by * scale * wanted
        if ridge:
            rise = rise + 0.5 * _RIDGE * scale**2 * (2 * by * off + 1 - 1 / len(row))
        after = row + by * np.eye(len(row), dtype=np.int64)
        rise[np.ptp(after, axis=1) > HIGHEST] = np.inf
        column = int(rise.argmin())
        if rise[column] < best:
            best, found = float(rise[column]), (column, by)
    return found
