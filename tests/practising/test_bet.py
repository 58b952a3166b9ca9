"""Bets are read as people type them, refused by name, and never crash."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scarfdate.conventions import FIRST_YEAR, LEVEL
from scarfdate.errors import RangeError, ScarfdateError, WordError
from scarfdate.practising.bet import CHIPS, Bet, alike, decade_places, read_bet

LAST = 2026
BRIEFLY = settings(max_examples=30, deadline=None)
DECADES = range(FIRST_YEAR, LAST + 1, 10)
SIX_FOUR = {1960: 6, 1970: 4}


def chips_of(bet: Bet) -> dict[int, int]:
    assert bet.chips is not None
    return {d: c for d, c in zip(bet.decades, bet.chips, strict=True) if c}


@pytest.mark.parametrize(
    "typed",
    [
        "1960s 6, 1970s 4",
        "1960s: 6; 1970s: 4",
        "1960 6 1970 4",
        "6 on the 1960s and 4 on the 1970s",
        "60s 6, 70s 4",
        "1960’s x 6, 1970’s x 4",
        "1960s-6, 1970s-4",
        "  1970S = 4 CHIPS , 1960S = 6 chips ",
        "1960s 3, 1970s 4, 1960s 3",
        SIX_FOUR,
        {"1960s": 6, "1970": 4, 1980: 0},
        {np.int64(1960): np.int64(6), 1970: 4},
    ],
)
def test_chips_as_people_lay_them(typed: object) -> None:
    assert chips_of(read_bet(typed, LAST)) == SIX_FOUR


@pytest.mark.parametrize(
    ("typed", "years"),
    [
        ("1955-1972", (1955, 1972)),
        ("1955 – 1972", (1955, 1972)),
        ("between 1955 and 1972", (1955, 1972)),
        ("1955-72", (1955, 1972)),
        ("1960s", (1960, 1969)),
        ("the 1960s to the 1970s", (1960, 1979)),
        ("2000s", (2000, 2009)),
        ("late 1960s", (1965, 1969)),
        ("1962", (1962, 1962)),
        ("before 1940", (FIRST_YEAR, 1940)),
        ("about 1965", (1955, 1975)),
        ("c. 1965", (1955, 1975)),
        ("ca. 1885", (FIRST_YEAR, 1895)),
        ("1990 or later", (1990, LAST)),
        ("2020s", (2020, LAST)),
        ("19th century", (FIRST_YEAR, 1899)),
        ((1955, 1972), (1955, 1972)),
        ([np.int64(1955), 1972], (1955, 1972)),
    ],
)
def test_intervals_as_people_write_them(typed: object, years: tuple[int, int]) -> None:
    assert read_bet(typed, LAST).interval == years


@pytest.mark.parametrize(
    ("typed", "kind", "says"),
    [
        ("1960s 6", RangeError, "6 chips are laid, and 10 are to be laid: lay 4 more"),
        ("1960s 9, 1970s 3", RangeError, "12 chips are laid, and 10 are to be laid: take 2 back"),
        ("1960s 1", RangeError, "1 chip is laid"),
        ("1960s 12", RangeError, "12 chips on the 1960s; from 0 to 10 are allowed"),
        ("1965 6, 1970 4", RangeError, "1965 is a year; chips lie on decades, such as 1960s"),
        ("1840s 10", RangeError, "what is older goes with the 1880s"),
        ("2030s 10", RangeError, "the 2030s lie after 2026"),
        ("1960s 6, 4", WordError, "each decade needs its number of chips beside it"),
        ("20s 10", WordError, "20s can be 1920s or 2020s; write all four digits"),
        ("1972-1955", WordError, "not understood"),
        ((1972, 1955), RangeError, "the first year, 1972, lies after the last, 1955; exchange them"),
        ("after 2030", RangeError, "2030 lies after 2026"),
        ("groovy", WordError, "'groovy' is not understood; allowed: \"1960s 6, 1970s 4\""),
        ("", WordError, "nothing was typed"),
        ("1960s 6, " * 50, WordError, "too long"),
        ({1960: 6.5, 1970: 3.5}, RangeError, "chips are whole numbers, got '6.5'"),
        ({1960: -1, 1970: 11}, RangeError, "from 0 to 10 are allowed"),
        ({1960: True}, RangeError, "chips are whole numbers, got 'True'"),
        ({"spring": 10}, WordError, "'spring' is no decade"),
        (1960, WordError, "'1960' is not understood"),
        (None, WordError, "'None' is not understood"),
        ("groovy", WordError, '"1955-1972" (the years between which it was made)'),
        (None, WordError, "(1955, 1972)"),
        ("about 2040", RangeError, "2030 lies after 2026"),
        (Bet.of_chips(SIX_FOUR, 2020), RangeError, "it is for pieces up to 2020"),
    ],
)  # fmt: skip
def test_what_is_no_bet_is_refused_by_name(typed: object, kind: type, says: str) -> None:
    with pytest.raises(ScarfdateError) as refusal:
        read_bet(typed, LAST)
    assert type(refusal.value) is kind and says in str(refusal.value)
    assert str(refusal.value).startswith("bet: ")


laid = st.lists(st.sampled_from(DECADES), min_size=CHIPS, max_size=CHIPS).map(
    lambda each: {decade: each.count(decade) for decade in each}
)
intervals = st.tuples(st.integers(1700, LAST), st.integers(1700, LAST)).map(
    lambda pair: (min(pair), max(pair))
)
anything = st.one_of(
    st.text(max_size=60),
    st.text(alphabet="0123456789s'-–, :x=", max_size=40),
    st.none() | st.booleans() | st.integers() | st.floats(),
    st.dictionaries(st.one_of(st.integers(), st.text(max_size=6)), st.integers() | st.floats()),
    st.tuples(st.integers(), st.integers()),
)


@BRIEFLY
@given(laid)
def test_the_share_of_a_decade_is_its_chips_and_a_part_of_half_a_chip(
    chips: dict[int, int],
) -> None:
    """The rule of the module, worked out in plain words."""
    bet = read_bet(chips, LAST)
    for decade, share in zip(bet.decades, bet.shares, strict=True):
        assert math.isclose(share, (chips.get(decade, 0) + 0.5 / len(DECADES)) / 10.5)
    assert read_bet(str(bet), LAST) == bet  # it is printed as it can be typed


@BRIEFLY
@given(intervals)
def test_an_interval_holds_the_level_evenly(years: tuple[int, int]) -> None:
    bet = read_bet(years, LAST)
    first, last = (max(year, FIRST_YEAR) for year in years)
    inside = bet.over_years()[first - FIRST_YEAR : last - FIRST_YEAR + 1]
    everything = (first, last) == (FIRST_YEAR, LAST)
    assert math.isclose(inside.sum(), 1.0 if everything else LEVEL)
    assert np.ptp(inside) < 1e-15
    assert read_bet(str(bet), LAST) == bet


@BRIEFLY
@given(st.one_of(laid, intervals))
def test_shares_are_chances_and_none_is_zero(typed: object) -> None:
    bet = read_bet(typed, LAST)
    assert math.isclose(sum(bet.shares), 1) and min(bet.shares) > 0
    years = bet.over_years()
    assert math.isclose(years.sum(), 1) and len(years) == LAST - FIRST_YEAR + 1
    assert np.allclose(np.bincount(decade_places(LAST), years), bet.shares)


@BRIEFLY
@given(anything)
def test_nothing_typed_crashes(typed: object) -> None:
    try:
        assert isinstance(read_bet(typed, LAST), Bet)
    except ScarfdateError as refusal:
        assert str(refusal).startswith("bet: ") and len(str(refusal)) < 400


def test_nobody_at_the_prompt_is_shown_python() -> None:
    for typed in ("groovy", "", "1960s 6, 4"):
        with pytest.raises(WordError) as refusal:
            read_bet(typed, LAST)
        assert "{" not in str(refusal.value) and "(1955" not in str(refusal.value)


@pytest.mark.parametrize(
    ("chips", "interval"),
    [
        ("1960s 5, 1970s 5", "1960-1979"),
        ("1960s 10", "1960-1969"),
        ("2010s 6, 2020s 4", "2010-2026"),
    ],
)
def test_one_opinion_in_either_notation_is_one_opinion(chips: str, interval: str) -> None:
    """Held against each other, not scored: as chips it still holds more."""
    both = [read_bet(chips, LAST), read_bet(interval, LAST)]
    as_chips, as_interval = alike(both)
    assert np.allclose(
        as_chips, as_interval, atol=0.025
    )  # chips are coarse: 6 and 4 for 10 years and 7
    assert np.allclose(as_chips.sum(), 1) and (as_chips > 0).all()
    assert max(both[0].shares) > max(as_chips)
    (alone,) = alike(both[:1])
    assert alone.tolist() == [*both[0].shares]


def test_chips_on_every_decade_stay_as_they_are() -> None:
    bet = Bet.of_shares([1 / len(DECADES)] * len(DECADES), LAST)
    assert alike([bet, read_bet("1960-1969", LAST)])[0].tolist() == [*bet.shares]
