"""What comes next: pairs take turns, what was lost comes back, and a seed deals the same to everybody."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scarfdate import Practice, load_priors, practice
from scarfdate.practising.dealing import GAPS, Past, next_deal, turn_of
from scarfdate.tables.practice import Pair, PracticeTables
from tests.practising.players import Player, as_the_library, play

AS_OF = 2026
BRIEFLY = settings(max_examples=30, deadline=None)


@pytest.fixture(scope="module")
def tables() -> PracticeTables:
    found = load_priors().practice
    assert found is not None
    return found


def _lost(rounds: int, lose: Callable[[Past], bool]) -> list[Past]:
    """Rounds dealt one after another, each lost or not."""
    past: list[Past] = []
    for _ in range(rounds):
        deal, again = next_deal(past)
        dealt = Past(deal, again, False)
        past.append(Past(deal, again, lose(dealt)))
    return past


def test_what_is_always_won_never_comes_back() -> None:
    assert [one.deal for one in _lost(9, lambda _: False)] == [*range(1, 10)]


def test_what_was_lost_comes_back_after_two_four_and_eight_other_rounds() -> None:
    past = _lost(40, lambda one: one.deal == 1 and one.again == 0)
    places = [place for place, one in enumerate(past) if one.deal == 1]
    between = [after - before - 1 for before, after in pairwise(places)]
    assert tuple(between) == GAPS == (2, 4, 8)


def test_what_is_lost_again_begins_anew() -> None:
    past = _lost(40, lambda one: one.deal == 1 and one.again in (0, 1))
    places = [place for place, one in enumerate(past) if one.deal == 1]
    between = [after - before - 1 for before, after in pairwise(places)]
    assert tuple(between) == (2, 2, 4, 8)


@BRIEFLY
@given(st.lists(st.booleans(), max_size=60))
def test_every_round_is_new_or_was_lost_before(lost: list[bool]) -> None:
    outcomes = iter(lost)
    past = _lost(len(lost), lambda _: next(outcomes))
    seen: dict[int, int] = {}
    for one in past:
        assert one.again == seen.get(one.deal, -1) + 1  # returns are counted one by one
        seen[one.deal] = one.again
    assert sorted(seen) == [*range(1, len(seen) + 1)]  # new pieces too
    first_lost = {one.deal for one in past if one.lost and not one.again}
    assert {one.deal for one in past if one.again} <= first_lost


@pytest.mark.parametrize("level", ["mixed", "near-things", "hems", "first-steps"])
def test_pairs_take_turns_and_are_not_blocked(tables: PracticeTables, level: str) -> None:
    pairs = tables.pairs_of(tables.level(level))
    turns = [turn_of(pairs, 5, deal) for deal in range(1, 4 * len(pairs) + 1)]
    couples = [(turns[at], turns[at + 1]) for at in range(0, len(turns), 2)]
    order: list[Pair] = []
    for (one, word), (same, other) in couples:
        assert one == same and {word, other} == {one.one, one.other}
        order.append(one)
    for cycle in (order[: len(pairs)], order[len(pairs) :]):
        assert sorted(cycle, key=str) == sorted(pairs, key=str)
    assert all(a != b for a, b in pairwise(order))
    if level == "mixed":
        blocked = sum(a.family == b.family for a, b in pairwise(order))
        assert blocked <= 2  # only where nothing else is left at the end of a cycle


def _deals(made: Practice, bet: Player, rounds: int) -> dict[tuple[int, int], object]:
    found = {}
    for _ in range(rounds):
        played = play(made, bet).played
        found[played.deal, played.again] = (dict(played.seen), played.order, played.known_from)
    return found


@pytest.mark.slow
@pytest.mark.parametrize("pieces", ["drawn", "stock", "labels"])
def test_a_seed_deals_two_apprentices_the_same_whatever_they_bet(pieces: str) -> None:
    one = _deals(practice(11, pieces=pieces, as_of=AS_OF), as_the_library, 6)
    other = _deals(practice(11, pieces=pieces, as_of=AS_OF), "1890s 10", 6)
    both = one.keys() & other.keys()
    assert len(both) >= 2 and one.keys() != other.keys()
    assert all(one[key] == other[key] for key in both)
    assert one == _deals(practice(11, pieces=pieces, as_of=AS_OF), as_the_library, 6)
    assert one != _deals(practice(12, pieces=pieces, as_of=AS_OF), as_the_library, 6)


def test_a_return_is_another_piece_of_the_same_word(tables: PracticeTables) -> None:
    made = practice(11, "hems", as_of=AS_OF)
    _deals(made, "1890s 10", 10)
    by_key = {(one.deal, one.again): one for one in made.played}
    returns = [key for key in by_key if key[1]]
    assert returns
    for deal, again in returns:
        first, back = by_key[deal, 0], by_key[deal, again]
        about, word = turn_of(made.pairs, 11, deal)
        assert first.seen[about.family] == back.seen[about.family] == word
        assert first.order[0] == back.order[0] == about.family
        assert first.seen != back.seen


@pytest.mark.slow
def test_every_word_of_every_pair_is_dealt(tables: PracticeTables) -> None:
    """No pair is so rare that its word is passed over."""
    made = practice(2, "mixed", as_of=AS_OF, rounds=100)
    for deal in range(1, 2 * len(made.pairs) + 1):
        pair, word = turn_of(made.pairs, 2, deal)
        play(made, as_the_library)
        assert made.played[-1].seen[pair.family] == word, (deal, pair)
        assert made.played[-1].order[0] == pair.family
