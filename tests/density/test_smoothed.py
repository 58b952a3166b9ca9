"""The smooth density: exact properties, and simulation with known truth."""

from __future__ import annotations

import numpy as np
import pytest

from notebooks.turnbull import npmle_of_cells
from scarfdate.conventions import Array
from scarfdate.density.intervals import compressed
from scarfdate.density.likelihood import IntervalRows, MatrixRows
from scarfdate.density.mode import mode, roughness
from scarfdate.density.smooth import SmoothDensity, smooth_density, smooth_rows
from scarfdate.errors import RangeError
from tests.density.simulated import CELLS, START, mixed_intervals, two_humps


@pytest.fixture
def fitted(rng: np.random.Generator) -> SmoothDensity:
    return smooth_density(compressed(*mixed_intervals(two_humps(), 500, rng)), CELLS, smoothing=1e3)


def test_cross_product_by_sums_is_the_dense_one(rng: np.random.Generator) -> None:
    found = compressed(*mixed_intervals(two_humps(), 300, rng))
    rows = IntervalRows(found.first, found.last, CELLS)
    load = rng.random(len(found))
    assert rows.cross(load) == pytest.approx(MatrixRows(rows.matrix).cross(load), rel=1e-12)


def test_mode_is_a_maximum_by_another_route(rng: np.random.Generator) -> None:
    """A general-purpose optimiser that is told no derivative finds nothing better."""
    from scipy.optimize import minimize

    found = compressed(*mixed_intervals(two_humps(), 200, rng))
    first, last = found.first // 10, found.last // 10
    rows = IntervalRows(first, last, 15)
    rough, weak = roughness(15, False)
    penalty = 5.0 * rough + weak
    eta = mode(rows, found.weight, penalty, np.zeros(15))

    def loss(trial: Array) -> float:
        trial = trial - np.log(np.exp(trial).sum())
        fit = rows.matrix @ np.exp(trial)
        return float(trial @ penalty @ trial / 2 - found.weight @ np.log(fit))

    other = minimize(loss, np.zeros(15), method="BFGS", options={"gtol": 1e-7})
    assert loss(eta) <= other.fun + 1e-7
    found_there = other.x - np.log(np.exp(other.x).sum())
    assert np.exp(eta) == pytest.approx(np.exp(found_there), abs=1e-5)


