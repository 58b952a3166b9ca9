"""A round as it is played: what is shown when, and an outcome that is the library's own numbers."""

from __future__ import annotations

import copy
import math
import pickle
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from scarfdate import (
    Practice,
    RangeError,
    Scarf,
    ScarfdateError,
    TableError,
    WordError,
    date_scarf,
    explain,
    load_priors,
    practice,
    read_sold,
)
from scarfdate.practising.deck import ListedDeck
from scarfdate.practising.history import Played, Step
from scarfdate.practising.outcome import Outcome, outcome_of
from scarfdate.practising.overlooked import Weighed, overlooked
from scarfdate.practising.piece import families_of
from tests.practising.players import as_the_library, play

AS_OF = 2026
DATA = Path(__file__).parents[2] / "data"
SQUARE = {"fibre": "silk", "hem": "hand-rolled", "motif": "geometric", "layout": "colour-blocks"}


@pytest.fixture(scope="module")
def made() -> Practice:
    """Some rounds, played with one and the same bet."""
    found = practice(4, as_of=AS_OF, rounds=6)
    for _ in range(3):
        play(found, "1950s 1, 1960s 4, 1970s 3, 1980s 2")
    return found


def by_hand(
    bets: list[str], known: tuple[int, int] = (1964, 1964), pieces: str = "drawn"
) -> Outcome:
    """The square, its clues in their order, with these bets."""
    from scarfdate.practising.bet import read_bet

    steps = zip((None, *SQUARE), bets, strict=True)
    played = Played(
        seen=SQUARE, order=tuple(SQUARE), steps=tuple(Step(c, read_bet(b, AS_OF)) for c, b in steps),
        known_from=known[0], known_to=known[1], pieces=pieces, channel="thrift", as_of=AS_OF,
    )  # fmt: skip
    return outcome_of(played, load_priors())


def test_clues_are_shown_one_after_another() -> None:
    made = practice(1, "hems", as_of=AS_OF)
    played = made.round()
    assert played.shown == () and played.drawing is None and "hem" in str(played.next_clue)
    with pytest.raises(ScarfdateError, match="round 1 is not over"):
        _ = played.outcome
    for count in range(1, 5):
        coming = played.next_clue
        assert made.round() is played.bet("1960s") is played
        assert len(played.shown) == count and played.shown[-1].title == coming
        assert set(played.scarf.seen) <= {*(clue.family for clue in played.shown), "size"}
        assert str(played.shown[-1]) in str(played)
        assert "was made" not in str(played)  # the year is not given away
    assert played.next_clue is None and "last bet" in str(played)
    played.bet("1960s")
    assert played.over and str(played.outcome) in str(played)
    assert len(played.scarf.seen) > 4  # now the whole piece
    with pytest.raises(ScarfdateError, match="round 1 is over; the next one is dealt by round"):
        played.bet("1960s")
    assert made.round() is not played and made.round().number == 2


def test_a_refused_bet_changes_nothing() -> None:
    made = practice(1, as_of=AS_OF)
    played = made.round()
    for wrong in ("1960s 9", "groovy", None):
        with pytest.raises(ScarfdateError):
            played.bet(wrong)
    assert played.steps == () and played.shown == ()


def test_the_library_plays_with_the_same_clues(made: Practice) -> None:
    """Its chances are those of `date_scarf` for the clues shown so far, and the first are the prior's."""
    prior = load_priors().year_prior_table("thrift", as_of=AS_OF)["prior"]
    for outcome in made.outcomes:
        played = outcome.played
        decade = outcome.decades[0]
        assert played.known_from // 10 * 10 == decade
        assert outcome.prior.chance == pytest.approx(prior.loc[decade : decade + 9].sum(), abs=1e-9)
        sides = ("width_cm", "height_cm") if "size" in played.order else ()
        shown = {n: c for n, c in played.seen.items() if n in (*played.order, *sides)}
        whole = date_scarf(shown, as_of=AS_OF)
        assert outcome.library[-1].chance == pytest.approx(whole.decades()[decade], abs=1e-9)
        assert outcome.library[-1].interval == whole.interval(0.8, "central")


def test_weights_are_the_running_totals_of_explain() -> None:
    outcome = by_hand(["1960s 5, 1970s 5"] * 5)
    why = explain(Scarf(**SQUARE), (1960, 1969), as_of=AS_OF, order=tuple(SQUARE))
    assert np.cumsum([one.library for one in outcome.weighed]) == pytest.approx(
        why.running, abs=1e-6
    )
    assert [one.says for one in outcome.weighed] == [why.says[name] for name in SQUARE]
    assert [one.hers for one in outcome.weighed] == [0.0] * 4


def test_one_who_bets_as_the_library_scores_as_the_library() -> None:
    made = practice(4, as_of=AS_OF)
    for _ in range(2):
        outcome = play(made, as_the_library)
        for mine, its in zip(outcome.hers, outcome.library, strict=True):
            assert mine.log_score == pytest.approx(its.log_score, abs=1e-9)
        assert not outcome.lost and "about as the library does" in outcome.overlooked


