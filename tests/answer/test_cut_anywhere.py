"""A row's answer is its own, to the last bit: whatever stands beside it, wherever a table is cut."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

from scarfdate import date_scarf, date_table, simulate
from scarfdate.answer.date import ANSWERS
from scarfdate.model import posterior as exact

AS_OF = 2026
PIECES = 700


@pytest.fixture(scope="module")
def drawn() -> pd.DataFrame:
    return simulate(None, PIECES, np.random.default_rng(12), as_of=AS_OF, looked_at=0.6).frame()


@pytest.fixture(scope="module")
def whole(drawn: pd.DataFrame) -> pd.DataFrame:
    return dated(drawn)


def dated(frame: pd.DataFrame) -> pd.DataFrame:
    return date_table(frame, as_of=AS_OF, columns=ANSWERS)


def assert_same(found: pd.DataFrame, expected: pd.DataFrame) -> None:
    """Equal in every column, numbers to the last bit."""
    years = "year_probabilities"
    np.testing.assert_array_equal(np.stack(found[years]), np.stack(expected[years]))
    pd.testing.assert_frame_equal(
        found.drop(columns=years), expected.drop(columns=years), check_exact=True
    )


@pytest.mark.parametrize("seed", range(3))
def test_a_table_cut_anywhere(drawn: pd.DataFrame, whole: pd.DataFrame, seed: int) -> None:
    """Pieces of a table, a single row among them, dated each by itself."""
    cuts = np.sort(np.random.default_rng(seed).choice(np.arange(1, PIECES), 9, replace=False))
    edges = [0, *cuts.tolist(), PIECES - 1, PIECES]
    parts = [dated(drawn.iloc[a:b]) for a, b in pairwise(edges) if a < b]
    assert min(map(len, parts)) == 1
    assert_same(pd.concat(parts), whole)


def test_a_table_in_another_order(drawn: pd.DataFrame, whole: pd.DataFrame) -> None:
    order = np.random.default_rng(5).permutation(PIECES)
    assert_same(dated(drawn.iloc[order]), whole.iloc[order])


def test_blocks_of_another_length(
    drawn: pd.DataFrame, whole: pd.DataFrame, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither the blocks nor the tiles that are multiplied at a time are to be seen in the answer."""
    monkeypatch.setattr("scarfdate.answer.blocks.BLOCK", 61)
    monkeypatch.setattr(exact, "BLOCK", 37)
    monkeypatch.setattr(exact, "_TILE", 5)
    assert_same(dated(drawn), whole)


def test_one_scarf_is_a_table_of_one(drawn: pd.DataFrame, whole: pd.DataFrame) -> None:
    for row in range(0, PIECES, 25):
        one = date_scarf(drawn.iloc[row].dropna().to_dict(), as_of=AS_OF)
        np.testing.assert_array_equal(one.probability, whole["year_probabilities"].iloc[row])
        assert whole["sentence"].iloc[row] == one.sentence


def test_sides_that_differ_stay_apart() -> None:
    """A table of sizes of which no two are alike: each piece is dated by its own."""
    sides = [(a, b) for a in range(30, 190, 14) for b in range(24, 120, 13)]
    sizes = pd.DataFrame(sides, columns=["width_cm", "height_cm"], dtype=float)
    years = date_table(sizes, as_of=AS_OF, columns=["year_probabilities"])["year_probabilities"]
    for (width, height), found in zip(sides, years, strict=True):
        one = date_scarf({"width_cm": float(width), "height_cm": float(height)}, as_of=AS_OF)
        np.testing.assert_allclose(found, one.probability, rtol=1e-12)
