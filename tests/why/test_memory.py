"""The peak memory of an explanation of twenty clues, in a process of its own."""

from __future__ import annotations

import pytest

from tests.benchmarks.explaining import measured

pytestmark = pytest.mark.slow

MOST = 500  # MB, of the whole process: what the project promises for twenty clues
OWN = 8 * 2**20 / 1e6  # MB: one number for each subset of twenty clues


@pytest.mark.parametrize("layout", ["plain", "market", "style"])
def test_twenty_clues_in_500_mb(layout: str) -> None:
    """The shipped tables and five invented families more, of each kind.

    Not of every set of tables: one in which more than about ten of the clues are style or depend on the
    market takes more (the layout "crowded" of ``tests.benchmarks.explaining`` prints how much).
    """
    clues, _, own, whole = measured(layout)
    assert clues == 20
    assert (
        OWN < own < whole < MOST
    )  # less than the table of subsets would be a measurement that missed