def test_the_sentence_names_the_clue_that_moved_too_much() -> None:
    """A hand-rolled hem tells little of the 1960s; who lays all chips after it made too much of it."""
    flat = "1940s 2, 1950s 2, 1960s 2, 1970s 2, 1980s 2"
    outcome = by_hand([flat, flat, "1960s 10", "1960s 10", "1960s 10"])
    worst = max(outcome.weighed, key=lambda one: abs(one.hers - one.library))
    assert worst.clue == "hem" and outcome.overlooked.startswith(
        "You made too much of the hand-rolled hem"
    )


@pytest.mark.parametrize(
    ("hers", "library", "says"),
    [
        (0.0, 12.0, "You overlooked the hem: it speaks about 16 to 1 for the 1960s, and you hardly moved for it."),
        (3.0, 10.0, "You made too little of the hem: it speaks about 10 to 1 for the 1960s, and you moved as if it spoke about 2 to 1."),
        (10.0, 3.0, "You made too much of the hem: it speaks about 2 to 1 for the 1960s, and you moved as if it spoke about 10 to 1."),
        (-10.0, 3.0, "You read the hem the other way round: it speaks about 2 to 1 for the 1960s, and you moved as if it spoke about 10 to 1 against them."),
        (10.0, 0.5, "You made too much of the hem: it hardly tells of the 1960s, and you moved as if it spoke about 10 to 1 for them."),
        (4.0, 5.0, "You weighed every clue about as the library does: none is off by more than two to one."),
    ],
)  # fmt: skip
def test_what_was_overlooked_in_words(hers: float, library: float, says: str) -> None:
    weighed = [Weighed("fibre", "the silk", 1.0, 1.0), Weighed("hem", "the hem", hers, library)]
    assert overlooked(weighed, (0.2, 0.2), "the 1960s") == says


def test_an_opening_that_was_off_is_said() -> None:
    says = overlooked([Weighed("hem", "the hem", 0.0, 1.0)], (0.01, 0.2), "the 1960s")
    assert says.endswith("before any you gave the 1960s 1 %, and the library 20 %.")


def test_years_that_touch_every_decade_leave_nothing_to_say() -> None:
    outcome = by_hand(["1960s"] * 5, (1880, AS_OF))
    assert outcome.overlooked == "" and outcome.hers[-1].log_score == pytest.approx(0)


def test_a_piece_of_the_stock_says_that_nobody_knows() -> None:
    made = practice(3, pieces="stock", as_of=AS_OF)
    outcome = play(made, "1960s 5, 1970s 5")
    assert not outcome.played.dated and "Nobody knows when it was made" in str(outcome)
    posterior = date_scarf(Scarf.from_dict(outcome.played.seen), as_of=AS_OF).decades()
    shares = outcome.played.steps[-1].bet.shares
    expected = sum(p * math.log(s) for p, s in zip(posterior.values(), shares, strict=True))
    assert outcome.hers[-1].log_score == pytest.approx(expected)
    best = sum(p * math.log(p) for p in posterior.values())
    assert (
        outcome.library[-1].log_score <= best + 1e-12
    )  # proper: shown a part, it cannot know more


def test_pieces_with_a_year_after_the_last_one_are_not_dealt() -> None:
    """A piece of the stock that bears 1951 or later could not be there in 1950: only the others are dealt."""
    early, today = (practice(pieces="stock", as_of=year).deck for year in (1950, AS_OF))
    assert isinstance(early, ListedDeck) and isinstance(today, ListedDeck)
    left_out = [piece for piece in today.pieces if piece not in early.pieces]
    assert left_out
    for piece in left_out:
        with pytest.raises(RangeError):
            date_scarf(piece.seen, as_of=1950)
    for piece in early.pieces:
        date_scarf(piece.seen, as_of=1950)


def test_a_label_is_one_clue() -> None:
    made = practice(3, "hems", pieces="labels", as_of=AS_OF)
    outcome = play(made, "1960s 5, 1970s 5")
    assert outcome.played.order == ("label_text",) and outcome.played.dated
    assert len(outcome.hers) == 2


def _own() -> pd.DataFrame:
    rows = [("silk", "hand-rolled", "1958"), ("polyester", "overlocked", "1970s"), ("wool", None, "before 1890"),
            ("silk", "machine-rolled", "1965")]  # fmt: skip
    frame = pd.DataFrame(rows, columns=["fibre", "hem", "known"], dtype=object)
    return frame.assign(known_by="receipt")


def test_own_pieces_are_dealt_with_their_own_years(tmp_path: Path) -> None:
    records = read_sold(_own(), as_of=AS_OF)
    (tmp_path / "own.csv").write_text(_own().to_csv(index=False))
    for source in (records, _own(), tmp_path / "own.csv", str(tmp_path / "own.csv")):
        made = practice(1, "hems", pieces=source, as_of=AS_OF)
        seen = {}
        for _ in range(6):
            played = play(made, as_the_library).played
            seen[played.seen["fibre"], played.seen.get("hem")] = played.known_from, played.known_to
            assert played.pieces == "own"
        assert seen["silk", "hand-rolled"] == (1958, 1958)
        assert seen.get(("polyester", "overlocked"), (1970, 1979)) == (1970, 1979)


