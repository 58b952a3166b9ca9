"""The price to ask and the offer to take, against a numeric search and against simulated buyers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from scarfdate.worth.costs import Costs
from scarfdate.worth.waiting_rule import WIDEST, Demand, best_waiting, reserve, value_at

COSTS = Costs(
    fee_percent=12, fee_fixed=0.35, postage=4, packing=0.6, return_costs=8,
    shelf_cost_per_day=0.03, interest_percent_a_year=6,
)  # fmt: skip
DEMAND = Demand(usual=40.0, days=90.0, elasticity=4.0, returned=0.06)


def numeric(demand: Demand, costs: Costs) -> float:
    """The greatest value over the price asked, by Brent's method on the logarithm of the price."""
    low, high = np.log(demand.usual / WIDEST), np.log(demand.usual * WIDEST)
    found = minimize_scalar(
        lambda log: -value_at(float(np.exp(log)), demand, costs), bounds=(low, high), method="bounded",
        options={"xatol": 1e-10},
    )  # fmt: skip
    ends = (value_at(demand.usual * times, demand, costs) for times in (1 / WIDEST, WIDEST))
    return max(-found.fun, *ends)


@settings(max_examples=60, deadline=None)
@given(
    usual=st.floats(3, 300),
    days=st.floats(5, 900),
    elasticity=st.floats(0, 12),
    returned=st.floats(0, 0.4),
    fee=st.floats(0, 60),
    a_sale=st.floats(0, 20),
    a_day=st.floats(0, 0.3),
    interest=st.floats(0, 30),
)
def test_no_price_is_better_than_that_of_the_rule(
    usual, days, elasticity, returned, fee, a_sale, a_day, interest
) -> None:
    demand = Demand(usual=usual, days=days, elasticity=elasticity, returned=returned)
    costs = Costs(
        fee_percent=fee, postage=a_sale, return_costs=9, shelf_cost_per_day=a_day,
        interest_percent_a_year=interest,
    )  # fmt: skip
    found = best_waiting(demand, costs)
    assert found.value == pytest.approx(value_at(found.asking, demand, costs))
    assert found.value >= numeric(demand, costs) - 1e-6 * usual


def test_simulated_buyers_bring_what_the_rule_says(rng) -> None:
    """Day by day money as it comes: 200,000 pieces, each with its buyers, returns and days of waiting."""
    found = best_waiting(DEMAND, COSTS)
    n, clock, today = 200_000, 0.0, np.zeros(200_000)
    clock, owned = np.zeros(n), np.ones(n, dtype=bool)
    while owned.any():
        waited = rng.exponential(found.days, n)
        then = clock + waited
        a_day, interest = COSTS.shelf_cost_per_day, COSTS.interest
        paid = a_day * (np.exp(-interest * clock) - np.exp(-interest * then)) / interest
        back = rng.random(n) < DEMAND.returned
        got = np.where(back, -COSTS.return_costs, COSTS.net(np.array(found.asking)))
        today += np.where(owned, got * np.exp(-interest * then) - paid, 0.0)
        clock, owned = np.where(owned, then, clock), owned & back
    error = today.std() / np.sqrt(n)
    assert found.value == pytest.approx(today.mean(), abs=4 * error)


def test_an_offer_is_taken_from_the_price_on_whose_net_is_the_value() -> None:
    found = best_waiting(DEMAND, COSTS)
    assert COSTS.net(np.array(found.reserve)) == pytest.approx(found.value)
    assert found.reserve < found.asking and not found.at_limit


def test_the_first_order_condition_by_hand() -> None:
    """At b = 3 the price asked is 3/2 of what is given up by selling: here V + 2, with no fee."""
    costs = Costs(postage=2, shelf_cost_per_day=0.1)
    found = best_waiting(Demand(usual=20, days=50, elasticity=3), costs)
    assert found.asking == pytest.approx(1.5 * (found.value + 2))


def test_dearer_waiting_asks_less_and_takes_less() -> None:
    dearer = Costs(**{**vars(COSTS), "shelf_cost_per_day": 0.1})
    one, other = best_waiting(DEMAND, COSTS), best_waiting(DEMAND, dearer)
    assert other.asking < one.asking and other.reserve < one.reserve and other.days < one.days


def test_where_waiting_costs_nothing_the_dearest_price_is_asked() -> None:
    found = best_waiting(DEMAND, Costs(fee_percent=10))
    assert found.at_limit and found.asking == DEMAND.usual * WIDEST


def test_a_fee_of_all_leaves_nothing_to_sell_for() -> None:
    assert reserve(5.0, Costs(fee_percent=100)) == float("inf")
    assert best_waiting(DEMAND, Costs(fee_percent=100)).value <= 0
