"""What an appraisal decides and says, on five sales and on two seasons worked by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import weibull_min

from scarfdate import Costs, Priors, Scarf, appraise, describe
from scarfdate.worth.amounts import amount, between
from scarfdate.worth.appraisal import Appraisal, said
from scarfdate.worth.keep_or_sell import A_SEASON, demand, keep_or_sell
from scarfdate.worth.look_first import LookFirst
from scarfdate.worth.phrasing import Phrasing
from scarfdate.worth.spread import Spread
from scarfdate.worth.waiting_rule import Demand, best_waiting
from tests.worth.stated import four_sales, prices

GAIN = np.array([-10.0, -2.0, 6.0, 10.0, 16.0])  # 4 expected; two in five below nothing
PRICE = np.array([10.0, 20.0, 30.0, 40.0, 50.0])
PRICES = prices(days=None)
LOOK = LookFirst(
    clue="fibre", method="burn", words="Look at the hem", value=3.0, minutes=2.0, cost=1.0, needs="", chance=0.3,
    buy_if=("silk",), leave_if=("rayon", "polyester"), caution="",
)  # fmt: skip


def piece(
    asking: object = None, gain: np.ndarray = GAIN, looks: tuple[LookFirst, ...] = (), **more: Any
) -> Appraisal:
    found = appraise({"fibre": "silk"}, asking, Costs(currency="EUR"), PRICES, as_of=2026, **more)
    found = replace(found, gain=Spread(gain), price=Spread(PRICE))
    found.__dict__["looks"] = looks  # of these sales none can be worked out
    return found


def test_at_each_price_what_to_do_and_why() -> None:
    """Two in five lose: whoever accepts a half may pay what is expected and no more."""
    bold = {"risk": 0.5}
    assert piece(2, **bold).sentence == (
        "Buy it: at 2.00 EUR you can expect to earn 2.00 EUR, and you lose money with a chance of 40 %."
    )
    assert piece(4, **bold).advice == "buy"
    dear = piece(4.01, **bold)
    assert dear.advice == "leave it" and dear.limit == 4
    assert dear.sentence == (
        "Leave it at 4.01 EUR: you can expect to lose 0.01 EUR, and you lose money with a chance of 40 %. "
        "Offer up to 4.00 EUR."
    )
    assert piece(**bold).sentence == (
        "Pay up to 4.00 EUR: you then lose money with a chance of 50 % or less."
    )
    even = piece(4, **bold).sentence
    assert "expect to earn 0.00 EUR" in even
    timid = "even as a gift you lose money with a chance of 40 %, for what selling costs, and you accept 20 %"
    assert piece().sentence == f"Pay nothing for it: {timid}."
    assert piece(1).sentence.endswith(f". E{timid[1:]}.")
    never = piece(gain=GAIN - 4)
    assert never.sentence == "Pay nothing for it: selling costs more than it is likely to bring."
    assert piece(6.01, risk=0.6, gain=GAIN).advice == "leave it"


def test_its_lines_and_numbers() -> None:
    """The 10 and 90 % points of five numbers lie two fifths of a step within the ends."""
    found = piece(2, risk=0.5)
    assert str(found).splitlines()[1:3] == [
        "It sells for about 30 EUR; 8 times in 10 for 14.00 to 46 EUR.",
        "The profit lies 8 times in 10 between -8.80 and 11.60 EUR. The most to pay is 4.00 EUR, for a chance of "
        "a loss of 50 %.",
    ]  # fmt: skip
    numbers = found.to_dict()
    assert numbers == {
        "currency": "EUR", "price": 30.0, "price_low": pytest.approx(14), "price_high": pytest.approx(46),
        "limit": 4.0, "risk": 0.5, "advice": "buy", "invented": False, "asking": 2.0,
        "expected_profit": pytest.approx(2), "profit_low": pytest.approx(-8.8),
        "profit_high": pytest.approx(11.6), "loss_probability": pytest.approx(0.4),
    }  # fmt: skip
    assert "asking" not in piece().to_dict() and "The profit lies" not in str(piece())
    assert "The most to pay" not in str(piece(1)) and "The profit lies" in str(piece(1))
    with pytest.raises(ValueError, match="no price was given"):
        piece().profit()
    days = replace(found, days=Spread(np.array([10.0, 20.0, 60.0])))
    days.__dict__["looks"] = ()
    assert "It sells for about 30 EUR, in about 20 days; 8 times" in str(days)


def test_a_look_is_named_that_is_worth_stopping_for_with_what_one_carries() -> None:
    """At 100 asked it must earn more than 2 after its cost: 3 less 1 does not."""
    assert piece(99.9, looks=(LOOK,)).look == LOOK and piece(100, looks=(LOOK,)).look is None
    home, lens = replace(LOOK, needs="microscope"), replace(LOOK, needs="lens")
    assert piece(9, looks=(home, lens)).look == lens and piece(9, looks=(home,)).look is None
    found = piece(9, looks=(LOOK,))
    assert found.advice == "look first"
    assert found.sentence.startswith(
        "Look first, before you decide: at 9.00 EUR you can expect to lose"
    )
    assert said(LOOK, "EUR") in str(found)


def test_a_look_as_one_says_it() -> None:
    buy, leave = "Buy it if you find silk.", "Leave it if you find silk or wool."
    assert said(LOOK, "EUR") == f"Look at the hem (2 minutes): worth about 3.00 EUR. {buy}"
    other = replace(
        LOOK, buy_if=("a", "b", "c"), leave_if=("silk", "wool"), minutes=1, caution="ask first"
    )
    assert (
        said(other, "")
        == f"Look at the hem (a minute): worth about 3.00. {leave} Take care: ask first."
    )
    four = replace(LOOK, buy_if=tuple("abcd"), leave_if=tuple("efghi"))
    assert "Buy it if you find a, b, c or d." in said(four, "")
    for words in ((), tuple("abcde")):  # none, or more than anybody keeps in mind
        assert "if you find" not in said(replace(LOOK, buy_if=words, leave_if=tuple("abcde")), "")


def test_amounts() -> None:
    assert [amount(x, "EUR") for x in (19.994, 20, 31.5, -25, -0.004)] == [
        "19.99 EUR", "20 EUR", "32 EUR", "-25 EUR", "0.00 EUR",
    ]  # fmt: skip
    assert [amount(x, "", down=True) for x in (4.999, 31.99, 0.29)] == ["4.99", "31", "0.29"]
    assert between(4.2, 31, "EUR") == "4.20 and 31 EUR"


def test_chances_odds_years_and_clues_in_words(priors: Priors) -> None:
    say = Phrasing(priors=priors, language="en")
    assert [say.chance(x) for x in (0, 0.004, 0.006, 0.5, 0.994, 0.996, 1)] == [
        "under 1 %", "under 1 %", "1 %", "50 %", "99 %", "over 99 %", "over 99 %",
    ]  # fmt: skip
    # ten decibans are ten to one, three about two to one, for or against
    assert [say.reason("x", by) for by in (0, 3, -3, 9.9, 10, 19.9)] == [
        f"x (about {odds} to 1)" for odds in ("1", "2", "2", "9.8", "10", "98")
    ]
    for name, over in (("en", "more than 100 to 1"), ("de", "über 100 zu 1"), ("fr", "plus de 100 contre 1"),
                       ("it", "oltre 100 a 1")):  # fmt: skip
        assert Phrasing(priors=priors, language=name).reason("x", 120) == f"x ({over})"
    spans = [(1950, 1950), (1950, 1960), (None, 1960), (1880, 1950), (1950, None)]
    assert [say.span(*each) for each in spans] == [
        "in 1950", "between 1950 and 1960", "in 1960 or earlier", "in 1950 or earlier", "in 1950 or later",
    ]  # fmt: skip
    seen = Scarf(hem="hand-rolled", stitches_per_inch=12, motif="dots").seen
    assert say.clue("hem", seen) == "hand-rolled hem, 12 stitches per inch at the hem"
    assert say.clue("motif", seen) == "dots" and say.clue("palette", seen) == "the colours"
    assert "é" in describe({"fibre": "silk"}, language="fr").json


# ---------------------------------------------------------------------------- what is hers already

COSTS = Costs(
    currency="EUR", fee_percent=10, postage=4, shelf_cost_per_day=0.02, interest_percent_a_year=20
)
NOW = Demand(usual=40.0, days=90.0, elasticity=3.0)
WIDEST = 1.5


def today(value: float, days: float) -> float:
    """A value had after some days on the shelf, each day's cost and the value itself at interest."""
    shelf = quad(lambda t: 0.02 * np.exp(-COSTS.interest * t), 0, days)[0]
    return float(value * np.exp(-COSTS.interest * days) - shelf)


