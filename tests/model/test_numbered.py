"""Distinct rows are NumPy's own, and rows made together are those made one by one."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scarfdate import load_priors, simulate
from scarfdate.answer.frame import Columns
from scarfdate.clues.clue import Amiss, Rows
from scarfdate.model.model import Model
from scarfdate.model.numbered import distinct

AS_OF = 2026


@given(
    st.integers(1, 4).flatmap(
        lambda width: st.lists(
            st.tuples(*[st.integers(0, 3) | st.integers(0, 2**31 - 1)] * width), max_size=40
        ).map(lambda rows: np.array(rows, dtype=np.int64).reshape(-1, width))
    )
)
def test_distinct_rows_are_those_of_numpy(rows: np.ndarray) -> None:
    """Against `numpy.unique` over rows: the same order, the same first places, the same numbers."""
    first, numbers = distinct(*rows.T)
    if not len(rows):
        assert len(first) == len(numbers) == 0
        return
    _, wanted, back = np.unique(rows, axis=0, return_index=True, return_inverse=True)
    np.testing.assert_array_equal(first, wanted)
    np.testing.assert_array_equal(numbers, back.reshape(-1))


def test_rows_added_together_are_rows_added_one_by_one() -> None:
    rng = np.random.default_rng(3)
    fresh = rng.random((40, 7))
    together, alone = Rows(7), Rows(7)
    alone.add("7", fresh[7])
    together.add("7", fresh[7])
    together.add_all([str(at) for at in range(40)], fresh)  # one of them is there already
    for at in range(40):
        one, other = alone.add(str(at), fresh[at]), together.ids[str(at)]
        np.testing.assert_array_equal(together.table[other], alone.table[one])
        assert together.log_scale[other] == alone.log_scale[one]
    assert together.count == alone.count == 41
    assert [together.keys[together.ids[str(at)]] for at in range(40)] == [
        str(at) for at in range(40)
    ]


@pytest.mark.parametrize("looked_at", [1.0, 0.5])
def test_observations_made_together_are_those_made_one_by_one(looked_at: float) -> None:
    """To the bit, and with a part of each amiss, too."""
    drawn = simulate(None, 60, np.random.default_rng(6), as_of=AS_OF, looked_at=looked_at)
    together, alone = (Model(load_priors(), "thrift", AS_OF) for _ in range(2))
    Columns(together, drawn.frame()).block(0, 60)
    compared = 0
    for clue, other in zip(together.clues, alone.clues, strict=True):
        keys = [key for key in clue.rows.keys if key is not None]
        keys += [Amiss(key, slip.part) for key in keys for slip in clue.slips(key)]
        for key, at in zip(keys, clue.indices(keys), strict=True):
            own = other.index(key)
            np.testing.assert_array_equal(clue.rows.table[at], other.rows.table[own])
            assert clue.rows.log_scale[at] == other.rows.log_scale[own]
            compared += len(clue.families) > 1
    assert compared > 100