@pytest.mark.parametrize(
    ("given", "kind", "says"),
    [
        ({"seed": -1}, RangeError, "seed: a whole number from 0"),
        ({"seed": 1.5}, RangeError, "seed: a whole number from 0"),
        ({"seed": True}, RangeError, "seed: a whole number from 0"),
        ({"level": "hem"}, WordError, "level: 'hem' is not known; did you mean 'hems'"),
        ({"level": 3}, WordError, "level: '3' is not known"),
        ({"clues": ["hemm"]}, WordError, "clues: no clue 'hemm' is known; did you mean 'hem'"),
        ({"clues": []}, WordError, "clues: a list of clues is allowed"),
        ({"clues": 7}, WordError, "clues: a list of clues is allowed"),
        ({"rounds": 0}, RangeError, "rounds: a whole number from 1"),
        ({"bet": "money"}, WordError, "bet: 'chips' or 'interval' is allowed"),
        ({"channel": "moon"}, WordError, "moon"),
        ({"as_of": 1800}, RangeError, "as_of"),
        ({"pieces": "no-such-file.csv"}, TableError, "no-such-file.csv"),
        ({"pieces": 7}, ScarfdateError, "7"),
        ({"clues": ["momme"], "pieces": _own()}, TableError, "none of them has a clue of momme"),
        ({"progress": 7}, ScarfdateError, "progress: the name of a file"),
    ],
)  # fmt: skip
def test_what_is_refused(given: dict[str, object], kind: type, says: str) -> None:
    with pytest.raises(ScarfdateError) as refusal:
        practice(**({"as_of": AS_OF} | given))  # type: ignore[arg-type]
    assert isinstance(refusal.value, kind) and says in str(refusal.value)


def test_only_the_clues_asked_for_are_shown() -> None:
    made = practice(3, clues=["hem", "size"], as_of=AS_OF)
    for _ in range(3):
        assert set(play(made, "1960s").played.order) == {"hem", "size"}
    assert {pair.family for pair in made.pairs} == {"hem"}


def test_after_the_last_round_comes_no_other() -> None:
    made = practice(3, as_of=AS_OF, rounds=1)
    play(made, "1960s")
    with pytest.raises(ScarfdateError, match="all 1 rounds are played"):
        made.round()


def test_what_a_label_says_is_not_shown_a_second_time() -> None:
    priors = load_priors()
    both = Scarf(label_text="MADE IN ITALY\n100% SILK", hem="raw")
    assert families_of(both, priors) == ("hem", "label_text")
    other = Scarf(label_text="MADE IN ITALY\n100% SILK", fibre="polyester", known="1960s")
    assert families_of(other, priors) == ("fibre", "label_text")


def test_copies_say_the_same_and_play_on(made: Practice) -> None:
    for other in (pickle.loads(pickle.dumps(made)), copy.deepcopy(made)):
        assert str(other) == str(made) and str(other.summary()) == str(made.summary())
        assert [str(one) for one in other.outcomes] == [str(one) for one in made.outcomes]
        play(other, "1960s")
        assert len(other.outcomes) == len(made.outcomes) + 1


def test_frames_and_views(made: Practice) -> None:
    frame = made.summary().to_frame()
    assert len(frame) == 3 and frame["log_score"].mean() < 0
    table = made.outcomes[0].to_frame()
    assert len(table) == len(made.outcomes[0].hers) and table["after"][0] == "before any clue"
    for view in (made.round(), made.summary(), made.outcomes[0], made):
        assert view._repr_html_().startswith("<div")
    for name, mean in (("log_score", 2), ("library_log_score", 2)):
        assert f"{frame[name].mean():.{mean}f}" in str(made.summary())


def test_a_hostile_piece_stays_text() -> None:
    frame = pd.DataFrame({"fibre": ["silk"], "label_text": ["<script>alert(1)</script> PURE SILK"],
                          "known": ["1960"], "known_by": ["receipt"]}, dtype=object)  # fmt: skip
    made = practice(1, clues=["label_text"], pieces=frame, as_of=AS_OF)
    played = made.round()
    played.bet("1960s")
    assert "<script>" in str(played) and "<script>" not in played._repr_html_()


def test_who_changes_the_notation_alone_has_moved_for_nothing() -> None:
    """Ten chips on two decades, and these decades as years, are one opinion."""
    made = practice(11, "first-steps", as_of=AS_OF, rounds=20)
    for _ in range(20):
        outcome = play(made, lambda played, _: "1960-1979" if len(played.steps) % 2 else "1960s 5, 1970s 5")  # fmt: skip
        assert max(abs(one.hers) for one in outcome.weighed) < 0.01
        assert "too much of" not in outcome.overlooked and "other way" not in outcome.overlooked
    found = made.summary().weights
    assert found is not None
    for one in found.clues:
        assert one.verdict in ("less than it is worth", "tells little here", "no difference shown")
        assert abs(one.given) < 0.6
