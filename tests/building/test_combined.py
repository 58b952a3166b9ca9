"""Expert rows and records put together: limits that arithmetic knows, and what is borrowed."""

from __future__ import annotations

import numpy as np
import pytest

from scarfdate.building.clue_tables import FamilyLikelihood, RecordLikelihoods, Smoothing, fit
from scarfdate.building.combined import (
    BORROWED,
    borrowing,
    by_grade,
    expected,
    hats,
    knots_of,
    near_knots,
    updated,
    updated_sizes,
)
from scarfdate.tables.knots import ANY, MeasuredTable, SharesTable

YEARS = np.arange(1880, 2026)
KNOTS = np.array([1880.0, 1920.0, 1960.0, 2025.0])
ROWS = np.array([[60, 40, 0], [50, 49, 1], [20, 40, 40], [10, 30, 60]], dtype=float)
TABLE = SharesTable(
    family="print", values=("roller", "block", "screen"), by_market=False,
    series={("fine", ANY): (KNOTS, ROWS)}, bases=(),
)  # fmt: skip


def records(rng: np.random.Generator) -> np.ndarray:
    return rng.gamma(1.0, 1.0, (3, len(YEARS)))


def test_hats_are_linear_interpolation(rng):
    weights = hats(KNOTS, YEARS)
    np.testing.assert_allclose(weights.sum(axis=0), 1, atol=1e-12)
    assert (weights >= 0).all()
    heights = rng.random(len(KNOTS))
    np.testing.assert_allclose(heights @ weights, np.interp(YEARS, KNOTS, heights), atol=1e-12)


def test_knots_of_start_alone_and_end_at_the_last_year():
    knots = knots_of(2023)
    assert knots[:3].tolist() == [1880, 1881, 1885] and knots[-1] == 2023
    assert (np.diff(knots) > 0).all()


@pytest.mark.parametrize(("last", "step"), [(2025, 5), (2023, 20)])
def test_every_year_lies_near_one_knot(last, step):
    years = np.arange(1880, last + 1)
    near = list(near_knots(last, step))
    assert [knot for knot, _ in near] == knots_of(last, step).tolist()
    assert np.concatenate([years[some] for _, some in near]).tolist() == years.tolist()
    for knot, some in near[1:]:  # the first year stands alone
        others = [abs(years[some] - other) for other, _ in near[1:]]
        assert (abs(years[some] - knot) <= np.min(others, axis=0)).all()


def test_an_expert_of_endless_worth_is_not_moved(rng):
    shares, _ = updated(TABLE, "fine", 1e12, [records(rng)], YEARS)
    np.testing.assert_allclose(shares, ROWS / 100, atol=1e-9)


def test_an_expert_of_no_worth_leaves_the_records_alone(rng):
    counts = records(rng)
    shares, added = updated(TABLE, "fine", 0.0, [counts], YEARS)
    near = np.where(ROWS > 0, hats(KNOTS, YEARS) @ counts.T, 0.0)
    np.testing.assert_allclose(shares, near / near.sum(axis=1, keepdims=True), atol=1e-12)
    assert added.sum() == pytest.approx(counts.sum())


def test_the_impossible_stays_impossible_and_the_sums_stay_one(rng):
    shares, _ = updated(TABLE, "fine", 5.0, [1000 * records(rng), records(rng)], YEARS)
    assert shares[0, 2] == 0
    assert (shares[1:] > 0).all()
    np.testing.assert_allclose(shares.sum(axis=1), 1, atol=1e-12)


def test_a_knot_is_moved_by_as_much_as_its_records_weigh():
    counts = np.zeros((3, len(YEARS)))
    counts[2, YEARS == 1960] = 10.0
    shares, added = updated(TABLE, "fine", 10.0, [counts], YEARS)
    np.testing.assert_allclose(shares[2], [0.10, 0.20, 0.70], atol=1e-12)
    np.testing.assert_allclose(shares[[0, 1, 3]], ROWS[[0, 1, 3]] / 100, atol=1e-12)
    assert added.tolist() == [[0, 0, 10, 0]]


def test_counts_are_shared_out_over_grades_and_add_up(rng):
    counts = records(rng)
    shares = rng.dirichlet(np.ones(3), (3, len(YEARS))).transpose(2, 0, 1)  # values, grades, years
    grades = rng.dirichlet(np.ones(3), len(YEARS)).T
    split = by_grade(counts, shares, grades)
    np.testing.assert_allclose(split.sum(axis=0), counts, rtol=1e-12)
    # in proportion to P(grade | year) P(value | grade, year): Bayes by hand in one place
    by_hand = grades[:, 40] * shares[1, :, 40]
    np.testing.assert_allclose(split[:, 1, 40] / counts[1, 40], by_hand / by_hand.sum(), rtol=1e-12)
    # a value that no grade has takes no records
    none = shares.copy()
    none[2] = 0
    assert (by_grade(counts, none, grades)[:, 2] == 0).all()


