"""What can be learned, as one vector: how far the tables are from the shipped ones, and how far they may be.

    log share(v; state, y)  =  log shipped share(v; state, y) + e(v, y), made to sum to one
    log centre(y)           =  shipped + d(y)            of a measured family
    log spread              =  shipped + a constant
    logit slip              =  shipped + a constant
    log grade, log market   =  shipped + a constant each (what this dealer buys)

e and d are straight lines between knots, the same for every grade and market. A deviation is normal
around none. A table worth W records says so much of a share q as W q records of that value, so that its
logarithm has a variance of 1 / (W q + 1/2) (the empirical logit of Cox 1970, "Analysis of binary data",
from memory); over years it is correlated by exp(-distance / length), a random walk drawn back to the
table. Besides, a whole table can be early or late by some years (``table_shift`` in ``allowances.csv``):
what that does to the logarithms is one more direction in which they move together. One scale a family
multiplies all of it: how wrong that table is, learned from the records.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import FIRST_YEAR, GRADES, MARKETS, ZERO_SHARE
from scarfdate.knots import Array
from scarfdate.model import Model

KNOT_YEARS = 20  # between knots of what is learned: a few hundred records tell no more
LENGTH = 40.0  # years over which a table is wrong in much the same way
SCALE_SPREAD = 1.0  # of the logarithm of a family's scale, around one
_HALF = 0.5  # see above
_SPAN = KNOT_YEARS // 4  # years on either side over which a drift is taken
_NONE = 10 * ZERO_SHARE  # a share as good as none stays none: no record makes nylon before nylon
SHARES, CENTRE, SPREAD, SLIP, TIER = "shares", "centre", "spread", "slip", "tier"


@dataclass(frozen=True)
class Part:
    """A stretch of the vector: ``kind`` of deviation of ``family``; ``shape`` (values, knots) or (1, knots)
    or (1, 1); ``sd`` of that shape, 0 where an entry cannot move. ``scale``: the place of its scale."""

    kind: str
    family: str
    start: int
    shape: tuple[int, int]
    sd: Array
    scale: int

    @property
    def stop(self) -> int:
        """The place after its last entry."""
        return self.start + self.shape[0] * self.shape[1]


@dataclass(frozen=True, eq=False)
class Deviations:
    """The layout of the vector (size,) and its prior.

    ``knots`` years; ``hat`` (years, knots), the weight of each knot in each year; ``scales``: the names
    of the scales. Fixed entries, those of impossible values, are no part of the vector.
    """

    parts: tuple[Part, ...]
    knots: NDArray[np.int64]
    hat: Array
    scales: tuple[str, ...]
    roots: tuple[Array, ...]  # of each part the root of its covariance at scale one, (free, free)
    places: tuple[NDArray[np.intp], ...]  # of each part its free entries within the part
    starts: tuple[int, ...]  # of each part in the free vector
    size: int

    def split(self, free: Array) -> list[Array]:
        """Each part as its full shape, zeros where it cannot move."""
        found = []
        for part, places, start in zip(self.parts, self.places, self.starts, strict=True):
            whole = np.zeros(part.shape[0] * part.shape[1])
            whole[places] = free[start : start + len(places)]
            found.append(whole.reshape(part.shape))
        return found

    def joined(self, parts: Sequence[Array]) -> Array:
        """The free vector of parts of full shape: the reverse of `split`."""
        return np.concatenate(
            [part.reshape(-1)[places] for part, places in zip(parts, self.places, strict=True)]
        )

    def scale_of(self) -> NDArray[np.intp]:
        """The scale of every entry, (size,)."""
        return np.concatenate(
            [np.full(len(p), part.scale) for part, p in zip(self.parts, self.places, strict=True)]
        ).astype(np.intp)

    def from_white(self, white: Array, log_scale: Array) -> Array:
        """Independent standard normals to deviations, (size,)."""
        found = np.empty(self.size)
        for part, root, start in zip(self.parts, self.roots, self.starts, strict=True):
            stop = start + len(root)
            found[start:stop] = np.exp(log_scale[part.scale]) * (root @ white[start:stop])
        return found

    def to_white(self, gradient: Array, log_scale: Array) -> Array:
        """The gradient by the standard normals from that by the deviations."""
        found = np.empty(self.size)
        for part, root, start in zip(self.parts, self.roots, self.starts, strict=True):
            stop = start + len(root)
            found[start:stop] = np.exp(log_scale[part.scale]) * (gradient[start:stop] @ root)
        return found

    def precision(self) -> list[Array]:
        """The inverse of each part's covariance at scale one."""
        return [np.asarray(np.linalg.inv(root @ root.T), np.float64) for root in self.roots]


