"""A table moved by some years: against the table itself, read at earlier years, and SciPy's cubic spline."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from scarfdate.conventions import FIRST_YEAR, Array
from scarfdate.learning.deviations import IMPOSSIBLE, lag_effect_of

YEARS = 141


@pytest.fixture
def shares(rng: np.random.Generator) -> Array:
    """Four values whose logarithms wander, and a fifth that is impossible before 1938."""
    log = np.cumsum(rng.normal(0, 0.08, (5, YEARS)), axis=1)
    found = np.exp(log)
    found[4, : 1938 - FIRST_YEAR] = 0.0
    return np.asarray(found / found.sum(axis=0))


@pytest.mark.parametrize("lag", [-20, -5, 0, 5, 15])
def test_it_says_of_a_year_what_it_said_of_an_earlier_one(shares: Array, lag: int) -> None:
    knots = np.arange(YEARS)
    moved = (
        np.log(np.maximum(shares[:, knots], IMPOSSIBLE))
        + lag_effect_of(shares).at(lag)[0][:, knots]
    )
    earlier = np.clip(knots - lag, 0, YEARS - 1)
    expected = np.log(np.maximum(shares[:, earlier], IMPOSSIBLE))
    possible = shares[:, knots] > IMPOSSIBLE
    np.testing.assert_allclose(moved[possible], expected[possible], atol=1e-10)


def test_what_is_impossible_in_a_year_stays_so(shares: Array) -> None:
    effect = lag_effect_of(shares)
    before = np.arange(0, 1938 - FIRST_YEAR)
    for lag in (-30.0, -12.5, 7.0):
        assert not effect.at(lag)[0][4, before].any()
    assert effect.at(10.0)[0][4, 1940 - FIRST_YEAR] < -10  # ten years late it is not made in 1940


def test_between_lags_it_is_the_natural_cubic_spline_of_scipy(shares: Array) -> None:
    knots, lags = np.arange(YEARS), np.arange(-30, 31, 5)
    log = np.log(np.maximum(shares, IMPOSSIBLE))
    at = np.stack([log[:4, np.clip(knots - lag, 0, YEARS - 1)] - log[:4, knots] for lag in lags])
    spline = CubicSpline(lags, at, bc_type="natural")
    for lag in (-29.9, -7.3, 0.1, 12.0, 30.0):
        move, slope = lag_effect_of(shares).at(lag)
        np.testing.assert_allclose(move[:4, knots], spline(lag), atol=1e-9)
        np.testing.assert_allclose(slope[:4, knots], spline(lag, 1), atol=1e-9)


def test_beyond_the_last_lag_nothing_changes(shares: Array) -> None:
    effect = lag_effect_of(shares)
    np.testing.assert_array_equal(effect.at(44.0)[0], effect.at(30.0)[0])
    assert not effect.at(44.0)[1].any()
    assert np.isfinite(effect.at(-1e9)[0]).all()


def test_some_years_are_those_of_all(shares: Array) -> None:
    effect, some = lag_effect_of(shares), np.array([3, 60, 140])
    for one, other in zip(effect.only(some).at(8.0), effect.at(8.0), strict=True):
        np.testing.assert_array_equal(one, other[:, some])
