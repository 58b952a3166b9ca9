"""Turnbull's estimate by other routes: a general-purpose survival library, EM, convex optimisation."""

from __future__ import annotations

import csv
import warnings
from pathlib import Path

import numpy as np
import pytest

from notebooks import turnbull
from notebooks.turnbull import bounded, mixture, npmle, npmle_of_cells
from scarfdate.conventions import Array
from scarfdate.density.intervals import Cells, compressed
from scarfdate.errors import RangeError

NAN = float("nan")


def random_cells(rng: np.random.Generator, n: int, cells: int = 60) -> tuple[Cells, Cells]:
    truth = rng.integers(0, cells, n)
    first = np.maximum(truth - rng.integers(0, 15, n), 0)
    last = np.minimum(truth + rng.integers(0, 15, n), cells - 1)
    return first, last


def by_lifelines(first: Array, last: Array, weight: Array | None = None) -> float:
    """Log-likelihood at the estimate of `lifelines`, whose intervals are closed."""
    peer = pytest.importorskip("lifelines.fitters.npmle")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        mass, support = peer.npmle(first, last, tol=1e-9, weights=weight)
    at = np.array([[s.left, s.right] for s in support])
    inside = (first[:, None] <= at[:, 0]) & (at[:, 1] <= last[:, None])
    load = np.ones(len(first)) if weight is None else weight
    return float(load @ np.log(inside @ (mass / mass.sum())))


@pytest.mark.peers
@pytest.mark.parametrize("n", [30, 100])
def test_against_lifelines_on_random_intervals(rng: np.random.Generator, n: int) -> None:
    first, last = random_cells(rng, n)
    ours = npmle_of_cells(compressed(first, last))
    assert ours.gap < 1e-9
    assert ours.log_likelihood == pytest.approx(by_lifelines(first, last), abs=1e-4)


