"""The price to ask and the offer to take, against a numeric search and against simulated buyers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from scarfdate.worth.costs import Costs
from scarfdate.worth.waiting_rule import Demand, best_waiting, reserve, value_at

COSTS = Costs(
    fee_percent=12, fee_fixed=0.35, postage=4, packing=0.6, return_costs=8,
    shelf_cost_per_day=0.08, interest_percent_a_year=6,
)  # fmt: skip
WIDEST = 1.5  # times the usual price
DEMAND = Demand(usual=40.0, days=90.0, elasticity=4.0, returned=0.06, paid=0.9)


def numeric(demand: Demand, costs: Costs) -> float:
    """The greatest value over the price asked, by Brent's method on the logarithm of the price."""
    low, high = np.log(demand.usual / WIDEST), np.log(demand.usual * WIDEST)
    found = minimize_scalar(
        lambda log: -float(value_at(np.exp(log), demand, costs)), bounds=(low, high), method="bounded",
        options={"xatol": 1e-10},
    )  # fmt: skip
    ends = value_at(demand.usual * np.array([1 / WIDEST, WIDEST]), demand, costs)
    return max(-found.fun, *ends)


@settings(max_examples=40, deadline=None)
@given(
    usual=st.floats(3, 300),
    days=st.floats(5, 900),
    elasticity=st.floats(0, 12),
    returned=st.floats(0, 0.4),
    fee=st.floats(0, 60),
    a_sale=st.floats(0, 20),
    a_day=st.floats(0, 0.3),
    interest=st.floats(0, 30),
    last=st.none() | st.floats(10, 900),
    paid=st.floats(0.5, 1.1),
)
def test_no_price_is_better_than_that_of_the_rule(
    usual, days, elasticity, returned, fee, a_sale, a_day, interest, last, paid
) -> None:
    demand = Demand(usual=usual, days=days, elasticity=elasticity, returned=returned, paid=paid)
    costs = Costs(
        fee_percent=fee, postage=a_sale, return_costs=9, shelf_cost_per_day=a_day,
        interest_percent_a_year=interest, days_at_most=last, cleared_at=0.4,
    )  # fmt: skip
    found = best_waiting(demand, costs, WIDEST)
    at_it = float(value_at(np.array(found.asking), demand, costs))
    assert found.value == pytest.approx(max(at_it, 0))
    assert at_it >= numeric(demand, costs) - 1e-6 * usual


@pytest.mark.parametrize("last", [None, 120.0])
def test_simulated_buyers_bring_what_the_rule_says(rng, last: float | None) -> None:
    """Money as it comes: 200,000 pieces, each with its buyers, returns, days on the shelf, and a last day or none."""
    costs = replace(COSTS, days_at_most=last, cleared_at=0.5)
    found, n = best_waiting(DEMAND, costs, WIDEST), 200_000
    until = np.inf if last is None else last
    clock, today, owned = np.zeros(n), np.zeros(n), np.ones(n, dtype=bool)
    while owned.any():
        buyer = clock + rng.exponential(found.days, n)
        then = np.minimum(buyer, until)
        paid = costs.shelf_cost_per_day * (
            np.exp(-costs.interest * clock) - np.exp(-costs.interest * then)
        )
        back = (rng.random(n) < DEMAND.returned) & (buyer <= until)
        got = np.where(back, -costs.return_costs, costs.net(np.array(DEMAND.paid * found.asking)))
        got = np.where(buyer > until, costs.net(np.array(0.5 * DEMAND.usual)), got)
        today += np.where(owned, got * np.exp(-costs.interest * then) - paid / costs.interest, 0.0)
        clock, owned = np.where(owned, then, clock), owned & back
    error = today.std() / np.sqrt(n)
    assert found.value == pytest.approx(today.mean(), abs=4 * error)


def test_an_offer_is_taken_from_the_price_on_whose_net_is_the_value() -> None:
    found = best_waiting(DEMAND, COSTS, WIDEST)
    assert COSTS.net(np.array(found.reserve)) == pytest.approx(found.value)
    assert found.reserve < found.asking


def test_the_first_order_condition_by_hand() -> None:
    """At b = 3 the price asked is 3/2 of what is given up by selling: here V + 2, with no fee."""
    costs = Costs(postage=2, shelf_cost_per_day=0.2)
    found = best_waiting(Demand(usual=20, days=50, elasticity=3), costs, WIDEST)
    assert found.asking == pytest.approx(1.5 * (found.value + 2), rel=1e-5)


def test_the_markup_is_that_of_the_docstring() -> None:
    found, b, r = best_waiting(DEMAND, COSTS, WIDEST), DEMAND.elasticity, DEMAND.returned
    given_up = found.value + COSTS.a_sale + COSTS.return_costs * r / (1 - r)
    assert not found.at_limit
    assert found.asking == pytest.approx(
        b / (b - 1) * given_up / (1 - COSTS.fee) / DEMAND.paid, rel=1e-5
    )


def test_where_buyers_haggle_a_piece_is_worth_less_and_less_is_taken() -> None:
    """Buyers that pay 0.9 of what is asked."""
    as_asked = best_waiting(replace(DEMAND, paid=1.0), COSTS, WIDEST)
    haggled = best_waiting(DEMAND, COSTS, WIDEST)
    assert haggled.value < as_asked.value and haggled.reserve < as_asked.reserve
    assert DEMAND.paid * haggled.asking < as_asked.asking


def test_dearer_waiting_asks_less_and_takes_less() -> None:
    dearer = replace(COSTS, shelf_cost_per_day=0.15)
    one, other = best_waiting(DEMAND, COSTS, WIDEST), best_waiting(DEMAND, dearer, WIDEST)
    assert other.asking < one.asking and other.reserve < one.reserve and other.days < one.days


def test_where_waiting_costs_nothing_the_dearest_price_is_asked() -> None:
    found = best_waiting(DEMAND, Costs(fee_percent=10), WIDEST)
    assert found.at_limit and found.asking == DEMAND.usual * WIDEST


def test_a_fee_of_all_leaves_nothing_to_sell_for() -> None:
    assert reserve(5.0, Costs(fee_percent=100)) == float("inf")
    assert best_waiting(DEMAND, Costs(fee_percent=100), WIDEST).value <= 0


def test_where_nothing_is_said_of_returns_none_comes_back() -> None:
    costs, said = (
        Costs(fee_percent=10, shelf_cost_per_day=0.05),
        {"usual": 40.0, "days": 90.0, "elasticity": 3.0},
    )
    assert best_waiting(Demand(**said), costs, 2.0) == best_waiting(
        Demand(**said, returned=0.0), costs, 2.0
    )
