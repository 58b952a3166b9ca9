"""Profit arithmetic, worked by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scarfdate import Costs, RangeError
from scarfdate.worth.profit import gains, sales
from scarfdate.worth.spread import Spread, highest_price
from tests.worth.stated import four_sales

COSTS = Costs(
    fee_percent=10, fee_fixed=0.5, postage=4, packing=1, return_costs=8, cleaning=2, minutes=30,
    hourly_rate=12, shelf_cost_per_day=0.02, days_at_most=200, cleared_at=0.5,
)  # fmt: skip


def test_four_sales_by_hand() -> None:
    """Cleaning 2 and half an hour 6 are spent before; a sale costs a tenth, 0.50, 4 and 1.

    60 after 50 days: 60 - 6 - 5.50 = 48.50, a day's 0.02 makes 1.00, so 48.50 - 1 - 8 = 39.50. The same sent back
    and sold again 50 days later: 48.50 - 8 - 2 - 8 = 30.50. No buyer within 200 days: cleared at 30, which nets
    30 - 3 - 5.50 = 21.50, less 4 and 8 = 9.50. 5 would net -1: it is not sold, 0 - 1 - 8 = -9.
    """
    found = sales(four_sales([60, 60, 60, 5], [50, 50, 250, 50], [0, 1, 0, 0]), COSTS)
    np.testing.assert_allclose(found.price, [[60, 60, 30, 5]])
    np.testing.assert_allclose(found.days, [[50, 100, 200, 50]])
    np.testing.assert_allclose(found.gain, [[39.5, 30.5, 9.5, -9]])
    profit = Spread(found.gain[0]).less(20)
    assert profit.expected == pytest.approx((19.5 + 10.5 - 10.5 - 29) / 4)
    assert profit.loss_probability == 0.5 and profit.chance_below(-20) == 0.25


def test_a_year_at_ten_per_cent_by_hand() -> None:
    """48.50 in a year is 48.50 / 1.1 = 44.0909 today; 0.02 a day through it is 0.02 * 365.25 * (1 - 1 / 1.1) / ln 1.1
    = 6.9677 today; with the 8 before, 29.1232 is left."""
    costs = replace(COSTS, interest_percent_a_year=10, days_at_most=None)
    found = gains(np.array([60.0]), np.array([365.25]), np.zeros(1), costs)
    assert found[0] == pytest.approx(44.0909 - 6.9677 - 8, abs=2e-4)


def test_where_days_are_not_known_time_costs_nothing_and_returns_their_chance() -> None:
    found = sales(four_sales([60, 60, 60, 60], None, [0, 1, 0, 0]), COSTS)
    assert found.days is None
    np.testing.assert_allclose(found.gain, [[40.5, 32.5, 40.5, 40.5]])


@given(
    gain=st.lists(st.floats(-1000, 1000, width=32), min_size=1, max_size=60),
    risk=st.floats(0, 1),
)
def test_the_most_to_pay_keeps_to_the_risk_and_to_what_is_expected(
    gain: list[float], risk: float
) -> None:
    draws = np.array(gain, dtype=float)
    limit = float(highest_price(draws[None, :], risk)[0])
    assert limit >= 0
    if limit > 0:
        assert (draws < limit).mean() <= risk + 1e-9 and limit <= draws.mean() + 1e-9
        # and a little more would be too much, by the one or by the other
        more = limit + 1e-3 + 1e-6 * abs(limit)
        assert (draws < more).mean() > risk - 1e-9 or more > draws.mean()


@given(
    draws=st.lists(st.floats(-100, 100), min_size=1, max_size=40),
    a=st.floats(0, 1),
    b=st.floats(0, 1),
)
def test_whoever_risks_less_pays_less(draws: list[float], a: float, b: float) -> None:
    gain = np.array([draws])
    low, high = sorted((a, b))
    assert highest_price(gain, low)[0] <= highest_price(gain, high)[0]


amounts = st.floats(0, 30)


@given(
    price=st.lists(st.floats(0.5, 200), min_size=12, max_size=12),
    days=st.lists(st.floats(1, 900), min_size=12, max_size=12),
    name=st.sampled_from([
        "fee_percent", "fee_fixed", "postage", "packing", "return_costs", "cleaning", "minutes",
        "shelf_cost_per_day", "interest_percent_a_year",
    ]),
    before=amounts,
    more=amounts,
    risk=st.sampled_from([0.05, 0.2, 0.5]),
)  # fmt: skip
def test_dearer_costs_never_raise_the_most_to_pay(price, days, name, before, more, risk) -> None:
    scale = 0.02 if name == "shelf_cost_per_day" else 1.0
    back = np.arange(12) % 4 == 0
    limits = [
        highest_price(
            gains(
                np.array([price]), np.array([days]), back, replace(COSTS, **{name: scale * cost})
            ),
            risk,
        )[0]
        for cost in (before, before + more)
    ]
    assert limits[1] <= limits[0] + 1e-9


def test_a_spread_answers() -> None:
    spread = Spread(np.arange(101.0))
    assert (
        spread.median == 50
        and spread.interval() == pytest.approx((10, 90))
        and "50.00" in repr(spread)
    )
    for wrong in (1.2, -0.1, True, "half"):
        with pytest.raises(RangeError):
            spread.quantile(wrong)  # type: ignore[arg-type]
