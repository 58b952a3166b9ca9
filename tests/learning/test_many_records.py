"""Learning from many records: the search begins on some of them and ends at the mode of all; memory stays small.

Tolerance: of the mode a hundredth of a posterior standard deviation (with the same scales) and of the log scales 0.05,
at which the search stops. Drawn tables then differ by that, and by what other random numbers would change.
"""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest

from scarfdate import Priors
from scarfdate.learning import laplace as quick
from scarfdate.learning.likelihood import Likelihood
from scarfdate.learning.patterns import patterns_of
from scarfdate.learning.scales import NormalLikelihood
from scarfdate.model.model import compiled
from tests.benchmarks.recovery import drawn_records
from tests.learning.test_likelihood import somewhere

pytestmark = pytest.mark.learning

AS_OF, RECORDS = 2020, 400
CLUES = ["hem", "stitches_per_inch", "palette", "hem_thread"]


@pytest.fixture(scope="module")
def many(priors: Priors) -> Likelihood:
    records = drawn_records(None, RECORDS, np.random.default_rng(8))
    clues = records.clues
    some = type(records)(
        **{**vars(records), "clues": clues[[name for name in CLUES if name in clues]]}
    )
    model = compiled(priors, "thrift", AS_OF)
    return Likelihood(model, patterns_of(model, some))


@pytest.mark.slow
def test_a_search_that_begins_on_some_records_ends_at_the_mode_of_all(
    many: Likelihood, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = quick.laplace(many)
    monkeypatch.setattr(quick, "_FEW", 60)
    assert len(quick._some_of(many).patterns) < len(many.patterns) / 2
    begun = quick.laplace(many)
    assert begun.newton_gain < 1e-2
    np.testing.assert_allclose(begun.log_scale, whole.log_scale, atol=0.05)
    # a little other scales, and so another mode: as far as the first mode's own normal says
    precision = np.exp(-2 * begun.log_scale)[whole.normal.scale_of]
    covariance = np.linalg.inv(whole.normal.information + np.diag(precision))
    moved = covariance @ whole.normal.gradient
    off = (begun.z - moved) / np.sqrt(np.diag(covariance))
    assert np.abs(off).max() < 0.03 and np.sqrt((off**2).mean()) < 0.01


def test_some_records_stand_for_all(many: Likelihood) -> None:
    """As many in all; the likelihood on average that of all; no clue lost, or all are taken."""
    few = many.patterns.thinned(60)
    assert 60 <= len(few) < 120 and few.count.sum() == pytest.approx(RECORDS)
    some = Likelihood(many.model, few)
    theta = somewhere(many.deviations, 2, 0.5)
    whole = many.value(theta)
    error = RECORDS * many.log_likelihood.std() / np.sqrt(len(few))
    assert abs(some.value(theta) - whole) < 3 * error
    assert quick._some_of(many) is many  # they are too few to leave any out


def test_what_was_worked_out_before_changes_nothing(many: Likelihood) -> None:
    """Of a clue that has not moved the last work is kept: the same numbers as of a likelihood that is new."""
    layout = many.deviations
    first, other = somewhere(layout, 3, 0.5), somewhere(layout, 4, 0.5)
    mixed = first.copy()
    mixed[: layout.size // 2] = other[: layout.size // 2]  # some clues move and some do not
    for theta in (first, mixed, first, other):
        value, slope = many.value_and_gradient(theta)
        new = Likelihood(many.model, many.patterns)
        expected, expected_slope = new.value_and_gradient(theta)
        assert value == expected
        np.testing.assert_array_equal(slope, expected_slope)


def test_draws_hold_few_roots_at_a_time() -> None:
    """Of 400 proposals each has a root of 0.7 MB: all at once are 288."""
    rng = np.random.default_rng(3)
    size = 300
    rows = rng.normal(size=(size, size))
    normal = NormalLikelihood(
        information=rows @ rows.T,
        gradient=rng.normal(size=size),
        scale_of=np.zeros(size, dtype=np.intp),
        log_scale_sd=np.ones(1),
    )
    tracemalloc.start()
    try:
        normal.draws(200, rng, np.zeros(1), 0.05 * np.eye(1))
        _, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert most < 20 * size * size * 8
