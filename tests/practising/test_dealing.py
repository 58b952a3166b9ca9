"""What comes next: pairs take turns, what was lost comes back, and a seed deals the same to everybody."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scarfdate import Practice, date_scarf, load_priors, practice
from scarfdate.conventions import FIRST_YEAR
from scarfdate.practising.dealing import GAPS, Past, next_deal, turn_of
from scarfdate.practising.deck import ListedDeck
from scarfdate.tables.practice import Pair, PracticeTables
from tests.practising.players import Player, as_the_library, play

AS_OF = 2026
DATA = Path(__file__).parents[2] / "data"
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


def test_a_lost_label_comes_back_as_another_like_it() -> None:
    """The year of the label itself has been told."""
    made = practice(1, pieces="labels", as_of=AS_OF, rounds=40)
    texts = [play(made, "1890s 10").played.seen["label_text"] for _ in range(40)]
    assert any(one.again for one in made.played)
    assert len(set(texts)) == len(texts)


def test_own_pieces_come_back_as_others_until_there_is_no_other() -> None:
    """One piece alone comes back itself."""
    rows = pd.DataFrame(
        {
            "fibre": ["silk", "silk", "wool"],
            "known": ["1990", "1991", "1992"],
            "known_by": "receipt",
        },
        dtype=object,
    )
    for count in (3, 1):
        made = practice(1, clues=["fibre"], pieces=rows[:count], as_of=AS_OF, rounds=8)
        for _ in range(8):
            play(made, "1890s 10")
        first = {one.deal: one.known_from for one in made.played if not one.again}
        back = [(first[one.deal], one.known_from) for one in made.played if one.again]
        assert back and all((one == other) is (count == 1) for one, other in back)


# wordings of the demo labels, each with the year that it was composed for by lot: care in words on a label from
# Hong Kong in 1902, a size for all in 1916, "Product of Hong Kong" in 1914 and 1930, care in Japanese in 1910,
# a crossed triangle and French care on an American label in 1962
IMPOSSIBLE = ("british hong kong • pat. pend.", "Super 100'S", "HONG KONG\nSOIE", "Hong Kong • Ges.Gesch.",
              "手洗い. ドライクリーニング", "RN: 13,824")  # fmt: skip


def test_labels_whose_wording_rules_out_their_year_are_not_dealt() -> None:
    made = practice(1, pieces="labels", as_of=AS_OF)
    assert isinstance(made.deck, ListedDeck)
    dealt = {str(one.seen["label_text"]): one.known for one in made.deck.pieces}
    corpus = pd.read_csv(DATA / "labels.csv", dtype=str, keep_default_na=False)
    left_out = corpus[~corpus["text"].isin(list(dealt))]
    assert f"{len(left_out)} labels are left out" in str(made)
    assert 0.02 < len(left_out) / len(corpus) < 0.15
    for words in IMPOSSIBLE:
        assert not any(words in text for text in dealt), words
    # the years told lie within those that the library leaves a label, all years being as likely
    even = date_scarf({}, as_of=AS_OF).probability
    for text, known in dealt.items():
        chance = date_scarf({"label_text": text}, as_of=AS_OF).probability / even
        assert known is not None
        told = chance[known[0] - FIRST_YEAR]
        assert chance[chance > told].sum() < 0.99 * chance.sum()


def test_the_library_reckons_with_years_by_lot() -> None:
    """Before the label is read every decade is as likely, and what is read counts as it does elsewhere."""
    made = practice(1, pieces="labels", as_of=AS_OF, rounds=100)
    for _ in range(100):
        play(made, "1900s 2, 1920s 2, 1940s 2, 1960s 2, 1980s 2")
    years = AS_OF - FIRST_YEAR + 1
    for one in made.outcomes:
        (decade,) = one.decades
        assert one.prior.chance == pytest.approx(min(10, AS_OF + 1 - decade) / years)
        dating = date_scarf({"label_text": one.played.seen["label_text"]}, as_of=AS_OF)
        by_label = dating.probability / date_scarf({}, as_of=AS_OF).probability
        of_decade = by_label[decade - FIRST_YEAR :][:10].sum() / by_label.sum()
        assert one.library[-1].chance == pytest.approx(of_decade)
    mean = sum(one.library[-1].log_score for one in made.outcomes) / 100
    # reading them helps: by 0.58 nats in 200 rounds, with a standard error of 0.09
    assert mean > math.log(1 / 15) + 0.25
    assert "by lot" in str(made)
    (weight,) = made.summary().weights.clues  # type: ignore[union-attr]
    assert (
        weight.verdict == "less than it is worth"
    )  # she never moves: that is no reading the wrong way


@pytest.mark.slow
@pytest.mark.parametrize("level", ["mixed", "first-steps", "labels", "near-things"])
def test_clues_that_are_dealt_go_together(level: str) -> None:
    """What is shown of a piece one person can have noted of one thing."""
    for seed in range(4):
        made = practice(seed, level, as_of=AS_OF, rounds=40)
        for _ in range(40):
            play(made, "1960s 5, 1970s 5")
        for one in made.played:
            seen = {name: one.seen[name] for name in one.seen}
            if seen.get("hem") in ("fringed", "selvedge", "raw"):
                assert not {"stitches_per_inch", "hem_thread"} & set(seen)
            if seen.get("motif") == "plain":
                assert not {"print_technique", "layout", "signature"} & set(seen)
            if seen.get("label") in ("none-seen", "removed"):
                assert not {"origin", "label_make"} & set(seen)
            if seen.get("form") in ("square", "bandanna", "handkerchief", "pocket-square"):
                sides = sorted(float(str(seen[name])) for name in ("width_cm", "height_cm"))
                assert sides[1] < 1.5 * sides[0]
