"""Expert rows, museum records and trade descriptions put together, each with its weight.

Every expert row counts as ``worth`` records of its knot and grade (Dirichlet arithmetic); records and
descriptions add their expected numbers to it. What a record does not state (its year, its grade, which
child of a parent word) is shared out in proportion to what date and tables leave possible. A value that
the expert row holds impossible stays so: no museum slip makes nylon before nylon.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from scarfdate.building.clue_tables import (
    ClueTables,
    RecordLikelihoods,
    Smoothing,
    fit,
    log_likelihood,
)
from scarfdate.conventions import FIRST_YEAR, Array
from scarfdate.tables.knots import ANY, MeasuredTable, SharesTable

_TINY = 1e-300
BORROWED = (0.0, 0.01, 0.03, 0.1, 0.3, 1.0)  # weights of a textile record that are tried


@dataclass(frozen=True, kw_only=True)
class Borrowing:
    """How much a record of another textile counts for: ``weight``, chosen by held-out scarves.

    ``scores``: for each weight tried, the gain in nats a held-out scarf record over no borrowing, and
    its standard error over the gifts.
    """

    family: str
    weight: float
    scores: tuple[tuple[float, float, float], ...]
    records: float


def borrowing(
    records: RecordLikelihoods,
    like: Array,
    gift: NDArray[np.int64],
    density: Array,
    family: str,
    smoothing: Smoothing,
) -> Borrowing:
    """Choose the weight of other textiles for one family. ``like`` (n,): 1 for scarf-like records.

    The scarves are held out gift by gift, in five parts; the textiles are all there.
    """
    of = records.families[family]
    stated = of.stated[of.which]
    one = records.only(family)
    scarf, gifts = like[stated] > 0, gift[stated]
    if not scarf.any():  # none to hold out
        return Borrowing(family=family, weight=0.0, scores=(), records=0.0)
    part = np.where(scarf, np.unique(gifts, return_inverse=True)[1] % 5, -1)
    alike, first, which = one.alike(part)
    held_in = part[first]
    gained: list[Array] = []
    for weight in BORROWED:
        log = np.full(len(first), np.nan)
        for held in range(5):
            out = held_in == held
            factor = np.where(held_in >= 0, ~out, weight).astype(float)
            tables = fit(alike.weighted(factor), density, smoothing)
            log[out] = log_likelihood(alike.some(out), density, tables)
        gained.append(log[which[scarf]])
    scores = []
    names, member = np.unique(gifts[scarf], return_inverse=True)
    weights = one.weight[scarf]
    for each, weight in zip(gained, BORROWED, strict=True):
        more = (each - gained[0]) * weights
        mean = more.sum() / weights.sum()
        by_gift = np.bincount(member, more - mean * weights, len(names))
        error = float(np.sqrt((by_gift**2).sum()) / weights.sum())
        scores.append((weight, float(mean), error))
    best = max(scores, key=lambda score: score[1])[0]
    return Borrowing(family=family, weight=best, scores=tuple(scores), records=float(weights.sum()))


def by_grade(counts: Array, shares: Array, grades: Array) -> Array:
    """Counts (values, years) shared out over grades: (grades, values, years).

    ``shares`` (values, grades, years) and ``grades`` P(grade | year) (grades, years).
    """
    joint = np.moveaxis(shares, 0, 1) * grades[:, None, :]
    total = joint.sum(axis=0)
    return np.asarray(joint * (counts / np.where(total > 0, total, 1.0))[None])


def expected(
    records: RecordLikelihoods, tables: ClueTables, family: str, shares: Array, grades: Array
) -> Array:
    """Expected records by (grade, value, year), values of a record's words split by expert shares."""
    overall = np.einsum("vgy,gy->vy", shares, grades)
    of = records.families[family]
    load = np.zeros((len(of.fits), len(tables.density)))
    for rows, allowed in records.blocks():
        year = tables.year(records, rows, allowed)
        of.add_up(load, rows, allowed, records.weight[rows, None] * year)
    load *= of.stated[:, None]
    chance = of.fits @ overall
    load = load / np.where(chance > 0, chance, 1.0)
    return by_grade(overall * (of.fits.T @ load), shares, grades)


