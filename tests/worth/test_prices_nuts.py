"""The quick route beside NUTS on the same sales: the same density, so the same answers."""

from __future__ import annotations

import time
from importlib.util import find_spec

import numpy as np
import pytest

from scarfdate import ScarfdateError, load_priors
from scarfdate.learning.container import arviz_container
from scarfdate.worth.laws import StudentT
from scarfdate.worth.learn_prices import pooling_of, price_fit, prices_of, reference_of
from scarfdate.worth.price_nuts import checked, price_density
from scarfdate.worth.price_words import centred
from scarfdate.worth.prices import Prices
from tests.worth.known_sales import known_sales

pytestmark = [
    pytest.mark.learning,
    # asked for without importing it: it takes longer than all that runs here with the fast tests
    pytest.mark.skipif(find_spec("pymc") is None, reason="PyMC is of the extra `learn`"),
]
WITHIN = 0.2  # posterior standard deviations, of means
DRAWS = 1000


def apart(quick: Prices, long: Prices) -> dict[tuple[str, str], float]:
    """By how many posterior standard deviations the means of effects are apart."""
    found = {}
    for group in quick.price.layout.groups:
        if group == "base":
            continue
        one, other = (centred(prices.price, prices.counts, group) for prices in (quick, long))
        each = (one.mean(axis=0) - other.mean(axis=0)) / other.std(axis=0)
        levels = quick.price.layout.levels(group)
        found |= {(group, level): float(by) for level, by in zip(levels, each, strict=True)}
    return found


@pytest.mark.long
def test_the_quick_route_agrees_with_nuts_and_takes_a_fraction_of_its_time() -> None:
    pooling, (sales, _) = pooling_of(load_priors()), known_sales(150, seed=8)
    started = time.perf_counter()
    quick = prices_of(sales, pooling, draws=DRAWS)
    middle = time.perf_counter()
    long = prices_of(sales, pooling, route="hierarchical", draws=DRAWS)
    ended = time.perf_counter()
    by = apart(quick, long)
    assert max(map(abs, by.values())) < WITHIN, by
    spread = quick.price.shape["sigma"].std() / long.price.shape["sigma"].std()
    assert 0.75 < spread < 1.25
    assert ended - middle > 15 * (middle - started)
    held = long.container()
    assert held["posterior"]["fibre"].shape[0] == 4
    assert "diverging" in held["sample_stats"]
    assert np.isfinite(np.asarray(held["log_likelihood"]["log_price"])).all()


@pytest.mark.slow
def test_pymc_states_the_same_density() -> None:
    """Its log density, in its coordinates, differs by a constant from what the formulas of the quick route say."""
    pooling, (sales, _) = pooling_of(load_priors()), known_sales(60, seed=8)
    reference = reference_of(sales, np.arange(60), pooling)
    found = price_fit(sales, pooling, reference, pooled=True, tails=None)
    model, prior, rng = found.model, found.model.prior, np.random.default_rng(1)
    law = model.law
    assert isinstance(law, StudentT)
    theirs = price_density(found, law).compile_logp()
    differences = []
    for _ in range(6):
        x, scale = (
            rng.normal(size=len(found.z)),
            found.log_scale + rng.normal(size=len(found.log_scale)) / 3,
        )
        shape = found.parameters + rng.normal(size=2) / 3
        root = found.normal.root(scale)
        half = np.linalg.solve(root, found.normal.gradient)
        z = np.linalg.solve(root.T, half + x)
        pooled = prior.scale_of < len(prior.scales)
        each = np.append(scale, 0.0)[prior.scale_of]
        ours = (
            model.value(z, shape)
            - float((np.where(pooled, np.exp(-2 * each), 0.0) * z**2).sum()) / 2
        )
        ours -= each.sum() + np.log(np.diag(root)).sum()
        ours -= ((scale / prior.log_scale_sd) ** 2).sum() / 2
        ours -= (((shape - prior.shape[:, 0]) / prior.shape[:, 1]) ** 2).sum() / 2
        at = {"x": x, "log_scale": scale, "log_sigma": shape[0], "log_nu": shape[1]}
        differences.append(float(theirs(at)) - ours)
    assert np.ptp(differences) < 1e-6


@pytest.mark.slow
def test_chains_that_disagree_are_refused() -> None:
    apart = np.random.default_rng(1).normal(size=(4, 200)) + np.arange(4)[:, None]
    with pytest.raises(ScarfdateError, match=r"chains cannot be trusted.*sigma: R-hat"):
        checked(arviz_container({"posterior": {"sigma": apart}}, {}, {})["posterior"], 0.0)
