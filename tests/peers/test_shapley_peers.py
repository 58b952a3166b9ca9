"""The shares of an explanation against two general-purpose packages, on the same functions.

References: shap, its exact explainer (all masks in Gray-code order); coopgt, the Shapley value of a
characteristic function, as the mean over all orders of the players. What they are given is either made
of datings of the piece with fewer clues, through the front door, or is our table of all subsets.
Shares in decibans agree to 1e-9; the sums are of numbers of the order of ten.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from scarfdate import Scarf, date_scarf, explain
from scarfdate.why.shapley import shapley
from tests.benchmarks.explaining import (
    AS_OF,
    RUN,
    TWELVE,
    Game,
    exact_explainer,
    game,
    its_interval,
    seconds,
    simulated_pieces,
)

pytestmark = pytest.mark.peers

CLOSE = 1e-9  # decibans
ORDERED = 8  # clues for which all orders are gone through: 40,320 of them
ROUNDS = 6
CLAIMS: list[object] = ["before 1950", "1960s rather than 1970s", (1944, 1946)]


def shares(one: Game, claim: object) -> np.ndarray:
    found = explain(Scarf(**one.words), claim, as_of=AS_OF)
    assert found.exact and set(found.clues) == set(one.names)
    return np.array([found.share[name] for name in one.names])


@pytest.mark.parametrize("seed", [1, 2])
def test_shap_over_datings_of_twelve_clues(seed: int) -> None:
    """4,096 datings with fewer clues, put together by shap's exact explainer."""
    pytest.importorskip("shap")
    (words,) = simulated_pieces(1, np.random.default_rng(seed))
    claim = its_interval(words)
    one = game(words, claim)
    theirs = exact_explainer(one.front_door, TWELVE)()
    assert np.abs(theirs).max() > 1  # a claim that nothing bears on would agree, too
    np.testing.assert_allclose(shares(one, claim), theirs, rtol=0, atol=CLOSE)


@pytest.mark.parametrize("claim", CLAIMS, ids=str)
def test_shap_over_other_claims(claim: object) -> None:
    """The same of claims against everything else and one against another, eight clues."""
    pytest.importorskip("shap")
    (words,) = simulated_pieces(1, np.random.default_rng(3), clues=8)
    one = game(words, claim)
    theirs = exact_explainer(one.front_door, 8)()
    assert np.abs(theirs).max() > 1
    np.testing.assert_allclose(shares(one, claim), theirs, rtol=0, atol=CLOSE)


def test_shap_over_a_period_piece() -> None:
    """A claim that is not about years: what `Dating.period_probability` says with fewer clues."""
    pytest.importorskip("shap")
    (words,) = simulated_pieces(1, np.random.default_rng(4), clues=8)
    names = sorted(words)

    def worth(masks: np.ndarray) -> np.ndarray:
        chances = [
            date_scarf(
                Scarf(**{n: words[n] for n, on in zip(names, mask, strict=True) if on}), as_of=AS_OF
            ).period_probability
            for mask in masks
        ]
        return np.asarray(10 * np.log10(np.array(chances) / (1 - np.array(chances))))

    theirs = exact_explainer(worth, len(names))()
    found = explain(Scarf(**words), "period piece", as_of=AS_OF)
    assert np.abs(theirs).max() > 0.1
    np.testing.assert_allclose([found.share[n] for n in names], theirs, rtol=0, atol=CLOSE)


def test_the_table_of_all_subsets_is_what_datings_say() -> None:
    """All 4,096 places of the ready table, by one exact posterior each and by all as one table."""
    (words,) = simulated_pieces(1, np.random.default_rng(5))
    one = game(words, its_interval(words))
    masks = np.arange(1 << TWELVE)[:, None] >> np.arange(TWELVE) & 1
    for form in (one.by_codes, one.at_once):
        np.testing.assert_allclose(one.lookup(masks), form(masks), rtol=0, atol=CLOSE)


@pytest.mark.parametrize("players", [1, 2, 5, 10])
def test_shap_over_games_drawn_at_random(players: int, rng: np.random.Generator) -> None:
    """Any numbers at all for the coalitions: no structure of a dating that could hide a fault."""
    pytest.importorskip("shap")
    worth = rng.normal(0, 20, 1 << players)
    places = 1 << np.arange(players)
    theirs = exact_explainer(lambda masks: worth[np.asarray(masks, dtype=bool) @ places], players)()
    np.testing.assert_allclose(shapley(worth), theirs, rtol=0, atol=CLOSE)


def characteristic(worth: np.ndarray) -> dict[tuple[int, ...], float]:
    """A game as coopgt has it: the worth by the numbers of the members, from 1, in order."""
    players = len(worth).bit_length() - 1
    return {
        tuple(i + 1 for i in range(players) if place >> i & 1): float(worth[place])
        for place in range(len(worth))
    }


@pytest.mark.parametrize("seed", [6, 7])
def test_coopgt_over_datings(seed: int) -> None:
    """Eight clues: the mean of what each adds over all 40,320 orders."""
    shapley_value = pytest.importorskip("coopgt.shapley_value")
    (words,) = simulated_pieces(1, np.random.default_rng(seed), clues=ORDERED)
    claim = its_interval(words)
    one = game(words, claim)
    masks = np.arange(1 << ORDERED)[:, None] >> np.arange(ORDERED) & 1
    theirs = shapley_value.calculate(characteristic(one.front_door(masks)))
    assert np.abs(theirs).max() > 1
    np.testing.assert_allclose(shares(one, claim), theirs, rtol=0, atol=CLOSE)


@pytest.mark.parametrize("players", [2, 4, 6])
def test_coopgt_over_games_drawn_at_random(players: int, rng: np.random.Generator) -> None:
    shapley_value = pytest.importorskip("coopgt.shapley_value")
    worth = rng.normal(0, 20, 1 << players)
    theirs = shapley_value.calculate(characteristic(worth))
    np.testing.assert_allclose(shapley(worth), theirs, rtol=0, atol=CLOSE)


def best_times(
    works: dict[str, Callable[[], object]], enough: Callable[[dict[str, float]], bool]
) -> dict[str, float]:
    """The best of up to six rounds, in turn: a busy machine only ever adds time."""
    for work in works.values():
        work()
    best = dict.fromkeys(works, float("inf"))
    for _ in range(ROUNDS):
        for name, work in works.items():
            best[name] = min(best[name], seconds(work))
        if enough(best):
            break
    return best


def test_how_fast_twelve_clues_are_explained() -> None:
    """Beside shap's exact explainer, side by side in one run, and under 20 ms.

    1,000 times its speed over datings is wanted; the benchmark ``tests.benchmarks.explaining`` prints
    the true ratio. Held here is half of that, so that a busy machine is no fault; and no slower than
    over a ready table.
    """
    pytest.importorskip("shap")
    (words,) = simulated_pieces(1, np.random.default_rng(8))
    claim, scarf = its_interval(words), Scarf(**words)
    one = game(words, claim)
    works: dict[str, Callable[[], object]] = {
        "ours": lambda: [explain(scarf, claim, as_of=AS_OF) for _ in range(RUN)],
        "datings": exact_explainer(one.front_door, TWELVE),
        "table": exact_explainer(one.lookup, TWELVE),
    }

    def enough(best: dict[str, float]) -> bool:
        ours = best["ours"] / RUN
        return best["datings"] > 500 * ours and best["table"] > ours and ours < 0.02

    best = best_times(works, enough)
    assert enough(best), {name: f"{1e3 * took:.3f} ms" for name, took in best.items()}
