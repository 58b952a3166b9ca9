"""The arithmetic of a pocket card, on arrays: it knows neither clues nor eras by name.

A piece is a set of rows (one for each clue that was looked at); a row has a weight for every column.

    log P(column | rows) = start[column] + sum over rows of weight[row, column] + a constant

The weights are fitted to exact probabilities as soft labels, by least cross-entropy with a ridge; rows
that are much alike are merged; then whole points are found by a local search that starts from the
rounded weights and always ends at less cross-entropy.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import Array

Codes = NDArray[np.int64]  # (pieces, clues): the row of each clue, 0 where it was not looked at
Points = NDArray[np.int64]  # (rows, columns); row 0 is where every piece starts

HIGHEST = 9  # one digit, so that a sum is done in the head
_RIDGE = 2.0  # in pieces: the weights of a row seen so often are about half of those without it
_OPTIMISER = {"maxiter": 500, "ftol": 1e-9, "gtol": 1e-6}
_LEAST_GAIN = 1e-6  # nats over all pieces: a smaller gain is rounding
_NAMED = 0.5  # nats that naming the exact column is worth
_SHARPENINGS = 6  # over all rows
_LEAST_SHARPENING = 1.0  # nats over all pieces: less is the noise of the pieces drawn
_SWEEPS = 60  # over all rows; a search ends after a few


class Group(NamedTuple):
    """One row of a card: which values of which clue it stands for, by number.

    ``rest``: "anything else"; ``ordered``: a range of a measurement; ``own``: joined with no other.
    """

    clue: int
    members: tuple[int, ...]
    rest: bool
    ordered: bool
    own: bool = False


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
    """Probabilities from their logarithms up to a constant, by rows."""
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
    """Weights (rows, columns) of least cross-entropy plus ridge: multinomial logistic regression.

    ``target`` (pieces, columns): the exact probabilities, as soft labels.
    """
    from scipy.optimize import minimize
    from scipy.sparse import csr_array

    piece, clue = np.nonzero(codes)
    every = np.arange(len(codes))
    piece, row = np.concatenate([every, piece]), np.concatenate([0 * every, codes[piece, clue]])
    held = csr_array((np.ones(len(piece)), (piece, row)), shape=(len(codes), rows))
    back, wanted = held.T.tocsr(), held.T @ target
    ridge = np.full((rows, 1), _RIDGE)
    ridge[0] = 1e-3  # the start is free
    # in units of its own precision every row is about as curved, which saves the search most steps
    unit = 1 / np.sqrt(ridge + 0.5 * back.sum(axis=1)[:, None])

    def objective(flat: Array) -> tuple[float, Array]:
        weights = unit * flat.reshape(wanted.shape)
        logs = held @ weights
        logs -= logs.max(axis=1, keepdims=True)
        chance = np.exp(logs)
        total = chance.sum(axis=1, keepdims=True)
        chance /= total
        # each row of the target sums to one
        cost = np.log(total).sum() - (target * logs).sum() + 0.5 * (ridge * weights**2).sum()
        return float(cost), np.asarray(unit * (back @ chance - wanted + ridge * weights)).ravel()

    start = np.zeros(wanted.shape)
    start[0] = np.log(np.maximum(target.mean(axis=0), 1e-9)) / unit[0]
    best = minimize(objective, start.ravel(), jac=True, method="L-BFGS-B", options=_OPTIMISER)
    return np.asarray(unit * best.x.reshape(wanted.shape))


def join(
    groups: Sequence[Group],
    weights: Array,
    counts: Array,
    chance: Array,
    *,
    fits: Callable[[Group], bool],
    room: Callable[[list[list[Group]]], bool],
) -> list[Group]:
    """Merge rows, the most alike first, until they fit the page and each is worth its line.

    ``groups``: what each row of ``weights`` (after the start) stands for; ``counts``: in how many
    pieces it was seen; ``chance``: of the columns overall; ``fits``: whether the name of a merged row
    is short enough (else it becomes the clue's "anything else"); ``room``: whether clues with these
    rows fit the page.

    The cost of merging two rows is the information lost: half the variance over the columns of the
    difference of their weights, times half the harmonic mean of their numbers of pieces. A clue that
    is left with one row says nothing and leaves the page. Once the page is full enough, merging goes
    on while the loss is smaller than the noise of a row's weights (Akaike 1974: one unit of
    log-likelihood for each free weight).
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
        if joined is None or (
            price > free and room([[row.group for row in own] for own in by_clue.values()])
        ):
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
    """The merger of two rows of a clue that loses least for each line that it frees."""
    best: _Join = (np.inf, 0, 0, None)
    lines = 2 if len(rows) == 2 else 1  # a clue of one row leaves the page
    for second in range(1, len(rows)):
        # ranges of a measurement are joined with their neighbours only
        ordered = rows[second].group.ordered
        for first in range(second - 1 if ordered else 0, second):
            a, b = rows[first], rows[second]
            if a.group.own or b.group.own:
                continue
            apart = a.weight - b.weight
            spread = float(chance @ apart**2 - (chance @ apart) ** 2)
            price = 0.5 * a.pieces * b.pieces / max(a.pieces + b.pieces, 1.0) * spread / lines
            if price < best[0]:
                joined = _joined([row.group for row in rows], a.group, b.group, fits)
                if joined is not None:
                    best = (price, first, second, joined)
    return best


def _joined(rows: list[Group], a: Group, b: Group, fits: Callable[[Group], bool]) -> Group | None:
    """The two as one; None where the name is too long and another row is "anything else" already."""
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


def sharpen(points: Points, scale: float, codes: Codes, target: Array) -> Points:
    """Whole points moved on, one at a time, where that names the exact winner more often.

    What falls is cross-entropy, as in `search`, less `_NAMED` nats for each piece whose highest sum (of equal
    ones the later) is the likeliest column, and as much again where it is that or a neighbour: a card is
    read by its highest sum, and sums of small whole numbers are often equal.
    """
    points = points.copy()
    exact = target.argmax(axis=1)
    sums = summed(points, codes)
    rows = [np.flatnonzero((codes == row).any(axis=1)) for row in range(1, len(points))]
    for _ in range(_SHARPENINGS):
        moved = False
        for row, own in enumerate([np.arange(len(codes)), *rows]):
            if not len(own):
                continue
            here, wanted, winner = sums[own], target[own], exact[own]
            known = _cost_of_naming(here, scale, wanted, winner)
            for column, by in np.ndindex(points.shape[1], 2):
                step = np.zeros(points.shape[1], dtype=np.int64)
                step[column] = 1 - 2 * by
                after = points[row] + step
                if np.ptp(after) > HIGHEST:
                    continue
                cost = _cost_of_naming(here + step, scale, wanted, winner)
                if cost < known - _LEAST_SHARPENING:
                    here, known, moved = here + step, cost, True
                    points[row] = after
            sums[own] = here
            low = points[row].min()
            points[row] -= low
            sums[own] -= low
        if not moved:
            break
    return points


def _cost_of_naming(sums: Points, scale: float, target: Array, exact: NDArray[np.intp]) -> float:
    last = sums.shape[1] - 1
    named = last - sums[:, ::-1].argmax(axis=1)
    away = np.abs(named - exact)
    logs = scale * (sums - sums.max(axis=1, keepdims=True))
    entropy = np.log(np.exp(logs).sum(axis=1)).sum() - (target * logs).sum()
    return float(entropy - _NAMED * ((away == 0).sum() + (away <= 1).sum()))


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