def deviations_of(model: Model, families: Sequence[str], *, tiers: bool = True) -> Deviations:
    """The layout for some clues, by name, with all that is measured on them; ``tiers``: grade and market too."""
    knots = np.arange(FIRST_YEAR, int(model.years[-1]) + 1, KNOT_YEARS)
    hat = np.stack([np.interp(model.years, knots, row) for row in np.eye(len(knots))], axis=1)
    along = np.exp(-np.abs(knots[:, None] - knots) / LENGTH)
    made: list[tuple[str, str, tuple[int, int], Array, str]] = []
    late: dict[str, Array] = {}
    for name in families:
        clue = model.clues[model.column[name]]
        assert isinstance(clue, SharesClue)
        worth = model.priors.families[name].worth
        share = usual_shares(model, clue)[:, knots - FIRST_YEAR]
        sd = np.where(share > _NONE, 1 / np.sqrt(worth * share + _HALF), 0.0)
        made.append((SHARES, name, share.shape, sd, name))
        late[name] = _drift(model, clue, knots) * model.priors.allowances["table_shift"]
        slip = model.priors.slips[name]
        made.append((SLIP, name, (1, 1), np.array([[1 / np.sqrt(worth * slip + _HALF)]]), "slips"))
        for measure in clue.measures:
            of, worth_of = measure.family.name, measure.family.worth
            spread = float(measure.spread.mean())
            wide = np.full((1, len(knots)), spread / np.sqrt(worth_of))
            made.append((CENTRE, of, wide.shape, wide, of))
            made.append((SPREAD, of, (1, 1), np.array([[1 / np.sqrt(2 * worth_of)]]), of))
            rate = 1 / np.sqrt(worth_of * measure.slip + _HALF)
            made.append((SLIP, of, (1, 1), np.array([[rate]]), "slips"))
    if tiers:
        worth = model.priors.allowances["channel_worth"]
        for family, names, chances in (
            ("grade", GRADES, model.prior / model.year_prior),
            ("market", MARKETS, model.market),
        ):
            share = (chances * model.year_prior).sum(axis=1)[:, None]
            made.append(
                (TIER, family, (len(names), 1), 1 / np.sqrt(worth * share + _HALF), "tiers")
            )
    scales = list(dict.fromkeys(scale for *_, scale in made))
    parts, roots, places, starts = [], [], [], []
    start = free = 0
    for kind, family, shape, sd, scale in made:
        part = Part(kind, family, start, shape, sd, scales.index(scale))
        start = part.stop
        flat = np.flatnonzero(sd.reshape(-1) > 0)
        value, knot = np.divmod(flat, shape[1])
        together = along[np.ix_(knot, knot)] if shape[1] > 1 else np.ones((len(flat), len(flat)))
        cover = np.where(value[:, None] == value, together, 0.0)
        size = sd.reshape(-1)[flat]
        whole = size[:, None] * cover * size
        if kind == SHARES:
            whole += np.outer(late[family].reshape(-1)[flat], late[family].reshape(-1)[flat])
        parts.append(part)
        roots.append(np.asarray(np.linalg.cholesky(whole), dtype=np.float64))
        places.append(flat)
        starts.append(free)
        free += len(flat)
    return Deviations(
        tuple(parts), knots, hat, tuple(scales), tuple(roots), tuple(places), tuple(starts), free
    )  # fmt: skip


def moved_shares_at_knots(
    model: Model, clue: SharesClue, knots: NDArray[np.int64], deviations: Array
) -> Array:
    """Shares at the knots under some deviations (n, values, knots), (n, values, knots).

    Of the channel's mixture of grades and markets: each is moved by itself, and then they are mixed.
    """
    at = knots - FIRST_YEAR
    found = np.zeros_like(deviations)
    grades = (model.prior / model.year_prior)[:, at]
    for grade in range(len(GRADES)):
        for market in range(clue.shares.shape[1]):
            moved = np.log(clue.shares[:, market, grade][:, at]) + deviations
            moved = np.exp(moved - moved.max(axis=1, keepdims=True))
            weight = grades[grade] * (model.market[market, at] if clue.by_market else 1.0)
            found += weight * moved / moved.sum(axis=1, keepdims=True)
    return found


def _drift(model: Model, clue: SharesClue, knots: NDArray[np.int64]) -> Array:
    """By how much the log shares change a year, (values, knots)."""
    log = np.log(np.maximum(usual_shares(model, clue), _NONE))
    last = log.shape[1] - 1
    ahead = np.clip(knots - FIRST_YEAR + _SPAN, 0, last)
    back = np.clip(knots - FIRST_YEAR - _SPAN, 0, last)
    return np.asarray((log[:, ahead] - log[:, back]) / np.maximum(ahead - back, 1))


def usual_shares(model: Model, clue: SharesClue) -> Array:
    """Shares by year of the channel's mixture of grades and markets, (values, years)."""
    by_grade = (clue.shares * model.market[:, None] if clue.by_market else clue.shares).sum(axis=1)
    return np.asarray((by_grade * (model.prior / model.year_prior)).sum(axis=1))
