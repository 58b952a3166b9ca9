"""Shapley values against published games, and what must hold for any game."""

from __future__ import annotations

from collections.abc import Callable
from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scarfdate.errors import RangeError
from scarfdate.why.shapley import members, shapley


def game(players: int, worth: Callable[[frozenset[int]], float]) -> np.ndarray:
    """The worth of every coalition, bit i for player i + 1."""
    return np.array(
        [
            worth(frozenset(i + 1 for i in range(players) if place >> i & 1))
            for place in range(1 << players)
        ],
        dtype=float,
    )


def airport(costs: tuple[float, ...]) -> np.ndarray:
    return game(len(costs), lambda some: max((costs[i - 1] for i in some), default=0.0))


@pytest.mark.parametrize(
    ("worth", "parts"),
    [
        # gloves: Maschler, Solan and Zamir, Game Theory, page 807 (as attributed)
        (game(3, lambda s: float(3 in s and bool(s & {1, 2}))), (1 / 6, 1 / 6, 2 / 3)),
        # two partners, and one veto player: course notes on coalitional games
        (game(2, lambda s: {0: 0, 1: 1 if 1 in s else 2, 2: 4}[len(s)]), (1.5, 2.5)),
        (game(3, lambda s: float(1 in s and len(s) >= 2)), (2 / 3, 1 / 6, 1 / 6)),
        # voting with weights 45, 25, 15, 15 and quota 51
        (
            game(4, lambda s: 100.0 * (sum((0, 45, 25, 15, 15)[i] for i in s) >= 51)),
            (50, 50 / 3, 50 / 3, 50 / 3),
        ),
        # airport: Littlechild and Owen 1973, Management Science 20(3), 370-372
        (airport((8, 11, 13, 18)), (2, 3, 4, 9)),
        (airport((40, 50, 60, 70, 80, 90)), tuple(n / 6 for n in (40, 52, 67, 87, 117, 177))),
        (airport((1500, 2200, 3000)), (500, 850, 1650)),
        # bankruptcy: Aumann 2002, O'Neill 1982 (claims 100, 200, 300; estate 300, 200)
        (game(3, lambda s: max(0, 300 - sum(100 * i for i in {1, 2, 3} - s))), (50, 100, 150)),
        (game(3, lambda s: max(0, 200 - sum(100 * i for i in {1, 2, 3} - s))), (100 / 3, 250 / 3, 250 / 3)),
    ],
)  # fmt: skip
def test_published_games(worth: np.ndarray, parts: tuple[float, ...]) -> None:
    np.testing.assert_allclose(shapley(worth), parts, atol=1e-12)


def test_the_security_council() -> None:
    """5 permanent members and 10 others, 9 votes (textbook value, from memory): 0.1963 and 0.001865."""
    size = members(15)
    permanent = members(15) * 0
    for place in range(1 << 15):
        permanent[place] = (place & 31).bit_count()
    parts = shapley(((permanent == 5) & (size >= 9)).astype(float))
    np.testing.assert_allclose(parts[:5], 0.1962704, atol=1e-7)
    np.testing.assert_allclose(parts[5:], 4 / 2145, atol=1e-12)


games = st.integers(1, 6).flatmap(
    lambda n: st.tuples(st.just(n), st.lists(st.floats(-50, 50), min_size=2**n, max_size=2**n))
)
usual = settings(deadline=None, derandomize=True, max_examples=60)


@usual
@given(games)
def test_it_is_the_mean_over_all_orders(drawn: tuple[int, list[float]]) -> None:
    players, worth = drawn
    value = np.array(worth)
    total = np.zeros(players)
    orders = list(permutations(range(players)))
    for order in orders:
        so_far = 0
        for player in order:
            total[player] += value[so_far | 1 << player] - value[so_far]
            so_far |= 1 << player
    np.testing.assert_allclose(shapley(value), total / len(orders), atol=1e-9)


@usual
@given(games, games)
def test_parts_add_up_and_games_add_up(
    a: tuple[int, list[float]], b: tuple[int, list[float]]
) -> None:
    value = np.array(a[1])
    assert shapley(value).sum() == pytest.approx(value[-1] - value[0], abs=1e-9)
    if a[0] == b[0]:
        other = np.array(b[1])
        np.testing.assert_allclose(
            shapley(value + other), shapley(value) + shapley(other), atol=1e-9
        )


@usual
@given(games)
def test_who_adds_nothing_gets_nothing_and_equals_get_the_same(
    drawn: tuple[int, list[float]],
) -> None:
    value = np.array(drawn[1])
    with_idle = shapley(np.concatenate((value, value)))  # the last bit changes nothing
    np.testing.assert_allclose(with_idle[-1], 0, atol=1e-9)
    np.testing.assert_allclose(with_idle[:-1], shapley(value), atol=1e-9)
    by_size = value[members(drawn[0])]  # only how many are in matters
    np.testing.assert_allclose(shapley(by_size), shapley(by_size)[0], atol=1e-9)


@pytest.mark.parametrize("worth", [np.zeros(3), np.zeros((2, 2)), np.zeros(0)])
def test_what_is_no_game_is_refused(worth: np.ndarray) -> None:
    with pytest.raises(RangeError, match="coalitions"):
        shapley(worth)
