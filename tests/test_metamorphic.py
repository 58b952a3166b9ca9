"""What changes nothing about a piece, a table or records changes nothing of the answer (``tests/relations.py``)."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.relations import RELATIONS, Relation, answers, apart, dated, table_apart

CHEAP = [each for each in RELATIONS if not each.dear]
usual = settings(
    deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow], database=None
)
seeds = st.integers(0, 2**32 - 1)


def holds(relation: Relation, seed: int) -> None:
    assert relation.largest(np.random.default_rng(seed)) <= relation.bound


@pytest.mark.parametrize("relation", CHEAP, ids=lambda each: each.largest.__name__)
@settings(usual, max_examples=2)
@given(seeds)
def test_a_few_cases(relation: Relation, seed: int) -> None:
    holds(relation, seed)


@pytest.mark.slow
@pytest.mark.parametrize("relation", CHEAP, ids=lambda each: each.largest.__name__)
@settings(usual, max_examples=8)
@given(seeds)
def test_more_cases(relation: Relation, seed: int) -> None:
    holds(relation, seed)


@pytest.mark.slow
@pytest.mark.parametrize(
    "relation", [each for each in RELATIONS if each.dear], ids=lambda each: each.largest.__name__
)
@pytest.mark.parametrize("seed", [0, 1])
def test_dear_cases(relation: Relation, seed: int) -> None:
    holds(relation, seed)


def test_a_difference_is_seen() -> None:
    """The comparisons that all relations rest on tell apart what differs, be it in a number or in a word."""
    assert apart(dated({"fibre": "silk"}).probability, dated({"fibre": "nylon"}).probability) > 1e-3
    table = answers(pd.DataFrame({"fibre": ["silk"], "hem": ["hand-rolled"]}))
    assert table_apart(table, table.assign(predictive_p=table["predictive_p"] + 1e-3)) > 1e-4
    with pytest.raises(AssertionError, match="sentence"):
        table_apart(table, table.assign(sentence="Made yesterday."))
    with pytest.raises(AssertionError):
        apart([1.0, np.nan], [1.0, 2.0])
