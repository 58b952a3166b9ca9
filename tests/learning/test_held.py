"""What learning gives back can be pickled and copied and says the same; and learning holds its threads."""

from __future__ import annotations

import copy
import pickle
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from scarfdate import Learned, date_scarf, date_table, learn, load_priors, simulate
from scarfdate.learning.likelihood import Likelihood
from scarfdate.records.sold import SoldRecords
from tests.benchmarks.recovery import AS_OF, drawn_records
from tests.conftest import ROOT

pytestmark = [pytest.mark.learning, pytest.mark.slow]

SEEN = {"fibre": "silk", "motif": "dots", "label_text": "RN 60000", "width_cm": 88.0}
WAYS: dict[str, Callable[[Learned], Learned]] = {
    "pickled": lambda one: pickle.loads(pickle.dumps(one)),
    "copied": copy.copy,
    "deep-copied": copy.deepcopy,
    "pickled twice": lambda one: pickle.loads(pickle.dumps(pickle.loads(pickle.dumps(one)))),
}


@pytest.fixture(scope="module")
def records() -> SoldRecords:
    found = drawn_records(None, 60, np.random.default_rng(5))
    clues = found.clues[["fibre", "hem", "stitches_per_inch", "motif", "origin"]]
    return replace(found, clues=clues)


def same(one: Learned, other: Learned) -> None:
    """All that can be asked of it, to the bit."""
    assert str(one) == str(other)
    np.testing.assert_array_equal(one.draws, other.draws)
    assert one.files == other.files
    assert one.priors.hash == other.priors.hash
    pd.testing.assert_frame_equal(one.informed(), other.informed())
    np.testing.assert_array_equal(one.shares("motif"), other.shares("motif"))
    np.testing.assert_array_equal(one.shares_before("motif"), other.shares_before("motif"))
    mine, theirs = (each.date(SEEN, draws=5) for each in (one, other))
    np.testing.assert_array_equal(mine.probability, theirs.probability)
    assert str(mine) == str(theirs)
    by_mean = [
        date_scarf(SEEN, priors=each.priors, as_of=AS_OF).probability for each in (one, other)
    ]
    np.testing.assert_array_equal(*by_mean)


@pytest.mark.parametrize("route", ["laplace", "counts", "trust"])
def test_a_copy_says_the_same(records: SoldRecords, route: str) -> None:
    learned = learn(
        records, as_of=AS_OF, route=route, draws=12, all_that_turned_up=route == "counts"
    )
    for way in WAYS.values():
        same(learned, way(learned))


@pytest.mark.learning
def test_its_container_says_the_same(records: SoldRecords) -> None:
    pytest.importorskip("arviz")
    learned = learn(records, as_of=AS_OF, draws=12)
    copied = pickle.loads(pickle.dumps(learned))
    one, other = learned.container(), copied.container()
    for group in ("posterior", "prior", "log_likelihood", "prior_predictive", "observed_data"):
        for name in one[group].data_vars:
            np.testing.assert_array_equal(one[group][name], other[group][name])
    held = replace(learned, _container=one)  # as the route with chains has it
    for way in WAYS.values():
        np.testing.assert_array_equal(
            way(held).container()["posterior"]["share_hem"], one["posterior"]["share_hem"]
        )


def test_a_dating_over_draws_and_trust_can_be_pickled(records: SoldRecords) -> None:
    learned = learn(records, as_of=AS_OF, route="trust")
    for one in (learned.trust, learned.date(SEEN)):
        for way in WAYS.values():
            assert str(way(one)) == str(one)  # type: ignore[arg-type]


def test_it_is_read_in_another_process(records: SoldRecords, tmp_path: Path) -> None:
    """Which has read no priors before."""
    learned = learn(records, as_of=AS_OF, draws=12)
    (tmp_path / "learned.pkl").write_bytes(pickle.dumps(learned))
    code = (
        "import pickle, sys\n"
        f"one = pickle.load(open({str(tmp_path / 'learned.pkl')!r}, 'rb'))\n"
        f"print(one.priors.hash, one.date({SEEN!r}, draws=5).probability.tobytes().hex())"
    )
    run = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    expected = learned.date(SEEN, draws=5).probability.tobytes().hex()
    assert run.stdout.split() == [learned.priors.hash, expected]


def test_it_holds_what_it_answers_from(
    records: SoldRecords, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When the model starts its tables again, whose rows the records were read as, nothing changes."""
    shutil.copytree(load_priors().folder, tmp_path / "own")
    own = load_priors(tmp_path / "own")  # a model of its own
    learned = learn(records, own, as_of=AS_OF, draws=12)
    before = learned.date(SEEN, draws=5).probability
    monkeypatch.setattr("scarfdate.model.model._ROWS_KEPT", 0, raising=False)
    made = simulate(own, 500, np.random.default_rng(1), as_of=AS_OF)
    date_table(made.frame(), priors=own, as_of=AS_OF)
    np.testing.assert_array_equal(learned.date(SEEN, draws=5).probability, before)
    again = Likelihood(learned._model, learned._patterns)
    assert again.value(learned.draws[0]) == learned._likelihood.value(learned.draws[0])


# --------------------------------------------------------------------------------- threads


def threads_within(monkeypatch: pytest.MonkeyPatch, run: Callable[[], object]) -> set[int]:
    """The BLAS threads that are allowed whenever the likelihood is worked out, started with two."""
    from threadpoolctl import threadpool_info, threadpool_limits

    seen: set[int] = set()
    forward = Likelihood._forward

    def watched(self: Likelihood, theta: np.ndarray) -> float:
        if len(seen) < 9:
            seen.update(
                library["num_threads"]
                for library in threadpool_info()
                if library["user_api"] == "blas"
            )
        return forward(self, theta)

    monkeypatch.setattr(Likelihood, "_forward", watched)
    with threadpool_limits(2, user_api="blas"):
        run()
    return seen


@pytest.mark.parametrize("route", ["laplace", "counts"])
def test_learning_runs_with_one_thread(
    records: SoldRecords, monkeypatch: pytest.MonkeyPatch, route: str
) -> None:
    run = lambda: learn(records, as_of=AS_OF, route=route, draws=10)  # noqa: E731
    assert threads_within(monkeypatch, run) == {1}


def test_dating_over_draws_runs_with_one_thread(
    records: SoldRecords, monkeypatch: pytest.MonkeyPatch
) -> None:
    learned = learn(records, as_of=AS_OF, route="counts")
    assert threads_within(monkeypatch, lambda: learned.date(SEEN)) == {1}


def test_the_check_of_threads_can_fail(
    records: SoldRecords, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The likelihood by itself runs with as many threads as were allowed."""
    learned = learn(records, as_of=AS_OF, route="counts")
    value = lambda: learned._likelihood.value(learned.draws[0])  # noqa: E731
    assert threads_within(monkeypatch, value) == {2}