def hats(knots: Array, years: NDArray[np.int64]) -> Array:
    """Weights (knots, years) of piecewise linear interpolation; columns sum to one."""
    return np.array([np.interp(years, knots, row) for row in np.eye(len(knots))])


def updated(
    table: SharesTable,
    grade: str,
    worth: float,
    added: Sequence[Array],
    years: NDArray[np.int64],
    unstated: Sequence[str] = (),
    caps: Sequence[float] = (),
) -> tuple[Array, Array]:
    """Rows of one grade with records added: shares (knots, values), and numbers added (sources, knots).

    ``added``: expected records by (values, years) from each source, already weighted. Values
    that are ``unstated``, which records pass over in silence, keep their share. ``caps``: the most that
    each source counts for at one knot, for the first of them; the others count in full.
    """
    knots, rows = table.series[(grade, ANY)]
    weights = hats(knots, years)
    shares = rows / rows.sum(axis=1, keepdims=True)
    named = np.array([value not in unstated for value in table.values])
    more = [np.where(named, weights @ each.T, 0.0) for each in added]  # (knots, values)
    for place, cap in enumerate(caps):
        number = more[place].sum(axis=1, keepdims=True)
        more[place] = more[place] * np.minimum(1.0, cap / np.maximum(number, _TINY))
    total = worth * shares + sum(np.where(shares > 0, each, 0.0) for each in more)
    kept = shares[:, ~named].sum(axis=1, keepdims=True)
    of_named = np.maximum(total[:, named].sum(axis=1, keepdims=True), _TINY)
    total = np.where(named, total * (1 - kept) / of_named, shares)
    return total, np.array([each.sum(axis=1) for each in more])


def updated_sizes(
    table: MeasuredTable,
    key: tuple[str, str],
    worth: float,
    sizes: tuple[Array, Array, Array],
    years: NDArray[np.int64],
    cap: float = np.inf,
) -> tuple[Array, Array]:
    """Median and spread at knots, (knots, 2), with records added, and their number (knots,).

    ``sizes``: centre and spread of the log and expected records, each (years,), for this grade and
    value. Means are weighed by records; variances likewise, about the new mean. ``cap``: the most
    records that count at one knot.
    """
    knots, rows = table.series[key]
    centre, spread, records = sizes
    weights = hats(knots, years) * records
    number = weights.sum(axis=1)
    safe = np.where(number > 0, number, 1.0)
    mean = np.where(number > 0, weights @ centre / safe, 0.0)
    square = np.where(number > 0, weights @ (spread**2 + centre**2) / safe, 0.0)
    number = np.minimum(number, cap)
    old_mean, old_var = np.log(rows[:, 0]), np.log(rows[:, 1]) ** 2
    new_mean = (worth * old_mean + number * mean) / (worth + number)
    new_square = (worth * (old_var + old_mean**2) + number * square) / (worth + number)
    deviation = np.sqrt(np.maximum(new_square - new_mean**2, 1e-4))
    return np.stack([np.exp(new_mean), np.exp(deviation)], axis=1), number


def knots_of(last_year: int, step: int = 5) -> Array:
    """Knots of the tables built from records: the first year stands alone, then every ``step`` years."""
    return np.array(
        [FIRST_YEAR, FIRST_YEAR + 1, *range(FIRST_YEAR + step, last_year, step), last_year],
        dtype=float,
    )


def near_knots(last_year: int, step: int = 5) -> Iterator[tuple[int, slice]]:
    """Each of `knots_of`, and the places of the years that lie nearest to it."""
    knots = knots_of(last_year, step).astype(int).tolist()
    ends = [FIRST_YEAR, *((a + b + 1) // 2 for a, b in pairwise(knots[1:])), last_year + 1]
    ends.insert(1, FIRST_YEAR + 1)  # the first year stands for all before it, and alone
    for knot, (begin, end) in zip(knots, pairwise(ends), strict=True):
        yield knot, slice(begin - FIRST_YEAR, end - FIRST_YEAR)
