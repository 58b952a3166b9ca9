"""The value of one more look: never below zero, zero where nothing turns, and as worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from scarfdate import Priors, appraise
from scarfdate.why.asked import Asked
from scarfdate.why.next_checks import checks_left
from scarfdate.why.state import State
from scarfdate.worth.coefficients import Coefficients
from scarfdate.worth.look_first import Drawn, allowed, findings, looks_first, worth
from scarfdate.worth.pieces import in_cells
from tests.worth.stated import EFFECTS, prices

SEEN = {"hem": "hand-rolled", "layout": "colour-blocks"}
COSTS = {"currency": "EUR", "fee_percent": 10, "postage": 4, "minutes": 20, "hourly_rate": 12}


def may_buy(profit: np.ndarray, risk: float) -> bool:
    return bool(allowed(profit, np.ones((1, len(profit))), risk)[0])


def test_by_hand() -> None:
    """Four draws: -10, -2, 6, 10, so 1 expected. A look that parts the first two from the others saves 12 / 4 = 3
    for whoever would buy, and earns 16 / 4 = 4 for whoever must not lose more often than one time in five."""
    profit, parts = np.array([-10.0, -2, 6, 10]), np.array([[1.0, 1, 0, 0], [0, 0, 1, 1]])
    assert may_buy(profit, 0.5) and not may_buy(profit, 0.2)
    assert worth(profit, parts, 0.5, True)[0] == pytest.approx(3)
    assert worth(profit, parts, 0.2, False)[0] == pytest.approx(4)
    assert worth(profit, parts, 0.2, False)[1].tolist() == [False, True]
    # what cannot be found speaks for nothing
    assert worth(profit, np.array([[1.0] * 4, [0.0] * 4]), 0.5, False)[1].tolist() == [True, False]


@st.composite
def looks(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray]:
    """Profits, and what may be found: columns add up to one."""
    profit = draw(arrays(float, 25, elements=st.floats(-50, 50)))
    chances = draw(arrays(float, (4, 25), elements=st.floats(0, 1))) + 1e-3
    return profit, chances / chances.sum(axis=0)


@settings(deadline=None, max_examples=40)
@given(looks(), st.floats(0, 1))
def test_never_below_zero_and_zero_where_no_finding_turns_the_decision(
    look: tuple[np.ndarray, np.ndarray], risk: float
) -> None:
    profit, chances = look
    before = may_buy(profit, risk)
    value, buys = worth(profit, chances, risk, before)
    assert value >= 0
    if (buys == before).all():
        assert value == 0


@settings(deadline=None, max_examples=40)
@given(looks(), st.floats(0, 1), st.floats(0.01, 0.99))
def test_a_look_that_tells_nothing_is_worth_nothing(
    look: tuple[np.ndarray, np.ndarray], risk: float, share: float
) -> None:
    profit, _ = look
    nothing = np.array([[share], [1 - share]]) * np.ones((2, len(profit)))
    # but for a profit that is nothing itself, and then the look can turn nothing that matters
    assert worth(profit, nothing, risk, may_buy(profit, risk))[0] <= 1e-12 * np.abs(profit).max()


@settings(deadline=None, max_examples=40)
@given(looks(), arrays(float, (3, 4), elements=st.floats(0.01, 1)))
def test_a_blurred_look_is_worth_no_more(
    look: tuple[np.ndarray, np.ndarray], blur: np.ndarray
) -> None:
    """Blackwell (1951): whoever may ignore it cannot earn more by what is a blurred report of the same look."""
    profit, chances = look
    if may_buy(profit, 1.0):
        blurred = (blur / blur.sum(axis=0)) @ chances
        assert worth(profit, blurred, 1.0, True)[0] <= worth(profit, chances, 1.0, True)[0] + 1e-9


@pytest.fixture(scope="module")
def state(module_priors: Priors) -> State:
    return State.of(Asked.of(SEEN, module_priors, "thrift", 2026))


@pytest.fixture(scope="module")
def module_priors() -> Priors:
    from scarfdate import load_priors

    return load_priors()


def test_what_may_be_found_agrees_with_the_dating(state: State, rng) -> None:
    """Columns add up to one, and the mean over draws of P(finding | draw) is P(finding) by the exact sum."""
    cells = in_cells(state.joint / state.evidence)
    n = 20_000
    drawn = Drawn(
        cell=rng.choice(len(cells), n, p=cells / cells.sum()), values={}, profit=np.zeros(n)
    )
    tried = 0
    for check in checks_left(Asked.of(SEEN, state.model.priors, "thrift", 2026), harmless=True):
        found = findings(state, check, drawn)
        if found is None:
            continue
        tried += 1
        np.testing.assert_allclose(found.sum(axis=0), 1)
        outcomes = state.outcomes(check)
        assert outcomes is not None
        exact = outcomes.chance
        if check.method == "label":  # that a label is there, and that it names the fibre
            assert outcomes.there < 0.3
        np.testing.assert_allclose(found.mean(axis=1), exact / exact.sum(), atol=0.015)
    assert tried > 10


@pytest.mark.parametrize(("shift", "risk"), [(3.0, 0.6), (-3.0, 0.2)])
def test_what_speaks_for_buying_and_how_likely_it_turns_the_decision(
    state: State, rng: np.random.Generator, shift: float, risk: float
) -> None:
    """For whoever may buy and for whoever may not, finding by finding: by loops over 400 drawn pieces."""
    asked = Asked.of(SEEN, state.model.priors, "thrift", 2026)
    cells = in_cells(state.joint / state.evidence)
    cell = rng.choice(len(cells), 400, p=cells / cells.sum())
    fibres = state.model.priors.vocabulary.values["fibre"]
    fibre = rng.integers(0, len(fibres), 400)
    profit = shift + 6.0 * (fibre % 3 - 1) + rng.normal(0, 2, 400)
    drawn = Drawn(cell=cell, values={"fibre": fibre}, profit=profit)
    may = (profit < 0).mean() <= risk and profit.mean() >= 0
    assert may == (shift > 0)
    found = {(look.clue, look.method): look for look in looks_first(asked, drawn, risk, 12.0)}
    assert [look.value - look.cost for look in found.values()] == sorted(
        (look.value - look.cost for look in found.values()), reverse=True
    )
    tried = 0
    for check in checks_left(asked, harmless=True):
        chances = findings(state, check, drawn)
        if chances is None:
            continue
        value, turns, buy, leave = 0.0, 0.0, [], []
        words = [*state.model.priors.vocabulary.values.get(check.family, [None] * len(chances))]
        words += [None] * (len(chances) - len(words))  # nothing is there
        for word, weight in zip(words, chances, strict=True):
            mean = (weight * profit).mean()
            buys = mean >= 0 and (may or weight[profit < 0].sum() <= risk * weight.sum())
            value += abs(mean) * (buys != may)
            turns += weight.mean() * (buys != may)
            if weight.mean() > 0.02 and (word or not any(words)):  # what is rarer is not named
                (buy if buys else leave).append(word)
        look = found.get((check.family, check.method))
        assert (look.value if look else 0.0) == pytest.approx(value, abs=1e-9)
        if look is not None:
            assert look.chance == pytest.approx(turns)
            assert look.cost == pytest.approx(look.minutes * 12 / 60)
            if any(words) and buy and leave:
                assert (look.buy_if, look.leave_if) == (tuple(buy), tuple(leave))
                tried += 1
    assert tried >= 2


def test_a_look_at_the_fibre_pays_where_silk_decides() -> None:
    """Silk fetches four times as much as polyester here: 32 is too much for it, not for silk."""
    found = appraise(SEEN, 32, COSTS, prices(), as_of=2026)
    assert found.advice == "look first" and found.look is not None
    fibre = {look.method: look for look in found.looks if look.clue == "fibre"}
    assert fibre["feel"].buy_if == ("silk",) and fibre["feel"].value > 0
    # a label tells fibres apart better, where there is one and it names the fibre
    assert 0 < fibre["label"].value < fibre["feel"].value
    labelled = appraise({**SEEN, "label": "intact"}, 32, COSTS, prices(), as_of=2026).looks
    surely = next(look for look in labelled if (look.clue, look.method) == ("fibre", "label"))
    assert surely.value > 3 * fibre["label"].value
    assert fibre["feel"].cost == pytest.approx(fibre["feel"].minutes * 12 / 60)
    assert "Look first" in found.sentence and "silk" in str(found)
    unpaid = {name: cost for name, cost in COSTS.items() if name != "hourly_rate"}
    looks = appraise(SEEN, 32, unpaid, prices(), as_of=2026).looks
    assert looks and {look.cost for look in looks} == {0}


def test_looks_pay_alike_in_any_money() -> None:
    """The same piece in coins of which a hundred make one: what a look earns is a hundred times as many of them."""

    def of(times: float) -> dict[tuple[str, str], float]:
        costs = COSTS | {name: COSTS[name] * times for name in ("postage", "hourly_rate")}
        effects = EFFECTS | {("base", ""): EFFECTS["base", ""] + np.log(times)}
        known = replace(prices(), price=Coefficients.stated(effects, {"sigma": 0.45, "nu": np.inf}))
        found = appraise(SEEN, 32 * times, costs, known, as_of=2026)
        return {(look.clue, look.method): look.value / times for look in found.looks}

    dear, cheap = of(1), of(0.01)
    assert len(dear) > 4 and dear.keys() == cheap.keys()
    assert cheap == pytest.approx(dear)


@pytest.mark.parametrize("asking", [0, 1e5])
def test_no_look_pays_where_the_price_decides_alone(asking: float) -> None:
    free = {"currency": "EUR"}
    found = appraise(SEEN, asking, free, prices(), as_of=2026)
    assert found.looks == () and found.advice == ("leave it" if asking else "buy")


def test_only_harmless_looks_are_proposed() -> None:
    found = appraise({"hem": "raw"}, 12, COSTS, prices(), as_of=2026)
    assert found.looks and not {look.method for look in found.looks} & {"burn", "solvent"}


@pytest.mark.slow
@pytest.mark.parametrize(
    ("clue", "method"), [("fibre", "feel"), ("hem", "microscope"), ("layout", "feel")]
)
def test_it_is_the_mean_over_appraisals_of_what_may_be_found(
    monkeypatch: pytest.MonkeyPatch, state: State, clue: str, method: str
) -> None:
    """Each finding noted, and the piece appraised anew through the front door, 20,000 draws each. Whoever accepts
    any chance of a loss earns by the look the mean of the better of buying and leaving then, less the better now."""
    monkeypatch.setattr("scarfdate.worth.terms.DRAWS", 20_000)
    seen = {"hem": "hand-rolled"} if clue == "layout" else {"layout": "colour-blocks"}
    known = State.of(Asked.of(seen, state.model.priors, "thrift", 2026))
    check = next(c for c in state.model.priors.checks if (c.family, c.method) == (clue, method))
    market, words = prices(sigma=0.2, days=None), state.model.priors.vocabulary.values[clue]
    now = appraise(seen, 0, COSTS, market, as_of=2026).gain.expected
    asking = round(now) if clue != "layout" else round(now) + 1
    found = appraise(seen, asking, COSTS, market, as_of=2026, risk=1.0)
    outcomes = known.outcomes(check)
    assert outcomes is not None
    look = next((x for x in found.looks if (x.clue, x.method) == (clue, method)), None)
    then = [
        chance
        * max(
            appraise(
                {**seen, clue: word, f"{clue}_method": method}, 0, COSTS, market, as_of=2026
            ).gain.expected
            - asking,
            0,
        )
        for chance, word in zip(outcomes.chance, words, strict=True)
    ]
    expected = sum(then) - max(now - asking, 0)
    assert (look.value if look else 0.0) == pytest.approx(expected, abs=0.35)
