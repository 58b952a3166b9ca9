"""What goes into ArviZ's container: named arrays of the posterior, the prior, and what either predicts.

Groups: ``posterior`` and ``prior`` hold for each family its shares at the knots (of the channel's usual
mixture of grades and markets), by how many years it all comes later, and its slips; of each measure by how
much its log centre is shifted at the knots, and how many times as wide it is; and the log scales.
``log_likelihood``: "clues", log P(clues | known years) of every record, for leave-one-out.
``posterior_predictive`` and ``prior_predictive``: how many records would have each value noted, given their
known years, beside ``observed_data``. The counts are drawn as one multinomial of the mean chances, as if
all were judged by eye and fingers.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import GRADES, MARKETS, METHOD
from scarfdate.knots import Array
from scarfdate.learning.container import arviz_container
from scarfdate.learning.likelihood import Target
from scarfdate.learning.prior import (
    CENTRE,
    LATE,
    SHARES,
    SLIP,
    SPREAD,
    moved_shares,
    shares_at_knots,
)

if TYPE_CHECKING:
    from scarfdate.learning.learned import Learned

_SEED = 12
_SAYS = 1e-9  # nats
_PREDICTED = 200  # draws at most for what is predicted, and for the prior


def container_of(learned: Learned) -> Any:
    """The container of a route that has no chains: its draws as one chain."""
    draws = learned.draws[None]
    scales = np.broadcast_to(
        np.atleast_2d(learned.log_scale), (draws.shape[1], learned.log_scale.shape[-1])
    )
    return container(learned._target, draws, scales[None])


def container(
    target: Target, draws: Array, log_scale: Array, sample_stats: Mapping[str, Array] | None = None
) -> Any:
    """``draws`` (chains, draws, size) of deviations, ``log_scale`` (chains, draws, scales)."""
    rng = np.random.default_rng(_SEED)
    layout = target.deviations
    n = min(_PREDICTED, draws.shape[0] * draws.shape[1])
    scales = rng.normal(0, layout.scale_spread, (n, len(layout.scales)))
    white = rng.standard_normal((n, layout.size))
    prior = np.stack([layout.from_white(w, s) for w, s in zip(white, scales, strict=True)])
    flat = draws.reshape(-1, layout.size)
    each = np.array([_of_records(target, draw) for draw in flat])
    # of a record in which nothing was noted there is nothing to leave out
    says = np.flatnonzero(np.ptp(each, axis=0) > _SAYS)
    some = flat[np.linspace(0, len(flat) - 1, n).astype(int)]
    groups: dict[str, Mapping[str, Array]] = {
        "posterior": named(target, draws, log_scale),
        "prior": named(target, prior[None], scales[None]),
        "log_likelihood": {"clues": each[:, says].reshape(*draws.shape[:2], -1)},
        "posterior_predictive": _predicted(target, some, rng),
        "prior_predictive": _predicted(target, prior, rng),
        "observed_data": {name: _observed(target, name) for name in _families(target)},
    }
    if sample_stats:
        groups["sample_stats"] = sample_stats
    coords: dict[str, object] = {
        "knot": layout.knots.tolist(),
        "scale": list(layout.scales),
        "record": says.tolist(),
    }
    dims: dict[str, list[str]] = {"log_scale": ["scale"], "clues": ["record"]}
    for part in layout.parts:
        if part.kind == CENTRE:
            dims[f"shift_{part.family}"] = ["knot"]
    for name in _families(target):
        coords[f"value_{name}"] = list(_clue(target, name).values)
        dims[f"share_{name}"] = ["knot", f"value_{name}"]
        dims[f"noted_{name}"] = [f"value_{name}"]
    return arviz_container(_prefixed(groups), coords, dims)


def named(target: Target, draws: Array, log_scale: Array) -> dict[str, Array]:
    """What the posterior group holds of draws (chains, draws, size), each (chains, draws, ...)."""
    layout, model = target.deviations, target.model
    flat = [layout.named(draw) for draw in draws.reshape(-1, layout.size)]
    found: dict[str, Array] = {"log_scale": log_scale}
    for part in layout.parts:
        moved = np.stack([one[part.kind, part.family] for one in flat])
        if part.kind == SHARES:
            share = shares_at_knots(model, layout, part.family, flat).transpose(0, 2, 1)
            found[f"share_{part.family}"] = share.reshape(*draws.shape[:2], *share.shape[1:])
        elif part.kind == LATE:
            found[f"lag_{part.family}"] = moved[:, 0, 0].reshape(draws.shape[:2])
        elif part.kind == SLIP:
            rate = model.priors.slips[part.family]
            odds = np.log(rate / (1 - rate)) + moved[:, 0, 0]
            found[f"slip_{part.family}"] = (1 / (1 + np.exp(-odds))).reshape(draws.shape[:2])
        elif part.kind == CENTRE:
            found[f"shift_{part.family}"] = moved[:, 0].reshape(*draws.shape[:2], -1)
        elif part.kind == SPREAD:
            found[f"widening_{part.family}"] = np.exp(moved[:, 0, 0]).reshape(draws.shape[:2])
    return found


def _of_records(target: Target, draw: Array) -> Array:
    target.value(draw)
    return np.asarray(target.log_each[target.patterns.which])


def _predicted(target: Target, draws: Array, rng: np.random.Generator) -> dict[str, Array]:
    found: dict[str, list[Array]] = {name: [] for name in _families(target)}
    many = {name: int(_observed(target, name).sum()) for name in found}
    for draw in draws:
        for name, chance in _chances(target, draw).items():
            counts = rng.multinomial(many[name], chance / chance.sum())
            found[name].append(np.asarray(counts, dtype=np.float64))
    return {name: np.stack(some)[None] for name, some in found.items()}


def _chances(target: Target, draw: Array) -> dict[str, Array]:
    """The mean chance over records of each value to be noted, before a clue of theirs is seen."""
    target.value(draw)
    layout, model = target.deviations, target.model
    parts = layout.named(draw)
    base = np.exp(target.log_year) * target.grades[target.grade, target.year]
    base = base * np.where(target.by_market, target.markets[target.market, target.year], 1.0)
    weight = base * target.patterns.count[target.pattern]
    found = {}
    for name in _families(target):
        clue = _clue(target, name)
        seen = target.patterns.codes[target.pattern, model.column[name]] != 0
        load = np.zeros((len(MARKETS), len(GRADES), len(model.years)))
        np.add.at(load, (target.market[seen], target.grade[seen], target.year[seen]), weight[seen])
        if clue.reads == "style":
            rho = model.revival_share
            load = load * (1 - rho) + (load * rho) @ model.looked_back_to
        if not clue.by_market:
            load = load.sum(axis=0, keepdims=True)
        moved = np.log(clue.shares) + layout.log_moves(name, parts)[:, None, None]
        share = np.exp(moved_shares(moved))
        true = (share * load).sum(axis=(1, 2, 3))
        found[name] = true @ clue.noted(METHOD)
    return found


def _observed(target: Target, name: str) -> Array:
    """How many records have each value noted, (values,); parent words and weights are left out."""
    clue = _clue(target, name)
    counts = np.zeros(len(clue.values))
    column = target.model.column[name]
    for row, count in zip(
        target.patterns.codes[:, column].tolist(), target.patterns.count, strict=True
    ):
        key = clue.rows.keys[row] if row else None
        word = key[0].word if isinstance(key, tuple) and key[0] is not None else None
        if word in clue.values:
            counts[clue.values.index(word)] += count
    return counts


def _families(target: Target) -> list[str]:
    return [part.family for part in target.deviations.parts if part.kind == SHARES]


def _clue(target: Target, name: str) -> SharesClue:
    clue = target.model.clues[target.model.column[name]]
    assert isinstance(clue, SharesClue)
    return clue


def _prefixed(groups: Mapping[str, Mapping[str, Array]]) -> dict[str, dict[str, Array]]:
    """Counts under names of their own, beside shares of the same family."""
    own = ("posterior_predictive", "prior_predictive", "observed_data")
    return {
        group: {(f"noted_{name}" if group in own else name): value for name, value in some.items()}
        for group, some in groups.items()
    }
