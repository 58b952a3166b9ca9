"""How well her chances held: counted again in plain loops, and right where the answer is known beforehand."""

from __future__ import annotations

import copy
import pickle

import numpy as np
import pytest

from scarfdate import RangeError
from scarfdate.practising.bet import read_bet
from scarfdate.practising.calibration import Calibration, calibration
from scarfdate.practising.history import Played, Step

AS_OF = 2026
DECADES = [*range(1880, AS_OF + 1, 10)]


def played(year: int, *bets: object, to: int = 0, pieces: str = "drawn") -> Played:
    """A round with these bets on a piece of a year, or of the years up to ``to``."""
    clues = [None, "hem", "fibre", "weave", "motif"][: len(bets)]
    steps = [Step(clue, read_bet(bet, AS_OF)) for clue, bet in zip(clues, bets, strict=True)]
    return Played(
        seen={}, order=tuple(clue for clue in clues if clue), steps=tuple(steps), known_from=year,
        known_to=to or year, pieces=pieces, channel="thrift", as_of=AS_OF,
    )  # fmt: skip


def by_beliefs(rng: np.random.Generator, rounds: int, sharper: float) -> Calibration:
    """Somebody whose chances are right, to a power: her chips are tenths of them."""
    history = []
    for _ in range(rounds):
        tenths = rng.multinomial(10, rng.dirichlet(np.full(len(DECADES), 0.5)))
        year = int(rng.choice(DECADES, p=tenths / 10)) + 3
        sharp = (tenths / 10) ** sharper
        chips = np.floor(10 * sharp / sharp.sum() + 1e-9).astype(int)
        chips[chips.argmax()] += 10 - chips.sum()
        history.append(played(year, dict(zip(DECADES, chips.tolist(), strict=True))))
    return calibration(history)


def test_each_call_is_counted() -> None:
    """By hand: of 20 % once true and once not, of 80 % likewise, of 100 % once."""
    found = calibration(
        [
            played(1965, "1960s 8, 1970s 2"),
            played(1983, "1980s 2, 1990s 8"),
            played(1931, "1930s 10"),
        ]
    )
    frame = found.to_frame().set_index("called")
    assert frame["true"].to_dict() == {0.2: 0.5, 0.8: 0.5, 1.0: 1.0}
    assert frame["count"].to_dict() == {0.2: 2, 0.8: 2, 1.0: 1}
    assert (found.bets, found.pieces, found.chips, found.missed) == (3, 3, 3, 0)
    # the shortest stretch with 80 %: 1960s, 1990s, 1930s; it holds two years of three
    assert found.interval.held.mean == pytest.approx(2 / 3)


def test_a_true_decade_without_a_chip_is_missed() -> None:
    found = calibration([played(1965, "1970s 10", "1960s 10"), played(1885, "1880s 5, 1890s 5")])
    assert (found.missed, found.chips) == (1, 3)
    assert "No chip lay on the true decade in 1 of 3 bets" in str(found)


def test_a_year_known_to_an_interval_counts_as_her_bet_has_it_there() -> None:
    found = calibration([played(1965, "1960s 6, 1970s 2, 1990s 2", to=1974)])
    true = found.to_frame().set_index("called")["true"]
    # of the known years six chips in eight are on the 1960s, give or take half a chip that is nobody's
    assert true[0.6] == pytest.approx(0.75, abs=0.01)
    assert true[0.2] == pytest.approx(0.125, abs=0.01)


def test_an_interval_holds_the_year_or_not() -> None:
    found = calibration([played(1965, "1960-1969", "1966-1990", "1965"), played(1999, "1990-1998")])
    assert found.interval.held.mean == pytest.approx(0.5)
    assert found.interval.expected == pytest.approx(0.8)
    assert not len(found.decades.count)
    assert "No chip" not in str(found)


def test_pieces_that_nobody_knows_are_left_out() -> None:
    found = calibration([played(1965, "1960s"), played(1880, "1960s", to=AS_OF, pieces="stock")])
    assert (found.pieces, found.left_out) == (1, 1)
    assert "Left out: 1 piece of which nobody knows the year." in str(found)
    with pytest.raises(RangeError, match="known years"):
        calibration([played(1880, "1960s", to=AS_OF, pieces="stock")])


def test_who_is_right_is_within_chance(rng: np.random.Generator) -> None:
    """Eight calls or so and the intervals: each is outside by chance once in twenty; three or more are not (1 in 500)."""
    found = by_beliefs(rng, 300, 1.0)
    frame = found.to_frame()
    outside = ~frame["true"].between(frame["lower"], frame["upper"])
    assert outside.sum() < 3
    assert found.interval.verdict == "as said"


def test_who_is_too_sure_is_told_so(rng: np.random.Generator) -> None:
    found = by_beliefs(rng, 300, 3.0)
    assert found.interval.verdict == "too seldom"
    assert "too sure of yourself" in str(found)
    assert "less often than chance allows" in str(found)


def test_many_bets_on_one_piece_count_as_one_piece() -> None:
    """The band of five bets on each of four pieces is that of four pieces."""
    bets = ["1960s 5, 1970s 5"] * 5
    many = calibration([played(1965, *bets) for _ in range(4)])
    once = calibration([played(1965, *bets[:1]) for _ in range(4)])
    np.testing.assert_allclose(many.band, once.band)
    assert many.interval.chance_error == pytest.approx(once.interval.chance_error)


def test_it_says_the_same_copied_and_pickled_and_is_drawn() -> None:
    found = calibration([played(1965, "1960s 7, 1970s 3", "1960-1969")])
    assert str(pickle.loads(pickle.dumps(found))) == str(copy.deepcopy(found)) == str(found)
    assert found.plot().get_xlabel() == "stated chance, %"
    assert "called 70 %" in found._repr_html_().replace("&#160;", " ")
    assert calibration([played(1965, "1960-1969")])._repr_html_()
