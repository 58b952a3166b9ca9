"""The parameters that are learned, as one vector theta of deviations from the parent's tables, and their prior.

    log share(v; state, y)  =  log parent's share(v; state, y - lag) + e(v, y), normalised over v
    log centre(y)           =  parent's + d(y)            of a measured family
    log spread              =  parent's + a constant
    logit slip rate         =  parent's + a constant
    log grade, log market   =  parent's + a constant each (what this dealer buys)

e and d are piecewise linear between knots, and the same for every grade and market. The prior of theta is
normal with mean zero. A table with a prior sample size of W records (``worth`` in ``families.csv``) gives
the logarithm of a share q the variance 1 / (W q + 1/2) (the empirical logit of Cox 1970, "Analysis of binary
data", from memory); over years it has the exponential covariance exp(-distance / length) of a stationary
Ornstein-Uhlenbeck process. The lag shifts a whole table by some years (`LagEffect`).

The hyperparameters are log scales s: one a family multiplies the prior standard deviations of its parameters by
exp(s), and one does so for all lags, one for all slip rates, one for grades and markets. They say how wrong such
tables are, are learned too, and have normal hyperpriors around 0. All numbers are in ``allowances.csv``.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import FIRST_YEAR, GRADES, ZERO_SHARE, Array
from scarfdate.errors import ScarfdateError
from scarfdate.model.model import Model

_HALF = 0.5  # of the empirical logit, see above
_LAG_STEP = 5  # years between the lags at which a shifted table is worked out
_MOST_LAG = 30.0  # years: a longer lag has the effect of this one
_LAGS = np.arange(-_MOST_LAG, _MOST_LAG + 1, _LAG_STEP)
IMPOSSIBLE = 10 * ZERO_SHARE  # a share up to here counts as none, and no parameter moves it
SHARES, LAG, CENTRE, SPREAD, SLIP, TIER = "shares", "lag", "centre", "spread", "slip", "tier"
_LAGS_SCALE, _SLIPS_SCALE, _TIERS_SCALE = "lags", "slips", "tiers"

Places = NDArray[np.intp]


@dataclass(frozen=True, kw_only=True)
class Part:
    """A stretch of theta: ``kind`` of deviation of ``family``; ``shape`` (values, knots) or (1, knots)
    or (1, 1); ``sd`` of that shape, the prior standard deviations at scale one, 0 where an entry is fixed.
    ``scale``: the number of its scale."""

    kind: str
    family: str
    shape: tuple[int, int]
    sd: Array
    scale: int


@dataclass(frozen=True, eq=False, kw_only=True)
class Deviations:
    """The layout of theta (size,), its prior, and the whitening of that prior.

    ``knots`` years; ``basis`` (years, knots), the weight of each knot in each year; ``scales``: the names
    of the scales, and ``log_scale_sd`` (scales,), the hyperprior's standard deviations. Fixed entries,
    those of impossible values, are not in theta. Of each part: ``roots``, the Cholesky factor of its prior
    covariance at scale one, (free, free); ``free``, which of its entries are free; ``starts``, where these
    begin in theta. ``lags``: by family what a lag does.
    """

    parts: tuple[Part, ...]
    knots: NDArray[np.int64]
    basis: Array
    scales: tuple[str, ...]
    log_scale_sd: Array
    roots: tuple[Array, ...]
    free: tuple[Places, ...]
    starts: tuple[int, ...]
    size: int
    lags: Mapping[str, LagEffect]

    def stretches(self) -> Iterator[tuple[Part, slice, Array]]:
        """Every part, where it lies in theta, and its Cholesky factor."""
        for part, start, root in zip(self.parts, self.starts, self.roots, strict=True):
            yield part, slice(start, start + len(root)), root

    def log_share_shift(self, family: str, parts: Mapping[tuple[str, str], Array]) -> Array:
        """What is added to the log shares of a family by parts of full shape, (values, years)."""
        lag = float(parts[LAG, family][0, 0])
        return parts[SHARES, family] @ self.basis.T + self.lags[family].at(lag)[0]

    def named(self, theta: Array) -> dict[tuple[str, str], Array]:
        """`split`, by kind and family."""
        return {
            (part.kind, part.family): values
            for part, values in zip(self.parts, self.split(theta), strict=True)
        }

    def split(self, theta: Array) -> list[Array]:
        """Each part in its full shape, zeros where it is fixed."""
        values = []
        for (part, here, _), free in zip(self.stretches(), self.free, strict=True):
            whole = np.zeros(part.shape[0] * part.shape[1])
            whole[free] = theta[here]
            values.append(whole.reshape(part.shape))
        return values

    def joined(self, parts: Sequence[Array]) -> Array:
        """theta from parts in their full shape: the inverse of `split`."""
        some = [part.reshape(-1)[free] for part, free in zip(parts, self.free, strict=True)]
        return np.concatenate([np.zeros(0), *some])

    def scale_of(self) -> Places:
        """The number of the scale of every entry, (size,)."""
        return np.concatenate(
            [
                np.full(len(free), part.scale)
                for part, free in zip(self.parts, self.free, strict=True)
            ]
        ).astype(np.intp)

    def unwhitened(self, z: Array, log_scale: Array) -> Array:
        """theta from z (size,), which is standard normal under the prior with these scales."""
        theta = np.empty(self.size)
        for part, here, root in self.stretches():
            theta[here] = np.exp(log_scale[part.scale]) * (root @ z[here])
        return theta

    def whitened_gradient(self, gradient: Array, log_scale: Array) -> Array:
        """The gradient with respect to z from that with respect to theta."""
        whitened = np.empty(self.size)
        for part, here, root in self.stretches():
            whitened[here] = np.exp(log_scale[part.scale]) * (gradient[here] @ root)
        return whitened

    def whitened_hessian(self, hessian: Array) -> Array:
        """The Hessian with respect to z, at scale one, from that with respect to theta, (size, size)."""
        half, whole = np.empty_like(hessian), np.empty_like(hessian)
        for _, here, root in self.stretches():
            half[:, here] = hessian[:, here] @ root
        for _, here, root in self.stretches():
            whole[here] = root.T @ half[here]
        return (whole + whole.T) / 2


@dataclass(frozen=True, eq=False)
class LagEffect:
    """What a lag adds to the log shares of a table: log share(v, y - lag) - log share(v, y).

    A cubic spline over lags, of which every few years one is worked out. A value that is impossible in a
    year stays so whatever the lag: nylon was not made before nylon because a table of fibres is late.
    ``coefficients`` (4, lags - 1, values, years): of the cubics between lags, the highest power first.
    """

    coefficients: Array

    def at(self, lag: float) -> tuple[Array, Array]:
        """What a lag in years adds, and its derivative by the lag, each (values, years)."""
        inside = min(max(lag, -_MOST_LAG), _MOST_LAG)
        piece = min(int((inside + _MOST_LAG) // _LAG_STEP), len(_LAGS) - 2)
        a, b, c, d = self.coefficients[:, piece]
        x = inside - float(_LAGS[piece])
        slope = (3 * a * x + 2 * b) * x + c if inside == lag else np.zeros_like(a)
        return ((a * x + b) * x + c) * x + d, slope

    def only(self, years: NDArray[np.intp]) -> LagEffect:
        """The same at some years, by their place."""
        return LagEffect(self.coefficients[..., years])


def lag_effect_of(shares: Array) -> LagEffect:
    """Of shares (values, years), one column a year."""
    from scipy.interpolate import CubicSpline

    years = np.arange(shares.shape[1])
    log = np.log(np.maximum(shares, IMPOSSIBLE))
    earlier = np.clip(years - _LAGS[:, None].astype(int), 0, years[-1])  # (lags, years)
    moved = log[:, earlier].transpose(1, 0, 2) - log
    moved[:, shares <= IMPOSSIBLE] = 0.0
    return LagEffect(np.asarray(CubicSpline(_LAGS, moved, bc_type="natural").c, np.float64))


def deviations_of(model: Model, families: Sequence[str], *, tiers: bool = True) -> Deviations:
    """theta and its prior for some clues, by name, with all that is measured on them; ``tiers``: grades and
    markets too."""
    knots = np.arange(
        FIRST_YEAR, int(model.years[-1]) + 1, max(int(_allowance(model, "table_knots")), 1)
    )
    basis = np.stack([np.interp(model.years, knots, row) for row in np.eye(len(knots))], axis=1)
    correlation = exponential_correlation(model, knots)
    entries, lags = _entries(model, families, knots, tiers)
    scales = tuple(dict.fromkeys(scale for *_, scale in entries))
    parts, roots, free, starts, size = [], [], [], [], 0
    for kind, family, sd, scale in entries:
        flat = np.flatnonzero(sd.reshape(-1) > 0)
        value, knot = np.divmod(flat, sd.shape[1])
        by_knot = correlation if sd.shape[1] > 1 else np.ones((1, 1))
        same = np.where(value[:, None] == value, by_knot[np.ix_(knot, knot)], 0.0)
        own = sd.reshape(-1)[flat]
        parts.append(
            Part(kind=kind, family=family, shape=sd.shape, sd=sd, scale=scales.index(scale))
        )
        roots.append(np.asarray(np.linalg.cholesky(own[:, None] * same * own), np.float64))
        free.append(flat)
        starts.append(size)
        size += len(flat)
    spread, of_lags = (_allowance(model, f"table_{of}_scale") for of in ("error", "shift"))
    return Deviations(
        parts=tuple(parts),
        knots=knots,
        basis=basis,
        scales=scales,
        log_scale_sd=np.array([of_lags if name == _LAGS_SCALE else spread for name in scales]),
        roots=tuple(roots),
        free=tuple(free),
        starts=tuple(starts),
        size=size,
        lags=lags,
    )


def _entries(
    model: Model, families: Sequence[str], knots: NDArray[np.int64], tiers: bool
) -> tuple[list[tuple[str, str, NDArray[np.float64], str]], dict[str, LagEffect]]:
    """Kind, family, prior standard deviations and scale of every part; and what lags do, by family."""
    entries: list[tuple[str, str, NDArray[np.float64], str]] = []
    lags: dict[str, LagEffect] = {}
    shift = np.array([[model.priors.allowances["table_shift"]]])
    for name in families:
        clue = shares_clue(model, name)
        sample_size = model.priors.families[name].worth
        usual = channel_shares(model, clue)
        share = usual[:, knots - FIRST_YEAR]
        sd = np.where(share > IMPOSSIBLE, _logit_sd(sample_size, share), 0.0)
        entries.append((SHARES, name, sd, name))
        entries.append((LAG, name, shift, _LAGS_SCALE))
        lags[name] = lag_effect_of(usual)
        rate = np.array([[model.priors.slips[name]]])
        entries.append((SLIP, name, _logit_sd(sample_size, rate), _SLIPS_SCALE))
        for measure in clue.measures:
            of, sample_size_of = measure.family.name, measure.family.worth
            error = float(measure.spread.mean()) / np.sqrt(sample_size_of)
            entries.append((CENTRE, of, np.full((1, len(knots)), error), of))
            entries.append((SPREAD, of, np.array([[1 / np.sqrt(2 * sample_size_of)]]), of))
            rate = np.array([[measure.slip]])
            entries.append((SLIP, of, _logit_sd(sample_size_of, rate), _SLIPS_SCALE))
    if tiers:
        sample_size = model.priors.allowances["channel_worth"]
        for family, chances in (
            ("grade", model.prior / model.year_prior),
            ("market", model.market),
        ):
            share = (chances * model.year_prior).sum(axis=1)[:, None]
            entries.append((TIER, family, _logit_sd(sample_size, share), _TIERS_SCALE))
    return entries, lags


def _logit_sd(sample_size: float, share: Array) -> Array:
    """The prior standard deviation of the logarithm of a share: the empirical logit."""
    return np.asarray(1 / np.sqrt(sample_size * share + _HALF))


def exponential_correlation(model: Model, knots: NDArray[np.int64]) -> Array:
    """Prior correlation of the deviations at some years, (knots, knots)."""
    length = _allowance(model, "table_error_length")
    return np.asarray(np.exp(-np.abs(knots[:, None] - knots) / length))


def _allowance(model: Model, name: str) -> float:
    value = model.priors.allowances[name]
    if value <= 0:
        raise ScarfdateError(f"allowances.csv: {name} must be above 0 to learn with, got {value:g}")
    return value


def shares_clue(model: Model, name: str) -> SharesClue:
    """The clue of a family of shares."""
    clue = model.clues[model.column[name]]
    assert isinstance(clue, SharesClue)
    return clue


def moved_rate(rate: float, by: Array) -> Array:
    """A slip rate whose logit is moved."""
    from scipy.special import expit, logit

    return np.asarray(expit(logit(rate) + by))


def shares_at_knots(
    model: Model,
    layout: Deviations,
    family: str,
    draws: Sequence[Mapping[tuple[str, str], Array]],
) -> Array:
    """Shares at the knots under the parts of some draws, (draws, values, knots).

    Of the channel's mixture of grades and markets: each is moved by itself, and then they are mixed.
    """
    from scipy.special import softmax

    clue = shares_clue(model, family)
    at = layout.knots - FIRST_YEAR
    lag, basis = layout.lags[family].only(at), layout.basis[at]
    shifts = np.stack(
        [
            draw[SHARES, family] @ basis.T + lag.at(float(draw[LAG, family][0, 0]))[0]
            for draw in draws
        ]
    )
    mixture = np.zeros_like(shifts)
    grades = (model.prior / model.year_prior)[:, at]
    for grade in range(len(GRADES)):
        for market in range(clue.shares.shape[1]):
            moved = softmax(np.log(clue.shares[:, market, grade][:, at]) + shifts, axis=1)
            mixture += grades[grade] * (model.market[market, at] if clue.by_market else 1.0) * moved
    return mixture


def channel_shares(model: Model, clue: SharesClue) -> Array:
    """Shares by year of the channel's mixture of grades and markets, (values, years)."""
    by_grade = (clue.shares * model.market[:, None] if clue.by_market else clue.shares).sum(axis=1)
    return np.asarray((by_grade * (model.prior / model.year_prior)).sum(axis=1))
