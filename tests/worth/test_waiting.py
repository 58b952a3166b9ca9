"""How long pieces hang: Kaplan and Meier's estimate, and its bounds.

Checked against the remission times of 6-mercaptopurine, printed in many books (Freireich and others 1963, Blood 21;
the estimate in Kleinbaum and Klein, Survival Analysis, table 2.2), and by simulation; against lifelines in
`tests.peers.test_waiting_peers`.
"""

from __future__ import annotations

import math
import pickle

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scarfdate.worth.waiting import waiting

EVENTS = [6, 6, 6, 7, 10, 13, 16, 22, 23]
CENSORED = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
PRINTED = {6: 0.8571, 7: 0.8067, 10: 0.7529, 13: 0.6902, 16: 0.6275, 22: 0.5378, 23: 0.4482}
DAYS = np.array([*EVENTS, *CENSORED], dtype=float)
SOLD = np.array([True] * len(EVENTS) + [False] * len(CENSORED))


def test_the_printed_estimate() -> None:
    curve = waiting(DAYS, SOLD)
    for day, share in PRINTED.items():
        assert curve.left(day) == pytest.approx(share, abs=5e-5)
    assert curve.left(5) == 1
    assert curve.day() == 23
    assert (curve.n, curve.sold) == (21, 9)
    assert math.isinf(curve.day(left=0.4))  # never so few are left


def test_bounds_are_where_the_bands_cross() -> None:
    curve = waiting(DAYS, SOLD)
    for day in (6, 13, 23, 30):
        low, high = curve.left_between(day, 0.8)
        assert low < curve.left(day) < high
    early, late = curve.day(sure=0.1), curve.day(sure=0.9)
    assert early < curve.day() < late
    assert curve.left_between(early, 0.8)[0] <= 0.5 < curve.left_between(early - 1, 0.8)[0]
    assert curve.left_between(3, 0.8) == (1, 1)  # nothing is sold yet


def test_where_nothing_can_be_known_nothing_is_said() -> None:
    none_sold = waiting(np.array([3.0, 9.0]), np.array([False, False]))
    assert [none_sold.day(sure=sure) for sure in (0.1, 0.5, 0.9)] == [math.inf] * 3
    one = waiting(np.array([3.0]), np.array([True]))
    assert one.day() == 3
    assert math.isinf(one.day(sure=0.9))
    assert math.isnan(waiting(np.array([math.nan]), np.array([True])).day())
    assert pickle.loads(pickle.dumps(one)).day() == 3


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 400), st.booleans()), min_size=1, max_size=30))
def test_unsold_pieces_never_make_things_look_faster(pieces: list[tuple[int, bool]]) -> None:
    days, sold = np.array([d for d, _ in pieces], float), np.array([s for _, s in pieces])
    curve = waiting(days, sold)
    if sold.any():
        assert curve.day() >= waiting(days[sold], sold[sold]).day()
    assert curve.day(sure=0.1) <= curve.day() <= curve.day(sure=0.9)
    shares = [curve.left(day) for day in range(0, 401, 20)]
    assert shares == sorted(shares, reverse=True)


@pytest.mark.statistical
def test_four_in_five_intervals_hold_the_true_day() -> None:
    """Exponential days of mean 100 among 60 pieces, counted at a random day: 600 books, 80 % intervals."""
    rng, true, hits = np.random.default_rng(7), 100 * math.log(2), 0
    for _ in range(600):
        sale, counted = rng.exponential(100, 60), rng.uniform(40, 300, 60)
        curve = waiting(np.minimum(sale, counted), sale <= counted)
        hits += curve.day(sure=0.1) <= true < curve.day(sure=0.9)
    assert 0.75 <= hits / 600 <= 0.86