def test_covariance_is_the_inverse_curvature(rng: np.random.Generator) -> None:
    """Against second differences of the penalised likelihood, taken numerically."""
    found = compressed(*mixed_intervals(two_humps(), 200, rng))
    rows = IntervalRows(found.first // 20, found.last // 20, 8)
    rough, weak = roughness(8, False)
    result = smooth_rows(rows, found.weight, smoothing=2.0)

    def value(eta: Array) -> float:
        density = np.exp(eta) / np.exp(eta).sum()
        log = np.log(rows.matrix @ density)
        return float(found.weight @ log - eta @ (2 * rough + weak) @ eta / 2)

    step = 1e-4
    unit = np.eye(8) * step
    hessian = np.array(
        [
            [
                (value(result.eta + a + b) - value(result.eta + a - b)
                 - value(result.eta - a + b) + value(result.eta - a - b)) / (4 * step**2)
                for b in unit
            ]
            for a in unit
        ]
    )  # fmt: skip
    centred = np.eye(8) - result.density
    expected = centred @ np.linalg.pinv(-hessian, rcond=1e-6) @ centred.T
    assert result.covariance == pytest.approx(expected, abs=1e-4 * expected.max())


def test_a_density_with_a_positive_band(fitted: SmoothDensity, rng: np.random.Generator) -> None:
    assert fitted.density.sum() == pytest.approx(1)
    low, high = fitted.band(0.8)
    assert (low > 0).all()
    assert (low < fitted.density).all()
    assert (fitted.density < high).all()
    wider = fitted.band(0.95)
    assert (wider[0] < low).all()
    draws = fitted.draws(4000, rng)
    assert draws.shape == (4000, CELLS)
    assert draws.sum(axis=1) == pytest.approx(np.ones(4000))
    inside = ((low <= draws) & (draws <= high)).mean()
    assert inside == pytest.approx(0.8, abs=0.03)


def test_weight_two_is_the_row_twice(rng: np.random.Generator) -> None:
    first, last = mixed_intervals(two_humps(), 60, rng)
    weight = rng.integers(1, 4, 60)
    one = smooth_density(compressed(first, last, weight), CELLS, smoothing=100)
    two = smooth_density(
        compressed(np.repeat(first, weight), np.repeat(last, weight)), CELLS, smoothing=100
    )
    assert one.density == pytest.approx(two.density, abs=1e-12)


def test_little_smoothing_nears_the_reference(rng: np.random.Generator) -> None:
    found = compressed(*mixed_intervals(two_humps(), 300, rng))
    best = npmle_of_cells(found).log_likelihood
    path = [smooth_density(found, CELLS, smoothing=s).log_likelihood for s in (1e3, 1, 1e-2, 1e-4)]
    assert path == sorted(path)
    assert path[-1] < best
    assert best - path[-1] < 0.15 * (best - path[0])


def test_endless_smoothing_gives_a_straight_line_of_logs(rng: np.random.Generator) -> None:
    found = compressed(*mixed_intervals(two_humps(), 300, rng))
    result = smooth_density(found, CELLS, smoothing=1e9)
    assert np.abs(np.diff(result.eta, n=2)).max() < 1e-4
    assert result.parameters == pytest.approx(1, abs=0.1)  # a slope; the level is not free


def test_the_first_cell_can_stand_apart(rng: np.random.Generator) -> None:
    first, last = mixed_intervals(two_humps(), 500, rng)
    many = compressed(np.append(first, np.zeros(500)), np.append(last, np.zeros(500)))
    apart = smooth_density(many, CELLS, free_first=True, smoothing=1e4)
    joined = smooth_density(many, CELLS, smoothing=1e4)
    assert apart.density[0] == pytest.approx(0.5, abs=0.01)
    assert apart.density[1] < 0.01  # does not leak over its edge
    assert joined.density[1] > 2 * apart.density[1]


def test_records_at_one_end_only_are_bearable() -> None:
    result = smooth_density(compressed([0, 0], [0, 0]), CELLS, free_first=True, smoothing=10)
    assert np.isfinite(result.band(0.8)).all()
    assert result.density[0] > 0.9
    last = smooth_density(compressed([CELLS - 1], [CELLS - 1]), CELLS, smoothing=10)
    assert last.density.argmax() == CELLS - 1


@pytest.mark.slow
def test_held_out_choice_keeps_groups_together() -> None:
    """Fifty copies of each of a few records: split up, they praise spikes; kept together, they do not."""
    rng = np.random.default_rng(8)
    first, last = mixed_intervals(two_humps(), 40, rng)
    first, last = np.repeat(first, 50), np.repeat(last, 50)
    group = np.repeat(np.arange(40), 50)
    together = compressed(first, last, fold=group % 5)
    kept = smooth_density(together, CELLS)
    split = smooth_density(compressed(first, last), CELLS, folds=5, rng=rng)
    assert kept.smoothing > 100 * split.smoothing
    best = max(kept.held_out, key=lambda row: row.score)
    assert best.smoothing == kept.smoothing
    assert best.error == 0
    assert len(kept.held_out) == 14
    lengths = [row.smoothing for row in kept.held_out]
    assert lengths == sorted(lengths)


def test_what_cannot_be_is_refused(rng: np.random.Generator) -> None:
    found = compressed([0, 3], [3, 9])
    with pytest.raises(RangeError, match="outside a grid"):
        smooth_density(found, 9, smoothing=1)
    with pytest.raises(RangeError, match="random generator"):
        smooth_density(found, 10)
    with pytest.raises(RangeError, match="positive"):
        smooth_density(found, 10, smoothing=0)
    with pytest.raises(RangeError, match="allows no cell"):
        smooth_rows(MatrixRows(np.zeros((1, 10))), np.ones(1), smoothing=1)
    with pytest.raises(RangeError, match="between 0 and 1"):
        smooth_density(found, 10, smoothing=1).band(1.0)


@pytest.mark.statistical
@pytest.mark.slow
@pytest.mark.parametrize(
    ("n", "replicates"),
    [
        (100, 80),
        pytest.param(1000, 40, marks=pytest.mark.long),
        pytest.param(3000, 30, marks=pytest.mark.long),
    ],
)
def test_closer_to_the_truth_than_npmle_and_histogram(n: int, replicates: int) -> None:
    """Mean integrated squared error, and the coverage of the pointwise 80 % band.

    Measured over 100, 60 and 40 replicates: coverage 80.0, 78.7 and 82.2 % (standard error of each
    about 1.5), the mean over all cells. The tolerance of 6 points is four standard errors.
    """
    truth = two_humps()
    errors, covered = [], []
    edges = np.arange(0, CELLS, 10) - START % 10
    widths = np.diff(np.append(edges, CELLS))
    for replicate in range(replicates):
        rng = np.random.default_rng(1000 * n + replicate)
        first, last = mixed_intervals(truth, n, rng)
        found = compressed(first, last, fold=rng.integers(0, 5, n))
        smooth = smooth_density(found, CELLS)
        spread = np.zeros(CELLS)
        for a, b, weight in zip(found.first, found.last, found.weight, strict=True):
            spread[a : b + 1] += weight / (b - a + 1) / n
        histogram = np.repeat(np.add.reduceat(spread, edges) / widths, widths)
        estimates = (smooth.density, npmle_of_cells(found).spread(CELLS), histogram)
        errors.append([((estimate - truth) ** 2).sum() for estimate in estimates])
        low, high = smooth.band(0.8)
        covered.append(((low <= truth) & (truth <= high)).mean())
    ours, reference, decades = np.mean(errors, axis=0)
    assert ours < 0.1 * reference
    assert ours < 0.7 * decades
    assert np.mean(covered) == pytest.approx(0.8, abs=0.06)
