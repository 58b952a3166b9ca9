"""The quick route beside NUTS on the same sales: the same density, so the same answers."""

from __future__ import annotations

import time

import numpy as np
import pytest

from scarfdate import ScarfdateError, load_priors
from scarfdate.worth.learn_prices import pooling_of, prices_of
from scarfdate.worth.price_words import centred
from scarfdate.worth.prices import Prices
from tests.worth.known_sales import known_sales

pytestmark = [pytest.mark.learning, pytest.mark.slow]
pytest.importorskip("pymc")
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


def test_chains_that_disagree_are_refused() -> None:
    from scarfdate.learning.container import arviz_container
    from scarfdate.worth.price_nuts import checked

    apart = np.random.default_rng(1).normal(size=(4, 200)) + np.arange(4)[:, None]
    with pytest.raises(ScarfdateError, match=r"chains cannot be trusted.*sigma: R-hat"):
        checked(arviz_container({"posterior": {"sigma": apart}}, {}, {})["posterior"], 0.0)
