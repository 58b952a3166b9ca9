"""One piece: what the answer says, that it keeps to the risk, and what is refused."""

from __future__ import annotations

import copy
import pickle
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from scarfdate import Appraisal, Costs, ScarfdateError, appraise
from scarfdate.worth.condition import Condition
from scarfdate.worth.pieces import Pieces
from scarfdate.worth.profit import sales
from scarfdate.worth.terms import INVENTED
from tests.worth.stated import REFERENCE, prices

SEEN = {"fibre": "silk", "hem": "hand-rolled", "width_cm": 88, "height_cm": 88}
COSTS = Costs(
    currency="EUR", fee_percent=12, fee_fixed=0.35, postage=4.2, packing=0.6, return_costs=8, cleaning=1,
    minutes=20, hourly_rate=14, shelf_cost_per_day=0.01, interest_percent_a_year=5, days_at_most=540, cleared_at=0.4,
)  # fmt: skip
CHEAP = Costs(currency="EUR", fee_percent=10, postage=1)
PRICES = prices()


def ask(asking: object = None, costs: object = COSTS, **more: Any) -> Appraisal:
    more = {"scarf": SEEN, "prices": PRICES, "as_of": 2026} | more
    return appraise(more.pop("scarf"), asking, costs, more.pop("prices"), **more)  # type: ignore[arg-type]


def test_the_answer_to_a_price_asked() -> None:
    found = ask(5)
    assert found.advice == "buy" and found.sentence.startswith(
        "Buy it: at 5.00 EUR you can expect to earn"
    )
    assert found.profit().expected == pytest.approx(found.gain.expected - 5)
    assert found.profit().loss_probability <= found.risk and found.limit > 5
    dear = ask(found.gain.expected + 500)
    assert dear.advice == "leave it" and "Offer up to" in dear.sentence
    none = ask()
    assert none.advice == "offer" and none.looks == () and none.sentence.startswith("Pay up to")
    assert none.limit == found.limit == dear.limit
    assert none.profit(5).expected == found.profit().expected


@pytest.mark.parametrize("risk", [0.05, 0.2, 0.4, 1.0])
def test_the_limit_keeps_to_the_risk_and_to_what_is_expected(risk: float) -> None:
    found = ask(risk=risk, costs=CHEAP)
    assert found.limit > 0 and found.profit(found.limit).loss_probability <= risk
    assert found.limit <= found.gain.expected + 1e-9


def test_the_limit_falls_with_the_risk() -> None:
    limits = [ask(risk=risk).limit for risk in (0.02, 0.1, 0.2, 0.35, 0.5, 1)]
    assert limits == sorted(limits) and limits[0] < limits[-1]


@pytest.mark.parametrize(
    ("name", "dearer"),
    [
        ("fee_percent", 30), ("fee_fixed", 3), ("postage", 9), ("packing", 4), ("return_costs", 40), ("cleaning", 9),
        ("minutes", 60), ("hourly_rate", 30), ("shelf_cost_per_day", 0.1), ("interest_percent_a_year", 30),
    ],
)  # fmt: skip
@pytest.mark.parametrize("risk", [0.1, 0.3])
def test_the_limit_falls_as_a_cost_rises(name: str, dearer: float, risk: float) -> None:
    assert ask(costs=replace(COSTS, **{name: dearer}), risk=risk).limit < ask(risk=risk).limit


@pytest.mark.parametrize("risk", [0.05, 0.2])
def test_with_no_information_the_most_to_pay_keeps_to_the_risk(risk: float) -> None:
    """Nothing was noted: of 20,000 further sales of any scarf that turns up, no larger part loses money."""
    found = ask(scarf={}, risk=risk, costs=CHEAP)
    assert found.limit > 0
    samples = PRICES.samples(Pieces.of({}, as_of=2026), n=20_000, seed=1)
    loses = (sales(samples, CHEAP).gain[0] < found.limit).mean()
    # what is known of 600 draws and 20,000, three standard errors of either
    assert loses <= risk + 3 * np.sqrt(risk * (1 - risk) * (1 / 600 + 1 / 20_000))


def test_what_is_too_risky_even_as_a_gift_is_left() -> None:
    found = ask(0, scarf={}, risk=0.05)
    assert found.limit == 0 and found.gain.expected > 0 and found.profit().loss_probability > 0.05
    assert found.advice != "buy" and "even as a gift" in ask(scarf={}, risk=0.05).sentence


def test_a_worse_condition_never_raises_the_most_to_pay() -> None:
    each = [
        ask(condition=text).limit for text in ("no faults", "small pull at edge", "hole centre")
    ]
    assert each == sorted(each, reverse=True) and each[0] > each[-1]
    assert ask(condition=Condition()).limit == each[0]
    assert ask(condition="").limit == ask().limit


