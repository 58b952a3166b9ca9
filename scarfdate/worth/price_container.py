"""The draws of prices as ArviZ's container: InferenceData in ArviZ 0.x, a DataTree in 1.x.

Groups: ``posterior`` (by group its effects over ``level_<group>``, the spread of pooled groups, the residual's shape);
where the sales are at hand, ``log_likelihood`` and ``posterior_predictive`` of the log prices beside
``observed_data``; ``sample_stats`` of chains.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from scarfdate.conventions import Array
from scarfdate.learning.container import arviz_container
from scarfdate.worth.coefficients import ALONE, Coefficients
from scarfdate.worth.laws import StudentT
from scarfdate.worth.pooled import Pooled

_SEED = 12
_NONE_NOTED = "none noted"


def container_of(
    of: Coefficients,
    model: Pooled | None,
    *,
    chains: int = 1,
    sample_stats: Mapping[str, Array] | None = None,
) -> Any:
    """Draws, those of one chain after those of another, as the installed ArviZ has them."""

    def chained(values: Array) -> Array:
        return values.reshape(chains, -1, *values.shape[1:])

    posterior: dict[str, Array] = {}
    coords: dict[str, object] = {}
    dims: dict[str, list[str]] = {}
    for group in of.layout.groups:
        draws = of.group(group)
        if group in ALONE:
            posterior[group] = chained(draws[:, 0])
            continue
        posterior[group] = chained(draws)
        coords[f"level_{group}"] = [level or _NONE_NOTED for level in of.layout.levels(group)]
        dims[group] = [f"level_{group}"]
    posterior |= {f"spread_{name}": chained(values) for name, values in of.spread.items()}
    posterior |= {name: chained(values) for name, values in of.shape.items()}
    groups: dict[str, Mapping[str, Array]] = {"posterior": posterior}
    if model is not None and isinstance(model.law, StudentT):
        log, predicted = _of_sales(of, model, model.law)
        groups |= {
            "log_likelihood": {"log_price": chained(log)},
            "posterior_predictive": {"log_price": chained(predicted)},
            "observed_data": {"log_price": model.law.y},
        }
        coords["sale"] = list(range(len(model.law.y)))
        dims["log_price"] = ["sale"]
    if sample_stats:
        groups["sample_stats"] = sample_stats
    return arviz_container(groups, coords, dims)


def _of_sales(of: Coefficients, model: Pooled, law: StudentT) -> tuple[Array, Array]:
    """Log likelihood and a drawn log price of every sale under every draw, (draws, sales)."""
    from scipy.stats import t

    mean = of.draws @ model.design.rows.T
    nu = of.shape["nu"][:, None]
    scale = np.sqrt(of.shape["sigma"][:, None] ** 2 + law.variance)
    noise = np.random.default_rng(_SEED)
    # at infinity it is the normal law
    drawn = t.rvs(nu, loc=mean, scale=scale, random_state=noise, size=mean.shape)
    return np.asarray(t.logpdf(law.y, nu, loc=mean, scale=scale)), np.asarray(drawn)
