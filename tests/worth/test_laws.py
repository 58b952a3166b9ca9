"""The laws of prices, days and returns beside SciPy's: densities, slopes by differences, Fisher's information by
integrals. And costs: what is not stated counts as nothing, wherever it enters."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm, t, weibull_min

from scarfdate import Costs
from scarfdate.worth.costs import AMOUNTS
from scarfdate.worth.keep_or_sell import keep_or_sell
from scarfdate.worth.laws import Bernoulli, Law, StudentT, Weibull
from scarfdate.worth.profit import gains
from scarfdate.worth.waiting_rule import Demand, cleared, value_at

Y = np.array([-1.3, 0.2, 0.9, 4.0])
VARIANCE = np.array([0.0, 0.1, 0.5, 0.0])
AT = np.array([-0.5, 0.1, 1.4, 0.3])
ENDED = np.array([True, False, True, False])
SIGMA, NU, SHAPE = 0.7, 5.0, 1.6
LAWS: list[tuple[Law, list[float], np.ndarray]] = [
    (
        StudentT(Y, VARIANCE),
        [np.log(SIGMA), np.log(NU - 2)],
        t(NU, AT, np.sqrt(SIGMA**2 + VARIANCE)).logpdf(Y),
    ),
    (StudentT(Y, VARIANCE, NU), [np.log(SIGMA)], t(NU, AT, np.sqrt(SIGMA**2 + VARIANCE)).logpdf(Y)),
    (
        StudentT(Y, VARIANCE, np.inf),
        [np.log(SIGMA)],
        norm(AT, np.sqrt(SIGMA**2 + VARIANCE)).logpdf(Y),
    ),
    (
        Weibull(Y, ENDED),
        [np.log(SHAPE)],
        np.where(
            ENDED,
            weibull_min(SHAPE, scale=np.exp(AT)).logpdf(np.exp(Y)) + Y,  # of the log of the time
            weibull_min(SHAPE, scale=np.exp(AT)).logsf(np.exp(Y)),
        ),
    ),
    (
        Bernoulli(np.array([0.0, 1.0, 1.0, 0.0])),
        [],
        np.log(np.array([1, 0, 0, 1]) + np.array([-1, 1, 1, -1]) / (1 + np.exp(-AT))),
    ),
]  # fmt: skip


@pytest.mark.parametrize(("law", "parameters", "expected"), LAWS)
def test_a_law_is_that_of_scipy_and_its_slopes_those_of_differences(
    law: Law, parameters: list[float], expected: np.ndarray
) -> None:
    at, step = np.array(parameters), 1e-5
    found = law.terms(AT, at)
    np.testing.assert_allclose(found.log, expected, atol=1e-12)
    ahead, back = law.terms(AT + step, at), law.terms(AT - step, at)
    np.testing.assert_allclose(found.first, (ahead.log - back.log) / (2 * step), atol=1e-8)
    np.testing.assert_allclose(found.second, (ahead.first - back.first) / (2 * step), atol=1e-8)
    assert len(law.names) == len(parameters)


@pytest.mark.parametrize("nu", [3.0, 8.0, np.inf])
def test_fishers_information_is_the_mean_of_the_bend(nu: float) -> None:
    def at(y: float) -> float:
        terms = StudentT(np.array([y]), np.array([0.3]), nu).terms(
            np.zeros(1), np.array([np.log(SIGMA)])
        )
        return float(-terms.second[0] * np.exp(terms.log[0]))

    expected = StudentT(np.zeros(1), np.array([0.3]), nu).terms(
        np.zeros(1), np.array([np.log(SIGMA)])
    )
    assert quad(at, -np.inf, np.inf)[0] == pytest.approx(expected.expected[0], rel=1e-6)
    assert StudentT(Y, VARIANCE).shape(np.log([[SIGMA, 1.0]]))["nu"] == pytest.approx(3)


EVERY = Costs(
    currency="EUR", fee_percent=12, fee_fixed=0.3, postage=3, packing=0.5, return_costs=6, cleaning=2,
    minutes=10, hourly_rate=12, shelf_cost_per_day=0.01, interest_percent_a_year=5, days_at_most=300,
    cleared_at=0.5,
)  # fmt: skip


@pytest.mark.parametrize("name", [one for one in AMOUNTS if one != "days_at_most"])
def test_what_is_not_stated_counts_as_nothing_and_as_something_where_it_is(name: str) -> None:
    price, days, back = np.array([30.0, 50.0]), np.array([20.0, 200.0]), np.array([0.0, 1.0])
    now = Demand(usual=40.0, days=90.0, elasticity=3.0, returned=0.1)

    def all_of(costs: Costs) -> list[float]:
        kept = keep_or_sell(now, costs, "EUR", 1.5, None, (("autumn", now),))
        return [
            *gains(price, days, back, costs), *gains(price, None, back, costs), costs.a_piece,
            *value_at(price, now, costs), cleared(now, costs), kept.waiting.value, kept.later or 0.0,
        ]  # fmt: skip

    blank, nothing = replace(EVERY, **{name: None}), replace(EVERY, **{name: 0.0})
    assert all_of(blank) == all_of(nothing)
    assert all_of(nothing) != all_of(EVERY)
    assert name in blank.not_stated and name not in nothing.not_stated
