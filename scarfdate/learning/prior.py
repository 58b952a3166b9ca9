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

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import FIRST_YEAR, Array
from scarfdate.errors import ScarfdateError
from scarfdate.learning.clue_shares import channel_shares, shares_clue
from scarfdate.learning.deviations import (
    CENTRE,
    IMPOSSIBLE,
    LAG,
    SHARES,
    SLIP,
    SPREAD,
    TIER,
    Deviations,
    LagEffect,
    Part,
    lag_effect_of,
)
from scarfdate.model.model import Model

_HALF = 0.5  # of the empirical logit, see above
_LAGS_SCALE, _SLIPS_SCALE, _TIERS_SCALE = "lags", "slips", "tiers"


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


def moved_rate(rate: float, by: Array) -> Array:
    """A slip rate whose logit is moved."""
    from scipy.special import expit, logit

    return np.asarray(expit(logit(rate) + by))
