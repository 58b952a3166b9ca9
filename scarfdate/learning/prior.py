"""What can be learned, as one vector: how far the tables are from the shipped ones, and how far they may be.

    log share(v; state, y)  =  log shipped share(v; state, y - lag) + e(v, y), made to sum to one
    log centre(y)           =  shipped + d(y)            of a measured family
    log spread              =  shipped + a constant
    logit slip              =  shipped + a constant
    log grade, log market   =  shipped + a constant each (what this dealer buys)

e and d are straight lines between knots, the same for every grade and market. A deviation is normal
around none. A table worth W records says so much of a share q as W q records of that value, so that its
logarithm has a variance of 1 / (W q + 1/2) (the empirical logit of Cox 1970, "Analysis of binary data",
from memory); over years it is correlated by exp(-distance / length), a random walk drawn back to the
table. The lag: a whole table can be early or late by some years (``table_shift`` in ``allowances.csv``;
`scarfdate.learning.lateness`). One scale a family multiplies its deviations, and one all lags, one all
slips: how wrong such tables are, learned from the records.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import FIRST_YEAR, GRADES, MARKETS
from scarfdate.knots import Array
from scarfdate.learning.lateness import NONE, Lateness, lateness_of
from scarfdate.model.model import Model

KNOT_YEARS = 20  # between knots of what is learned: a few hundred records tell no more
LENGTH = 40.0  # years over which a table is wrong in much the same way
SCALE_SPREAD = 1.0  # of the logarithm of a family's scale, around one
LAG_SPREAD = 0.25  # of that of the lags: what is wide off is wrong in other ways than by years
_HALF = 0.5  # see above
SHARES, LATE, CENTRE, SPREAD, SLIP, TIER = "shares", "late", "centre", "spread", "slip", "tier"


Places = NDArray[np.intp]


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
    places: tuple[Places, ...]  # of each part its free entries within the part
    starts: tuple[int, ...]  # of each part in the free vector
    size: int
    late: Mapping[str, Lateness]

    def log_moves(self, family: str, parts: Mapping[tuple[str, str], Array]) -> Array:
        """What is added to the log shares of a family by parts of full shape, (values, years)."""
        lag = float(parts[LATE, family][0, 0])
        return parts[SHARES, family] @ self.hat.T + self.late[family].at(lag)[0]

    @property
    def scale_spread(self) -> Array:
        """The standard deviation of every log scale around none, (scales,)."""
        return np.array([LAG_SPREAD if name == LATE else SCALE_SPREAD for name in self.scales])

    def named(self, free: Array) -> dict[tuple[str, str], Array]:
        """`split`, by kind and family."""
        return {
            (part.kind, part.family): found
            for part, found in zip(self.parts, self.split(free), strict=True)
        }

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
        some = [part.reshape(-1)[places] for part, places in zip(parts, self.places, strict=True)]
        return np.concatenate([np.zeros(0), *some])

    def scale_of(self) -> Places:
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
    late: dict[str, Lateness] = {}
    shift = np.array([[model.priors.allowances["table_shift"]]])
    for name in families:
        clue = model.clues[model.column[name]]
        assert isinstance(clue, SharesClue)
        worth = model.priors.families[name].worth
        usual = usual_shares(model, clue)
        share = usual[:, knots - FIRST_YEAR]
        sd = np.where(share > NONE, 1 / np.sqrt(worth * share + _HALF), 0.0)
        made.append((SHARES, name, share.shape, sd, name))
        made.append((LATE, name, (1, 1), shift, LATE))
        late[name] = lateness_of(usual)
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
        parts.append(part)
        roots.append(np.asarray(np.linalg.cholesky(whole), dtype=np.float64))
        places.append(flat)
        starts.append(free)
        free += len(flat)
    return Deviations(
        tuple(parts), knots, hat, tuple(scales), tuple(roots), tuple(places), tuple(starts), free,
        MappingProxyType(late),
    )  # fmt: skip


def moved_shares(log: Array) -> Array:
    """Log shares (kinds, ...) of any scale, made to sum to one over the kinds."""
    moved = log - log.max(axis=0)
    return np.asarray(moved - np.log(np.exp(moved).sum(axis=0)))


def shares_at_knots(
    model: Model,
    layout: Deviations,
    family: str,
    draws: Sequence[Mapping[tuple[str, str], Array]],
) -> Array:
    """Shares at the knots under the parts of some draws, (draws, values, knots).

    Of the channel's mixture of grades and markets: each is moved by itself, and then they are mixed.
    """
    clue = model.clues[model.column[family]]
    assert isinstance(clue, SharesClue)
    at = layout.knots - FIRST_YEAR
    late = replace(layout, hat=layout.hat[at], late={family: layout.late[family].only(at)})
    moves = np.stack([late.log_moves(family, draw) for draw in draws])
    found = np.zeros_like(moves)
    grades = (model.prior / model.year_prior)[:, at]
    for grade in range(len(GRADES)):
        for market in range(clue.shares.shape[1]):
            moved = np.log(clue.shares[:, market, grade][:, at]) + moves
            moved = np.exp(moved - moved.max(axis=1, keepdims=True))
            weight = grades[grade] * (model.market[market, at] if clue.by_market else 1.0)
            found += weight * moved / moved.sum(axis=1, keepdims=True)
    return found


def usual_shares(model: Model, clue: SharesClue) -> Array:
    """Shares by year of the channel's mixture of grades and markets, (values, years)."""
    by_grade = (clue.shares * model.market[:, None] if clue.by_market else clue.shares).sum(axis=1)
    return np.asarray((by_grade * (model.prior / model.year_prior)).sum(axis=1))
