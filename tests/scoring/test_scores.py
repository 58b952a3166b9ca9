"""Scores of probabilities over years: sums done by hand, other libraries, and what theory promises.

Hand sums: CRPS of an even distribution over 1960..1969 at 1964, Σ (k/10)² for k = 1..4 plus Σ (1 - k/10)²
for k = 5..10 = 0.30 + 0.55; log score of ten even cells, log 10; a Brier score in Murphy's parts for the
chances 0.1 (outcomes 0 0 0 1), 0.5 (0 1 0 1) and 0.8 (1 1): 0.017 - 0.075 + 0.25 = 0.192.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import stats

from scarfdate.errors import ScarfdateError
from scarfdate.scoring import calibration, uncertain
from scarfdate.scoring import rules as scores
from tests.published.test_turnbull import FIRST, RADIOTHERAPY, read

Floats = NDArray[np.float64]
YEARS = 40
DECADES = np.arange(YEARS) // 10
LEVEL = 0.8


def rows(*some: Floats) -> Floats:
    return np.stack([row / row.sum() for row in some])


def random_rows(n: int, seed: int, years: int = YEARS) -> Floats:
    """Uneven rows, some cells with nothing."""
    rng = np.random.default_rng(seed)
    p = rng.gamma(0.3, size=(n, years)) * (rng.random((n, years)) < 0.8) + 1e-12
    return np.asarray(p / p.sum(axis=1, keepdims=True))


# ------------------------------------------------------------------------------- by hand


def test_even_over_ten_years_by_hand() -> None:
    even = np.zeros((1, YEARS))
    even[0, 10:20] = 0.1
    at = [14]
    assert scores.crps(even, at, at)[0] == pytest.approx(0.30 + 0.55)
    assert scores.log_score(even, at, at)[0] == pytest.approx(-np.log(10))
    assert -scores.log_score(even, at, at)[0] / np.log(2) == pytest.approx(3.321928, abs=1e-6)
    assert scores.log_score(even, [12], [14])[0] == pytest.approx(np.log(0.3))
    # 80 % central: at most a tenth on either side, so years 1..8 of the ten: length 7
    assert scores.interval_score(even, at, at, LEVEL)[0] == pytest.approx(7)
    # year 9 of the ten is one beyond: 7 + 2 / 0.2
    assert scores.interval_score(even, [19], [19], LEVEL)[0] == pytest.approx(17)
    # half of the mass on each of two decades, the true one of four being one of them
    two = np.zeros((1, YEARS))
    two[0, 15:25] = 0.1
    assert scores.brier(two, at, at, DECADES)[0] == pytest.approx(0.25 + 0.25)
    assert scores.brier(two, [5], [5], DECADES)[0] == pytest.approx(1 + 0.25 + 0.25)


def test_sample_crps_by_hand() -> None:
    """The sample 0, 1, 3 at 2: 2/3; the sample 0, 1 at 0: 1/4."""
    sample = np.array([[1, 1, 0, 1.0], [1, 1, 0, 0]])
    found = scores.crps(sample / sample.sum(axis=1, keepdims=True), [2, 0], [2, 0])
    np.testing.assert_allclose(found, [2 / 3, 1 / 4])


def test_a_known_interval_counts_as_stated() -> None:
    """Scores at each of its years, averaged: the plain sum, year by year."""
    p = random_rows(30, 1)
    rng = np.random.default_rng(2)
    first = rng.integers(0, YEARS, 30)
    last = np.minimum(first + rng.integers(0, 15, 30), YEARS - 1)
    for name, more in (("crps", ()), ("brier", (DECADES,)), ("interval_score", (LEVEL,))):
        each = getattr(scores, name)
        by_year = np.stack([each(p, [y] * 30, [y] * 30, *more) for y in range(YEARS)], axis=1)
        expected = [
            by_year[row, a : b + 1].mean()
            for row, (a, b) in enumerate(zip(first, last, strict=True))
        ]
        np.testing.assert_allclose(each(p, first, last, *more), expected, atol=1e-12)
    expected = [
        np.log(p[row, a : b + 1].sum()) for row, (a, b) in enumerate(zip(first, last, strict=True))
    ]
    np.testing.assert_allclose(scores.log_score(p, first, last), expected, atol=1e-12)


def test_sure_forecasts() -> None:
    """Of one year: 0 where it is right; the distance where it is wrong; and the worst log score is finite."""
    sure = np.eye(YEARS)[[7, 7, 7]]
    at = np.array([7, 12, 0])
    np.testing.assert_array_equal(scores.crps(sure, at, at), [0, 5, 7])
    np.testing.assert_array_equal(scores.brier(sure, at, at, DECADES), [0, 2, 0])
    np.testing.assert_allclose(scores.interval_score(sure, at, at, LEVEL), [0, 50, 70])
    np.testing.assert_allclose(scores.log_score(sure, at, at), [0, np.log(1e-300), np.log(1e-300)])
    found = calibration.coverage(sure, at, at, LEVEL)
    np.testing.assert_array_equal(found.held, [1, 0, 0])
    np.testing.assert_array_equal(calibration.pit(sure, at, at, 4).sum(axis=1), [1, 1, 1])
    # what was given no chance lies at the one end or at the other
    np.testing.assert_array_equal(
        calibration.pit(sure, at, at, 4)[1:], [[0, 0, 0, 1], [1, 0, 0, 0]]
    )
    # years 18..21 were given nothing: half of them in each of two decades
    true = calibration.reliability(sure[:1], [18], [21], DECADES, 10)
    np.testing.assert_allclose(true.forecast, [0, 1])
    np.testing.assert_allclose(true.observed, [1 / 3, 0])


def test_murphys_parts_by_hand() -> None:
    said = np.repeat([0.1, 0.5, 0.8], [4, 4, 2])
    true = np.array([0, 0, 0, 1, 0, 1, 0, 1, 1, 1])
    p = np.stack([said, 1 - said], axis=1)  # class 0 is "yes"
    where = np.where(true == 1, 0, 1)
    both = calibration.reliability(p, where, where, [0, 1], 10)
    assert both.count.sum() == 20  # "no" is a class as well
    yes = calibration.Reliability(
        forecast=np.array([0.1, 0.5, 0.8]),
        observed=np.array([1 / 4, 1 / 2, 1]),
        count=np.array([4, 4, 2]),
    )
    parts = calibration.brier_parts(yes)
    assert parts == pytest.approx((0.017, 0.075, 0.25))
    assert parts[0] - parts[1] + parts[2] == pytest.approx(0.192)
    # the two classes err alike: our score is twice that of the one
    assert scores.brier(p, where, where, [0, 1]).mean() == pytest.approx(2 * 0.192)
    np.testing.assert_allclose(both.forecast, [0.1, 0.2, 0.5, 0.8, 0.9])
    np.testing.assert_allclose(both.observed, [1 / 4, 0, 1 / 2, 1, 3 / 4])
    parts = calibration.brier_parts(both)
    assert parts[0] - parts[1] + parts[2] == pytest.approx(0.192)


def test_coverage_by_hand() -> None:
    even = np.zeros((4, YEARS))
    even[:, 10:20] = 0.1  # the shortest interval of 80 %: the earliest of equals, 10..17
    found = calibration.coverage(even, [17, 18, 16, 10], [17, 18, 19, 17], LEVEL)
    np.testing.assert_allclose(found.expected, 0.8)
    np.testing.assert_allclose(found.held, [1, 0, 0.5, 1])  # 16, 17 of 16..19
    np.testing.assert_allclose(found.least, [1, 0, 0, 1])
    np.testing.assert_allclose(found.most, [1, 0, 1, 1])


def test_pit_of_exact_years_is_that_of_czado_and_others() -> None:
    """Their conditional distribution function, 0 up to F(y - 1), 1 from F(y), straight between; averaged."""
    p = random_rows(200, 3)
    rng = np.random.default_rng(4)
    year = np.array([rng.choice(YEARS, p=row) for row in p])
    bins = 10
    found = calibration.pit(p, year, year, bins).mean(axis=0)
    mean = []
    for u in np.linspace(0, 1, bins + 1):
        each = []
        for row, y in zip(p, year.tolist(), strict=True):
            before, upto = row[:y].sum(), row[: y + 1].sum()
            each.append(float(np.clip((u - before) / (upto - before), 0, 1)))
        mean.append(np.mean(each))
    mean[0], mean[-1] = 0.0, 1.0
    np.testing.assert_allclose(found, np.diff(mean), atol=1e-9)


# ------------------------------------------------------------------------------- theory


@given(st.integers(0, 10**6))
@settings(max_examples=60, deadline=None)
def test_the_truth_scores_best_on_average(seed: int) -> None:
    """Proper (Gneiting and Raftery 2007): under p, no q is expected to do better than p itself."""
    p, q = random_rows(2, seed, 12)
    year = np.arange(12)
    decades = year // 5
    for name, more, sign in (
        ("log_score", (), -1),
        ("crps", (), 1),
        ("brier", (decades,), 1),
        ("interval_score", (LEVEL,), 1),
    ):
        each = getattr(scores, name)
        own, other = (float(p @ each(np.tile(row, (12, 1)), year, year, *more)) for row in (p, q))
        assert sign * own <= sign * other + 1e-9, name
    # of intervals that part the years without a look at the clues, the log score alone stays so
    cuts = np.sort(np.random.default_rng(seed).choice(np.arange(1, 12), 3, replace=False))
    first = np.concatenate(([0], cuts))
    last = np.concatenate((cuts - 1, [11]))
    chance = np.array([p[a : b + 1].sum() for a, b in zip(first, last, strict=True)])
    own, other = (
        float(chance @ scores.log_score(np.tile(row, (4, 1)), first, last)) for row in (p, q)
    )
    assert own >= other - 1e-9


@given(st.integers(0, 10**6))
@settings(max_examples=60, deadline=None)
def test_ranges_of_all_scores(seed: int) -> None:
    p = random_rows(20, seed)
    rng = np.random.default_rng(seed)
    first = rng.integers(0, YEARS, 20)
    last = np.minimum(first + rng.integers(0, 8, 20), YEARS - 1)
    assert (scores.log_score(p, first, last) <= 0).all()
    assert (scores.crps(p, first, last) >= 0).all()
    assert (scores.crps(p, first, last) <= YEARS).all()
    assert ((b := scores.brier(p, first, last, DECADES)) >= -1e-12).all() and (b <= 2).all()
    assert (scores.interval_score(p, first, last, LEVEL) >= 0).all()
    pit = calibration.pit(p, first, last, 10)
    assert (pit >= 0).all()
    np.testing.assert_allclose(pit.sum(axis=1), 1)
    found = calibration.coverage(p, first, last, LEVEL)
    assert (found.expected >= LEVEL - 1e-9).all()
    assert (found.least <= found.held + 1e-12).all() and (found.held <= found.most + 1e-12).all()


def test_under_the_truth_pit_and_coverage_are_right_in_expectation() -> None:
    """Exactly, not by drawing: every year (and every interval of a partition) weighed by its chance."""
    p = random_rows(1, 5)[0]
    year = np.arange(YEARS)
    many = np.tile(p, (YEARS, 1))
    cuts = np.array([0, 3, 4, 11, 20, 37])
    for first, last in ((year, year), (cuts, np.append(cuts[1:], YEARS) - 1)):
        chance = np.array([p[a : b + 1].sum() for a, b in zip(first, last, strict=True)])
        here = many[: len(first)]
        np.testing.assert_allclose(chance @ calibration.pit(here, first, last, 10), 0.1, atol=1e-9)
        found = calibration.coverage(here, first, last, LEVEL)
        assert chance @ found.held == pytest.approx(found.expected[0])
        true = calibration.reliability(here, first, last, DECADES, 10)
        assert true.count.sum() == len(first) * 4


# ------------------------------------------------------------------------------- other libraries


@pytest.mark.peers
def test_against_scoringrules() -> None:
    """`scoringrules`: CRPS of weighted values and of named distributions on whole numbers; interval, Brier."""
    sr = pytest.importorskip("scoringrules")
    p = random_rows(50, 6)
    rng = np.random.default_rng(7)
    year = rng.integers(0, YEARS, 50)
    values = np.tile(np.arange(YEARS, dtype=float), (50, 1))
    theirs = sr.crps_ensemble(year.astype(float), values, ens_w=p, estimator="nrg")
    np.testing.assert_allclose(scores.crps(p, year, year), theirs, rtol=1e-7, atol=1e-9)
    grid = np.arange(YEARS)
    for y in (0, 3, 9, 25):
        poisson = rows(stats.poisson.pmf(grid, 6.5))  # beyond the grid lies 1e-17
        assert scores.crps(poisson, [y], [y])[0] == pytest.approx(float(sr.crps_poisson(y, 6.5)))
        assert -scores.log_score(poisson, [y], [y])[0] == pytest.approx(
            float(sr.logs_poisson(y, 6.5))
        )
        binomial = rows(stats.binom.pmf(grid, 30, 0.3))
        assert scores.crps(binomial, [y], [y])[0] == pytest.approx(
            float(sr.crps_binomial(y, 30, 0.3))
        )
    total = np.cumsum(p, axis=1)
    low, high = ((total < level - 1e-12).sum(axis=1) for level in (0.1, 0.9))
    np.testing.assert_allclose(
        scores.interval_score(p, year, year, LEVEL),
        sr.interval_score(year.astype(float), low.astype(float), high.astype(float), 0.2),
    )
    before = p[:, :10].sum(axis=1)  # two classes: twice the score of the one
    two = (grid >= 10).astype(int)
    theirs = sr.brier_score((year < 10).astype(float), np.clip(before, 0, 1))
    np.testing.assert_allclose(scores.brier(p, year, year, two), 2 * theirs, atol=1e-12)


@pytest.mark.peers
def test_interval_known_years_against_lifelines() -> None:
    """`lifelines`: the log-likelihood of interval-censored data is the sum of our log scores.

    Time runs on, years are cells: year y is the time (y, y + 1], so first..last is (first, last + 1].
    """
    lifelines = pytest.importorskip("lifelines")
    rng = np.random.default_rng(8)
    made = 22 * rng.weibull(1.8, 300)
    first = np.floor(made / 5) * 5
    last = first + 4
    fitted = lifelines.WeibullFitter().fit_interval_censoring(first, last + 1)
    grid = np.arange(int(last.max()) + 3, dtype=float)
    total = 1 - np.asarray(fitted.survival_function_at_times(grid))
    total[-1] = 1.0  # the last cell stands for all that is later; no known interval reaches it
    p = np.diff(np.append(total, 1.0))
    own = scores.log_score(np.tile(p, (300, 1)), first, last).sum()
    assert own == pytest.approx(float(fitted.log_likelihood_), abs=1e-6)


@pytest.mark.peers
def test_turnbulls_estimate_of_lifelines_scores_as_published() -> None:
    """Masses by `lifelines`, breast cosmesis (see tests/published/test_turnbull.py); log-likelihood
    -58.060021954 at the maximum, as computed by a separate EM. Its masses are good to about 1e-4."""
    npmle = pytest.importorskip("lifelines.fitters.npmle")
    left, right = read(RADIOTHERAPY)
    first = np.array(left)  # (left, right] are the cells left..right - 1
    last = np.where(np.isinf(right), 60, np.array(right)) - 1
    chance, where = npmle.npmle(first, last, tol=1e-9)
    p = np.zeros(60)
    for mass, stretch in zip(chance, where, strict=True):
        p[int(stretch.left)] += mass  # where within the stretch makes no difference
    ours = scores.log_score(np.tile(p / p.sum(), (len(first), 1)), first, last).sum()
    assert ours == pytest.approx(-58.060021954, abs=1e-3)
    published = np.zeros(60)
    for a, _, _, mass in FIRST:
        published[a] = mass
    ours = scores.log_score(np.tile(published / published.sum(), (len(first), 1)), first, last)
    assert ours.sum() == pytest.approx(-58.060021954, abs=1e-6)


# ------------------------------------------------------------------------------- errors of means


def test_binomial_bands_as_tabulated() -> None:
    """Counts in one of B equal bins of N: central 99 % and 95 %, and `scipy.stats.binom`."""
    for n, bins, at_99, at_95 in (
        (1000, 20, (33, 69), (37, 64)),
        (500, 20, (13, 38), (16, 35)),
        (1000, 100, (3, 19), (4, 17)),
        (200, 10, (10, 32), (12, 29)),
    ):
        assert uncertain.binomial_band(n, 1 / bins, 0.99) == at_99
        assert uncertain.binomial_band(n, 1 / bins, 0.95) == at_95
    for n, chance in ((7, 0.9), (1, 0.5), (100_000, 0.003), (3, 1e-9)):
        theirs = stats.binom.ppf([0.025, 0.975], n, chance)
        assert uncertain.binomial_band(n, chance) == tuple(theirs)
    assert uncertain.binomial_band(5, 0) == (0, 0)
    assert uncertain.binomial_band(5, 1) == (5, 5)


def test_bootstrap_errors_by_formula() -> None:
    """σ / √n by records; by clumps the between-clump formula; exact for means, so within drawing error:
    the standard deviation of 4,000 draws is off by 1.1 %, 5 % is four and a half of that."""
    rng = np.random.default_rng(9)
    values = rng.normal(size=(120, 2)) * [1, 5] + [3, -2]
    alone = np.arange(120)
    found = uncertain.bootstrap(values, alone, rng, 4000)
    for column, one in zip(values.T, found, strict=True):
        error = column.std(ddof=1) / np.sqrt(120)
        assert one.mean == pytest.approx(column.mean())
        assert one.error == pytest.approx(error, rel=0.05)
        wide = stats.t.ppf(0.975, 119) * error
        assert one.lower == pytest.approx(one.mean - wide, abs=0.15 * wide)
        assert one.upper == pytest.approx(one.mean + wide, abs=0.15 * wide)
    clump = np.repeat(np.arange(30), 4)
    alike = np.repeat(values[:30], 4, axis=0)  # four copies of each are worth one
    found = uncertain.bootstrap(alike, clump, rng, 4000)
    assert found[0].error == pytest.approx(values[:30, 0].std(ddof=1) / np.sqrt(30), rel=0.05)
    assert uncertain.effective(clump) == pytest.approx(30)
    assert uncertain.effective(np.array([0, 0, 0, 1])) == pytest.approx(16 / 10)
    five = uncertain.bootstrap(values[:5], alone[:5], rng, 4000)[0]
    assert five.error == pytest.approx(values[:5, 0].std(ddof=1) / np.sqrt(5), rel=0.05)
    single = uncertain.bootstrap(alike, np.zeros(120, dtype=int), rng, 100)[0]
    assert np.isnan(single.error) and np.isinf([single.lower, single.upper]).all()


@pytest.mark.statistical
@pytest.mark.parametrize("units", [8, 20, 100])
def test_intervals_of_means_leave_out_the_truth_as_often_as_said(units: int) -> None:
    """2,000 normal samples: 5 % of the intervals should miss the mean. Standard error 0.49 %; from 3 to
    7 % is allowed, four of it either way (1 in 16,000). Plain percentiles of 8 units miss 11 %."""
    rng = np.random.default_rng(10 + units)
    missed = 0
    for _ in range(100):
        for one in uncertain.bootstrap(rng.normal(size=(units, 20)), np.arange(units), rng, 999):
            missed += not one.lower <= 0 <= one.upper
    print(f"{units} units: {missed / 2000:.2%} missed")
    assert 0.03 < missed / 2000 < 0.07


# ------------------------------------------------------------------------------- refused


@pytest.mark.parametrize(
    ("p", "first", "last", "said"),
    [
        ([0.5, 0.5], [0], [0], "an array"),
        ([[0.5, 0.6]], [0], [0], "sum to one"),
        ([[1.5, -0.5]], [0], [0], "0 or more"),
        ([[np.nan, 1]], [0], [0], "row 0"),
        ([[0.5, 0.5]], [1], [0], "first <= last"),
        ([[0.5, 0.5]], [0], [2], "first <= last < 2"),
        ([[0.5, 0.5]], [-1], [0], "0 <= first"),
        ([[0.5, 0.5]], [0, 1], [0, 1], "length"),
        ([[0.5, 0.5]], [0.5], [1], "whole"),
    ],
)
def test_what_is_no_distribution_is_refused(
    p: object, first: object, last: object, said: str
) -> None:
    for name, more in (("log_score", ()), ("crps", ()), ("brier", ([0, 1],)), ("interval_score", (0.8,)),
                       ("coverage", (0.8,)), ("pit", (10,)), ("reliability", ([0, 1], 10))):  # fmt: skip
        with pytest.raises(ScarfdateError, match=said):
            getattr(calibration if hasattr(calibration, name) else scores, name)(
                p, first, last, *more
            )


def test_classes_are_one_a_year() -> None:
    for wrong in ([0], [0, -1], [0, 0.5], [[0, 1]]):
        with pytest.raises(ScarfdateError, match="classes"):
            scores.brier([[0.5, 0.5]], [0], [0], wrong)