def test_where_nothing_may_be_paid_no_most_to_pay_is_told() -> None:
    timid = piece(4)
    assert timid.limit == 0 and "The most to pay" not in str(timid)
    assert "The most to pay is 4.00 EUR" in str(piece(4, risk=0.5))


def test_where_the_fee_takes_all_nothing_is_asked_for_it() -> None:
    all_of_it = appraise(
        {"fibre": "silk"}, 4, Costs(currency="EUR", fee_percent=100), prices(), as_of=2026
    )
    assert all_of_it.keep_or_sell is None and "If it is yours" not in str(all_of_it)
    half = appraise(
        {"fibre": "silk"}, 4, Costs(currency="EUR", fee_percent=50), prices(), as_of=2026
    )
    assert half.keep_or_sell is not None and "If it is yours" in str(half)
    assert piece(4).keep_or_sell is None  # nothing is known of days


def test_a_better_season_is_waited_for_where_it_is_worth_the_wait() -> None:
    better, best = replace(NOW, usual=60.0), replace(NOW, usual=61.0)
    found = keep_or_sell(NOW, COSTS, "EUR", WIDEST, None, (("autumn", better), ("winter", best)))
    worth = [
        today(best_waiting(then, COSTS, WIDEST).value, n * A_SEASON)
        for n, then in enumerate((better, best), 1)
    ]
    assert found.does == "keep" and found.until == "autumn" and worth[0] > worth[1]
    assert found.later == pytest.approx(worth[0])
    assert str(found).startswith(
        "Keep it until autumn: it brings more then, even after the wait. To sell it now, ask"
    )
    # an offer is to beat both
    net = (worth[0] + 4) / 0.9
    for offer, does in ((net - 0.01, "keep"), (net + 0.01, "take the offer")):
        assert keep_or_sell(NOW, COSTS, "EUR", WIDEST, offer, (("autumn", better),)).does == does
    same = keep_or_sell(NOW, COSTS, "EUR", WIDEST, None, (("autumn", NOW),))
    assert same.does == "ask" and same.until == "" and same.later is not None
    assert str(same).startswith(f"Ask {amount(same.waiting.asking, 'EUR')} (it then stands for")
    free = replace(COSTS, interest_percent_a_year=None)
    later = keep_or_sell(NOW, free, "EUR", WIDEST, None, (("autumn", better),)).later
    assert later == pytest.approx(best_waiting(better, free, WIDEST).value - 0.02 * A_SEASON)