def test_it_is_the_same_every_time_copied_and_pickled() -> None:
    found = ask(9, offer=30, season="summer")
    for other in (
        ask(9, offer=30, season="summer"),
        copy.deepcopy(found),
        pickle.loads(pickle.dumps(found)),
    ):
        assert str(other) == str(found) and other.to_dict() == found.to_dict()
        assert other.looks == found.looks and other.keep_or_sell == found.keep_or_sell


def test_keep_or_sell() -> None:
    found = ask()
    assert found.keep_or_sell is not None and found.keep_or_sell.does == "ask"
    least = found.keep_or_sell.waiting.reserve
    high, low = ask(offer=least + 1).keep_or_sell, ask(offer=least - 1).keep_or_sell
    assert high is not None and high.does == "take the offer" and str(high).startswith("Take the")
    assert low is not None and low.does == "ask" and str(low).startswith("Refuse the")
    # in autumn prices are half as high again: it is worth a summer on the shelf
    summer, autumn = ask(season="summer").keep_or_sell, ask(season="autumn").keep_or_sell
    assert summer is not None and (summer.does, summer.until) == ("keep", "autumn")
    assert autumn is not None and autumn.does == "ask"
    rushed = ask(costs=replace(COSTS, shelf_cost_per_day=2.0)).keep_or_sell
    assert rushed is not None and rushed.does == "sell now"
    assert ask(costs=replace(COSTS, fee_percent=100)).keep_or_sell is None


def test_without_days_nothing_is_said_of_time() -> None:
    found = ask(9, prices=prices(days=None))
    assert found.days is None and found.keep_or_sell is None
    assert "days" not in str(found) and "If it is yours" not in str(found)


def test_invented_prices_are_said_to_be() -> None:
    found = ask(9, prices=prices(invented=True))
    assert (
        INVENTED in str(found) and "invented" in found._repr_html_() and found.to_dict()["invented"]
    )
    assert "invented" not in str(ask(9))


def test_what_costs_nothing_because_nobody_said_so_is_named() -> None:
    assert "No costs of selling were stated" in str(ask(9, costs=None))
    assert "counted as nothing: fee fixed, packing" in str(
        ask(9, costs={"currency": "EUR", "fee_percent": 9, "postage": 4})
    )


def test_money_is_read_as_it_is_typed() -> None:
    assert ask("EUR 12").asking == ask("12.00").asking == ask(12).asking == 12
    assert ask("").asking is None and ask(0).asking == 0


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        ({"asking": -3}, "asking: an amount below 0"),
        (
            {"asking": "12 USD"},
            "asking: a price in EUR and in USD|asking: a price in USD and in EUR",
        ),
        ({"asking": "a song"}, "asking: not a price"),
        ({"asking": float("nan")}, "asking"),
        ({"asking": True}, "asking"),
        ({"offer": -1}, "offer: an amount below 0"),
        ({"risk": 1.2}, "risk: a chance of a loss from 0 to 1"),
        ({"risk": "low"}, "risk"),
        ({"costs": {"fee_percent": 140}}, "fee_percent: a number from 0 to 100 %"),
        ({"costs": {"currency": "USD", "postage": 3}}, "costs in USD, prices in EUR"),
        ({"costs": {"postage": 3}}, "costs without a currency, prices in EUR"),
        ({"prices": 7}, "prices"),
        ({"condition": "gremlins"}, "gremlins"),
        ({"condition": 3}, "a condition"),
        ({"sale_channel": "moon"}, "channel"),
        ({"season": "monsoon"}, "season"),
        ({"scarf": {"fibre": "wood"}}, "fibre"),
        ({"scarf": 12}, "a Scarf"),
    ],
)
def test_bad_input_is_refused_by_name(wrong: dict[str, Any], named: str) -> None:
    with pytest.raises(ScarfdateError, match=named):
        ask(**({"asking": 9} | wrong))


def test_prices_without_a_currency_go_with_costs_without_one() -> None:
    plain = prices(reference=replace(REFERENCE, currency=""))
    found = ask(9, costs={"postage": 3}, prices=plain)
    assert found.currency == "" and "EUR" not in str(found)
    with pytest.raises(ScarfdateError, match="costs in EUR, prices without a currency"):
        ask(9, prices=plain)


def test_the_picture_is_a_line_of_the_chance_of_a_loss() -> None:
    matplotlib = pytest.importorskip("matplotlib")
    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    _, ax = plt.subplots()
    assert ask(9).plot(ax) is ax and ax.get_ylabel() == "chance of a loss, %"
    chance = ax.lines[0].get_ydata()
    assert (np.diff(chance) >= 0).all() and not ax.patches
    plt.close("all")