@pytest.mark.peers
def test_against_lifelines_on_museum_records(shared: Path) -> None:
    with (shared / "museum" / "records.csv").open(encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    years = [[float(row[c] or "nan") for row in rows] for c in
             ("year_begin", "year_end", "year_acquired")]  # fmt: skip
    first, last, kept = bounded(*years, start=1880, stop=2025)
    found = compressed(first[kept], last[kept])
    assert found.weight.sum() > 2000
    ours = npmle_of_cells(found)
    assert ours.gap < 1e-9
    theirs = by_lifelines(found.first, found.last, found.weight)
    assert ours.log_likelihood == pytest.approx(theirs, abs=1e-4)


@pytest.mark.parametrize("seed", range(6))
def test_em_and_newton_agree(seed: int) -> None:
    rng = np.random.default_rng(seed)
    found = compressed(*random_cells(rng, 80, 30))
    newton = npmle_of_cells(found)
    em = npmle_of_cells(found, method="em", tol=1e-10)
    assert em.gap <= 1e-10
    assert newton.gap <= 1e-9
    assert newton.iterations < em.iterations or em.iterations < 26
    # where a zero mass has a gradient of nearly one, EM reaches it as slowly as 1 / steps
    assert newton.log_likelihood == pytest.approx(em.log_likelihood, abs=1e-6)
    assert newton.mass == pytest.approx(em.mass, abs=1e-6)


def test_convex_optimisation_agrees() -> None:
    """A route that shares no code: sequential quadratic programming on the year cells themselves."""
    from scipy.optimize import minimize

    rng = np.random.default_rng(5)
    first, last = random_cells(rng, 60, 16)
    ours = npmle_of_cells(compressed(first, last))
    inside = ((first[:, None] <= np.arange(16)) & (np.arange(16) <= last[:, None])).astype(float)
    other = minimize(
        lambda f: -np.log(inside @ f).mean(),
        np.full(16, 1 / 16),
        jac=lambda f: -(1 / (inside @ f)) @ inside / len(inside),
        bounds=[(0, 1)] * 16,
        constraints={"type": "eq", "fun": lambda f: f.sum() - 1, "jac": lambda f: np.ones(16)},
        method="SLSQP",
        options={"ftol": 1e-15, "maxiter": 2000},
    )
    assert ours.log_likelihood == pytest.approx(-60 * other.fun, abs=1e-6)
    for left, right, mass in zip(ours.left, ours.right, ours.mass, strict=True):
        there = other.x[int(left) + 1 : int(right) + 1].sum()
        assert mass == pytest.approx(there, abs=1e-5)  # to what that solver reaches


def test_exact_dates_give_the_empirical_distribution() -> None:
    result = npmle([3, 1, 3, 2], [3, 1, 3, 2])
    assert result.left.tolist() == result.right.tolist() == [1, 2, 3]
    assert result.mass == pytest.approx([0.25, 0.25, 0.5])
    lower, upper = result.cdf_bounds([0.9, 1, 2.5, 3])
    assert lower.tolist() == upper.tolist() == pytest.approx([0, 0.25, 0.5, 1])


def test_right_censored_dates_give_kaplan_and_meier() -> None:
    """Product-limit by hand: deaths at 1, 3 and 4 of five, one lost after 2, one after 3."""
    result = npmle([1, 2, 3, 3, 4], [1, np.inf, 3, np.inf, 4])
    expected = {1: 1 / 5, 3: 4 / 5 * 1 / 3, 4: 4 / 5 * 2 / 3}
    got = dict(zip(result.right, result.mass, strict=True))
    assert all(got[at] == pytest.approx(mass, abs=1e-9) for at, mass in expected.items())


def test_ends_are_open_on_the_left_and_closed_on_the_right() -> None:
    touching = npmle([0, 5], [5, 8])  # (0,5] and (5,8] do not meet
    assert touching.left.tolist() == [0, 5]
    point = npmle([0, 5, 5], [5, 8, 5])  # the point 5 lies in the first only
    assert (point.left.tolist(), point.right.tolist()) == ([5, 5], [5, 8])
    assert point.mass == pytest.approx([2 / 3, 1 / 3])


def test_mass_inside_a_support_interval_has_no_place() -> None:
    result = npmle_of_cells(compressed([0, 0], [9, 9]))
    assert (result.left.tolist(), result.right.tolist()) == ([-1], [9])
    lower, upper = result.cdf_bounds([-1, 4, 9])
    assert lower.tolist() == [0, 0, 1]
    assert upper.tolist() == [0, 1, 1]
    assert result.spread(10) == pytest.approx(np.full(10, 0.1))
    # any spreading over the cells of the interval is as likely, and general rows say so
    cells = mixture(np.ones((2, 10)))
    assert not cells.unique
    assert result.unique


def test_a_ring_of_four_has_many_maximisers() -> None:
    """Two upright and two level strips cross in four cells; each record is one strip.

    Mass a on one diagonal and 1/2 - a on the other is equally likely for every a.
    """
    strips = np.array([[1, 1, 0, 0], [0, 0, 1, 1], [1, 0, 1, 0], [0, 1, 0, 1]])
    result = mixture(strips)
    assert result.gap < 1e-12
    assert not result.unique
    for a in (0, 0.2, 0.5):
        mass = np.array([a, 0.5 - a, 0.5 - a, a])
        assert np.log(strips @ mass).sum() == pytest.approx(result.log_likelihood, abs=1e-12)
    fifth = mixture(np.concatenate([strips, [[1, 0, 0, 0]]]))  # one exact record ends the doubt
    assert fifth.unique


def test_zero_masses_can_settle_what_rank_leaves_open() -> None:
    """By hand: half on each of the first two columns fits every record with likelihood one, and every
    column has gradient one. Two equal columns more spoil the rank; yet any mass on them would raise
    the third fit above one, so that the maximum is unique. With a column between the first two it
    is not.
    """
    first, second, apart = [1.5, 0.5, 1.0], [0.5, 1.5, 1.0], [1.0, 0.5, 1.5]
    settled = mixture(np.array([first, second, apart, apart]).T)
    assert settled.mass == pytest.approx([0.5, 0.5, 0, 0], abs=1e-6)
    assert settled.gradient == pytest.approx(np.ones(4), abs=1e-6)
    assert settled.unique
    between = mixture(np.array([first, second, [1.0, 1.0, 1.0]]).T)
    assert not between.unique


@pytest.mark.parametrize("seed", range(20))
def test_on_a_line_masses_are_unique(seed: int) -> None:
    """As argued in the module: the clique matrix of intervals has full column rank."""
    rng = np.random.default_rng(seed)
    left = rng.integers(0, 12, 15)
    right = left + rng.integers(0, 6, 15)
    result = npmle(left, right)
    inside = np.array(
        [
            [
                (lo >= a and hi <= b) and (lo < hi or (a < lo or a == b))
                for lo, hi in zip(result.left, result.right, strict=True)
            ]
            for a, b in zip(left, right, strict=True)
        ]
    )
    assert np.linalg.matrix_rank(inside.astype(float)) == len(result.mass)
    assert result.unique


def test_weight_two_is_the_row_twice(rng: np.random.Generator) -> None:
    first, last = random_cells(rng, 50)
    weight = rng.integers(1, 4, 50)
    weighted = npmle(first - 1, last, weight)
    repeated = npmle(np.repeat(first - 1, weight), np.repeat(last, weight))
    assert weighted.mass == pytest.approx(repeated.mass, abs=1e-12)
    assert weighted.log_likelihood == pytest.approx(repeated.log_likelihood, abs=1e-9)


def test_compressing_changes_nothing(rng: np.random.Generator) -> None:
    first, last = random_cells(rng, 400)
    whole = npmle(first - 1, last)
    few = npmle_of_cells(compressed(first, last))
    assert (whole.left == few.left).all()
    assert whole.mass == pytest.approx(few.mass, abs=1e-8)
    assert whole.log_likelihood == pytest.approx(few.log_likelihood, abs=1e-7)


def test_running_sums_give_the_same_as_a_matrix(
    rng: np.random.Generator, monkeypatch: pytest.MonkeyPatch
) -> None:
    middle = rng.normal(0, 1, 200)
    left, right = middle - rng.exponential(0.5, 200), middle + rng.exponential(0.5, 200)
    dense = npmle(left, right)
    monkeypatch.setattr("notebooks.turnbull._DENSE", 0)
    running = npmle(left, right)
    assert running.gap <= turnbull.TOL
    assert running.log_likelihood == pytest.approx(dense.log_likelihood, abs=1e-6)


def test_the_check_fails_away_from_the_maximum(rng: np.random.Generator) -> None:
    """The alarm rings: stopped early, the gap says so."""
    stopped = npmle_of_cells(compressed(*random_cells(rng, 200)), max_iterations=3)
    assert stopped.iterations == 3
    assert stopped.gap > 1e-3


@pytest.mark.parametrize(
    ("left", "right"),
    [([2], [1]), ([NAN], [1]), ([np.inf], [np.inf]), ([], []), ([1, 2], [3])],
)
def test_what_cannot_be_is_refused(left: list[float], right: list[float]) -> None:
    with pytest.raises(RangeError):
        npmle(left, right)
