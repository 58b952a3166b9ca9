"""The draws as ArviZ's container: InferenceData in ArviZ 0.x, a DataTree in 1.x.

Groups: ``posterior`` and ``prior`` hold of each family its shares at the knots (of the channel's usual
mixture of grades and markets), its lag and its slip rate; of each measure by how much its log centre is
shifted at the knots, and how many times as wide it is; and the log scales. ``log_likelihood``: "clues", log
P(clues | known years) of every record, for leave-one-out. ``posterior_predictive`` and ``prior_predictive``:
how many records would have each value noted, given their known years, beside ``observed_data``. The counts
are drawn as one multinomial of the mean chances, as if all were judged by eye and fingers.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from scarfdate.conventions import GRADES, MARKETS, METHOD, Array
from scarfdate.learning.clue_shares import shares_at_knots, shares_clue
from scarfdate.learning.deviations import CENTRE, LAG, SHARES, SLIP, SPREAD
from scarfdate.learning.likelihood import Likelihood
from scarfdate.learning.prior import moved_rate
from scarfdate.model.exact import onto_style_years

_SEED = 12
_INFORMATIVE = 1e-9  # nats
_PREDICTED = 200  # draws at most for what is predicted, and for the prior

Group = Mapping[str, Array]


def container(
    likelihood: Likelihood, draws: Array, log_scale: Array, sample_stats: Group | None = None
) -> Any:
    """``draws`` (chains, draws, size) of theta, ``log_scale`` (chains, draws, scales)."""
    rng = np.random.default_rng(_SEED)
    layout, names = likelihood.deviations, likelihood.families
    n = min(_PREDICTED, draws.shape[0] * draws.shape[1])
    scales = rng.normal(0, layout.log_scale_sd, (n, len(layout.scales)))
    z = rng.standard_normal((n, layout.size))
    prior = np.stack([layout.unwhitened(w, s) for w, s in zip(z, scales, strict=True)])
    flat = draws.reshape(-1, layout.size)
    each = np.array([_of_records(likelihood, draw) for draw in flat])
    # of a record in which nothing was noted there is nothing to leave out
    informative = np.flatnonzero(np.ptp(each, axis=0) > _INFORMATIVE)
    some = flat[np.linspace(0, len(flat) - 1, n).astype(int)]
    groups: dict[str, Group] = {
        "posterior": posterior_arrays(likelihood, draws, log_scale),
        "prior": posterior_arrays(likelihood, prior[None], scales[None]),
        "log_likelihood": {"clues": each[:, informative].reshape(*draws.shape[:2], -1)},
        "posterior_predictive": _predicted(likelihood, some, rng),
        "prior_predictive": _predicted(likelihood, prior, rng),
        "observed_data": {f"noted_{name}": _observed(likelihood, name) for name in names},
    }
    if sample_stats:
        groups["sample_stats"] = sample_stats
    coords: dict[str, object] = {
        "knot": layout.knots.tolist(),
        "scale": list(layout.scales),
        "record": informative.tolist(),
    }
    dims: dict[str, list[str]] = {"log_scale": ["scale"], "clues": ["record"]}
    for part in layout.parts:
        if part.kind == CENTRE:
            dims[f"shift_{part.family}"] = ["knot"]
    for name in names:
        coords[f"value_{name}"] = list(shares_clue(likelihood.model, name).values)
        dims[f"share_{name}"] = ["knot", f"value_{name}"]
        dims[f"noted_{name}"] = [f"value_{name}"]
    return arviz_container(groups, coords, dims)


def arviz_container(
    groups: Mapping[str, Group], coords: Mapping[str, object], dims: Mapping[str, list[str]]
) -> Any:
    """Groups of arrays (chain, draw, ...) with named dimensions, as the installed ArviZ has it."""
    import arviz

    held = {
        name: {key: np.asarray(value) for key, value in group.items()}
        for name, group in groups.items()
    }
    if arviz.__version__.startswith("0."):  # it takes every group as a keyword
        return arviz.from_dict(**held, coords=dict(coords), dims=dict(dims))
    return arviz.from_dict(held, coords=dict(coords), dims=dict(dims))


def posterior_arrays(likelihood: Likelihood, draws: Array, log_scale: Array) -> dict[str, Array]:
    """The variables of the posterior of draws (chains, draws, size), each (chains, draws, ...)."""
    layout, model = likelihood.deviations, likelihood.model
    shape = draws.shape[:2]
    flat = [layout.named(draw) for draw in draws.reshape(-1, layout.size)]
    arrays: dict[str, Array] = {"log_scale": log_scale}
    for part in layout.parts:
        moved = np.stack([one[part.kind, part.family] for one in flat])
        if part.kind == SHARES:
            share = shares_at_knots(model, layout, part.family, flat).transpose(0, 2, 1)
            arrays[f"share_{part.family}"] = share.reshape(*shape, *share.shape[1:])
        elif part.kind == LAG:
            arrays[f"lag_{part.family}"] = moved[:, 0, 0].reshape(shape)
        elif part.kind == SLIP:
            rate = moved_rate(model.priors.slips[part.family], moved[:, 0, 0])
            arrays[f"slip_{part.family}"] = rate.reshape(shape)
        elif part.kind == CENTRE:
            arrays[f"shift_{part.family}"] = moved[:, 0].reshape(*shape, -1)
        elif part.kind == SPREAD:
            arrays[f"widening_{part.family}"] = np.exp(moved[:, 0, 0]).reshape(shape)
    return arrays


def _of_records(likelihood: Likelihood, draw: Array) -> Array:
    likelihood.value(draw)
    return np.asarray(likelihood.log_likelihood[likelihood.patterns.pattern_of])


def _predicted(likelihood: Likelihood, draws: Array, rng: np.random.Generator) -> dict[str, Array]:
    many = {name: int(_observed(likelihood, name).sum()) for name in likelihood.families}
    counts: dict[str, list[Array]] = {name: [] for name in many}
    for draw in draws:
        for name, chance in _chances(likelihood, draw).items():
            drawn = rng.multinomial(many[name], chance / chance.sum())
            counts[name].append(np.asarray(drawn, dtype=np.float64))
    return {f"noted_{name}": np.stack(some)[None] for name, some in counts.items()}


def _chances(likelihood: Likelihood, draw: Array) -> dict[str, Array]:
    """The mean chance over records of each value to be noted, before a clue of theirs is seen."""
    from scipy.special import softmax

    likelihood.value(draw)
    layout, model, patterns = likelihood.deviations, likelihood.model, likelihood.patterns
    market, grade, year = likelihood.market, likelihood.grade, likelihood.year
    parts = layout.named(draw)
    prior = np.exp(likelihood.log_year) * likelihood.grades[grade, year]
    prior = prior * np.where(likelihood.by_market, likelihood.markets[market, year], 1.0)
    weight = prior * patterns.count[likelihood.pattern]
    chances = {}
    for name in likelihood.families:
        clue = shares_clue(model, name)
        seen = patterns.codes[likelihood.pattern, model.column[name]] != 0
        load = np.zeros((len(MARKETS), len(GRADES), len(model.years)))
        np.add.at(load, (market[seen], grade[seen], year[seen]), weight[seen])
        if clue.reads == "style":
            load = onto_style_years(model, load)
        if not clue.by_market:
            load = load.sum(axis=0, keepdims=True)
        shift = layout.log_share_shift(name, parts)[:, None, None]
        with np.errstate(
            divide="ignore"
        ):  # what was not made yet has a share of nothing, and keeps it
            share = softmax(np.log(clue.shares) + shift, axis=0)
        chances[name] = (share * load).sum(axis=(1, 2, 3)) @ clue.noted(METHOD)
    return chances


def _observed(likelihood: Likelihood, name: str) -> Array:
    """How many records have each value noted, (values,); parent words and weights are left out."""
    values, patterns = shares_clue(likelihood.model, name).values, likelihood.patterns
    counts = np.zeros(len(values))
    column = likelihood.model.column[name]
    keys = patterns.keys[column]
    for code, count in zip(patterns.codes[:, column].tolist(), patterns.count, strict=True):
        key = keys[code]
        word = key[0].word if isinstance(key, tuple) and key[0] is not None else None
        if word in values:
            counts[values.index(word)] += count
    return counts
