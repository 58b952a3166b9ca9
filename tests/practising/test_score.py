"""Scores of bets: proper, and the same as in the scoring room, which is held against other libraries."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scarfdate.conventions import FIRST_YEAR, LEVEL
from scarfdate.practising.bet import CHIPS, Bet, decade_places, read_bet
from scarfdate.practising.score import Truth, by_decade
from scarfdate.scoring import rules

LAST = 2026
BRIEFLY = settings(max_examples=30, deadline=None)
YEARS = np.arange(FIRST_YEAR, LAST + 1)
DECADES = tuple(range(FIRST_YEAR, LAST + 1, 10))
laid = st.lists(st.sampled_from(DECADES), min_size=CHIPS, max_size=CHIPS).map(
    lambda each: read_bet({decade: each.count(decade) for decade in each}, LAST)
)
intervals = st.tuples(st.sampled_from(YEARS.tolist()), st.sampled_from(YEARS.tolist())).map(
    lambda pair: (min(pair), max(pair))
)


def expected(bet: Bet, belief: np.ndarray) -> tuple[float, float]:
    """The mean log and interval score of a bet where the year is drawn from ``belief``, in plain formulas."""
    first, last = bet.interval or Truth.of_years(1960, 1960, LAST).of_bet(bet).interval
    off = np.maximum(first - YEARS, 0) + np.maximum(YEARS - last, 0)
    log_score = np.log(bet.shares)[(YEARS - FIRST_YEAR) // 10]
    return float(belief @ log_score), float(last - first + 10 * belief @ off)


@BRIEFLY
@given(laid, laid)
def test_nobody_does_better_than_by_betting_what_she_believes(believed: Bet, other: Bet) -> None:
    """The log score is proper: in expectation under the truth no other bet is better, and a different one worse."""
    truth = believed.over_years()
    best, other_score = expected(believed, truth)[0], expected(other, truth)[0]
    assert other_score <= best + 1e-12
    if other.shares != believed.shares:
        assert other_score < best


@BRIEFLY
@given(laid, intervals)
def test_no_interval_does_better_than_the_central_one(
    believed: Bet, other: tuple[int, int]
) -> None:
    truth = believed.over_years()
    best = expected(believed, truth)[1]  # of the central interval of what she believes
    assert expected(read_bet(other, LAST), truth)[1] >= best - 1e-9


@BRIEFLY
@given(laid, intervals)
def test_scores_are_those_of_the_scoring_room(bet: Bet, known: tuple[int, int]) -> None:
    """`scarfdate.scoring.rules`, on decades for the log score and on years for the interval score."""
    first, last = known
    mine = Truth.of_years(first, last, LAST).of_bet(bet)
    places = decade_places(LAST)[[first - FIRST_YEAR, last - FIRST_YEAR]]
    log_score = rules.log_score(np.array([bet.shares]), places[:1], places[1:])[0]
    cells = np.array([first]) - FIRST_YEAR, np.array([last]) - FIRST_YEAR
    interval_score = rules.interval_score(bet.over_years()[None, :], *cells, LEVEL)[0]
    assert math.isclose(mine.log_score, log_score, abs_tol=1e-12)
    assert math.isclose(mine.interval_score, interval_score, abs_tol=1e-9)


def test_an_interval_is_scored_by_its_own_ends() -> None:
    """Gneiting and Raftery 2007, equation 43: width, and 2 / 0.2 for each year outside."""
    bet = read_bet("1955-1972", LAST)
    for year, score in ((1960, 17), (1972, 17), (1975, 17 + 30), (1945, 17 + 100)):
        assert Truth.of_years(year, year, LAST).of_bet(bet).interval_score == pytest.approx(score)


@BRIEFLY
@given(laid, laid)
def test_an_unknown_year_is_scored_by_what_is_expected(bet: Bet, belief: Bet) -> None:
    mine = Truth(belief.over_years(), False).of_bet(bet)
    assert (mine.log_score, mine.interval_score) == pytest.approx(
        expected(bet, belief.over_years())
    )


def test_all_chips_wrong_cost_less_than_six_nats() -> None:
    """ln(10.5 x 2 x 15 decades) = 5.75, as the module says."""
    score = Truth.of_years(1931, 1931, LAST).of_bet(read_bet("1960s 10", LAST))
    assert score.log_score == pytest.approx(-math.log(10.5 * 2 * 15), abs=1e-9)
    assert by_decade(np.full(len(YEARS), 1 / len(YEARS)))[-1] == pytest.approx(7 / len(YEARS))