def test_expected_records_are_those_that_state_the_family(rng):
    fits = np.array([[1, 0, 0], [0, 1, 0], [1, 1, 0], [1, 1, 1]], dtype=float)
    which = rng.integers(0, 4, 90)
    noted = RecordLikelihoods(
        dated=np.ones((90, len(YEARS))),
        weight=rng.random(90),
        families={"print": FamilyLikelihood(fits=fits, which=which)},
    )
    shares = np.tile(np.array([0.5, 0.3, 0.2])[:, None, None], (1, 3, len(YEARS)))
    grades = np.full((3, len(YEARS)), 1 / 3)
    tables = fit(noted, np.full(len(YEARS), 1 / len(YEARS)), Smoothing(bandwidth=8.0, pull=3.0))
    found = expected(noted, tables, "print", shares, grades)
    assert found.sum() == pytest.approx(noted.weight[which < 3].sum())
    assert found[:, 2].sum() == pytest.approx(0)
    parent = noted.weight[which == 2].sum()
    assert found[:, 0].sum() == pytest.approx(noted.weight[which == 0].sum() + parent * 5 / 8)


def test_sizes_are_weighed_by_records():
    table = MeasuredTable(
        family="long_side",
        series={
            ("fine", "square"): (np.array([1880.0, 2025.0]), np.array([[80.0, 1.2], [90.0, 1.2]]))
        },
        bases=(),
    )
    key = ("fine", "square")
    flat = np.ones(len(YEARS))
    own = (np.log(60.0) * flat, np.log(1.3) * flat)
    none, number = updated_sizes(table, key, 20.0, (*own, 0 * flat), YEARS)
    np.testing.assert_allclose(none, [[80, 1.2], [90, 1.2]], rtol=1e-9)
    assert number.tolist() == [0, 0]
    all_of_it, _ = updated_sizes(table, key, 1e-9, (*own, flat), YEARS)
    np.testing.assert_allclose(all_of_it, [[60, 1.3], [60, 1.3]], rtol=1e-6)
    # as many records as the worth: half way in the logarithm, and wider by the step between the two
    half, number = updated_sizes(table, key, len(YEARS) / 2, (*own, flat), YEARS)
    assert number.sum() == pytest.approx(len(YEARS))
    np.testing.assert_allclose(half[:, 0], np.sqrt(60 * np.array([80, 90])), rtol=1e-9)
    step = np.log(np.array([80, 90]) / 60) / 2
    mean_square = (np.log(1.2) ** 2 + np.log(1.3) ** 2) / 2
    np.testing.assert_allclose(np.log(half[:, 1]), np.sqrt(mean_square + step**2), rtol=1e-9)


# ------------------------------------------------------------------------------- borrowing


def two_kinds(scarves: np.ndarray, textiles: np.ndarray, seed: int):
    """100 scarves in 50 gifts and 1,500 textiles, each from shares (values, years) of its own."""
    rng = np.random.default_rng(seed)
    years, n, few = scarves.shape[1], 1600, 100
    like = (np.arange(n) < few).astype(float)
    year = rng.integers(0, years, n)
    of = np.where(like[:, None] > 0, scarves[:, year].T, textiles[:, year].T)
    value = (rng.random(n)[:, None] > of.cumsum(axis=1)).sum(axis=1)
    first = year // 10 * 10
    at = np.arange(years)
    dated = ((at >= first[:, None]) & (at < first[:, None] + 10)).astype(float)
    noted = RecordLikelihoods(
        dated=dated,
        weight=np.ones(n),
        families={"fibre": FamilyLikelihood(fits=np.eye(len(scarves)), which=value)},
    )
    gift = np.where(like > 0, np.arange(n) // 2, np.arange(n))
    return borrowing(
        noted, like, gift, np.full(years, 1 / years), "fibre", Smoothing(bandwidth=5.0, pull=3.0)
    )


@pytest.mark.statistical
def test_textiles_are_borrowed_where_they_share_the_truth_and_not_where_they_do_not():
    # the shares turn with the years: a few scarves alone cannot follow
    rise = np.linspace(0.05, 0.9, 60)
    one = np.array([rise, 0.95 - rise, np.full(60, 0.05)])
    alike = [two_kinds(one, one, seed) for seed in range(4)]
    apart = [two_kinds(one, one[::-1], seed) for seed in range(4)]
    for found in (*alike, *apart):
        assert [weight for weight, _, _ in found.scores] == list(BORROWED)
        assert found.scores[0][1:] == (0.0, 0.0)
        gains = {weight: gain for weight, gain, _ in found.scores}
        assert gains[found.weight] == max(gains.values())
        assert found.records == pytest.approx(100)
    print([found.weight for found in alike], [found.weight for found in apart])
    # 100 scarves are few: the choice of one run is noisy, that of all runs together is not
    for runs, low, high in ((alike, 0.1, 1.0), (apart, 0.0, 0.01)):
        gain = np.mean([[gain for _, gain, _ in found.scores] for found in runs], axis=0)
        assert low <= BORROWED[int(gain.argmax())] <= high, gain
    assert min(found.weight for found in alike) > 0
    assert max(found.weight for found in apart) <= 0.01
    # and borrowing all of what is not alike costs more than twice its error
    for found in apart:
        _, gain, error = found.scores[-1]
        assert gain < -2 * error < 0