def test_how_a_piece_meets_its_buyers() -> None:
    """Each draw a Weibull law of its own (SciPy's mean), at the middle of the usual prices."""
    fair, slope = np.array([3.0, 3.4, 3.8, 3.4]), np.array([1.0, 2.0, 3.0, 2.5])
    shape, back = np.array([1.0, 0.8, 1.5, 1.2]), [0.1, 0.3, 0.2, 0.2]
    samples = replace(
        four_sales([10, 10, 10, 10], [50, 60, 70, 80], [0, 0, 0, 0]),
        log_fair=fair[None], days_slope=slope, days_shape=shape, returned=np.array([back]),
    )  # fmt: skip
    found = demand(samples)
    scale = np.array([50, 60, 70, 80]) * np.exp(slope * (3.4 - fair))
    assert found is not None and found.usual == pytest.approx(np.exp(3.4))
    assert found.days == pytest.approx(np.median(weibull_min(shape, scale=scale).mean()))
    assert found.elasticity == 2.25 and found.returned == pytest.approx(0.2)
    always = demand(replace(samples, returned=np.ones((1, 4))))
    assert always is not None and 0.99 < always.returned < 1
    assert demand(four_sales([10.0], None, [0])) is None
    assert demand(replace(samples, returned=None)).returned == 0  # type: ignore[union-attr]
