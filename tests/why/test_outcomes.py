"""All findings of a look at once, against one finding after another in plain loops."""

from __future__ import annotations

import math
from dataclasses import replace
from time import perf_counter

import numpy as np
import pytest

from scarfdate import Priors, load_priors, next_checks
from scarfdate.clues.shares import SharesClue
from scarfdate.frozen import frozen
from scarfdate.model.exact import joint_of
from scarfdate.why.asked import Asked
from scarfdate.why.state import Outcomes, State, promises
from tests.random_scarves import random_clues

NOW = 2026


@pytest.fixture(scope="module")
def priors() -> Priors:
    return load_priors()


@pytest.fixture(scope="module")
def trusting_less(priors: Priors) -> Priors:
    """Every table raised to a power, as `learn` leaves them."""
    families = {
        name: replace(family, trust=0.4 + 0.1 * (place % 5))
        for place, (name, family) in enumerate(priors.families.items())
    }
    return replace(priors, families=frozen(families), _compiled={})


def looks(priors: Priors, clues: dict[str, object]) -> tuple[State, list[Outcomes]]:
    state = State.of(Asked.of(clues, priors, "thrift", NOW))
    found = [state.outcomes(check) for check in priors.checks]
    return state, [outcomes for outcomes in found if outcomes is not None]


def plain_joint(outcomes: Outcomes, place: int) -> np.ndarray:
    """One finding by the formula at the head of ``clues/shares.py``, value by value, and the exact sum over it."""
    state, clue = outcomes.state, outcomes.clue
    assert isinstance(clue, SharesClue)
    row = np.zeros(clue.shape)
    fits = state.fits.get(clue.name, np.ones(len(clue.values)))
    for value in range(len(clue.values)):
        each = fits[value] * clue.shares[value]
        for measure in clue.measures:
            cell = state.cells.get(measure.family.name)
            if measure is outcomes.measure:
                cell = measure.steps[place]
            if cell is not None:
                each = each * measure.density(cell)[value]
        if outcomes.measure is None:
            each = each * clue.noted(outcomes.method)[value, place]
        row += each
    period, later = joint_of(state.model, {**state.rows, outcomes.column: row**clue.trust})
    return np.asarray(period + later)


def plain_promise(outcomes: Outcomes) -> tuple[float, float, float]:
    """Bits, years and the rise of the best decade, one finding after another."""
    now, total = _told(outcomes.state.joint), 0.0
    mean = np.zeros(3)
    for place in range(len(outcomes)):
        joint = plain_joint(outcomes, place)
        total += joint.sum()
        mean += joint.sum() * np.array(_told(joint))
    bits, years, surer = mean / total - now
    # an expected information is never below zero, nor is what a look adds to the best decade's chance
    return max(-bits, 0.0), -years, max(surer, 0.0)


def _told(joint: np.ndarray) -> tuple[float, int, float]:
    """Entropy in bits, length of the shortest run of years that holds 80 %, chance of the best decade."""
    year = joint.sum(axis=0) / joint.sum()
    entropy = -sum(p * math.log2(p) for p in year.tolist() if p > 0)
    total = np.concatenate(([0.0], np.cumsum(year)))
    length = next(
        n for n in range(1, len(year) + 1) if (total[n:] - total[:-n]).max() >= 0.8 - 1e-12
    )
    return entropy, length, max(year[at : at + 10].sum() for at in range(0, len(year), 10))


@pytest.mark.parametrize("tables", ["priors", "trusting_less"])
def test_every_finding_is_that_of_the_plain_sum(
    tables: str, request: pytest.FixtureRequest
) -> None:
    priors = request.getfixturevalue(tables)
    rng = np.random.default_rng(16)
    kinds = set()
    for clues in ({}, random_clues(priors, rng, NOW)):
        for outcomes in looks(priors, clues)[1]:
            measured = outcomes.measure is not None
            kinds.add((measured, outcomes.clue.name))
            for place in {0, len(outcomes) // 2, len(outcomes) - 1}:
                expected = plain_joint(outcomes, place)
                np.testing.assert_allclose(outcomes.joint[place], expected, rtol=1e-10)
                chance, then = outcomes[place]
                np.testing.assert_allclose(then.joint, expected, rtol=1e-10)
                step = outcomes.measure.family.step if outcomes.measure else math.e
                by_hand = expected.sum() * math.log(step) / outcomes.state.evidence
                assert chance == pytest.approx(by_hand, rel=1e-10)
    # style, market and measured clues were among them
    assert {(False, "motif"), (False, "label"), (True, "hem"), (True, "form")} <= kinds


@pytest.mark.slow
@pytest.mark.parametrize("tables", ["priors", "trusting_less"])
def test_every_promise_is_that_of_one_finding_after_another(
    tables: str, request: pytest.FixtureRequest
) -> None:
    priors = request.getfixturevalue(tables)
    rng = np.random.default_rng(17)
    for clues in ({"fibre": "silk"}, random_clues(priors, rng, NOW)):
        state, every = looks(priors, clues)
        for outcomes, promised in zip(every, promises(state, every), strict=True):
            assert promised == pytest.approx(plain_promise(outcomes), abs=1e-9)


@pytest.mark.slow
def test_it_is_at_least_three_times_as_fast_as_one_after_another(priors: Priors) -> None:
    """The least of several runs each; measured on a quiet machine it is some ten times as fast."""
    clues = {"fibre": "silk", "hem": "hand-rolled"}
    at_once = [_seconds(lambda: next_checks(clues, priors=priors, as_of=NOW)) for _ in range(5)]

    def one_by_one() -> None:
        _, every = looks(priors, clues)
        for outcomes in every:
            for place in range(len(outcomes)):
                assert outcomes.then(place).joint.any()

    assert 3 * min(at_once) < min(_seconds(one_by_one) for _ in range(2))


def _seconds(call) -> float:  # type: ignore[no-untyped-def]
    start = perf_counter()
    call()
    return perf_counter() - start
