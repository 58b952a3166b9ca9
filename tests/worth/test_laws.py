"""The laws of prices, days and returns beside SciPy's: densities, slopes by differences, Fisher's information by
integrals. What is not known of a piece: drawn. And costs: what is not stated counts as nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad
from scipy.stats import norm, t, weibull_min

from scarfdate import Costs, Priors
from scarfdate.conventions import GRADES
from scarfdate.worth.coefficients import Layout
from scarfdate.worth.condition import Condition
from scarfdate.worth.costs import AMOUNTS
from scarfdate.worth.design import Offers, unknown_variance
from scarfdate.worth.keep_or_sell import keep_or_sell
from scarfdate.worth.laws import Bernoulli, Law, StudentT, Weibull
from scarfdate.worth.offered import offered
from scarfdate.worth.pieces import Pieces
from scarfdate.worth.profit import gains
from scarfdate.worth.waiting_rule import Demand, cleared, value_at
from tests.worth.stated import EFFECTS, REFERENCE

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
    assert all_of(nothing) == pytest.approx(all_of(replace(EVERY, **{name: 1e-9})), abs=1e-6)
    assert all_of(nothing) != all_of(EVERY)
    assert name in blank.not_stated and name not in nothing.not_stated


def test_what_is_not_known_of_a_piece_widens_its_price_as_drawing_it_does() -> None:
    """40,000 drawn pieces for each noted one: decade and grade, its values, its size, its condition, and the loss by
    a fault as a log-normal of mean one. The variance of a log price within 6 %, some eight standard errors."""
    reference = replace(REFERENCE, loss_spread=0.4)
    pieces = Pieces.of(
        [{}, {"fibre": {"silk": 0.5, "polyester": 0.5}}, {"fibre": "silk", "width_cm": 88, "height_cm": 88}],
        [None, None, Condition(["hole"])],
        as_of=2026,
    )  # fmt: skip
    offers = Offers(pieces=pieces, channel=("", "", ""), season=("", "", ""), year=("", "", ""))
    layout = Layout(tuple(EFFECTS))
    found = unknown_variance(layout, offers, reference, np.array(list(EFFECTS.values())))
    rng, n = np.random.default_rng(5), 40_000
    for place in range(3):
        cell = rng.choice(pieces.cells.shape[1], n, p=pieces.cells[place])
        decade, grade = np.divmod(cell, len(GRADES))
        log = np.array([EFFECTS.get(("decade", str(one)), 0.0) for one in pieces.decades])[decade]
        log = log + np.array([EFFECTS.get(("grade", one), 0.0) for one in GRADES])[grade]
        for name, value in pieces.values.items():
            effect = np.array([EFFECTS.get((name, word), 0.0) for word in value.words])
            upto = value.chances[place].cumsum(axis=1)[cell]
            drawn = (rng.random(n)[:, None] > upto).sum(axis=1)
            log = log + effect[np.minimum(drawn, len(effect) - 1)]
        if np.isnan(pieces.log_area[place]):
            log = log + 0.5 * 0.3 * rng.standard_normal(n)  # elasticity, spread of the book's areas
        if np.isnan(pieces.log_kept[place]):
            log = log + rng.choice(reference.kept, n)
        else:
            log = log + pieces.log_kept[place] * np.exp(0.4 * rng.standard_normal(n) - 0.08)
        assert found[place] == pytest.approx(log.var(), rel=0.06)


def test_a_condition_that_is_understood_in_part_says_what_is_left(priors: Priors) -> None:
    frame = pd.DataFrame({"id": ["A", "B", ""], "condition": ["hole, gzorp", "hole", "gzorp"]})
    found = offered(frame, priors, "EUR")
    assert found.not_read.keys() == {0, 2} and found.ids == ("A", "B", "")
    assert all("gzorp" in found.not_read[row][0] for row in (0, 2))
    first, second, third = found.conditions
    assert third is None and first is not None and second is not None
    assert np.isnan(found.asked).all()
